"""Crowds: a point whose lines missed more the denser the runners came.

The pattern is that the lines of a point, while runners came densely, missed more than ``TIMES_USUAL`` times what the
event's lines miss of a thin field.  It is a crowd's where each of them did, and where it was very dense throughout
or they missed more when and where it was denser: a rank test of local density (runners of the same second
or so at the same place) between the missed and the read, within each line, so that no shape of the rise is assumed.
"""

from __future__ import annotations

import numpy as np
from scipy import stats

from lineproof.diagnosis.pattern import Pattern, Search, without
from lineproof.diagnosis.tries import Bools, Floats, Ints, Tries
from lineproof.event import Event
from lineproof.vocabulary import Cause
from lineproof.wording import say_share

DENSE = 45.0  # runners a minute and metre of line; common practice: beyond it tags wait for each other
TIMES_USUAL = 2.0
TIMES_EACH = 1.5  # each line of the point, so that one weak line makes no crowd
NAMED = 0.05  # chance below which a rise with density is taken to be there
VERY_DENSE = 120.0  # runners a minute and metre: two a second over each mat, shoulder to shoulder
LEAST_USUAL = 0.004
FEWEST_DENSE = 50
NEAR_US = 1_000_000


def find_crowds(tries: Tries, taken: Bools, widths: dict[str, float], event: Event) -> Search:
    """One pattern for each point with a crowd; ``widths`` of the lines in metres."""
    rows = {line.id: without(tries.rows_of[line.id], taken) for line in event.lines}
    dense = {
        line.id: rows[line.id][tries.flow[rows[line.id]] >= DENSE * widths.get(line.id, np.inf)]
        for line in event.lines
    }
    usual = _usual(tries, rows, dense)
    found, looked = [], 0
    for point in event.points:
        lines = [line.id for line in event.lines_at(point.id) if tries.told[rows[line.id]].all()]
        here = {line: dense[line] for line in lines if len(dense[line]) >= FEWEST_DENSE}
        if not here:
            continue
        looked += 1
        pattern = _pattern(tries, point.id, here, usual, widths, event)
        if pattern is not None:
            found.append(pattern)
    return Search(found, looked)


def _usual(tries: Tries, rows: dict[str, Ints], dense: dict[str, Ints]) -> dict[str, float]:
    """By role: share that the middle line misses of a thin field."""
    shares: dict[str, list[float]] = {}
    roles = tries.frame["role"].to_list()
    for line, here in rows.items():
        thin = np.setdiff1d(here, dense[line])
        if len(thin) >= FEWEST_DENSE and tries.told[thin].all():
            shares.setdefault(roles[int(thin[0])], []).append(float(tries.missed[thin].mean()))
    return {role: max(float(np.median(found)), LEAST_USUAL) for role, found in shares.items()}


def _pattern(
    tries: Tries,
    point: str,
    dense: dict[str, Ints],
    usual: dict[str, float],
    widths: dict[str, float],
    event: Event,
) -> Pattern | None:
    rows = np.concatenate(list(dense.values()))
    known = {line: usual.get(event.line(line).role.value) for line in dense}
    if any(share is None for share in known.values()):
        return None
    expected = sum(len(dense[line]) * (known[line] or 0.0) for line in dense)
    share = expected / len(rows)
    missed = int(tries.missed[rows].sum())
    each = (float(tries.missed[here].mean()) / (known[line] or 1.0) for line, here in dense.items())
    if min(each) < TIMES_EACH:
        return None
    density = np.median(np.concatenate([tries.flow[here] / widths[line] for line, here in dense.items()]))
    rise = _rise_chance(tries, list(dense.values()))
    if rise > NAMED and density < VERY_DENSE:
        return None
    shown = ", and the more the denser it was" if rise <= NAMED else f", and about {density:.0f} came"
    more = float(stats.binom.sf(missed - 1, len(rows), min(1.0, TIMES_USUAL * share)))
    return Pattern(
        cause=Cause.CROWD,
        point=point,
        line=None,
        rows=rows,
        usual=share,
        chance=more,
        why=f"while more than {DENSE:.0f} runners a minute came over each metre, {missed:,} of {len(rows):,} tries of its "
        f"lines were missed, against {say_share(share, 100)} at lines with a thin field{shown}",
    )


def _rise_chance(tries: Tries, lines: list[Ints]) -> float:
    """One-sided chance that the missed stood in so much denser company, ranks within each line (van Elteren)."""
    total = variance = 0.0
    for rows in lines:
        density = _density(tries, rows)
        placed = ~np.isnan(density)
        missed = tries.missed[rows][placed]
        n, m = int(placed.sum()), int(missed.sum())
        if m == 0 or m == n:
            continue
        ranks = stats.rankdata(density[placed])
        total += float(ranks[missed].sum() - m * (n + 1) / 2) / (n + 1)
        variance += m * (n - m) / (n - 1) * float(ranks.var()) / (n + 1) ** 2
    return float(stats.norm.sf(total / np.sqrt(variance))) if variance > 0 else 1.0


def _density(tries: Tries, rows: Ints) -> Floats:
    """Others within a second of each try at the same place or one beside it; NaN where the place is not known."""
    at, place = tries.at[rows], tries.sibling[rows]
    found = np.full(len(rows), np.nan)
    if not (place > 0).any():
        found[at >= 0] = tries.flow[rows[at >= 0]]
        return found
    for here in np.unique(place[place > 0]):
        near = np.sort(at[(np.abs(place - here) <= 1) & (place > 0)])
        mine = np.flatnonzero(place == here)
        low = np.searchsorted(near, at[mine] - NEAR_US)
        high = np.searchsorted(near, at[mine] + NEAR_US, side="right")
        found[mine] = high - low - 1
    return found
