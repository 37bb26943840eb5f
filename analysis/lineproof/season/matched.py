"""The common odds ratio of matched tables, with an interval that does not take crossings for independent.

Within each stratum the one is compared with the other, and the strata are put together by the estimator of Mantel &
Haenszel (1959, J Natl Cancer Inst 22:719-748, from memory), which is right with many small strata as well as
with few large ones.  Misses of one event have causes in common, so its binomial error would be far too small: the log
of the ratio is worked out again without each witness (an event, or an item) in turn, and the scatter gives the error
(delete-one jackknife; t interval).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LEAST_WITNESSES = 5


@dataclass(frozen=True, slots=True)
class Unit:
    """Arrays with one entry for each unit: ``first`` (of the one, not the other), its stratum and its witness."""

    missed: Floats
    tried: Floats
    first: NDArray[np.bool_]
    stratum: Ints
    witness: Ints


@dataclass(frozen=True, slots=True)
class CommonOdds:
    """Odds of a miss with the one, as a multiple of the other's; NaN where it cannot be told.

    ``strata``: that have both; ``witnesses``: that count in them.
    """

    factor: float
    low: float
    high: float
    chance: float
    strata: int
    witnesses: int


def mantel_haenszel(missed_a: Floats, tried_a: Floats, missed_b: Floats, tried_b: Floats) -> float:
    """Common odds ratio over strata (arrays of one shape); NaN where no stratum tells."""
    total = np.maximum(tried_a + tried_b, 1e-300)
    up = float((missed_a * (tried_b - missed_b) / total).sum())
    down = float((missed_b * (tried_a - missed_a) / total).sum())
    return up / down if up > 0 and down > 0 else np.nan


def _tables(units: Unit, weight: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    count = int(units.stratum.max()) + 1
    return tuple(  # type: ignore[return-value]
        np.bincount(units.stratum, values * weight * group, count)
        for group in (units.first, ~units.first)
        for values in (units.missed, units.tried)
    )


def keep_matched(units: Unit) -> Unit:
    """Units of the strata that have both, renumbered."""
    count = int(units.stratum.max(initial=-1)) + 1
    sides = [
        np.bincount(units.stratum, (units.tried > 0) & group, count) > 0
        for group in (units.first, ~units.first)
    ]
    keep = (sides[0] & sides[1])[units.stratum] & (units.tried > 0)
    _, stratum = np.unique(units.stratum[keep], return_inverse=True)
    _, witness = np.unique(units.witness[keep], return_inverse=True)
    return Unit(units.missed[keep], units.tried[keep], units.first[keep], stratum, witness)


def estimate_common_odds(units: Unit, confidence: float = 0.95) -> CommonOdds:
    """Mantel-Haenszel odds ratio of the matched strata with a jackknife over witnesses.

    With fewer than five witnesses, or no miss on one side, there is no interval.
    """
    matched = keep_matched(units)
    if not len(matched.tried):
        return CommonOdds(np.nan, np.nan, np.nan, np.nan, 0, 0)
    strata, witnesses = int(matched.stratum.max()) + 1, int(matched.witness.max()) + 1
    factor = mantel_haenszel(*_tables(matched, np.ones(len(matched.tried))))
    if witnesses < LEAST_WITNESSES or not np.isfinite(factor):
        return CommonOdds(factor, np.nan, np.nan, np.nan, strata, witnesses)
    left_out = np.array(
        [
            mantel_haenszel(*_tables(matched, (matched.witness != witness).astype(float)))
            for witness in range(witnesses)
        ]
    )
    if not np.isfinite(left_out).all():
        return CommonOdds(factor, np.nan, np.nan, np.nan, strata, witnesses)
    logs = np.log(left_out)
    error = float(np.sqrt((witnesses - 1) / witnesses * ((logs - logs.mean()) ** 2).sum()))
    degrees = witnesses - 1
    half = float(stats.t.ppf(0.5 + confidence / 2, degrees)) * error
    chance = float(2 * stats.t.sf(abs(np.log(factor)) / error, degrees)) if error > 0 else np.nan
    log = float(np.log(factor))
    return CommonOdds(factor, float(np.exp(log - half)), float(np.exp(log + half)), chance, strata, witnesses)
