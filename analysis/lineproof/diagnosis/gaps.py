"""Both lines out while the times of the runners are not known: many unread at a point, and a gap in its reads.

Behind a gun nobody knows when a runner came to the start line, so that runners missed there by both lines cannot be put
into a window by their own times.  But later reads say how many there were, and the reads of the others stop and
go on: a gap in which about as many would have come is the window.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from lineproof.diagnosis.pattern import Pattern, Search, without
from lineproof.diagnosis.tries import Bools, Ints, Tries
from lineproof.event import Event
from lineproof.vocabulary import Cause, InterruptionKind

TIMES_UNREAD = 3.0  # shares of runners whom no line read differ by so much from point to point
LEAST_UNREAD = 0.001
FEWEST_IN_GAP = 5.0  # runners who would have come
BESIDE_US = 60_000_000  # the traffic is that of a minute on either side
ALIKE = 2.5  # runners unread, and those who would have come in the gap, agree within this factor


def find_gaps(tries: Tries, taken: Bools, event: Event) -> Search:
    """One pattern for each point with many unread and a gap to hold them."""
    rows = {point.id: _rows(tries, taken, point.id, event) for point in event.points}
    rows = {point: here for point, here in rows.items() if len(here)}
    unread = {point: int(tries.unseen[here].sum()) for point, here in rows.items()}
    found = []
    for point, here in rows.items():
        others = [unread[other] / len(rows[other]) for other in rows if other != point]
        usual = max(float(np.median(others)) if others else 0.0, LEAST_UNREAD)
        chance = float(stats.binom.sf(unread[point] - 1, len(here), min(1.0, TIMES_UNREAD * usual)))
        gap = _gap(np.sort(tries.at[here[~tries.unseen[here]]]), unread[point])
        if gap is not None:
            found.append(_pattern(tries, point, event, gap, usual, chance))
    return Search(found, len(rows))


def _rows(tries: Tries, taken: Bools, point: str, event: Event) -> Ints:
    """Tries of the point's first line whose runners later reads prove; empty where one line is alone."""
    lines = event.lines_at(point)
    if len(lines) < 2:
        return np.empty(0, dtype=np.int64)
    rows = without(tries.rows_of[lines[0].id], taken)
    later = tries.frame["seen_later"].to_numpy()[rows].astype(np.bool_)
    return np.asarray(rows[later & tries.told[rows]], dtype=np.int64)


def _gap(reads: Ints, unread: int) -> tuple[int, int] | None:
    """The gap in the reads in which, by the traffic beside it, most nearly ``unread`` runners would have come."""
    if len(reads) < 2 or not unread:
        return None
    begin, end = reads[:-1], reads[1:]
    before = np.arange(1, len(reads)) - np.searchsorted(reads, begin - BESIDE_US)
    after = np.searchsorted(reads, end + BESIDE_US, side="right") - np.arange(1, len(reads))
    due = np.minimum(before, after) / BESIDE_US * (end - begin)
    off = np.abs(np.log(np.maximum(due, 1e-9) / unread))
    off[due < FEWEST_IN_GAP] = np.inf
    best = int(np.argmin(off))
    return (int(begin[best]), int(end[best])) if off[best] <= np.log(ALIKE) else None


def _pattern(
    tries: Tries, point: str, event: Event, gap: tuple[int, int], usual: float, chance: float
) -> Pattern:
    here = np.concatenate([tries.rows_of[line.id] for line in event.lines_at(point)])
    lost = here[tries.unseen[here]]
    return Pattern(
        cause=Cause.BOTH_LINES,
        point=point,
        line=None,
        rows=np.asarray(lost, dtype=np.int64),
        usual=usual,
        chance=chance,
        why=f"{len(lost) // 2:,} runners whom later reads prove were read by neither line, about as many as would have come in "
        "a gap of the reads",
        begin=gap[0],
        end=gap[1],
        kind=InterruptionKind.BOTH_LINES.value,
    )
