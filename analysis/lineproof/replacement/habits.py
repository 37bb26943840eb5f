"""The rival without a purchase: the same items laid better, weak tags retired, lines kept apart.

* swap: at each event whose mats are all known the worst mats (with their cables) go where fewest cross and where the other line reads best.
  First every mat to the place where it costs least against an average partner, then each line in turn against the
  partners that it now has; each round is an assignment problem, solved exactly.  Kept only where it helps;
* weak tags: the share that the tag lists find leaves;
* spacing: lines laid too close lose the stated share of their misses.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import optimize

from lineproof.replacement.misses import ByTag, to_miss_curve, unread_shares
from lineproof.replacement.plan import Plan
from lineproof.replacement.store import Floats, Ints, Places, Season

ROUNDS = 3


@dataclass(frozen=True, slots=True)
class BetterHabits:
    """The season with better habits, what they cost each season, and how much of it is what."""

    season: Season
    cost: float
    moved: int
    close: float
    tags: float


def to_better_habits(season: Season, events: Iterable[str], runners: float, plan: Plan) -> BetterHabits:
    """``events``: of each place, in the order of the places; ``runners``: of all events of a season."""
    places, moved = _swapped(season, list(events))
    close = float(places.crossings[places.close].sum())
    found = runners * season.tags.share * season.tags.found
    cost = (
        (plan.habits.swap_cost if moved else 0.0)
        + (plan.habits.spacing_cost if close else 0.0)
        + found * season.tags.per_tag
    )
    return BetterHabits(better_season(season, places, plan), cost, moved, close, found)


def better_season(season: Season, places: Places, plan: Plan) -> Season:
    """The season with these places, weak tags that were found retired, and lines spaced out."""
    return replace(
        season,
        places=places,
        tags=replace(season.tags, share=season.tags.share * (1 - season.tags.found)),
        spacing=-float(np.log1p(-plan.habits.spacing_cures)),
    )


def _swapped(season: Season, events: list[str]) -> tuple[Places, int]:
    items = season.places.items.copy()
    moved = 0
    by_event = np.array(events)
    for event in sorted(set(events)):
        here = np.flatnonzero(by_event == event)
        pairs = np.flatnonzero(np.isin(season.places.main, here))
        if len(here) > 1 and (items[here, 0] >= 0).all():
            order = _best_order(season, here, pairs)
            moved += int((order != np.arange(len(here))).sum())
            items[here, :2] = items[here[order], :2]
    return replace(season.places, items=items), moved


def _best_order(season: Season, here: Ints, pairs: Ints) -> npt.NDArray[np.int64]:
    """Which of the mats lying ``here`` goes to each of these places."""
    table = _chances(season, here)
    at = {int(place): number for number, place in enumerate(here)}
    stretches = [
        (
            at[int(season.places.main[p])],
            at.get(int(season.places.backup[p])),
            float(season.places.crossings[p]),
        )
        for p in pairs
    ]
    start = np.arange(len(here))
    order = np.asarray(optimize.linear_sum_assignment(_costs(season, table, stretches, None))[1])
    main = np.array(sorted({m for m, _, _ in stretches}))
    backup = np.array(sorted({b for _, b, _ in stretches if b is not None}), dtype=np.int64)
    for _ in range(ROUNDS):
        for line in (main, backup):
            if len(line):
                costs = _costs(season, table, stretches, order)[np.ix_(line, order[line])]
                chosen = optimize.linear_sum_assignment(costs)[1]
                order[line] = order[line][chosen]
    better = _total(season, table, stretches, order) < _total(season, table, stretches, start) * (1 - 1e-9)
    return order if better else start


def _chances(season: Season, here: Ints) -> ByTag:
    """Expected chance of a miss next season of each mat (columns) at each place (rows)."""
    beliefs, items = season.beliefs, season.places.items
    draws = slice(0, min(len(beliefs.base), 200))
    parts = np.zeros((beliefs.base[draws].shape[0], len(here)))
    for column in (0, 1):
        known = items[here, column] >= 0
        parts[:, known] += beliefs.kept[draws, :, 0][:, items[here[known], column]]
    reader = np.zeros_like(parts)
    known = items[here, 2] >= 0
    reader[:, known] = beliefs.kept[draws, :, 0][:, items[here[known], 2]]
    logits = (beliefs.base[draws][:, here] + reader)[:, :, None] + parts[:, None, :]
    by = to_miss_curve(beliefs.scatter, season.tags).at(logits)
    return ByTag(by.good.mean(axis=0), by.weak.mean(axis=0))


def _costs(
    season: Season,
    table: ByTag,
    stretches: list[tuple[int, int | None, float]],
    order: npt.NDArray[np.int64] | None,
) -> Floats:
    """Unread crossings (places, mats) of a mat at a place, against the partners that lie there now (or an average)."""
    cost = np.zeros_like(table.good)
    for main, backup, crossings in stretches:
        pairs = [(main, backup)] if backup is None else [(main, backup), (backup, main)]
        for mine, other in pairs:
            unread = unread_shares(
                _at(table, mine, None), _partner(table, other, order), season.tags.share, season.stops
            ).unread
            cost[mine] += crossings * unread
    return cost


def _at(table: ByTag, place: int, mat: int | None) -> ByTag:
    return (
        ByTag(table.good[place], table.weak[place])
        if mat is None
        else ByTag(table.good[place, mat : mat + 1], table.weak[place, mat : mat + 1])
    )


def _partner(table: ByTag, place: int | None, order: npt.NDArray[np.int64] | None) -> ByTag | None:
    if place is None:
        return None
    if order is None:
        return ByTag(table.good[place].mean(keepdims=True), table.weak[place].mean(keepdims=True))
    return _at(table, place, int(order[place]))


def _total(
    season: Season,
    table: ByTag,
    stretches: list[tuple[int, int | None, float]],
    order: npt.NDArray[np.int64],
) -> float:
    return sum(
        crossings
        * float(
            unread_shares(
                _at(table, main, int(order[main])),
                _partner(table, backup, order),
                season.tags.share,
                season.stops,
            ).unread[0]
        )
        for main, backup, crossings in stretches
    )
