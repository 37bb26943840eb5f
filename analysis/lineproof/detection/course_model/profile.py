"""How far a quantity can go before the data object: ends of a profile likelihood interval.

The end is the largest (or least) value of the quantity among all parameter values whose objective lies no
more than half a chi-square quantile below its top.  Each step solves that for a quadratic surface (Venzon &
Moolgavkar 1988, Applied Statistics 37:87-94): first the one that the information at the top describes, then as each
step has shown it to bend.  The slopes are exact, so where the steps come to rest the end is exact too, however
wrong the quadratic was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from lineproof.detection.course_model.fit import BOUND, Fit, objective, secant
from lineproof.detection.course_model.likelihood import Value, evaluate

Floats = NDArray[np.float64]
# Parameter values, and the likelihood's value there, to the quantity and its slope.
Quantity = Callable[[Floats, Value], tuple[float, Floats]]

STEPS = 25
TILT = 1e-5
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
    fit: Fit, quantity: Quantity, confidence: float = 0.95, *, also_from: Floats | None = None
) -> Ends:
    """``quantity`` gives its value and slope at parameter values; on a scale without bounds, such as a log.

    The top of a curved surface may point the wrong way to its far end: the search for the upper end then also
    sets out from the values ``also_from``.
    """
    drop = _drop(confidence)
    low, high = (_end(fit, quantity, drop, side, fit.values) for side in (-1.0, 1.0))
    if also_from is not None:
        high = max(high, _end(fit, quantity, drop, 1.0, also_from), key=lambda end: end.reached)
    return Ends(low.reached, high.reached, low.settled and high.settled)


def far_values(fit: Fit, confidence: float = 0.95) -> Floats | None:
    """Where tags differ as strongly as fits the data: the upper end of the family's last value; None if it has none.

    Few tags that are hardly ever read are what many hidden crossings come from.
    """
    structure = fit.problem.structure
    if not structure.family.names:
        return None
    differ = of_parameter(structure.blocks["family"].stop - 1)
    return _end(fit, differ, _drop(confidence), 1.0, fit.values).values


def _drop(confidence: float) -> float:
    return float(stats.chi2.ppf(confidence, 1)) / 2


def _end(fit: Fit, quantity: Quantity, drop: float, side: float, values: Floats) -> _End:
    covariance = np.nan_to_num(fit.covariance)
    best = _End(quantity(fit.values, fit.value)[0], fit.values, False)
    before: tuple[Floats, Floats, Floats] | None = None
    push = 0.0
    for _ in range(STEPS):
        score, slope, value = objective(fit.problem, values)
        reached, toward = quantity(values, value)
        short = score - fit.objective + drop
        allowed = short > -NEAR * drop
        if allowed and side * (reached - best.reached) > 0:
            best = _End(reached, values, False)
        if before is not None:
            covariance = _bent(covariance, before, (values, slope, toward), push)
        spread = _form(covariance, toward)
        if allowed and short < NEAR * drop:
            # At the end no direction along the limit gains anything more.
            along = float(slope @ covariance @ toward)
            if along**2 > 0.9 * _form(covariance, slope) * spread:
                return _End(reached, values, True)
        if spread <= 0:
            return best
        push = side * float(np.sqrt(max(2 * short + _form(covariance, slope), 0.0) / spread))
        step = covariance @ (slope + push * toward)
        step *= min(1.0, LONGEST / max(float(np.abs(step).max()), 1e-12))
        before = (values, slope, toward)
        values = np.clip(values + step, -BOUND, BOUND)
    return best


def _form(covariance: Floats, slope: Floats) -> float:
    return float(slope @ covariance @ slope)


def spread_of(fit: Fit, slope: Floats) -> float:
    """Standard error at the top of a quantity with this slope."""
    return float(np.sqrt(max(_form(np.nan_to_num(fit.covariance), slope), 0.0)))


def _bent(
    covariance: Floats,
    before: tuple[Floats, Floats, Floats],
    after: tuple[Floats, Floats, Floats],
    push: float,
) -> Floats:
    """The covariance as the last step has shown it, if it still is one (values, slope, slope of the quantity)."""
    step, climbed, turned = (a - b for a, b in zip(after, before, strict=True))
    found = secant(covariance, -(climbed + push * turned), step)
    kept = np.diag(found)[np.diag(covariance) > 0].min() > 0 and _form(found, after[2]) > 0
    return found if kept else covariance


def of_parameter(place: int) -> Quantity:
    def quantity(values: Floats, _value: Value) -> tuple[float, Floats]:
        slope = np.zeros(len(values))
        slope[place] = 1.0
        return float(values[place]), slope

    return quantity


def log_hidden(fit: Fit, occasion: int) -> Quantity:
    """Logarithm of the expected hidden crossings at an occasion."""
    visits = len(fit.problem.histories.occasions)
    tilt = np.zeros(visits)
    tilt[occasion] = TILT

    def quantity(values: Floats, value: Value) -> tuple[float, Floats]:
        hidden = max(value.hidden[occasion], 1e-12)
        return float(np.log(hidden)), (
            evaluate(fit.problem, values, tilt).slope - value.slope
        ) / TILT / hidden

    return quantity
