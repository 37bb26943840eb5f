"""What sets of steps avoid, as a sum of terms: each step by itself, and what steps at one place do together.

For a stretch of road that steps A, B, … bear on, the misses after every set of them are counted; the term of a
set is what the set does beyond all its smaller sets (inclusion and exclusion).  Terms of all stretches add up, so

    avoided by any set of steps  =  sum of the terms whose steps are all in the set

exactly.  Two bad mats across the same stretch thus are worth less, or more, together than one by one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from lineproof.replacement.cash import discount_factors
from lineproof.replacement.plan import Costs
from lineproof.replacement.store import KINDS, Season, count_sets
from lineproof.vocabulary import PointKind

Floats = npt.NDArray[np.float64]
NONE: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Avoided:
    """``before`` and each term (draws, seasons, kinds of point, 3), in the columns of ``count_misses``."""

    before: Floats
    terms: Mapping[frozenset[int], Floats]

    def by(self, steps: Iterable[int]) -> Floats:
        """Crossings that a set of steps avoids, draw by draw."""
        chosen = frozenset(steps)
        return sum((term for made, term in self.terms.items() if made <= chosen), np.zeros_like(self.before))


def count_avoided(season: Season) -> Avoided:
    """Misses if nothing is done, and the terms of all steps of the season."""
    before = np.zeros((season.draws, season.seasons, len(KINDS), 3))
    terms: dict[frozenset[int], Floats] = {}
    for steps, pairs in _alike(season):
        counts = count_sets(season, pairs, _sets(season, steps))
        before += counts[NONE]
        for made in counts:
            if made:
                term = _beyond_smaller(counts, made)
                terms[made] = terms[made] + term if made in terms else term
    return Avoided(before, dict(sorted(terms.items(), key=lambda pair: sorted(pair[0]))))


def _alike(season: Season) -> Iterator[tuple[list[int], npt.NDArray[np.int64]]]:
    """Pairs on which the same steps bear, with those steps."""
    by_steps: dict[tuple[int, ...], list[int]] = {}
    places = season.places
    touched = np.array(
        [
            season.touched(places.main, step) | season.touched(places.backup, step)
            for step in range(len(season.changes))
        ]
    ).reshape(-1, len(places.main))
    for pair in range(len(places.main)):
        by_steps.setdefault(tuple(np.flatnonzero(touched[:, pair]).tolist()), []).append(pair)
    for steps, pairs in sorted(by_steps.items()):
        yield list(steps), np.array(pairs, dtype=np.int64)


def _sets(season: Season, steps: list[int]) -> list[frozenset[int]]:
    """All sets of the steps that take at most one step about each item."""
    sets = [frozenset(made) for size in range(len(steps) + 1) for made in combinations(steps, size)]
    return [made for made in sets if len({season.changes[step].item for step in made}) == len(made)]


def _beyond_smaller(counts: Mapping[frozenset[int], Floats], made: frozenset[int]) -> Floats:
    signed = (
        (-1.0) ** (len(made) - size + 1) * counts[frozenset(part)]
        for size in range(len(made) + 1)
        for part in combinations(sorted(made), size)
    )
    return np.asarray(sum(signed))


def to_money(crossings: Floats, costs: Mapping[PointKind, Costs], interest: float) -> Floats:
    """Present value (draws) of the unread crossings of ``count_misses``; they cost at the end of their season."""
    each = np.array([costs[kind].per_unseen for kind in KINDS])
    later = discount_factors(interest, crossings.shape[1])[1:]
    return np.asarray(np.einsum("dtk,k,t->d", crossings[..., 0], each, later))


def to_yearly_money(crossings: Floats, costs: Mapping[PointKind, Costs]) -> Floats:
    """Money (draws, seasons) of the unread crossings, as it comes."""
    each = np.array([costs[kind].per_unseen for kind in KINDS])
    return np.asarray(crossings[..., 0] @ each)
