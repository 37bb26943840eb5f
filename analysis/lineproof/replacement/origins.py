"""Where the crossings that no line reads come from: how much of them no mat can cure is said first.

Counted for the coming season as planned, nothing bought:

    stopped   they would have been read had no line stood still (power, laid late, lifted early)
    weak      weak tags, with every item as a new one
    chance    good tags, with every item as a new one
    curable   the rest: what new items in place of all would have read
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from lineproof.replacement.beliefs import NewRate
from lineproof.replacement.plan import Stops
from lineproof.replacement.store import Floats, Season, count_sets
from lineproof.replacement.worth import NONE
from lineproof.vocabulary import ItemKind


@dataclass(frozen=True, slots=True)
class Origins:
    """Expected crossings of the coming season that no line reads, by what would have read them."""

    crossings: float
    unread: float
    stopped: float
    weak: float
    chance: float
    curable: float

    @property
    def beyond_mats(self) -> float:
        """What no purchase of items can change."""
        return self.stopped + self.weak + self.chance


def find_origins(season: Season, rates: Mapping[ItemKind, NewRate | None], kinds: tuple[str, ...]) -> Origins:
    """``kinds``: of the items, in the order of the season's beliefs."""
    first = _first_season(season)
    running = replace(first, stops=Stops(0.0, 0.0, 0.0))
    unread, working = (_unread(each)[0] for each in (first, running))
    renewed, weak = _unread(
        replace(running, beliefs=replace(running.beliefs, kept=_as_new(running, rates, kinds)))
    )
    return Origins(
        crossings=float(season.places.crossings.sum()),
        unread=unread,
        stopped=unread - working,
        weak=weak,
        chance=min(renewed, working) - weak,
        curable=max(working - renewed, 0.0),
    )


def _first_season(season: Season) -> Season:
    return replace(season, beliefs=replace(season.beliefs, kept=season.beliefs.kept[:, :, :1]), changes=())


def _unread(season: Season) -> tuple[float, float]:
    """Mean over the draws: all unread crossings, and those with a weak tag."""
    found = count_sets(season, np.arange(len(season.places.main)), [NONE])[NONE].mean(axis=0)[0].sum(axis=0)
    return float(found[0]), float(found[2])


def _as_new(season: Season, rates: Mapping[ItemKind, NewRate | None], kinds: tuple[str, ...]) -> Floats:
    kept = season.beliefs.kept.copy()
    for number, kind in enumerate(kinds):
        rate = rates.get(ItemKind(kind))
        if rate is not None:
            kept[:, number] = rate.mean
    return kept
