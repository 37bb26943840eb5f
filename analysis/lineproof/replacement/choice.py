"""What to buy under a budget: the exact best set of steps, by integer programming.

A step is one thing one may do: replace, repair or rent an item, or buy a spare.  What a set of steps
is worth is a sum of terms; a term is earned when all of its steps are taken, so steps that work on the
same crossings can help or replace each other (negative terms).  Every product of 0/1 choices becomes
one more variable z with

    z <= x_i for each step i of the term,   z >= sum x_i - (steps - 1)

which makes the sum linear without changing it: the optimum is exact, not nearly so.  Quantity
discounts are amounts of money spent at a tier, likewise linear.  The programme is solved by branch and
bound (``scipy.optimize.milp``); the next-best sets follow by forbidding each set already found.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy import optimize, sparse

MOST_BY_HAND = 18  # steps that brute force may try: 262,144 sets
TINY = 1e-6


@dataclass(frozen=True, slots=True)
class Tier:
    """``discount`` (a share) on all spending in ``group`` once ``least`` of its steps are taken."""

    group: str
    least: int
    discount: float


@dataclass(frozen=True, slots=True)
class Offer:
    """Everything a choice is made from.

    ``prices`` is what each step costs today, ``worth`` what a set of steps brings later (money of today,
    the price not taken off).  ``needs[i]`` are steps of which at least one must go with step i.
    ``either`` are groups of which at most one step may be taken.  ``groups`` names the discount group of
    a step.  ``must`` are steps already settled.
    """

    prices: npt.NDArray[np.float64]
    worth: Mapping[frozenset[int], float]
    budget: float
    needs: Mapping[int, frozenset[int]] = field(default_factory=dict)
    either: Sequence[frozenset[int]] = ()
    groups: Mapping[int, str] = field(default_factory=dict)
    tiers: Sequence[Tier] = ()
    must: frozenset[int] = frozenset()

    @property
    def steps(self) -> int:
        return len(self.prices)

    def spending(self, chosen: frozenset[int]) -> float:
        """What the set costs today, the best discount tier that it reaches taken off."""
        whole = float(self.prices[sorted(chosen)].sum())
        return whole - sum(self._rebate(group, chosen) for group in sorted(set(self.groups.values())))

    def _rebate(self, group: str, chosen: frozenset[int]) -> float:
        mine = [i for i in chosen if self.groups.get(i) == group]
        reached = [t.discount for t in self.tiers if t.group == group and t.least <= len(mine)]
        return max(reached, default=0.0) * float(self.prices[mine].sum())

    def gain(self, chosen: frozenset[int]) -> float:
        """Worth of the set less what it costs."""
        return sum(w for term, w in self.worth.items() if term <= chosen) - self.spending(chosen)

    def allows(self, chosen: frozenset[int]) -> bool:
        return (
            self.must <= chosen
            and self.spending(chosen) <= self.budget + TINY
            and all(self.needs[i] & chosen for i in chosen if i in self.needs)
            and all(len(group & chosen) <= 1 for group in self.either)
        )


@dataclass(frozen=True, slots=True)
class Choice:
    """A set of steps, what it costs today and what it gains over taking none."""

    steps: frozenset[int]
    spending: float
    gain: float


def choose_best(offer: Offer, count: int = 1) -> list[Choice]:
    """The ``count`` best sets, best first; fewer where fewer are allowed.

    Of sets that gain the same, whichever the solver meets first.  Raises ``ValueError`` where the
    settled steps alone break the budget or the rules.
    """
    found: list[Choice] = []
    if not offer.steps:
        return [Choice(frozenset(), 0.0, 0.0)]
    while len(found) < count:
        chosen = _Programme(offer).solve([choice.steps for choice in found])
        if chosen is None:
            break
        found.append(Choice(chosen, offer.spending(chosen), offer.gain(chosen)))
    if not found:
        raise ValueError("the steps already settled break the budget or the rules")
    return found


def choose_by_hand(offer: Offer) -> Choice:
    """The best set by trying all of them: slow, plain, and the check of ``choose_best``."""
    if offer.steps > MOST_BY_HAND:
        raise ValueError(f"too many steps to try all sets: {offer.steps}")
    sets = (frozenset(s) for n in range(offer.steps + 1) for s in combinations(range(offer.steps), n))
    best = max((s for s in sets if offer.allows(s)), key=offer.gain)
    return Choice(best, offer.spending(best), offer.gain(best))


def choose_greedily(offer: Offer) -> Choice:
    """Take the step with the most gain per unit of money, again and again: what a hurried buyer does."""
    chosen = offer.must
    while True:
        here = offer.gain(chosen)
        better = [
            ((offer.gain(chosen | {i}) - here) / max(offer.prices[i], TINY), -i)
            for i in set(range(offer.steps)) - chosen
            if offer.allows(chosen | {i}) and offer.gain(chosen | {i}) > here + TINY
        ]
        if not better:
            return Choice(chosen, offer.spending(chosen), offer.gain(chosen))
        chosen = chosen | {-max(better)[1]}


class _Programme:
    """The integer programme of one offer; variables are steps, then terms, then tiers and their money."""

    def __init__(self, offer: Offer) -> None:
        self.offer = offer
        self.terms = [t for t in sorted(offer.worth, key=sorted) if len(t) > 1]
        self.tiers = [t for t in offer.tiers if t.group in offer.groups.values()]
        n, k, m = offer.steps, len(self.terms), len(self.tiers)
        self.at_term, self.at_tier, self.at_money = n, n + k, n + k + m
        self.size = n + k + 2 * m
        self.rows: list[tuple[dict[int, float], float, float]] = []

    def solve(self, forbidden: Sequence[frozenset[int]]) -> frozenset[int] | None:
        self._limit_terms()
        self._limit_tiers()
        self._limit_money()
        self._limit_steps(forbidden)
        matrix = sparse.lil_array((len(self.rows), self.size))
        for r, (row, _, _) in enumerate(self.rows):
            for column, value in row.items():
                matrix[r, column] = value
        result = optimize.milp(
            -self._objective(),
            constraints=optimize.LinearConstraint(
                matrix.tocsr(), [row[1] for row in self.rows], [row[2] for row in self.rows]
            ),
            integrality=self._whole(),
            bounds=optimize.Bounds(self._lowest(), self._highest()),
            options={"mip_rel_gap": 0.0},
        )
        if result.x is None:
            return None
        return frozenset(int(i) for i in np.flatnonzero(result.x[: self.offer.steps] > 0.5))

    def _objective(self) -> npt.NDArray[np.float64]:
        gains = np.zeros(self.size)
        gains[: self.offer.steps] = -self.offer.prices
        for term, worth in self.offer.worth.items():
            if len(term) == 1:
                gains[next(iter(term))] += worth
        gains[self.at_term : self.at_tier] = [self.offer.worth[term] for term in self.terms]
        gains[self.at_money :] = [tier.discount for tier in self.tiers]
        return gains

    def _whole(self) -> npt.NDArray[np.int_]:
        whole = np.ones(self.size, dtype=int)
        whole[self.at_term : self.at_tier] = 0  # they are whole by themselves when the steps are
        whole[self.at_money :] = 0
        return whole

    def _lowest(self) -> npt.NDArray[np.float64]:
        low = np.zeros(self.size)
        low[sorted(self.offer.must)] = 1
        return low

    def _highest(self) -> npt.NDArray[np.float64]:
        high = np.ones(self.size)
        high[self.at_money :] = np.inf
        return high

    def _limit_terms(self) -> None:
        for z, term in enumerate(self.terms, start=self.at_term):
            self.rows += [({z: 1.0, i: -1.0}, -np.inf, 0.0) for i in term]
            self.rows.append(({z: 1.0, **dict.fromkeys(term, -1.0)}, 1.0 - len(term), np.inf))

    def _limit_tiers(self) -> None:
        """A tier holds only with enough steps, one tier a group; its money is at most the group's."""
        for t, tier in enumerate(self.tiers):
            mine = [i for i, group in self.offer.groups.items() if group == tier.group]
            whole = float(self.offer.prices[mine].sum())
            y, money = self.at_tier + t, self.at_money + t
            self.rows.append(({y: float(tier.least), **dict.fromkeys(mine, -1.0)}, -np.inf, 0.0))
            self.rows.append(({money: 1.0, y: -whole}, -np.inf, 0.0))
            self.rows.append(({money: 1.0, **{i: -self.offer.prices[i] for i in mine}}, -np.inf, 0.0))
        for group in {tier.group for tier in self.tiers}:
            held = {self.at_tier + t: 1.0 for t, tier in enumerate(self.tiers) if tier.group == group}
            self.rows.append((held, -np.inf, 1.0))

    def _limit_money(self) -> None:
        spent = {i: float(price) for i, price in enumerate(self.offer.prices)}
        saved = {self.at_money + t: -tier.discount for t, tier in enumerate(self.tiers)}
        self.rows.append(({**spent, **saved}, -np.inf, self.offer.budget))

    def _limit_steps(self, forbidden: Sequence[frozenset[int]]) -> None:
        for step, helpers in self.offer.needs.items():
            self.rows.append(({step: 1.0, **dict.fromkeys(helpers, -1.0)}, -np.inf, 0.0))
        self.rows += [(dict.fromkeys(group, 1.0), -np.inf, 1.0) for group in self.offer.either if group]
        for old in forbidden:
            row = {i: 1.0 if i in old else -1.0 for i in range(self.offer.steps)}
            self.rows.append((row, -np.inf, len(old) - 1.0))
