"""Does a rate show the target?  A sample can show it, fall short of it, or be too small to tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import floor
from typing import Any

from lineproof.detection.intervals import one_sided_lower, one_sided_upper, trials_to_demonstrate
from lineproof.vocabulary import Evidence, Quantity

SHOWS, FALLS_SHORT, CANNOT_TELL = "shows", "falls short", "cannot tell"


@dataclass(frozen=True, slots=True)
class TargetComparison:
    """``word`` is one of ``shows``, ``falls short``, ``cannot tell``.

    ``needed`` is how many proven crossings, with no more misses than today's, would show the target;
    None where it is shown, or for a share of today, which needs no sample.
    """

    word: str
    needed: int | None
    sentence: str


def compare_with_target(rate: Mapping[str, Any], target: float, confidence: float = 0.95) -> TargetComparison:
    """One row of RATES (as a dict) against ``target``.

    A capability is judged by one-sided exact bounds (counts divided by the design effect that its
    standard error implies), an achieved share by its interval.
    """
    goal = _percent(target)
    if rate["estimate"] is None:
        return TargetComparison(
            CANNOT_TELL, None, f"Whether {goal} was reached cannot be told: {rate['reason']}."
        )
    if rate["quantity"] == Quantity.ACHIEVED.value:
        return _today(rate, goal, target)
    low, high, missed = _bounds(rate, confidence)
    misses = floor(missed + 0.5)  # whole ones: an estimate behind the rate may leave a part of one
    needed = trials_to_demonstrate(target, confidence, misses)
    counts = f"{rate['proven']:,} proven crossings with {_misses(misses)}"
    if low >= target:
        return TargetComparison(SHOWS, None, f"This shows at least {goal}: {counts}.")
    if high < target:
        return TargetComparison(FALLS_SHORT, needed, f"This falls short of {goal}: {counts}.")
    without = trials_to_demonstrate(target, confidence)
    return TargetComparison(
        CANNOT_TELL,
        needed,
        f"This cannot tell whether {goal} is met: {counts}; to show it takes {without:,} proven crossings "
        f"without a miss" + (f", or {needed:,} with {_misses(misses)}." if needed > without else "."),
    )


def _today(rate: Mapping[str, Any], goal: str, target: float) -> TargetComparison:
    counts = f"{rate['detected']:,} of {rate['proven']:,} proven crossings were read"
    if rate["conf_low"] >= target:
        return TargetComparison(SHOWS, None, f"Today at least {goal} was read: {counts}.")
    if rate["conf_high"] < target:
        return TargetComparison(FALLS_SHORT, None, f"Today less than {goal} was read: {counts}.")
    return TargetComparison(
        CANNOT_TELL,
        None,
        f"Whether {goal} was read today hangs on crossings that nothing proves: {counts}.",
    )


def _bounds(rate: Mapping[str, Any], confidence: float) -> tuple[float, float, float]:
    """One-sided bounds, and the misses in whole crossings that they rest on."""
    share, proven = rate["estimate"], float(rate["proven"])
    misses = (1 - share) * proven
    error = rate["std_error"]
    trials = min(share * (1 - share) / error**2, proven) if error and 0 < share < 1 else proven
    # The witness of a sibling line cannot show more than as many direct trials would.
    low = float(one_sided_lower(share * trials, trials, confidence))
    high = float(one_sided_upper(share * trials, trials, confidence))
    if rate["evidence"] == Evidence.SIBLING.value:
        low, high = min(low, rate["conf_low"]), max(high, rate["conf_high"])
    return low, high, misses


def _misses(count: int) -> str:
    return {0: "no miss", 1: "1 miss"}.get(count, f"{count:,} misses")


def _percent(share: float) -> str:
    return f"{100 * share:.4g} %"
