"""Two lines of one point: how far their clocks differ, whether one gains, and whether the lines lie apart as stated.

The time between them is the clocks' difference and the walk from one to the other.  The walk takes
spacing / speed, the slower the runner the longer; the clocks' difference is the same for everybody.  So a straight line of
lag against pace has the spacing as its slope and the clocks as its intercept, and its drift with time of day is
one clock gaining on the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineproof.clock_faults.robust import Fit, determines, fit_robust
from lineproof.clock_faults.times import Floats, LineTimes
from lineproof.event import Event, Line
from lineproof.vocabulary import PointKind

FEWEST_PAIRS = 20
STATED_SPACING_M = 0.5  # doubt of a stated spacing, and of where in its field a mat reads
USUAL_SPACING_M, UNSTATED_SPACING_M = 3.0, 2.0  # common practice, and its doubt
PACE_DOUBT = 0.08  # pace over the mats against that of the stretch before and after
ZONE_M = 0.3  # where in the two read zones the times are taken
START_PACE, START_DOUBT = 0.52, 0.13  # s/m over the start mats: people walk and jog
TELLS = 6.0  # difference of two descriptions in twice the log-likelihood, as by the Bayesian information criterion
DRIFT_DOUBT_M = 0.6  # all of these together: where later runners are slower, so many metres pass for a gain
LEAST_SPREAD_S = 60.0  # of the runners' times, to see a clock gain
SPACING_M = 2.0  # smaller faults of the spacing move no time that anybody sees


@dataclass(frozen=True, slots=True)
class Lag:
    """``offset``: backup clock minus main clock, s; ``drift`` of the backup against the main, ppm.

    The drift's error is infinite where the runners came too close together.  ``distance``: metres by which the stated spacing is too long, where that explains the lag and no clock need be wrong;
    ``torn``: the lag shows a fault but not which of the two.
    """

    pairs: int
    offset: float
    error: float
    drift: float
    drift_error: float
    distance: float | None = None
    torn: bool = False


def estimate_lag(times: LineTimes, main: Line, backup: Line, sound: list[int], event: Event) -> Lag | None:
    """From the runners whom both read; ``sound`` are columns whose clocks may be used for paces.  None: too few."""
    first, second = times.column(main.id), times.column(backup.id)
    lag = times.times[:, second] - times.times[:, first]
    pace = _paces(times, first, second, sound)
    start = event.point(main.point).kind is PointKind.START
    if start:
        pace = np.where(np.isnan(lag), np.nan, START_PACE)
    at = times.times[:, first]
    known = ~np.isnan(lag) & ~np.isnan(pace)
    if known.sum() < FEWEST_PAIRS:
        return None
    lag, pace, at = lag[known], pace[known], at[known]
    keep = np.abs(lag - np.median(lag)) <= 60.0  # a lap missed by one line is no lag
    lag, pace, at = lag[keep], pace[keep], at[keep]
    if len(lag) < FEWEST_PAIRS:
        return None
    stated = USUAL_SPACING_M if backup.spacing_m is None else backup.spacing_m
    doubt = UNSTATED_SPACING_M if backup.spacing_m is None else STATED_SPACING_M
    return _fitted(lag, pace, at, (stated, doubt), start)


def _paces(times: LineTimes, first: int, second: int, sound: list[int]) -> Floats:
    """Seconds a metre on the stretches before and after the point, the mean where both are known."""
    here = times.at_m[first]
    own = times.times[:, first] if first in sound else times.times[:, second]
    found = []
    for column in sound:
        metres = times.at_m[column] - here
        if metres != 0:
            found.append((abs(metres), (times.times[:, column] - own) / metres))
    near = [pace for _, pace in sorted(found, key=lambda item: item[0])[:2]]
    if not near:
        return np.full(len(own), np.nan)
    stacked = np.column_stack(near)
    stacked[(stacked <= 0.1) | (stacked > 3.0)] = np.nan
    known = (~np.isnan(stacked)).sum(axis=1)
    return np.where(known > 0, np.nansum(stacked, axis=1) / np.maximum(known, 1), np.nan)


def _fitted(lag: Floats, pace: Floats, at: Floats, spacing: tuple[float, float], start: bool) -> Lag:
    stated, doubt = spacing
    hour = [(at - at.mean()) / 3600] if at.std() >= LEAST_SPREAD_S else []
    middle = float(np.median(pace))
    if start or pace.std() < 1e-6:
        plain = fit_robust(np.column_stack([np.ones(len(lag)), *hour]), lag)
        walk = float(np.hypot(stated * (START_DOUBT if start else PACE_DOUBT * middle), doubt * middle))
        offset = float(plain.coefficients[0]) - stated * middle
        return _lag(len(lag), offset, float(np.hypot(plain.error(0), walk)), plain, 1, 0.0)
    design = np.column_stack([np.ones(len(lag)), pace, *hour])
    prior = (
        np.array([0.0, stated, 0.0])[: design.shape[1]],
        np.array([0.0, doubt**-2, 0.0])[: design.shape[1]],
    )
    fit = fit_robust(design, lag, prior)
    walk = float(np.hypot(PACE_DOUBT * stated * middle, ZONE_M * middle))
    slower = abs(float(np.polyfit(hour[0], pace, 1)[0])) if hour else 0.0
    told = _lag(len(lag), float(fit.coefficients[0]), float(np.hypot(fit.error(0), walk)), fit, 2, slower)
    return _spacing_or_clock(told, design, lag, spacing, fit)


def _lag(pairs: int, offset: float, error: float, fit: Fit, drift: int, slower: float) -> Lag:
    """The drift's column is in hours, parts per million are microseconds a second; ``slower``: s/m an hour."""
    if drift >= len(fit.coefficients):
        return Lag(pairs, offset, error, 0.0, float("inf"))
    ppm = 1e6 / 3600
    return Lag(
        pairs,
        offset,
        error,
        float(fit.coefficients[drift]) * ppm,
        float(np.hypot(fit.error(drift), DRIFT_DOUBT_M * slower)) * ppm,
    )


def _spacing_or_clock(
    told: Lag, design: Floats, lag: Floats, spacing: tuple[float, float], clock: Fit
) -> Lag:
    """Whether another spacing, with right clocks, explains the lags better than a clock with the stated spacing."""
    stated, doubt = spacing
    if not determines(design):  # everybody's pace changed with the hour alike
        return told
    free = fit_robust(design, lag)
    apart = float(free.coefficients[1]) - stated
    if abs(apart) <= max(SPACING_M, 4 * free.error(1)):
        return told
    # Right clocks: the lag is spacing times pace, and the clocks' difference nothing to speak of.
    right = fit_robust(design[:, 1:], lag)
    scale = min(clock.scale, right.scale, free.scale)
    by_clock = _misfit(lag - design @ clock.coefficients, scale) + (apart / doubt) ** 2
    by_spacing = _misfit(lag - design[:, 1:] @ right.coefficients, scale)
    metres = stated - float(right.coefficients[0])
    if abs(metres) < SPACING_M and by_spacing - by_clock <= TELLS:
        # Right clocks, and a pace over the mats unlike that of the stretches: a hill, or mats that read early or late.
        error = float(np.hypot(told.error, told.offset / 2))
        return Lag(told.pairs, 0.0, error, told.drift, told.drift_error)
    if by_clock - by_spacing > TELLS:
        return Lag(told.pairs, 0.0, told.error, told.drift, told.drift_error, distance=metres)
    torn = by_spacing - by_clock <= TELLS
    return Lag(told.pairs, told.offset, told.error, told.drift, told.drift_error, torn=torn)


def _misfit(residual: Floats, scale: float) -> float:
    """Twice the negative log-likelihood, each value bounded so that wild ones count for little."""
    return float(np.minimum((residual / scale) ** 2, 9.0).sum())
