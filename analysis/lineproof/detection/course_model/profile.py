"""How far a quantity can go before the data object: ends of a profile likelihood interval.

The end is the largest (or least) value of the quantity among all parameter values whose objective lies no
more than half a chi-square quantile below its top.  Each step solves that for the quadratic that the
information at the top describes, with the slopes at hand; the slopes are exact, so where the steps come to
rest the end is exact too, however wrong the quadratic was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from lineproof.detection.course_model.fit import BOUND, Fit, information, invert, objective
from lineproof.detection.course_model.likelihood import evaluate

Floats = NDArray[np.float64]
Quantity = Callable[[Floats], tuple[float, Floats]]

STEPS = 25
TILT = 1e-3
NEAR = 0.02  # of the drop: closer needs no step more
LONGEST = 2.0  # of one step in any value


@dataclass(frozen=True, slots=True)
class Ends:
    """``settled`` where both ends were found; else the last place that the search reached."""

    low: float
    high: float
    settled: bool


@dataclass(frozen=True, slots=True)
class _End:
    reached: float
    values: Floats
    settled: bool


def profile_ends(
    fit: Fit, quantity: Quantity, confidence: float = 0.95, *, by_way_of: Quantity | None = None
) -> Ends:
    """``quantity`` gives its value and slope at parameter values; on a scale without bounds, such as a log.

    The top of a curved surface may point the wrong way to its far end: the search for the upper end then also
    sets out from the upper end of ``by_way_of``.
    """
    drop = float(stats.chi2.ppf(confidence, 1)) / 2
    low, high = (_end(fit, quantity, drop, side, fit.values) for side in (-1.0, 1.0))
    if by_way_of is not None:
        over = _end(fit, by_way_of, drop, 1.0, fit.values)
        high = max(high, _end(fit, quantity, drop, 1.0, over.values), key=lambda end: end.reached)
    return Ends(low.reached, high.reached, low.settled and high.settled)


def _end(fit: Fit, quantity: Quantity, drop: float, side: float, values: Floats) -> _End:
    covariance = np.nan_to_num(fit.covariance)
    best = _End(quantity(fit.values)[0], fit.values, False)
    for step_number in range(STEPS):
        score, slope, _ = objective(fit.problem, values)
        reached, toward = quantity(values)
        short = score - fit.objective + drop
        allowed = short > -NEAR * drop
        if allowed and side * (reached - best.reached) > 0:
            best = _End(reached, values, False)
        spread = _form(covariance, toward)
        if allowed and short < NEAR * drop:
            # At the end no direction along the limit gains anything more.
            along = float(slope @ covariance @ toward)
            if along**2 > 0.9 * _form(covariance, slope) * spread:
                return _End(reached, values, True)
        if step_number % 6 == 5:
            covariance = _nearer(fit, values, covariance)
            spread = _form(covariance, toward)
        if spread <= 0:
            return best
        push = side * np.sqrt(max(2 * short + _form(covariance, slope), 0.0) / spread)
        step = covariance @ (slope + push * toward)
        step *= min(1.0, LONGEST / max(float(np.abs(step).max()), 1e-12))
        values = np.clip(values + step, -BOUND, BOUND)
    return best


def _form(covariance: Floats, slope: Floats) -> float:
    return float(slope @ covariance @ slope)


def spread_of(fit: Fit, slope: Floats) -> float:
    """Standard error at the top of a quantity with this slope."""
    return float(np.sqrt(max(_form(np.nan_to_num(fit.covariance), slope), 0.0)))


def _nearer(fit: Fit, values: Floats, covariance: Floats) -> Floats:
    """The information where the search stands, if it is one there; else what served so far."""
    matrix = information(fit.problem, values)
    if np.linalg.eigvalsh(matrix).min() <= 0:
        return covariance
    return np.nan_to_num(invert(matrix)[0])


def of_parameter(place: int) -> Quantity:
    def quantity(values: Floats) -> tuple[float, Floats]:
        slope = np.zeros(len(values))
        slope[place] = 1.0
        return float(values[place]), slope

    return quantity


def log_hidden(fit: Fit, occasion: int) -> Quantity:
    """Logarithm of the expected hidden crossings at an occasion."""
    visits = len(fit.problem.histories.occasions)
    tilt = np.zeros(visits)
    tilt[occasion] = TILT

    def quantity(values: Floats) -> tuple[float, Floats]:
        up, down = evaluate(fit.problem, values, tilt), evaluate(fit.problem, values, -tilt)
        hidden = max((up.hidden[occasion] + down.hidden[occasion]) / 2, 1e-12)
        return float(np.log(hidden)), (up.slope - down.slope) / (2 * TILT) / hidden

    return quantity
