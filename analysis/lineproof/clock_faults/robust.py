"""Robust straight lines: location and slopes with standard errors that a few wild values do not move.

Huber's M-estimator by iteratively reweighted least squares; the scale is the median absolute deviation, the covariance
the sandwich of the final weights.  A Gaussian prior on a coefficient is one more, exact, observation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HUBER = 1.345  # 95 % as efficient as least squares on normal errors
MAD_TO_SD = 1.4826
ROUNDS = 30
SETTLED = 1e-9
WORST_CONDITION = 1e12
FINEST_S = 1e-3  # clocks that agree to the millisecond agree


@dataclass(frozen=True, slots=True)
class Fit:
    """``coefficients`` with ``covariance``; ``scale`` is the robust standard deviation of the residuals."""

    coefficients: Floats
    covariance: Floats
    scale: float

    def error(self, place: int) -> float:
        return float(np.sqrt(max(self.covariance[place, place], 0.0)))


def fit_robust(design: Floats, values: Floats, prior: tuple[Floats, Floats] | None = None) -> Fit:
    """``values`` (n,) on ``design`` (n, k).  ``prior``: means and precisions (1/variance, 0: none) of the coefficients.

    Raises ``ValueError`` where the design does not determine the coefficients.
    """
    n, k = design.shape
    mean, precision = prior if prior is not None else (np.zeros(k), np.zeros(k))
    if n <= k:
        raise ValueError("fewer values than coefficients")
    weights, beta, scale = np.ones(n), np.full(k, np.nan), max(_spread(values), FINEST_S)
    for _ in range(ROUNDS):
        per = weights / scale**2
        information = design.T @ (design * per[:, None]) + np.diag(precision)
        if not _determined(information):
            raise ValueError("the design does not determine the coefficients")
        new = np.linalg.solve(information, design.T @ (per * values) + precision * mean)
        residual = values - design @ new
        scale = max(_spread(residual), FINEST_S)
        weights = np.minimum(1.0, HUBER * scale / np.maximum(np.abs(residual), 1e-12))
        if np.all(np.abs(new - beta) <= SETTLED * (1 + np.abs(new))):
            break
        beta = new
    bread = np.linalg.inv(design.T @ (design * (weights / scale**2)[:, None]) + np.diag(precision))
    score = design * (weights * residual / scale**2)[:, None]
    covariance = bread @ (score.T @ score + np.diag(precision)) @ bread
    return Fit(
        np.asarray(new, dtype=np.float64), np.asarray(covariance * n / (n - k), dtype=np.float64), scale
    )


def determines(design: Floats) -> bool:
    """Whether the columns of a design can be told apart without a prior."""
    return _determined(design.T @ design)


def _determined(information: Floats) -> bool:
    """In the columns' own units, so that seconds beside hours are no fault."""
    size = np.sqrt(np.diag(information))
    return bool(size.all()) and float(np.linalg.cond(information / np.outer(size, size))) < WORST_CONDITION


def _spread(values: Floats) -> float:
    middle = np.median(values)
    return float(np.median(np.abs(values - middle)) * MAD_TO_SD) or float(values.std())
