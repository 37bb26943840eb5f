"""Clocks: offset and drift of every line, what they look like, and the correction to propose.

    passings with their runners -> times by line -> far-off clocks, lags of siblings, stretches -> CLOCK_FAULTS

Nothing is corrected here.  A correction that the reviewer accepts in decisions.csv is applied to the analysis copy before
lines are merged; what is estimated then is what is left of the fault, and the row shows both.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl

from lineproof.clock_faults.far import far_clocks
from lineproof.clock_faults.fingerprints import name_offset
from lineproof.clock_faults.judging import BY_SIBLING, Judgement, Measures, drifts, judge_alone, judge_pair
from lineproof.clock_faults.lags import Lag, estimate_lag
from lineproof.clock_faults.segments import (
    doubt_of_fading,
    estimate_by_clock,
    estimate_by_profile,
    reference_columns,
)
from lineproof.clock_faults.times import LineTimes, to_line_times
from lineproof.event import Event, Line
from lineproof.setup_tables import CLOCK_FAULTS

__all__ = ["estimate_clock_faults"]

BY_RECORD = (
    4.0  # log-likelihood: clocks set by hand are wrong far more often than those set by satellite time
)
BY_MERGE = 3.0  # the same, of the line that contradicts more of the others
ENDS = 2.0  # at the start and the finish the tiring goes on beyond what the other stretches show: so many times the doubt
NO_READS = "it read no runner of the start list, or the export does not tell which line took a time"


def estimate_clock_faults(
    held: pl.DataFrame,
    set_aside: frozenset[str],
    event: Event,
    laid_lines: pl.DataFrame,
    shifts: Mapping[str, int],
) -> pl.DataFrame:
    """CLOCK_FAULTS, one row for each line in the event's order.

    ``held`` are passings with their runner and gun, after the accepted ``shifts`` (us, by line); ``set_aside`` are lines that
    contradict the others (see clock_trust.py); ``laid_lines`` (LAID_LINES) says what each clock was set by.
    """
    by_hand = _set_by_hand(laid_lines)
    judged: dict[str, tuple[Judgement, Lag | None, int]] = {}
    for times in to_line_times(held, event):
        for line, found in _of_course(times, set_aside, by_hand, event).items():
            judged.setdefault(line, found)  # the course with the most runners speaks for the line
    rows = [_row(line, judged.get(line.id), shifts.get(line.id), event) for line in event.lines]
    return CLOCK_FAULTS.check(CLOCK_FAULTS.shape_rows(rows))


def _of_course(
    times: LineTimes, set_aside: frozenset[str], by_hand: dict[str, bool], event: Event
) -> dict[str, tuple[Judgement, Lag | None, int]]:
    far = far_clocks(times)
    bad = set_aside | set(far)
    reference = reference_columns(times, set(bad))
    measures = _measures(times, reference, far)
    tolerance = event.setting("clock_tolerance_s")
    found: dict[str, tuple[Judgement, Lag | None, int]] = {}
    for point in dict.fromkeys(line.point for line in times.lines):
        here = [line for line in times.lines if line.point == point]
        lag = estimate_lag(times, here[0], here[1], reference, event) if len(here) == 2 else None
        runners = {line.id: int((~np.isnan(times.times[:, times.column(line.id)])).sum()) for line in here}
        if lag is None or all(line.id in far for line in here):
            found |= {
                line.id: (judge_alone(measures[line.id], tolerance), lag, runners[line.id]) for line in here
            }
        elif any(line.id in far for line in here):
            found |= _against_sound(here, far, lag, measures, tolerance)
        else:
            lean = _lean(here, set_aside, by_hand)
            pair = judge_pair(measures[here[0].id], measures[here[1].id], lag, tolerance, lean)
            found |= {line.id: (judged, lag, lag.pairs) for line, judged in zip(here, pair, strict=True)}
    return found


def _set_by_hand(laid_lines: pl.DataFrame) -> dict[str, bool]:
    """By line, whether the clock was set by hand and not by satellite or network time, where the record says."""
    told = laid_lines.filter(pl.col("clock_source").is_not_null())
    by_time = pl.col("clock_source").str.to_lowercase().str.contains("satellite|gnss|gps|network|ntp")
    return dict(told.select("line", ~by_time).iter_rows())


def _lean(here: list[Line], set_aside: frozenset[str], by_hand: dict[str, bool]) -> float:
    """What speaks for the main line's clock being the wrong one: one set by hand beside one set by satellite time.

    Where nothing speaks the line that the merge set aside is taken, so that the report says of it what was done.
    """
    hands = [by_hand.get(line.id) for line in here]
    if None not in hands and hands[0] != hands[1]:
        return BY_RECORD if hands[0] else -BY_RECORD
    aside = [line.id in set_aside for line in here]
    return 0.0 if aside[0] == aside[1] else BY_MERGE if aside[0] else -BY_MERGE


def _measures(times: LineTimes, reference: list[int], far: dict[str, float]) -> dict[str, Measures]:
    by_clock = {
        line.id: estimate_by_clock(times, column, reference) for column, line in enumerate(times.lines)
    }
    learnt = [by_clock[times.lines[column].id] for column in reference]
    places = times.at_m[reference]
    measures = {}
    for column, line in enumerate(times.lines):
        clock = by_clock[line.id]
        place = int(np.searchsorted(places, times.at_m[column]))
        ends = place == 0 or place >= len(places) - 1
        fading = doubt_of_fading(learnt, place) * (ENDS if ends else 1.0)
        error = 0.0 if clock is None else float(np.hypot(clock.error, fading * clock.whole))
        profile = None if line.id in far else estimate_by_profile(times, column, reference)
        measures[line.id] = Measures(clock, error, profile, far.get(line.id))
    return measures


def _against_sound(
    here: list[Line], far: dict[str, float], lag: Lag, measures: dict[str, Measures], tolerance: float
) -> dict[str, tuple[Judgement, Lag | None, int]]:
    """One of two lines is far off: the other measures it to a tenth of a second."""
    wrong, other = here if here[0].id in far else (here[1], here[0])
    offset = -lag.offset if wrong is here[0] else lag.offset
    fault = Judgement("fault", offset, lag.error, None, None, BY_SIBLING)
    return {
        wrong.id: (fault, lag, lag.pairs),
        other.id: (judge_alone(measures[other.id], tolerance), lag, lag.pairs),
    }


def _row(
    line: Line, found: tuple[Judgement, Lag | None, int] | None, shift_us: int | None, event: Event
) -> dict[str, object]:
    base: dict[str, object] = {"event": event.id, "point": line.point, "line": line.id, "pairs": 0}
    base |= {"accepted": shift_us is not None, "correction_us": shift_us}
    if found is None:
        return {**base, "looks_like": "cannot tell", "method": "not estimated", "reason": NO_READS}
    judged, lag, pairs = found
    applied = (shift_us or 0) / 1e6
    offset = None if judged.offset is None else judged.offset - applied
    looks_like, correction = judged.looks_like, None
    if offset is not None and judged.error is not None and (looks_like == "fault" or shift_us is not None):
        named = name_offset(offset, judged.error)
        looks_like, correction = named.looks_like, -named.seconds
    drifting = lag is not None and drifts(lag)
    if looks_like == "sound" and drifting and lag is not None and line.role.value == "backup":
        looks_like = "drift"
    return {
        **base,
        "pairs": pairs,
        "offset_us": _us(offset),
        "offset_se_us": _us(judged.error),
        "drift_ppm": _drift(lag, line),
        "drift_se_ppm": None if _drift(lag, line) is None or lag is None else lag.drift_error,
        "distance_m": judged.metres,
        "looks_like": looks_like,
        "correction_us": shift_us if shift_us is not None else _us(correction),
        "method": judged.method,
        "reason": _reason(judged, looks_like, lag, shift_us, applied),
    }


def _drift(lag: Lag | None, line: Line) -> float | None:
    """Of the line's clock against its sibling's, parts per million."""
    if lag is None or np.isinf(lag.drift_error):
        return None
    return lag.drift if line.role.value == "backup" else -lag.drift


def _us(seconds: float | None) -> int | None:
    return None if seconds is None else round(seconds * 1e6)


def _reason(
    judged: Judgement, looks_like: str, lag: Lag | None, shift_us: int | None, applied: float
) -> str | None:
    if shift_us is not None:
        left = "" if judged.offset is None else f"; {judged.offset:+.2f} s are left"
        return f"corrected by {applied:+g} s as the reviewer accepted{left}"
    if looks_like == "drift" and lag is not None:
        return (
            f"the backup line's clock gains {lag.drift:+.0f} millionths on the main line's, {lag.drift * 0.0036:+.2f} s an "
            "hour; which of the two is wrong is not told, and no one shift corrects it"
        )
    return judged.reason
