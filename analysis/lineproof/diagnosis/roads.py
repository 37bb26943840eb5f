"""Road wider than the line: runners beyond the last mat, missed by both lines or read at the edge only.

Where both lines end short of the road nobody is read out there.  The pattern is that the last mats of the two lines
together miss more than the places inside.  It bears this name where each of the two lines does, and where later
reads prove more runners whom neither line read than at the other points; else it is a weak mat of one line.  Two
weak last mats side by side leave much the same trace; the width in the set-up record tells them apart.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from lineproof.diagnosis.antennas import Across
from lineproof.diagnosis.pattern import Pattern, Search, more_missed_chance
from lineproof.diagnosis.tries import Bools, Ints, Tries
from lineproof.vocabulary import Cause
from lineproof.wording import say_share

TIMES_MISSED = (
    1.25  # odds of a miss at the edges against those inside, where the mats reach to the sides of the road
)
TIMES_UNREAD = 3.0  # shares of runners whom neither line read differ by so much from point to point
LEAST_UNREAD = 0.001
SIDES = 2
NAMED = 0.01  # chance below which what a pattern needs for its name is taken to be there …
NAMED_ALONE = 0.001  # … and that of both edges alike, which needs no other sign


def find_bare_roads(pairs: list[tuple[Across, Across]], tries: Tries, taken: Bools) -> Search:
    """``pairs``: main and backup line of each point where both tell of places."""
    unread = {main.line.point: _unread(tries, main, taken) for main, _ in pairs}
    found: list[Pattern] = []
    for main, backup in pairs:
        found += _beyond_own(main, tries) + _beyond_own(backup, tries)
        if main.mats != backup.mats:
            continue
        others = [counts for point, counts in unread.items() if point != main.line.point and counts[1] > 0]
        usual = _usual_unread(others)
        for place in (0, main.mats - 1):
            pattern = _side(main, backup, place, tries, taken, usual)
            if pattern is not None:
                found.append(pattern)
    return Search(found, (SIDES + SIDES) * len(pairs))


def _unread(tries: Tries, across: Across, taken: Bools) -> tuple[int, int]:
    """Runners read by neither line, and all who were there by later reads or the lines' own."""
    rows = tries.rows_of[across.line.id]
    rows = rows[~taken[rows]]
    return int(tries.unseen[rows].sum()), len(rows)


def _usual_unread(others: list[tuple[int, int]]) -> float:
    shares = [unread / tried for unread, tried in others]
    return max(float(np.median(shares)) if shares else 0.0, LEAST_UNREAD)


def _side(
    main: Across, backup: Across, place: int, tries: Tries, taken: Bools, usual_unread: float
) -> Pattern | None:
    edges = [_edge(across, place) for across in (main, backup)]
    if any(counts[1] == 0 or counts[3] == 0 for counts in edges):
        return None
    pooled = [sum(counts[i] for counts in edges) for i in range(4)]
    chance = more_missed_chance(pooled[0], pooled[1], pooled[2], pooled[3], TIMES_MISSED)
    each = max(more_missed_chance(*counts, 1.0) for counts in edges)
    unread, tried = _unread(tries, main, taken)
    beyond = float(stats.binom.sf(unread - 1, tried, min(1.0, TIMES_UNREAD * usual_unread)))
    if each > NAMED or (beyond > NAMED and each > NAMED_ALONE and _has_later(tries, main)):
        return None
    usual = pooled[2] / pooled[3]
    unseen = f"; neither line read {unread:,} of {tried:,} runners at the point" if unread else ""
    side = "near" if place == 0 else "far"
    return Pattern(
        cause=Cause.ROAD_WIDER,
        point=main.line.point,
        line=None,
        rows=np.concatenate([_members(across, place, tries, taken) for across in (main, backup)]),
        usual=usual,
        chance=chance,
        why=f"at the last mats of the {side} side the two lines missed {pooled[0]:,} of {pooled[1]:,}, against {say_share(usual, 100)} "
        f"inside{unseen}",
        antennas=(place + 1,),
        kind=f"{side} side",
    )


def _has_later(tries: Tries, across: Across) -> bool:
    """Whether later reads can prove runners whom neither line of the point read."""
    return bool(tries.frame["seen_later"].to_numpy()[across.rows].any())


def _edge(across: Across, place: int) -> tuple[int, int, int, int]:
    rest = np.arange(len(across.over)) != place
    return (
        int(across.missed[place]),
        int(across.over[place]),
        int(across.missed[rest].sum()),
        int(across.over[rest].sum()),
    )


def _members(across: Across, place: int, tries: Tries, taken: Bools) -> Ints:
    rows = tries.rows_of[across.line.id]
    rows = rows[~taken[rows]]
    return np.asarray(rows[tries.unseen[rows] | (tries.sibling[rows] == place + 1)], dtype=np.int64)


def _beyond_own(across: Across, tries: Tries) -> list[Pattern]:
    """Places at which the other line read runners and this one has no mat."""
    bare = across.rows[tries.sibling[across.rows] > across.mats]
    if not len(bare):
        return []
    inside = across.rows[tries.sibling[across.rows] <= across.mats]
    missed, rest = int(tries.missed[bare].sum()), int(tries.missed[inside].sum())
    usual = rest / len(inside) if len(inside) else 0.0
    if missed / len(bare) <= usual:
        return []
    return [
        Pattern(
            cause=Cause.ROAD_WIDER,
            point=across.line.point,
            line=across.line.id,
            rows=bare,
            usual=usual,
            chance=more_missed_chance(missed, len(bare), rest, len(inside), TIMES_MISSED),
            why=f"the other line read {len(bare):,} runners beyond the {across.mats} mats of this one, and {missed:,} of "
            f"them were missed, against {say_share(usual, 100)} inside",
            kind="far side",
        )
    ]
