"""Closed populations whose members differ in their chance of capture: how far families that fit alike disagree.

The two kinds are those of the course model.  A beta distribution of chances is a further family, with a closed form.
The total may be fitted with the rest (maximum likelihood) or follow from the likelihood given being caught at all.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from lineproof.detection.course_model.likelihood import evaluate
from lineproof.detection.course_model.problem import Problem

Floats = NDArray[np.float64]
# Parameter values to (log-likelihood given being caught at all, chance of never being caught).
Given = Callable[[Floats], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Total:
    """``log_likelihood`` leaves out the multinomial coefficient of the histories, but for the total's part."""

    total: float
    values: Floats
    log_likelihood: float


def estimate_total(given: Given, caught: int, start: Sequence[float]) -> Total:
    """Maximum likelihood of the total and the other values together, ``caught`` members being known.

    Source: Otis, Burnham, White & Anderson 1978, Wildlife Monographs 62; the likelihood splits into that given being
    caught and a binomial of the number caught (Sanathanan 1972, Annals of Mathematical Statistics 43:142-152).
    """

    def negative(values: Floats) -> float:
        log_likelihood, never = given(values)
        return -(log_likelihood + _binomial(_best_total(caught, never), caught, never))

    found = optimize.minimize(
        negative, np.array(start), method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 8000, "maxfev": 16000, "adaptive": True},
    )  # fmt: skip
    return Total(_best_total(caught, given(found.x)[1]), found.x, -float(found.fun))


def _best_total(caught: int, never: float) -> float:
    """Where the binomial is at its top in the total, taken as a continuous number."""

    def slope(log_hidden: float) -> float:
        hidden = np.exp(log_hidden)
        return float(special.digamma(caught + hidden + 1) - special.digamma(hidden + 1) + np.log(never))

    low, high = np.log(1e-9), np.log(1e9 * caught)
    if slope(low) < 0:
        return float(caught)
    return caught + float(np.exp(optimize.brentq(slope, low, high, xtol=1e-13)))


def _binomial(total: float, caught: int, never: float) -> float:
    hidden = total - caught
    chance = special.gammaln(total + 1) - special.gammaln(hidden + 1)
    return float(chance + caught * np.log1p(-never) + hidden * np.log(never))


def of_problem(problem: Problem) -> Given:
    """The course model of a closed population (nobody stops) as ``given``."""

    def given(values: Floats) -> tuple[float, float]:
        found = evaluate(problem, values)
        return found.log_likelihood, found.never / (found.never + problem.histories.total)

    return given


def of_beta(frequencies: Sequence[int], occasions: int) -> Given:
    """Chances that vary by a beta distribution (logs of a and b), from how many were caught once, twice …

    Dorazio & Royle 2003, Biometrics 59:351-364.
    """
    counts = np.array(frequencies, dtype=float)
    times = np.arange(1, len(counts) + 1)

    def given(logs: Floats) -> tuple[float, float]:
        a, b = np.exp(logs)
        base = special.betaln(a, b)
        each = special.betaln(a + times, b + occasions - times) - base
        never = float(np.exp(special.betaln(a, b + occasions) - base))
        return float(counts @ each - counts.sum() * np.log1p(-never)), never

    return given
