"""Log-linear models of several lists of one population, and what they say of those on none.

Each observed history has a Poisson count whose logarithm is linear in the lists, their interactions, and
columns for how often a member was listed at all (unequal chances).  The cell of those on no list is where
all columns are 0: its expectation is the exponential of the intercept.  Lists are lines, members runners.

Source: Cormack 1989, Biometrics 45:395-413; columns for unequal chances, Baillargeon & Rivest 2007, Journal of
Statistical Software 19(5).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

ROUNDS = 100
SETTLED = 1e-12


class Unequal(StrEnum):
    """How members differ in their chance of being listed, as a column in k, the times listed."""

    NONE = "none"
    POISSON2 = "2^k - 1"
    DARROCH = "k^2 / 2"


@dataclass(frozen=True, slots=True)
class ListFit:
    """``hidden`` is the expected number on no list; ``total`` adds those on any; ``std_error`` is of both.

    ``aic`` uses the Poisson log-likelihood with its constant.
    """

    total: float
    hidden: float
    std_error: float
    deviance: float
    df: int
    aic: float


def to_counts(captures: NDArray[np.integer], weights: Ints | None = None) -> tuple[NDArray[np.int64], Floats]:
    """All histories of the lists but the empty one, and how many members have each."""
    lists = captures.shape[1]
    histories = np.array([word for word in product((0, 1), repeat=lists) if any(word)], dtype=np.int64)
    place = histories @ (1 << np.arange(lists)[::-1])
    key = captures @ (1 << np.arange(lists)[::-1])
    counts = np.bincount(key, weights=weights, minlength=2**lists).astype(float)
    return histories, counts[place]


def estimate_lists(
    histories: NDArray[np.int64],
    counts: Floats,
    *,
    interactions: Sequence[tuple[int, ...]] = (),
    unequal: Unequal = Unequal.NONE,
    alike: bool = False,
    apart: Sequence[tuple[int, ...]] = (),
) -> ListFit:
    """``alike`` gives all lists one rate; ``apart`` names histories that are given a parameter of their own."""
    design = _design(histories, interactions, unequal, alike, apart)
    b, fitted, covariance = _poisson(design, counts)
    hidden = float(np.exp(b[0]))
    seen = float(counts.sum())
    with np.errstate(divide="ignore", invalid="ignore"):
        terms = np.where(counts > 0, counts * np.log(counts / fitted), 0.0) - (counts - fitted)
    deviance = float(2 * terms.sum())
    log_likelihood = float((counts * np.log(fitted) - fitted).sum()) - float(gammaln(counts + 1).sum())
    size = design.shape[1]
    return ListFit(
        seen + hidden,
        hidden,
        float(np.sqrt(hidden + hidden**2 * covariance[0, 0])),
        deviance,
        len(counts) - size,
        2 * size - 2 * log_likelihood,
    )


def _design(
    histories: NDArray[np.int64],
    interactions: Sequence[tuple[int, ...]],
    unequal: Unequal,
    alike: bool,
    apart: Sequence[tuple[int, ...]],
) -> Floats:
    times = histories.sum(axis=1)
    columns = [np.ones(len(histories))]
    columns += [times] if alike else list(histories.T)
    columns += [histories[:, list(group)].prod(axis=1) for group in interactions]
    if unequal is Unequal.POISSON2:
        columns.append(2.0**times - 1)
    elif unequal is Unequal.DARROCH:
        columns.append(times**2 / 2)
    columns += [(histories == np.array(word)).all(axis=1) for word in apart]
    return np.column_stack(columns).astype(float)


def _poisson(design: Floats, counts: Floats) -> tuple[Floats, Floats, Floats]:
    """Coefficients, fitted counts and covariance by iterated weighted least squares."""
    fitted = counts + 0.5
    deviance = np.inf
    b: Floats = np.zeros(design.shape[1])
    for _ in range(ROUNDS):
        root = np.sqrt(fitted)
        response = np.log(fitted) + (counts - fitted) / fitted
        b = np.asarray(
            np.linalg.lstsq(design * root[:, None], response * root, rcond=None)[0], dtype=np.float64
        )
        fitted = np.exp(np.clip(design @ b, -30, 30))
        with np.errstate(divide="ignore", invalid="ignore"):
            now = float(
                2 * (np.where(counts > 0, counts * np.log(counts / fitted), 0.0) - counts + fitted).sum()
            )
        if abs(deviance - now) < SETTLED * (1 + abs(now)):
            break
        deviance = now
    root = np.sqrt(fitted)
    covariance = np.linalg.pinv((design * root[:, None]).T @ (design * root[:, None]))
    return b, fitted, np.asarray(covariance, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class LowerBound:
    total: float
    variance: float
    corrected: float


def estimate_lower_bound(frequencies: Sequence[int], lists: int | None = None) -> LowerBound:
    """Chao 1987, Biometrics 43:783-791, from f1, f2, …: how many were listed once, twice and so on.

    ``corrected`` for bias (f2 may be 0), with (t - 1) / t where the number of ``lists`` is given.
    """
    f1, f2 = float(frequencies[0]), float(frequencies[1])
    seen = float(sum(frequencies))
    ratio = f1 / f2 if f2 else np.nan
    part = 1.0 if lists is None else (lists - 1) / lists
    return LowerBound(
        seen + f1**2 / (2 * f2) if f2 else np.nan,
        f2 * (ratio**4 / 4 + ratio**3 + ratio**2 / 2),
        seen + part * f1 * (f1 - 1) / (2 * (f2 + 1)),
    )


def estimate_sample_coverage(histories: NDArray[np.int64], counts: Floats) -> tuple[float, float]:
    """Share of the population covered by the lists, and the number it leads to for three lists or more.

    Chao, Tsay, Lin, Shau & Chao 2001, Statistics in Medicine 20:3123-3157.
    """
    lists = histories.shape[1]
    sizes = histories.T @ counts
    alone = np.array(
        [counts[(histories[:, j] == 1) & (histories.sum(axis=1) == 1)].sum() for j in range(lists)]
    )
    coverage = 1 - float((alone / sizes).mean())
    return coverage, float(counts.sum() - alone.mean()) / coverage
