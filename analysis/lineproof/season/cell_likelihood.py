"""How likely a cell's misses are, when its own chance of a miss scatters around what the model expects.

A cell (one slot of one line at one event) has ``tried`` crossings and ``missed`` of them.  Given the expected logit
``eta`` of a miss, its own chance is drawn from a beta distribution with mean expit(eta) and a
standard deviation that is ``spread`` on the logit scale, whatever the mean: the same scatter in good places and
bad.  Its parameters are a = k (1 + exp(eta)) and b = k (1 + exp(-eta)) with k = 1 / spread^2, so that the count is
beta-binomial (Skellam 1948, from memory; the parameters are our own).  Summing the scatter out exactly, and not by
an effect for each cell, matters here: most cells of a good line have no miss or one.

Counts may be fractional: those of a slot are estimates.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]

LEAST_SPREAD = 0.01  # below this the cells are binomial for all that any count could tell
LEAST_WEIGHT = 1e-9
SHIFT = 8  # steps of the recurrence before the asymptotic series of the trigamma function is exact to 1e-11


@dataclass(frozen=True, slots=True)
class Curve:
    """Log-likelihood of each cell at its ``eta``, its slope, and minus its curvature (never below zero)."""

    value: Floats
    slope: Floats
    weight: Floats


def trigamma(x: Floats) -> Floats:
    """Second derivative of log Gamma for x > 0: recurrence, then the asymptotic series.

    Abramowitz & Stegun 1964, 6.4.6 and 6.4.12 (from memory); ten times as fast as the general zeta function.
    """
    total = np.zeros_like(x)
    for by in range(SHIFT):
        total += 1 / np.square(x + by)
    inverse = 1 / (x + SHIFT)
    square = inverse * inverse
    series = 1 / 6 - square * (1 / 30 - square * (1 / 42 - square / 30))
    return np.asarray(total + inverse * (1 + inverse * (0.5 + inverse * series)))


def binomial_curve(eta: Floats, missed: Floats, tried: Floats) -> Curve:
    """Cells without scatter of their own; the binomial coefficient is left out."""
    chance = special.expit(eta)
    value = missed * eta - tried * np.logaddexp(0.0, eta)
    return Curve(value, missed - tried * chance, np.maximum(tried * chance * (1 - chance), LEAST_WEIGHT))


def scattered_curve(eta: Floats, missed: Floats, tried: Floats, spread: float) -> Curve:
    """Beta-binomial cells; ``spread`` is the standard deviation of a cell's own logit.

    The binomial coefficient is left out.  Where the curvature has the wrong sign (a cell far off), the expected
    one of the binomial, divided by its inflation, stands in.
    """
    if spread < LEAST_SPREAD:
        return binomial_curve(eta, missed, tried)
    k = spread**-2
    up, down = k * np.exp(eta), k * np.exp(-eta)
    a, b, read = k + up, k + down, tried - missed
    total = a + b
    gammaln, psi = special.gammaln, special.psi
    value = gammaln(missed + a) - gammaln(a) + gammaln(read + b) - gammaln(b)
    value += gammaln(total) - gammaln(tried + total)
    common = psi(total) - psi(tried + total)
    by_a = psi(missed + a) - psi(a) + common
    by_b = psi(read + b) - psi(b) + common
    slope = by_a * up - by_b * down
    return Curve(value, slope, _weight(eta, missed, tried, k, by_a, by_b))


def _weight(eta: Floats, missed: Floats, tried: Floats, k: float, by_a: Floats, by_b: Floats) -> Floats:
    up, down = k * np.exp(eta), k * np.exp(-eta)
    a, b = k + up, k + down
    total = a + b

    common = trigamma(total) - trigamma(tried + total)
    by_aa = trigamma(missed + a) - trigamma(a) + common
    by_bb = trigamma(tried - missed + b) - trigamma(b) + common
    curvature = by_aa * up**2 - 2 * common * up * down + by_bb * down**2 + by_a * up + by_b * down
    chance = special.expit(eta)
    binomial = tried * chance * (1 - chance)
    return np.where(-curvature > LEAST_WEIGHT, -curvature, LEAST_WEIGHT + binomial / (1 + binomial / k))
