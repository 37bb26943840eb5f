"""The loss of the late field: from some moment on to the end a point missed far more than before.

Where the input does not tell lines and antennas apart, mats lifted while walkers still come show only as
such a step.  Whether there is one is asked of the last half, quarter, eighth … of the field (hypergeometric
tail, Fisher's exact test, so that no usual rate is assumed: a weak line all day makes no step); where it begins is the
division of the day that makes the two shares likeliest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]

TIMES_USUAL = 4.0  # slow runners and worn tags make some difference; lifted mats make more
FEWEST_MISSED = 20


@dataclass(frozen=True, slots=True)
class LateLoss:
    """From runner ``first`` of the row to the last one; ``usual`` is the share missed before."""

    first: int
    tried: int
    missed: int
    usual: float
    chance: float


def estimate_late_loss(missed: Bools, rows: int, chance: float) -> LateLoss | None:
    """The late loss of one row of runners in time order, or None.

    ``rows`` that are looked at share the ``chance`` of a false one.
    """
    n = len(missed)
    if missed.sum() < FEWEST_MISSED:
        return None
    sizes = np.array([n // 2**k for k in range(1, n.bit_length()) if n // 2**k >= FEWEST_MISSED])
    if not len(sizes):
        return None
    sums = np.concatenate([[0], np.cumsum(missed)])
    lost = sums[-1] - sums[n - sizes]
    tails = stats.hypergeom.sf(lost - 1, n, sums[-1], sizes)
    lowest = float(tails.min()) * len(sizes) * rows
    if lowest >= chance:
        return None
    first = _begin(sums.astype(np.float64))
    late, before = int(sums[-1] - sums[first]), int(sums[first])
    usual, share = before / first, late / (n - first)
    if late < FEWEST_MISSED or share < TIMES_USUAL * usual:
        return None
    return LateLoss(first, n - first, late, usual, lowest)


def _begin(sums: Floats) -> int:
    """The division into two parts of constant shares that is likeliest, the second part beginning with a miss."""
    n = len(sums) - 1
    cut = np.arange(1, n)
    word = _log_likelihood(sums[cut], cut.astype(float))
    word += _log_likelihood(sums[-1] - sums[cut], (n - cut).astype(float))
    begins_missed = np.diff(sums)[1:] > 0
    return int(cut[np.argmax(np.where(begins_missed, word, -np.inf))])


def _log_likelihood(lost: Floats, tried: Floats) -> Floats:
    share = lost / tried
    return np.asarray(special.xlogy(lost, share) + special.xlogy(tried - lost, 1 - share))
