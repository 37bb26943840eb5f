"""A logistic model with one random factor, its likelihood integrated by adaptive Gauss-Hermite quadrature.

Where one factor is all there is, nothing need be approximated: the normal effect of each group is integrated out at
points placed around its mode and scaled by its curvature (Liu & Pierce 1994, Biometrika 81:624-629, from
memory).  One point is Laplace's method.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NODES = 15
NEWTON = 100


@dataclass(frozen=True, slots=True)
class OneFactorFit:
    """``effects`` and ``std_error`` of the fixed columns; ``spread`` of the factor; ``groups``: posterior means of its
    effects; ``chances``: posterior mean of each row's chance.

    ``covariance``: of the fixed effects and the log of the spread.  ``log_likelihood`` has the binomial coefficients.
    """

    effects: Floats
    std_error: Floats
    spread: float
    covariance: Floats
    groups: Floats
    chances: Floats
    log_likelihood: float


@dataclass(frozen=True, slots=True)
class _Integrated:
    log_likelihood: float
    groups: Floats
    chances: Floats


def _integrate(
    offset: Floats, spread: float, missed: Floats, tried: Floats, group: Ints, count: int, nodes: int
) -> _Integrated:
    """Log-likelihood without binomial coefficients and posterior means, for given fixed parts of the logit."""
    mode = np.zeros(count)
    for _ in range(NEWTON):
        chance = special.expit(offset + mode[group])
        slope = np.bincount(group, missed - tried * chance, count) - mode / spread**2
        curvature = np.bincount(group, tried * chance * (1 - chance), count) + spread**-2
        step = slope / curvature
        mode = mode + np.clip(step, -2, 2)
        if np.abs(step).max() < 1e-11:
            break
    chance = special.expit(offset + mode[group])
    scale = (np.bincount(group, tried * chance * (1 - chance), count) + spread**-2) ** -0.5
    points, weights = np.polynomial.hermite.hermgauss(nodes)
    at = mode[:, None] + np.sqrt(2) * scale[:, None] * points
    eta = offset[:, None] + at[group]
    logs = missed[:, None] * eta - tried[:, None] * np.logaddexp(0.0, eta)
    total = np.zeros((count, nodes))
    np.add.at(total, group, logs)
    total += -0.5 * (at / spread) ** 2 - np.log(spread * np.sqrt(2 * np.pi))
    total += np.log(weights) + points**2 + np.log(np.sqrt(2) * scale)[:, None]
    each = special.logsumexp(total, axis=1)
    share = np.exp(total - each[:, None])
    chances = (share[group] * special.expit(eta)).sum(axis=1)
    return _Integrated(float(each.sum()), (share * at).sum(axis=1), chances)


def estimate_one_factor(
    missed: Floats, tried: Floats, fixed: Floats, group: Ints, nodes: int = NODES
) -> OneFactorFit:
    """Maximum likelihood.  ``fixed``: (rows, columns); ``group``: 0 to groups - 1 for each row.

    Raises ``ValueError`` where a row was never tried.
    """
    if np.any(tried <= 0):
        raise ValueError("each row needs crossings tried")
    count, columns = int(group.max()) + 1, fixed.shape[1]

    def minus(parameters: Floats) -> float:
        spread = float(np.exp(np.clip(parameters[-1], -7, 3)))
        return -_integrate(fixed @ parameters[:-1], spread, missed, tried, group, count, nodes).log_likelihood

    begin = np.zeros(columns + 1)
    share = (missed.sum() + 0.5) / (tried.sum() + 1)
    begin[:columns] = np.linalg.lstsq(fixed, np.full(len(missed), special.logit(share)), rcond=None)[0]
    begin[-1] = np.log(0.5)
    found = optimize.minimize(minus, begin, method="BFGS", options={"gtol": 1e-6})
    polished = optimize.minimize(
        minus, found.x, method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000}
    )
    best = polished.x
    covariance: Floats = np.asarray(
        np.linalg.pinv(_second_differences(minus, best), hermitian=True), dtype=np.float64
    )
    spread = float(np.exp(best[-1]))
    done = _integrate(fixed @ best[:-1], spread, missed, tried, group, count, nodes)
    choose = special.gammaln(tried + 1) - special.gammaln(missed + 1) - special.gammaln(tried - missed + 1)
    return OneFactorFit(
        best[:-1],
        np.sqrt(np.diag(covariance)[:-1]).astype(np.float64),
        spread,
        covariance,
        done.groups,
        done.chances,
        done.log_likelihood + float(choose.sum()),
    )


def _second_differences(function: object, at: Floats, width: float = 1e-3) -> Floats:
    """Matrix of second derivatives by central differences."""
    assert callable(function)
    size = len(at)
    found = np.empty((size, size))
    steps = np.eye(size) * width
    for i in range(size):
        for j in range(i, size):
            parts = (
                function(at + steps[i] + steps[j])
                - function(at + steps[i] - steps[j])
                - function(at - steps[i] + steps[j])
                + function(at - steps[i] - steps[j])
            )
            found[i, j] = found[j, i] = parts / (4 * width**2)
    return found
