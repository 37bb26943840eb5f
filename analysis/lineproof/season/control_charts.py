"""Control charts for shares and for means: is this event out of the usual, and has something moved for good?

With thousands of crossings an event, binomial limits flag nearly every event; so limits are widened by the scatter that
events really have (Laney 2002, Quality Engineering 14:531-537), and a funnel by the scatter of its items
(Spiegelhalter 2005, Statistics in Medicine 24:1185-1202; both from memory).  EWMA and CUSUM see small lasting
shifts (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3 and 6.3.2.4).  Numbers in, frozen results out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

SIGMAS = 3.0  # common practice since Shewhart: a sound process leaves the limits about once in 370 points
MOVING_RANGE = 1.128  # mean range of two normal values of standard deviation 1 (2 / sqrt(pi))
WINSOR = 0.1  # share at each end of a funnel drawn in before its scatter is measured


@dataclass(frozen=True, slots=True)
class ShareChart:
    """``share`` with limits for each point; ``inflation``: times the binomial standard deviation."""

    share: Floats
    centre: float
    low: Floats
    high: Floats
    inflation: float

    @property
    def out(self) -> NDArray[np.bool_]:
        return np.asarray((self.share < self.low) | (self.share > self.high))


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Exponentially weighted means with their limits, one for each point."""

    mean: Floats
    low: Floats
    high: Floats

    @property
    def out(self) -> NDArray[np.bool_]:
        return np.asarray((self.mean < self.low) | (self.mean > self.high))


@dataclass(frozen=True, slots=True)
class Cumulated:
    """Sums of what exceeds the target by more than the allowance, upwards and downwards; ``limit`` is a signal."""

    high: Floats
    low: Floats
    limit: float

    @property
    def out(self) -> NDArray[np.bool_]:
        return np.asarray((self.high > self.limit) | (self.low > self.limit))


@dataclass(frozen=True, slots=True)
class Funnel:
    """``z``: raw scores; ``phi``: their winsorised mean square; ``tau2``: variance between items beyond chance.

    ``low``, ``high``: limits with the variance between items added (additive); ``narrow_*``: by chance alone.
    """

    z: Floats
    phi: float
    tau2: float
    low: Floats
    high: Floats
    narrow_low: Floats
    narrow_high: Floats


def _shares(missed: ArrayLike, tried: ArrayLike) -> tuple[Floats, float, Floats]:
    """Shares, their overall share and its binomial standard deviation at each point."""
    misses, trials = np.asarray(missed, dtype=float), np.asarray(tried, dtype=float)
    if np.any(trials <= 0):
        raise ValueError("a point without crossings has no share")
    centre = float(misses.sum() / trials.sum())
    return misses / trials, centre, np.sqrt(centre * (1 - centre) / trials)


def _limits(centre: float, half: Floats) -> tuple[Floats, Floats]:
    """Limits around a share; a share lies between 0 and 1."""
    return np.maximum(centre - half, 0.0), np.minimum(centre + half, 1.0)


def p_chart(missed: ArrayLike, tried: ArrayLike, sigmas: float = SIGMAS) -> ShareChart:
    """Binomial limits around the overall share (NIST/SEMATECH e-Handbook 6.3.3.2)."""
    share, centre, deviation = _shares(missed, tried)
    low, high = _limits(centre, sigmas * deviation)
    return ShareChart(share, centre, low, high, 1.0)


def laney_chart(missed: ArrayLike, tried: ArrayLike, sigmas: float = SIGMAS) -> ShareChart:
    """The p' chart: binomial limits times the scatter of neighbouring points, from their moving range."""
    share, centre, deviation = _shares(missed, tried)
    if len(share) < 2 or centre in (0.0, 1.0):
        return p_chart(missed, tried, sigmas)
    z = (share - centre) / deviation
    inflation = float(np.abs(np.diff(z)).mean()) / MOVING_RANGE
    low, high = _limits(centre, sigmas * inflation * deviation)
    return ShareChart(share, centre, low, high, inflation)


def ewma_chart(
    values: ArrayLike, target: float, deviation: float, weight: float = 0.2, sigmas: float = SIGMAS
) -> Smoothed:
    """Exponentially weighted moving average, begun at the target; limits of the steady state."""
    points = np.asarray(values, dtype=float)
    mean = np.empty_like(points)
    last = target
    for number, point in enumerate(points):
        last = weight * point + (1 - weight) * last
        mean[number] = last
    half = sigmas * deviation * np.sqrt(weight / (2 - weight))
    return Smoothed(mean, np.full_like(points, target - half), np.full_like(points, target + half))


def cusum_chart(values: ArrayLike, target: float, allowance: float, limit: float) -> Cumulated:
    """Tabular cumulative sums of ``values`` against ``target``, both ways; all in the unit of ``values``."""
    points = np.asarray(values, dtype=float)
    high, low = np.empty_like(points), np.empty_like(points)
    up = down = 0.0
    for number, point in enumerate(points):
        up = max(0.0, up + point - target - allowance)
        down = max(0.0, down + target - allowance - point)
        high[number], low[number] = up, down
    return Cumulated(high, low, limit)


def funnel(missed: ArrayLike, tried: ArrayLike, sigmas: float = SIGMAS) -> Funnel:
    """Items around their overall share, limits for each item's crossings, scatter between items allowed for.

    Quantiles for the winsorising are linear interpolations of the order statistics (definition 7 of Hyndman & Fan).
    """
    share, centre, deviation = _shares(missed, tried)
    narrow_low, narrow_high = _limits(centre, sigmas * deviation)
    if centre in (0.0, 1.0) or len(share) < 2:
        zero = np.zeros_like(share)
        return Funnel(zero, 1.0, 0.0, narrow_low, narrow_high, narrow_low, narrow_high)
    z = (share - centre) / deviation
    ends = np.quantile(z, [WINSOR, 1 - WINSOR])
    phi = float((np.clip(z, *ends) ** 2).mean())
    weight = deviation**-2
    count = len(z)
    spare = float(weight.sum() - (weight**2).sum() / weight.sum())
    tau2 = max(0.0, (count * phi - (count - 1)) / spare)
    low, high = _limits(centre, sigmas * np.sqrt(deviation**2 + tau2))
    return Funnel(z, phi, tau2, low, high, narrow_low, narrow_high)
