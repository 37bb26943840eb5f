"""Stretches of runners in which a line read nobody, or next to nobody, with their chance in a sound event.

The runners who came by, in time order, are a row of misses and reads.  A stretch scores the logarithm of
how much better "silent" (95 % missed) explains it than "as usual"; the best stretches of the row are
found in one pass (Ruzzo & Tompa 1999, ISMB, from memory).  From any one runner on, the ratio of the two
explanations ever exceeds c with a chance of at most 1/c (Ville's inequality), so that of all stretches of all
lines together at most (number of runners)/c do: no simulated tail, no independent bins.

What is usual is never the day's mean alone: misses gather where it is crowded, and a weak line or half a
line is no silent one.  The usual share is the highest of the rest of the day and the hundred runners on
either side, each at its upper limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

SILENT = 0.95  # share missed by a line that does not work: a stray read ends no outage
LEAST_SHARE = 0.9  # a stretch that missed less is a partial loss
HALF = 0.5  # stretches are sought against at least this: half a line lost is not a silent one
BESIDE = 100  # runners on either side
LIMIT = 0.95  # one-sided, of the usual share


@dataclass(frozen=True, slots=True)
class Silence:
    """Runners ``first`` to ``last`` (both missed) of the row.

    ``usual`` is the upper limit of the share missed around it; ``chance`` is a bound and may be far too large.
    """

    first: int
    last: int
    tried: int
    missed: int
    usual: float
    chance: float


@dataclass(frozen=True, slots=True)
class _Stretches:
    first: Ints
    last: Ints
    missed: Ints

    @property
    def tried(self) -> Ints:
        return self.last - self.first + 1


def estimate_silences(missed: Bools, family: int, chance: float, least: int) -> list[Silence]:
    """Silent stretches of ``missed`` (runners in time order), in time order.

    ``family``: runners in all rows that are looked at; ``chance`` that a sound family shows any; ``least``:
    fewest missed in a stretch.  Time grows with the length of the row, but for sorting.
    """
    stretches = _candidates(missed, least)
    silent = np.zeros(len(stretches.first), dtype=np.bool_)
    free = np.ones(len(missed), dtype=np.bool_)
    while True:
        usual, bound = _judged(stretches, missed, free, family)
        now = silent | (bound < chance)
        if (now == silent).all():
            break
        silent = now
        for first, last in zip(stretches.first[silent], stretches.last[silent], strict=True):
            free[first : last + 1] = False
    return [
        Silence(
            int(stretches.first[i]),
            int(stretches.last[i]),
            int(stretches.tried[i]),
            int(stretches.missed[i]),
            float(usual[i]),
            float(bound[i]),
        )
        for i in np.flatnonzero(silent)
    ]


def _candidates(missed: Bools, least: int) -> _Stretches:
    """The maximal stretches that look silent rather than half silent, with at least ``least`` misses."""
    if not missed.any():
        empty = np.empty(0, dtype=np.int64)
        return _Stretches(empty, empty, empty)
    edges = np.flatnonzero(np.diff(missed)) + 1
    begin = np.concatenate([[0], edges])
    length = np.diff(np.concatenate([begin, [len(missed)]]))
    usual = min(max(HALF, float(missed.mean())), SILENT - 0.01)
    weight = np.where(missed[begin], np.log(SILENT / usual), np.log((1 - SILENT) / (1 - usual)))
    scores: Floats = np.asarray(weight * length, dtype=np.float64)
    runs = np.array(maximal_stretches(scores.tolist()), dtype=np.int64).reshape(-1, 2)
    first = begin[runs[:, 0]]
    last = begin[runs[:, 1]] + length[runs[:, 1]] - 1
    sums = np.concatenate([[0], np.cumsum(missed)])
    lost = sums[last + 1] - sums[first]
    worth = (lost >= least) & (lost >= LEAST_SHARE * (last - first + 1))
    return _Stretches(first[worth], last[worth], lost[worth])


def maximal_stretches(scores: list[float]) -> list[tuple[int, int]]:
    """All maximal scoring stretches (first, last) of a row of scores, in order, in linear time.

    Ruzzo & Tompa 1999: a stretch whose every part from either end scores above zero, and that no longer
    stretch of that kind contains.
    """
    first: list[int] = []
    last: list[int] = []
    left: list[float] = []
    right: list[float] = []
    back: list[int] = []  # the nearest stretch before it that began lower
    total = 0.0
    for i, score in enumerate(scores):
        low, total = total, total + score
        if score <= 0:
            continue
        begin, j = i, len(first) - 1
        while True:
            while j >= 0 and left[j] >= low:
                j = back[j]
            if j < 0 or right[j] >= total:
                break
            begin, low = first[j], left[j]
            for kept in (first, last, left, right, back):
                del kept[j + 1 :]
            before = back[j]
            for kept in (first, last, left, right, back):
                del kept[j]
            j = before
        first.append(begin)
        last.append(i)
        left.append(low)
        right.append(total)
        back.append(j)
    return list(zip(first, last, strict=True))


def _judged(stretches: _Stretches, missed: Bools, free: Bools, family: int) -> tuple[Floats, Floats]:
    """The usual share of each stretch (its upper limit), and the bound on its chance.

    ``free``: runners outside the stretches found so far.
    """
    places = np.flatnonzero(free)
    sums = np.concatenate([[0], np.cumsum(missed[places])])
    first = np.searchsorted(places, stretches.first)
    after = np.searchsorted(places, stretches.last, side="right")
    left, right = np.maximum(first - BESIDE, 0), np.minimum(after + BESIDE, len(places))
    lost = sums[after] - sums[first]
    usual = np.maximum.reduce(
        [
            _upper(sums[-1] - lost, len(places) - (after - first), nobody=1.0),
            _upper(sums[first] - sums[left], first - left, nobody=0.0),
            _upper(sums[right] - sums[after], right - after, nobody=0.0),
        ]
    )
    capped = np.minimum(usual, SILENT)
    read = stretches.tried - stretches.missed
    gain = stretches.missed * np.log(SILENT / capped) + read * np.log((1 - SILENT) / (1 - capped))
    return usual, np.asarray(np.minimum(1.0, family * np.exp(-gain)))


def _upper(lost: Ints, tried: Ints, nobody: float) -> Floats:
    """Exact upper limit of a share; ``nobody`` where none was tried."""
    found = special.betaincinv(lost + 1.0, np.maximum(tried - lost, 1e-9), LIMIT)
    full = np.where(lost >= tried, 1.0, found)
    return np.asarray(np.where(tried > 0, full, nobody))
