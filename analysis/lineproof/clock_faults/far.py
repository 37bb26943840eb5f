"""Clocks that are far off: hours, half a day, a date.

The middle runner's time since the gun grows along the course at a pace that people can run or walk.  Of all straight
lines through two lines of the event (the gun is one) the one is taken that most lines lie near; who lies far from
it has a clock that is far off.
"""

from __future__ import annotations

import itertools

import numpy as np

from lineproof.clock_faults.times import Floats, LineTimes

SLOWEST, FASTEST = 1.5, 0.1  # s/m: a mountain walk, and a wheelchair downhill
NEAR_S, NEAR_SHARE = 300.0, 0.12  # lines within this of the common pace lie near: tiredness, hills, waves
FAR_S = 600.0
FEWEST = 10


def far_clocks(times: LineTimes) -> dict[str, float]:
    """Seconds that a line's clock lies off the common pace, for the lines that lie far off it."""
    since = times.times - times.gun[:, None]
    known = (~np.isnan(since)).sum(axis=0) >= FEWEST
    columns = np.flatnonzero(known)
    if not len(columns):
        return {}
    middle = np.concatenate([[0.0], np.nanmedian(since[:, columns], axis=0)])
    at_m = np.concatenate([[0.0], times.at_m[columns]])
    line = _common_pace(at_m, middle)
    if line is None:
        return {}
    off = middle - line
    limit = np.maximum(FAR_S, NEAR_SHARE * np.abs(line))
    return {
        times.lines[int(column)].id: float(off[i + 1])
        for i, column in enumerate(columns)
        if abs(off[i + 1]) > limit[i + 1]
    }


def _common_pace(at_m: Floats, middle: Floats) -> Floats | None:
    """Time at each place by the pace that most places lie near; None where no pace is one that people have."""
    best, least = None, np.inf
    for a, b in itertools.combinations(range(len(at_m)), 2):
        if at_m[a] == at_m[b]:
            continue
        pace = (middle[b] - middle[a]) / (at_m[b] - at_m[a])
        if not FASTEST <= pace <= SLOWEST:
            continue
        line = middle[a] + pace * (at_m - at_m[a])
        limit = np.maximum(NEAR_S, NEAR_SHARE * np.abs(line))
        cost = float(np.minimum(np.abs(middle - line) / limit, 1.0).sum())
        if cost < least:
            best, least = line, cost
    return best
