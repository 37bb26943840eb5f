"""Which visit was it?  Times at a point that a course passes several times, matched to its visits.

Most runners were read at every visit and their times are numbered in order.  Where the count or the
pace says otherwise, the times are matched so that the runner's pace from visit to visit is as even as
it can be: a missed lap shows as one doubled gap, a later stray read as a time that fits nowhere.
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

# A time that no visit explains costs as much as a pace wrong by a factor of e (2.7).
COST_OF_UNUSED = 1.0
# Beyond this many ways to match, only those that leave the fewest times and visits over are weighed.
MOST_WAYS = 20_000


@dataclass(frozen=True, slots=True)
class Anchor:
    """A place of the course whose time is known: the gun, or a crossing of another point."""

    at_m: float
    time_us: int


def evenness(at_m: Sequence[float], times_us: Sequence[int], anchors: Sequence[Anchor]) -> float:
    """Unevenness of the pace through these visits and the anchors: 0 is perfectly even.

    The sum of the absolute deviations of the log pace between neighbours from its median; infinite
    where the order of the times contradicts the order of the places.
    """
    known = sorted([*zip(at_m, times_us, strict=True), *((a.at_m, a.time_us) for a in anchors)])
    paces = []
    for (d0, t0), (d1, t1) in itertools.pairwise(known):
        if d1 == d0:
            continue
        if t1 <= t0:
            return math.inf
        paces.append(math.log((t1 - t0) / (d1 - d0)))
    if not paces:
        return 0.0
    middle = statistics.median(paces)
    return sum(abs(pace - middle) for pace in paces)


def match_visits(
    at_m: Sequence[float], times_us: Sequence[int], anchors: Sequence[Anchor]
) -> list[int | None]:
    """For each time, the index of its visit in ``at_m``, or None where it belongs to none.

    ``at_m`` are the distances of the visits of one point, rising; ``times_us`` the times there, rising.
    """
    # Where no matching keeps the order (a clock fault, say), count in order: checks.py will speak up.
    best: list[int | None] = [i if i < len(at_m) else None for i in range(len(times_us))]
    lowest = math.inf
    for times, visits in _ways(len(times_us), len(at_m)):
        unused = len(times_us) - len(times)
        if unused * COST_OF_UNUSED >= lowest:
            break
        cost = unused * COST_OF_UNUSED + evenness(
            [at_m[v] for v in visits], [times_us[t] for t in times], anchors
        )
        if cost < lowest:
            lowest = cost
            best = [None] * len(times_us)
            for t, v in zip(times, visits, strict=True):
                best[t] = v
    return best


def _ways(n_times: int, n_visits: int) -> Iterator[tuple[tuple[int, ...], tuple[int, ...]]]:
    """All order-keeping matchings, those that leave the fewest times over first."""
    given = 0
    for size in range(min(n_times, n_visits), 0, -1):
        for times in itertools.combinations(range(n_times), size):
            for visits in itertools.combinations(range(n_visits), size):
                yield times, visits
                given += 1
                if given >= MOST_WAYS:
                    return
