"""Intervals for a share of counts, near 1 as well as in the middle, and what a sample can show.

Every function takes arrays of counts of any one shape (whole numbers, or effective counts after a
design effect) and returns arrays of that shape.  ``estimate_share`` alone decides which interval
is used when: Wilson covers too little when few misses (or hits) are expected, so there the exact
binomial interval stands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

Floats = NDArray[np.float64]

# Counted misses (or hits) below which the exact interval stands.  Wilson covers too little where fewer than five are
# expected (Brown, Cai & DasGupta 2001); as many as nine may be counted there, so the limit is ten.
FEW = 10.0
HALVINGS = 60  # of a bracket of width 1: to about 1e-18


@dataclass(frozen=True, slots=True)
class Interval:
    """Lower and upper ends, arrays of one shape; NaN where nothing was counted."""

    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class Share:
    """A share with its interval; ``exact`` tells where the exact binomial interval was used."""

    estimate: Floats
    std_error: Floats
    low: Floats
    high: Floats
    exact: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Clustered:
    """A share counted in clusters.  ``deff`` is how many times the binomial variance it has."""

    estimate: float
    variance: float
    binomial_variance: float
    deff: float
    clusters: int


def _counts(detected: ArrayLike, proven: ArrayLike) -> tuple[Floats, Floats]:
    """Both as float arrays of one shape.  Raises ``ValueError`` where they cannot be counts."""
    hits, trials = np.broadcast_arrays(np.asarray(detected, dtype=float), np.asarray(proven, dtype=float))
    if np.any(hits < 0) or np.any(hits > trials * (1 + 1e-12)):
        raise ValueError("detected must lie between 0 and proven")
    return np.minimum(hits, trials), np.where(trials > 0, trials, np.nan)


def _normal(confidence: float) -> float:
    return float(special.ndtri(0.5 + confidence / 2))


def wilson(detected: ArrayLike, proven: ArrayLike, confidence: float = 0.95) -> Interval:
    """Score interval (Wilson 1927, J Am Stat Assoc 22:209-212)."""
    hits, trials = _counts(detected, proven)
    z2 = _normal(confidence) ** 2
    centre = (hits + z2 / 2) / (trials + z2)
    half = np.sqrt(z2) / (trials + z2) * np.sqrt(hits * (trials - hits) / trials + z2 / 4)
    # At the ends the formula gives 0 and 1 but for rounding.
    low = np.where(hits == 0, 0.0 * centre, centre - half)
    return Interval(low, np.where(hits == trials, 1.0 + 0.0 * centre, centre + half))


def one_sided_lower(detected: ArrayLike, proven: ArrayLike, confidence: float = 0.95) -> Floats:
    """Exact lower bound that holds with ``confidence`` (Clopper & Pearson 1934, one tail)."""
    hits, trials = _counts(detected, proven)
    found = special.betaincinv(np.maximum(hits, 1e-300), trials - hits + 1, 1 - confidence)
    return np.where(hits > 0, found, 0.0 * trials)


def one_sided_upper(detected: ArrayLike, proven: ArrayLike, confidence: float = 0.95) -> Floats:
    """Exact upper bound that holds with ``confidence`` (Clopper & Pearson 1934, one tail)."""
    hits, trials = _counts(detected, proven)
    return np.asarray(1 - one_sided_lower(trials - hits, trials, confidence))


def clopper_pearson(detected: ArrayLike, proven: ArrayLike, confidence: float = 0.95) -> Interval:
    """Exact interval, equal tails (Clopper & Pearson 1934, Biometrika 26:404-413)."""
    tail = 0.5 + confidence / 2
    return Interval(one_sided_lower(detected, proven, tail), one_sided_upper(detected, proven, tail))


def _mid_p_lower(hits: Floats, trials: Floats, tail: float) -> Floats:
    """Rate at which more than ``hits``, plus half of exactly ``hits``, has the probability ``tail``."""
    low, high = np.zeros_like(trials), np.ones_like(trials)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        above = special.betainc(hits + 1, np.maximum(trials - hits, 1e-300), middle)
        at_least = special.betainc(np.maximum(hits, 1e-300), trials - hits + 1, middle)
        above = np.where(hits == trials, 0.0, above)
        too_likely = (above + at_least) / 2 > tail
        low, high = np.where(too_likely, low, middle), np.where(too_likely, middle, high)
    return np.where(hits > 0, (low + high) / 2 + 0.0 * trials, 0.0 * trials)


def mid_p(detected: ArrayLike, proven: ArrayLike, confidence: float = 0.95) -> Interval:
    """Exact interval that counts half of the observed outcome (Lancaster 1961; in Newcombe 1998)."""
    hits, trials = _counts(detected, proven)
    tail = (1 - confidence) / 2
    high = np.asarray(1 - _mid_p_lower(trials - hits, trials, tail))
    return Interval(_mid_p_lower(hits, trials, tail), high)


def jeffreys(detected: ArrayLike, proven: ArrayLike, confidence: float = 0.95) -> Interval:
    """Equal-tailed interval under the prior Beta(1/2, 1/2), reaching 0 and 1 at 0 and all hits.

    The ends at 0 and at all hits follow Brown, Cai & DasGupta 2001, Stat Sci 16:101-133.
    """
    hits, trials = _counts(detected, proven)
    tail = (1 - confidence) / 2
    low = special.betaincinv(hits + 0.5, trials - hits + 0.5, tail)
    high = special.betaincinv(hits + 0.5, trials - hits + 0.5, 1 - tail)
    return Interval(
        np.where(hits == 0, 0.0 * trials, low), np.where(hits == trials, 1.0 + 0.0 * trials, high)
    )


def estimate_share(
    detected: ArrayLike, proven: ArrayLike, confidence: float = 0.95, deff: ArrayLike = 1.0
) -> Share:
    """The share read of ``proven`` crossings, as the chance of the next one being read.

    Counts are divided by the design effect ``deff`` (Rao & Scott 1992) before the interval is
    taken: exact with fewer than ten effective misses or hits, else Wilson.
    """
    hits, trials = _counts(detected, proven)
    factor = np.broadcast_to(np.asarray(deff, dtype=float), trials.shape)
    if np.any(factor < 1):
        raise ValueError("a design effect below 1 would narrow an interval")
    hits_eff, trials_eff = hits / factor, trials / factor
    exact = np.minimum(hits_eff, trials_eff - hits_eff) < FEW
    narrow, safe = wilson(hits_eff, trials_eff, confidence), clopper_pearson(hits_eff, trials_eff, confidence)
    estimate = hits / trials
    return Share(
        estimate,
        np.sqrt(estimate * (1 - estimate) / trials_eff),
        np.where(exact, safe.low, narrow.low),
        np.where(exact, safe.high, narrow.high),
        np.asarray(exact),
    )


def rao_scott(detected: ArrayLike, proven: ArrayLike) -> Clustered:
    """Variance of a share whose crossings come in clusters, one count pair for each cluster.

    Ratio estimator of Rao & Scott 1992, Biometrics 48:577-585.  With one cluster, or no misses, or
    no hits, nothing can be said about clustering and ``deff`` is NaN.
    """
    hits, trials = (np.atleast_1d(array) for array in _counts(detected, proven))
    if np.isnan(trials).any():
        raise ValueError("a cluster without trials has no share")
    m, total = len(trials), float(trials.sum())
    rate = float(hits.sum()) / total if m else np.nan
    if m < 2 or rate in (0.0, 1.0):
        return Clustered(rate, np.nan, np.nan, np.nan, m)
    variance = m / (m - 1) * float(((hits - trials * rate) ** 2).sum()) / total**2
    binomial = rate * (1 - rate) / total
    return Clustered(rate, variance, binomial, variance / binomial, m)


def trials_to_demonstrate(rate: float, confidence: float = 0.95, misses: int = 0) -> int:
    """Fewest crossings that show ``rate`` with ``confidence`` when ``misses`` of them were missed."""
    if not (0 < rate < 1 and 0 < confidence < 1 and misses >= 0):
        raise ValueError("rate and confidence lie between 0 and 1, misses is a count")
    low, high = misses, misses + 1
    while stats.binom.cdf(misses, high, 1 - rate) > 1 - confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if stats.binom.cdf(misses, middle, 1 - rate) > 1 - confidence:
            low = middle
        else:
            high = middle
    return high
