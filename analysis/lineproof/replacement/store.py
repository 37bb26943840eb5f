"""What next season's counts rest on: places, the items in them, and what is believed of each, in draws.

Everything uncertain is an array over draws (D) from the season's posterior, so that differences between
plans are taken draw by draw and nothing that they share is counted twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lineproof.replacement.misses import ByTag, MissCurve, Shares, to_miss_curve, unread_shares
from lineproof.replacement.plan import Stops, WeakTags
from lineproof.vocabulary import PointKind

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Steps = frozenset[int]

KINDS = tuple(PointKind)
CHUNK = 2_000_000  # chances held at once


@dataclass(frozen=True, slots=True)
class Places:
    """Places of mats next season, and which of them the same runners cross.

    ``items`` (places, 3): mat, cable and reader as numbers of the store, -1 where not known.  A pair is a
    stretch of the road: ``main`` and ``backup`` (-1: no second line) are places, ``crossings`` runners
    over the stretch in the season, ``kind`` the number of the kind of point, ``close`` lines laid too close.
    """

    items: Ints
    main: Ints
    backup: Ints
    crossings: Floats
    kind: Ints
    close: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Beliefs:
    """``base`` (draws, places): logit of a miss without the items' own parts; ``kept`` (draws, items,
    seasons): part of each item if it is kept; ``scatter``: standard deviation of a single place on a single day."""

    base: Floats
    kept: Floats
    scatter: float


@dataclass(frozen=True, slots=True)
class Change:
    """One step's effect on one item: its part (draws, seasons) from the first season on; None changes nothing."""

    item: int | None
    part: Floats | None


@dataclass(frozen=True, slots=True)
class Season:
    """All that the expected misses of coming seasons follow from.  ``growth``: crossings as a factor."""

    places: Places
    beliefs: Beliefs
    changes: tuple[Change, ...]
    tags: WeakTags
    stops: Stops
    spacing: float = 0.0  # logit that lines laid too close lose where they are spaced out

    @property
    def draws(self) -> int:
        return len(self.beliefs.base)

    @property
    def seasons(self) -> int:
        return int(self.beliefs.kept.shape[2])

    def touched(self, at: Ints, step: int) -> npt.NDArray[np.bool_]:
        """Which of the places ``at`` (-1: none) a step bears on."""
        item = self.changes[step].item
        if item is None:
            return np.zeros(len(at), dtype=bool)
        return np.asarray((self.places.items[at] == item).any(axis=1) & (at >= 0))


def count_sets(season: Season, pairs: Ints, sets: Sequence[Steps]) -> dict[Steps, Floats]:
    """Expected crossings missed on the pairs, for each set of steps that is taken.

    Each is (draws, seasons, kinds of point, 3): read by no line, by one line only, by no line with a weak tag.
    A line is worked out once for all sets that leave it alike.
    """
    found = {steps: np.zeros((season.draws, season.seasons, len(KINDS), 3)) for steps in sets}
    curve = to_miss_curve(season.beliefs.scatter, season.tags)
    two = season.places.backup[pairs] >= 0
    for alone, mine in ((True, pairs[~two]), (False, pairs[two])):
        if not len(mine):
            continue
        sides = (
            [season.places.main[mine]] if alone else [season.places.main[mine], season.places.backup[mine]]
        )
        bearing = [_bearing(season, at, sets) for at in sides]
        rows = max(1, CHUNK // (len(mine) * season.seasons))
        for begin in range(0, season.draws, rows):
            part = slice(begin, begin + rows)
            lines = [
                {own: _line(season, at, mine, own, curve, part) for own in set(of.values())}
                for at, of in zip(sides, bearing, strict=True)
            ]
            for steps in sets:
                by = [side[of[steps]] for side, of in zip(lines, bearing, strict=True)]
                shares = unread_shares(by[0], None if alone else by[1], season.tags.share, season.stops)
                _add(found[steps][part], shares, season, mine)
    return found


def _bearing(season: Season, at: Ints, sets: Sequence[Steps]) -> dict[Steps, Steps]:
    """Of each set the steps that bear on any of the places."""
    bears = {step for steps in sets for step in steps if season.touched(at, step).any()}
    return {steps: steps & bears for steps in sets}


def _line(season: Season, at: Ints, pairs: Ints, steps: Steps, curve: MissCurve, part: slice) -> ByTag:
    """Chances of a miss (draws, pairs, seasons) at the places ``at`` of the pairs once the steps are taken."""
    close = season.places.close[pairs]
    usual = season.beliefs.base[part][:, at, None] - season.spacing * close[None, :, None]
    logits = np.repeat(usual, season.seasons, axis=2)
    changed = {season.changes[step].item: season.changes[step].part for step in sorted(steps)}
    for column in range(season.places.items.shape[1]):
        items = season.places.items[at, column]
        known = items >= 0
        if known.any():
            logits[:, known] += season.beliefs.kept[part][:, items[known]]
        for item, new in changed.items():
            here = items == item
            if item is not None and new is not None and here.any():
                logits[:, here] += (new[part] - season.beliefs.kept[part][:, item])[:, None, :]
    return curve.at(logits)


def _add(total: Floats, shares: Shares, season: Season, pairs: Ints) -> None:
    """Add the crossings of the pairs to ``total`` (draws, seasons, kinds, 3), by kind of point."""
    weight, kinds = season.places.crossings[pairs], season.places.kind[pairs]
    for kind in np.unique(kinds):
        of = kinds == kind
        for column, share in enumerate((shares.unread, shares.single, shares.weak)):
            total[:, :, kind, column] += np.einsum("dpt,p->dt", share[:, of], weight[of])


def count_misses(season: Season, pairs: Ints, steps: Sequence[int] = ()) -> Floats:
    """``count_sets`` of one set."""
    taken = frozenset(steps)
    return count_sets(season, pairs, [taken])[taken]
