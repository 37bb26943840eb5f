"""A plan weighed: four ways to go on, each with its money, its chance of saving, and its exact best purchase.

    nothing      leave everything as it is
    habits       no purchase, but items laid better, weak tags retired, lines kept apart
    buy          the best purchase under the budget, habits as they are
    both         better habits, and the best purchase on top of them

All four are weighed on the same draws, so their differences carry no noise of the drawing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt
import polars as pl

from lineproof.replacement.beliefs import NewRate, to_beliefs, to_changes, to_new_rate
from lineproof.replacement.cash import chance_of_saving, present_value
from lineproof.replacement.choice import Choice, Offer, Tier, choose_best
from lineproof.replacement.evidence import Evidence, runners_in, uses_in
from lineproof.replacement.flows import price_today, to_step_flows
from lineproof.replacement.habits import BetterHabits, to_better_habits
from lineproof.replacement.places import to_places
from lineproof.replacement.plan import JUDGED_KINDS, Plan, Step
from lineproof.replacement.store import Season
from lineproof.replacement.worth import Avoided, count_avoided, to_money, to_yearly_money
from lineproof.vocabulary import ItemKind

Floats = npt.NDArray[np.float64]
NEXT_BEST = 4
CENT, TINY = 0.01, 1e-6
NONE: frozenset[int] = frozenset()
LOW, HIGH = 0.05, 0.95


class Way(StrEnum):
    NOTHING = "do nothing"
    HABITS = "better habits, no purchase"
    BUY = "buy, habits as they are"
    BOTH = "better habits, and buy"


# What each way that buys is held against.
GROUND = {Way.BUY: Way.NOTHING, Way.BOTH: Way.HABITS}


class Word(StrEnum):
    """The decision on the purchase."""

    BUY = "buy"
    LEAVE = "do not buy"
    UNSURE = "cannot tell yet"


@dataclass(frozen=True, slots=True)
class Option:
    """One way to go on.  ``values`` (draws): money of today that it brings over the horizon against doing nothing.

    ``flows`` (seasons + 1): mean money as it comes, savings on unread crossings in it; ``avoided`` (draws, seasons,
    kinds, 3) as ``count_misses``.
    """

    way: Way
    steps: frozenset[int]
    spending: float
    values: Floats
    flows: Floats
    avoided: Floats

    @property
    def gain(self) -> float:
        return float(self.values.mean())

    @property
    def chance(self) -> float:
        return chance_of_saving(self.values)

    @property
    def span(self) -> tuple[float, float]:
        """Between these lies the gain with 90 %."""
        low, high = np.quantile(self.values, [LOW, HIGH])
        return float(low), float(high)


@dataclass(frozen=True, slots=True)
class Counts:
    """Crossings as things stand and with better habits, what steps avoid in either, and what the habits cost."""

    season: Season
    avoided: Avoided
    habits: BetterHabits
    avoided_with_habits: Avoided
    rates: Mapping[ItemKind, NewRate | None]

    def of(self, way: Way) -> Avoided:
        return self.avoided_with_habits if way in (Way.BOTH, Way.HABITS) else self.avoided


@dataclass(frozen=True, slots=True)
class Weighed:
    """Everything that follows from one plan.

    ``way`` is the one that buys: on top of better habits where these gain anything.  ``purchases`` are the best sets
    on its ground, best first; the option of a way takes the first of them that is as sure as the plan asks.  ``options`` may lack ways that were not asked for.
    """

    plan: Plan
    counts: Counts
    step_flows: Floats
    way: Way
    purchases: tuple[Choice, ...]
    options: Mapping[Way, Option]

    @property
    def best(self) -> Option:
        """The way with the largest mean gain; of equals the one that does less."""
        return max(self.options.values(), key=lambda option: option.gain)

    @property
    def purchase(self) -> Option:
        """The best purchase, with what it stands on."""
        return self.options[self.way]

    @property
    def ground(self) -> Option:
        """What the purchase is held against: the same habits without it."""
        return self.options[GROUND[self.way]]

    def added_by(self, steps: frozenset[int]) -> Option:
        """What a set of steps brings beyond the ground."""
        ground = self.ground
        whole = to_option(self.plan, self.counts, self.step_flows, self.way, steps)
        return Option(
            self.way,
            steps,
            whole.spending,
            whole.values - ground.values,
            whole.flows - ground.flows,
            whole.avoided - ground.avoided,
        )

    @property
    def added(self) -> Option:
        """What the best purchase brings beyond the ground."""
        return self.added_by(self.purchase.steps)

    @property
    def word(self) -> Word:
        """Buy only where it gains, and surely enough."""
        added = self.added
        if not added.steps or added.gain <= 0:
            return Word.LEAVE
        return Word.BUY if added.chance >= self.plan.certainty else Word.UNSURE


def weigh(plan: Plan, evidence: Evidence, draws: int | None = None, next_best: int = NEXT_BEST) -> Weighed:
    """Weigh a plan against the ledger's evidence, on the first ``draws`` draws of its posterior."""
    return settle(plan, count_all(plan, evidence, draws), next_best)


def count_all(plan: Plan, evidence: Evidence, draws: int | None = None) -> Counts:
    """Everything about a plan that does not depend on money."""
    laid = evidence.laid(plan)
    season, rates = to_season(plan, evidence, laid, draws)
    runners = runners_in(laid) * (1 + plan.growth)
    habits = to_better_habits(season, laid["event"].to_list(), runners, plan)
    return Counts(season, count_avoided(season), habits, count_avoided(habits.season), rates)


def to_season(
    plan: Plan, evidence: Evidence, laid: pl.DataFrame, draws: int | None
) -> tuple[Season, Mapping[ItemKind, NewRate | None]]:
    """Next season as planned, habits as they are, and what new items are taken for."""
    model = evidence.model
    beliefs = to_beliefs(model, laid["rest"].to_numpy(), uses_in(laid), plan, draws)
    rates = {
        kind: to_new_rate(model, kind, plan, evidence.young(kind, plan.young_seasons))
        for kind in JUDGED_KINDS
    }
    places = to_places(laid, model.names, plan.habits.close_m, plan.growth)
    changes = to_changes(model, beliefs, rates, plan)
    return Season(places, beliefs, changes, plan.weak_tags, plan.stops), rates


def settle(plan: Plan, counts: Counts, next_best: int = NEXT_BEST, way: Way | None = None) -> Weighed:
    """From counts to money and choices; the counts may come from a plan with other prices.

    ``way``: the only way to weigh, with its ground; None weighs all four and buys on the better ground.
    """
    flows = np.array([to_step_flows(wish, plan) for wish in plan.wishes]).reshape(-1, plan.horizon + 1)
    if way is None:
        with_habits = to_option(plan, counts, flows, Way.HABITS, NONE).gain > 0
        ways, chosen = tuple(Way), Way.BOTH if with_habits else Way.BUY
    else:
        ways, chosen = (GROUND[way], way), way
    options = {each: to_option(plan, counts, flows, each, NONE) for each in ways if each not in GROUND}
    purchases: dict[Way, tuple[Choice, ...]] = {}
    for each in (way for way in ways if way in GROUND):
        purchases[each] = tuple(choose_best(to_offer(plan, flows, counts.of(each)), next_best))
        sets = [to_option(plan, counts, flows, each, choice.steps) for choice in purchases[each]]
        options[each] = _surest(sets, options[GROUND[each]], plan.certainty)
    return Weighed(plan, counts, flows, chosen, purchases[chosen], {way: options[way] for way in ways})


def _surest(sets: list[Option], ground: Option, certainty: float) -> Option:
    """The first of the best sets that gains, and surely enough; the very best where none is sure enough."""
    for option in sets:
        added = option.values - ground.values
        if option.steps and float(added.mean()) > 0 and chance_of_saving(added) >= certainty:
            return option
    return sets[0]


def to_option(plan: Plan, counts: Counts, flows: Floats, way: Way, steps: frozenset[int]) -> Option:
    """What a way brings against doing nothing, draw by draw."""
    counted, with_habits = counts.of(way), way in (Way.HABITS, Way.BOTH)
    crossings = counted.by(steps) + (counts.avoided.before - counted.before)
    spending = to_offer(plan, flows, counted).spending(steps)
    money = flows[sorted(steps)].sum(axis=0)
    money[0] += sum(price_today(plan.wishes[i]) for i in steps) - spending  # the discount
    if with_habits:
        money[1:] -= counts.habits.cost
    by_season = to_yearly_money(crossings, plan.costs).mean(axis=0)
    values = to_money(crossings, plan.costs, plan.interest) + float(present_value(money, plan.interest))
    return Option(way, steps, spending, values, money + np.concatenate([[0.0], by_season]), crossings)


def to_offer(plan: Plan, flows: Floats, avoided: Avoided) -> Offer:
    """The choice that the wish list and the budget leave; worth is the mean over the draws."""
    prices = np.array([price_today(wish) for wish in plan.wishes], dtype=np.float64)
    worth = {
        term: float(to_money(crossings, plan.costs, plan.interest).mean())
        for term, crossings in avoided.terms.items()
    }
    for i, money in enumerate(flows):
        later = float(present_value(money, plan.interest)) + prices[i]
        worth[frozenset([i])] = worth.get(frozenset([i]), 0.0) + later
    number = {wish.id: i for i, wish in enumerate(plan.wishes)}
    by_item: dict[str, set[int]] = {}
    for i, wish in enumerate(plan.wishes):
        if wish.item is not None:
            by_item.setdefault(wish.item, set()).add(i)
    return Offer(
        prices,
        worth,
        plan.budget,
        needs={
            i: frozenset(number[need] for need in wish.needs)
            for i, wish in enumerate(plan.wishes)
            if wish.needs
        },
        either=[frozenset(steps) for steps in by_item.values() if len(steps) > 1],
        groups={
            i: wish.group
            for i, wish in enumerate(plan.wishes)
            if wish.group is not None and wish.step in (Step.REPLACE, Step.SPARE)
        },
        tiers=[Tier(d.group, d.least, d.share) for d in plan.discounts],
    )


def with_budget(weighed: Weighed, budget: float) -> Choice:
    """The best purchase with another budget, on the same ground."""
    counted = weighed.counts.of(weighed.way)
    plan = replace(weighed.plan, budget=budget)
    return choose_best(to_offer(plan, weighed.step_flows, counted))[0]


def more_money(weighed: Weighed) -> tuple[float, Choice] | None:
    """The smallest further money that buys a better set, and that set; None where more money brings nothing.

    The best gain never falls as the budget grows, so its next step is found by halving, to a hundredth.
    """
    low, high = weighed.plan.budget, weighed.plan.budget + sum(map(price_today, weighed.plan.wishes))
    now, best = with_budget(weighed, low), with_budget(weighed, high)
    if best.gain <= now.gain + TINY:
        return None
    better = best
    while high - low > CENT:
        middle = (low + high) / 2
        found = with_budget(weighed, middle)
        if found.gain > now.gain + TINY:
            high, better = middle, found
        else:
            low = middle
    return better.spending - weighed.plan.budget, better
