"""Shares and slopes of many of a kind, drawn together as far as chance explains their differences.

No miss in 47 crossings does not make the best line of a season.  ``shrink_shares`` takes the true shares as
beta-distributed and estimates that distribution by maximum likelihood (Griffiths 1973, Biometrics 29:637-648, from
memory); each share is then (a + missed) / (a + b + tried).  ``shrink_normal`` does the same for estimates with
standard errors; with equal errors it is the estimator of James and Stein as given by Efron & Morris 1975, J Am
Stat Assoc 70:311-319.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

Floats = NDArray[np.float64]

MOST_ALIKE = 1e6  # a + b beyond which the true shares are equal for all that any count could tell


@dataclass(frozen=True, slots=True)
class ShrunkenShares:
    """Beta(a, b) of the true shares, and each one's posterior mean and 95 % interval."""

    a: float
    b: float
    mean: Floats
    low: Floats
    high: Floats
    log_likelihood: float


@dataclass(frozen=True, slots=True)
class ShrunkenNormal:
    """Estimates drawn towards ``centre``; ``keep``: share of each one's distance that is kept."""

    centre: float
    keep: Floats
    mean: Floats
    std_error: Floats


def _log_likelihood(logs: Floats, missed: Floats, tried: Floats) -> float:
    """Beta-binomial without the binomial coefficients; ``logs``: logit of the mean, log of a + b."""
    mean, size = special.expit(logs[0]), np.exp(logs[1])
    a, b = mean * size, (1 - mean) * size
    return float((special.betaln(a + missed, b + tried - missed) - special.betaln(a, b)).sum())


def shrink_shares(missed: ArrayLike, tried: ArrayLike) -> ShrunkenShares:
    """Beta-binomial maximum likelihood over two or more shares, and the posterior of each.

    Raises ``ValueError`` with fewer than two shares that were tried.
    """
    misses, trials = np.asarray(missed, dtype=float), np.asarray(tried, dtype=float)
    if (trials > 0).sum() < 2:
        raise ValueError("one share alone cannot be drawn towards others")
    share = (misses.sum() + 0.5) / (trials.sum() + 1)
    begin = np.array([special.logit(share), np.log(50.0)])
    bounds = [(-20, 20), (np.log(0.05), np.log(MOST_ALIKE))]
    found = optimize.minimize(
        lambda logs: -_log_likelihood(logs, misses, trials),
        begin,
        bounds=bounds,
        method="L-BFGS-B",
        options={"ftol": 1e-15, "gtol": 1e-9, "maxiter": 500},
    )
    mean, size = float(special.expit(found.x[0])), float(np.exp(found.x[1]))
    a, b = mean * size, (1 - mean) * size
    up, down = a + misses, b + trials - misses
    return ShrunkenShares(
        a,
        b,
        up / (up + down),
        special.betaincinv(up, down, 0.025),
        special.betaincinv(up, down, 0.975),
        -float(found.fun),
    )


def shrink_normal(estimates: ArrayLike, std_errors: ArrayLike) -> ShrunkenNormal:
    """Estimates with known standard errors, drawn towards their weighted mean.

    The share of an estimate's distance that is taken off is (k - 3) / sum of the squared standardised distances where
    errors are equal; where they differ, the variance between is found by moments (Paule & Mandel 1982, from memory) and
    the same correction (k - 3) / (k - 1) is made.  Fewer than four estimates are left as they are.
    """
    values, errors = np.asarray(estimates, dtype=float), np.asarray(std_errors, dtype=float)
    count = len(values)
    if count < 4:
        keep = np.ones(count)
        return ShrunkenNormal(float(values.mean()) if count else np.nan, keep, values, errors)
    between = between_variance(values, errors)
    weight = 1 / (errors**2 + between)
    centre = float((weight * values).sum() / weight.sum())
    taken = np.minimum(errors**2 * weight * (count - 3) / (count - 1), 1.0)
    keep = 1 - taken
    mean = centre + keep * (values - centre)
    variance = errors**2 * keep + taken**2 / weight.sum()
    return ShrunkenNormal(centre, keep, mean, np.sqrt(variance))


def between_variance(values: Floats, errors: Floats) -> float:
    """Variance between true values: where the weighted squares of the distances equal their degrees of freedom.

    Paule & Mandel 1982, J Res Natl Bur Stand 87:377-385 (from memory).  0 where the estimates differ less than chance
    would have them.
    """

    def excess(between: float) -> float:
        weight = 1 / (errors**2 + between)
        centre = (weight * values).sum() / weight.sum()
        return float((weight * (values - centre) ** 2).sum()) - (len(values) - 1)

    if len(values) < 2 or excess(0.0) <= 0:
        return 0.0
    top = float(np.var(values)) + 1e-12
    while excess(top) > 0:
        top *= 2
    return float(optimize.brentq(excess, 0.0, top, xtol=1e-15, rtol=1e-12))
