"""Which assumption carries the decision: each moved by itself, and how far it may go until the purchase breaks even.

Every number of the plan is moved to the low and the high end that ``assumptions.py`` gives for it.  Everything is
worked out again, on fewer draws but the same ones, so that only the assumption makes a difference.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import optimize

from lineproof.replacement.assumptions import ASSUMPTIONS
from lineproof.replacement.cash import break_even_factor, present_value
from lineproof.replacement.evaluation import Counts, Option, Way, Weighed, Word, settle, to_season
from lineproof.replacement.evidence import Evidence
from lineproof.replacement.habits import better_season
from lineproof.replacement.plan import Costs, Plan, Step
from lineproof.replacement.worth import count_avoided, to_money
from lineproof.vocabulary import ItemKind, PointKind

DRAWS = 150
TRIED = 3  # best sets among which a sure one is looked for, each time
RUNNERS = (0.8, 1.2)  # how far the number of runners may be off, as factors
PRICES = (0.8, 1.25)
INTEREST_TRIED = (-0.5, 20.0)

Change = Callable[[Plan, float], Plan]
# Costs that make the money of crossings their discounted number.
_ONE_EACH = {kind: Costs(0.0, 0.0, 1.0, 1.0, 0.0, 0.0) for kind in PointKind}


@dataclass(frozen=True, slots=True)
class Moved:
    """One assumption moved: the purchase's gain at either end, and whether another decision follows there.

    ``low`` and ``high`` are the values of the assumption in the unit of the plan file.
    """

    name: str
    unit: str
    now: float
    low: float
    high: float
    gain_low: float
    gain_high: float
    word_low: Word
    word_high: Word
    other_set_low: bool
    other_set_high: bool

    @property
    def swing(self) -> float:
        return abs(self.gain_high - self.gain_low)


@dataclass(frozen=True, slots=True)
class BreakEven:
    """Where the purchase gains nothing: ``value`` None where no value does that, ``holds`` while above or below it."""

    name: str
    unit: str
    now: float
    value: float | None
    holds: str


@dataclass(frozen=True, slots=True)
class Sensitivity:
    steps: frozenset[int]
    word: Word
    moved: tuple[Moved, ...]
    break_even: tuple[BreakEven, ...]


@dataclass(frozen=True, slots=True)
class _Lever:
    name: str
    unit: str
    now: float
    low: float
    high: float
    change: Change
    recount: bool


def judge_sensitivity(weighed: Weighed, evidence: Evidence, draws: int = DRAWS) -> Sensitivity:
    """Tornado and break-even of the purchase; where nothing is bought, of the step that comes nearest to paying.

    Only wishes that belong to one of the best sets are tried again.
    """
    steps = weighed.purchase.steps or nearest_step(weighed)
    tried = sorted(steps.union(*(choice.steps for choice in weighed.purchases)))
    plan = _only(weighed.plan, tried)
    mine = frozenset(tried.index(step) for step in steps)
    start = settle(plan, _count_again(plan, weighed, evidence, draws), TRIED, weighed.way)
    moved = []
    for lever in _levers(plan):
        ends = [_at(lever, value, start, weighed, evidence, draws) for value in (lever.low, lever.high)]
        # Fewer draws give a slightly different gain: what the ends add to it is kept.
        low, high = (
            weighed.added_by(steps).gain + end.added_by(mine).gain - start.added_by(mine).gain for end in ends
        )
        moved.append(
            Moved(
                name=lever.name,
                unit=lever.unit,
                now=lever.now,
                low=lever.low,
                high=lever.high,
                gain_low=low,
                gain_high=high,
                word_low=ends[0].word,
                word_high=ends[1].word,
                other_set_low=ends[0].purchase.steps != start.purchase.steps,
                other_set_high=ends[1].purchase.steps != start.purchase.steps,
            )
        )
    moved.sort(key=lambda one: (-one.swing, one.name))
    return Sensitivity(steps, start.word, tuple(moved), find_break_even(weighed, steps))


def _only(plan: Plan, steps: list[int]) -> Plan:
    """The plan with these wishes alone; needs of others are dropped with them."""
    ids = {plan.wishes[step].id for step in steps}
    wishes = tuple(
        replace(plan.wishes[step], needs=tuple(need for need in plan.wishes[step].needs if need in ids))
        for step in steps
    )
    return replace(plan, wishes=wishes)


def _count_again(plan: Plan, weighed: Weighed, evidence: Evidence, draws: int) -> Counts:
    """Counts of the ground that the purchase stands on alone; the better lay is kept as it was found."""
    season, rates = to_season(plan, evidence, evidence.laid(plan), draws)
    habits = weighed.counts.habits
    if weighed.way is Way.BOTH:
        season = better_season(season, season.places, plan)
        grown = season.places.crossings / weighed.counts.season.places.crossings
        laid = replace(habits.season.places, crossings=habits.season.places.crossings * grown)
        season = replace(season, places=laid)
    avoided = count_avoided(season)
    return Counts(season, avoided, replace(habits, season=season), avoided, rates)


def nearest_step(weighed: Weighed) -> frozenset[int]:
    """The single wish with the largest mean gain; none where there is no wish."""
    singles = [frozenset([i]) for i in range(len(weighed.plan.wishes))]
    return max(singles, key=lambda steps: weighed.added_by(steps).gain, default=frozenset())


def _at(
    lever: _Lever, value: float, start: Weighed, weighed: Weighed, evidence: Evidence, draws: int
) -> Weighed:
    changed = lever.change(start.plan, value)
    counts = _count_again(changed, weighed, evidence, draws) if lever.recount else start.counts
    return settle(changed, counts, TRIED, weighed.way)


def _levers(plan: Plan) -> Iterator[_Lever]:
    yield _Lever(
        "interest", "% a season", plan.interest * 100, plan.interest * 50, plan.interest * 200,
        lambda p, v: replace(p, interest=v / 100), False,
    )  # fmt: skip
    few, many = max(1, round(plan.horizon * 0.6)), round(plan.horizon * 1.6)
    yield _Lever("seasons looked ahead", "seasons", plan.horizon, few, many, _horizon, True)
    yield _Lever(
        "runners", "% of those planned", 100, RUNNERS[0] * 100, RUNNERS[1] * 100,
        lambda p, v: replace(p, growth=(1 + p.growth) * v / 100 - 1), True,
    )  # fmt: skip
    yield _Lever(
        "prices of the wish list", "% of those stated", 100, PRICES[0] * 100, PRICES[1] * 100, _prices, False
    )
    yield from _cost_levers(plan)
    yield from _tag_levers(plan)
    yield from _wear_levers(plan)


def _horizon(plan: Plan, seasons: float) -> Plan:
    return replace(plan, horizon=int(seasons))


def _prices(plan: Plan, per_cent: float) -> Plan:
    wishes = tuple(replace(wish, price=wish.price * per_cent / 100) for wish in plan.wishes)
    return replace(plan, wishes=wishes)


def _cost_levers(plan: Plan) -> Iterator[_Lever]:
    """Each cost, at all kinds of point together; shown as at the finish."""
    shown = list(plan.costs.values())[-1]
    for name, assumption in ASSUMPTIONS["costs"].items():
        scale = 100.0 if assumption.unit.startswith("%") else 1.0
        now = float(getattr(shown, name)) * scale
        if now == 0:
            continue
        low, high = now * assumption.low, min(now * assumption.high, assumption.most)

        def change(p: Plan, value: float, name: str = name, now: float = now) -> Plan:
            costs = {
                kind: replace(own, **{name: getattr(own, name) * value / now})
                for kind, own in p.costs.items()
            }
            return replace(p, costs=costs)

        yield _Lever(name.replace("_", " "), assumption.unit, now, low, high, change, False)


def _tag_levers(plan: Plan) -> Iterator[_Lever]:
    for name, told in (("share", "weak tags"), ("reads", "what weak tags are read at")):
        assumption = ASSUMPTIONS["weak_tags"][name]
        now = float(getattr(plan.weak_tags, name)) * 100

        def change(p: Plan, value: float, name: str = name) -> Plan:
            return replace(p, weak_tags=replace(p.weak_tags, **{name: value / 100}))

        if now > 0:
            high = min(now * assumption.high, assumption.most)
            yield _Lever(told, assumption.unit, now, now * assumption.low, high, change, True)
    for name, told in (("main", "main line out"), ("backup", "backup line out"), ("both", "both lines out")):
        assumption = ASSUMPTIONS["stops"][name]
        now = float(getattr(plan.stops, name)) * 100

        def stop(p: Plan, value: float, name: str = name) -> Plan:
            return replace(p, stops=replace(p.stops, **{name: value / 100}))

        if now > 0:
            yield _Lever(
                told, assumption.unit, now, now * assumption.low, min(now * assumption.high, 100), stop, True
            )


def _wear_levers(plan: Plan) -> Iterator[_Lever]:
    """Wear and life of new items, and chances of repair, of the kinds that the wish list names."""
    told = (
        ("wears", "wear of a {}"),
        ("loses", "loss of worth of a {}"),
        ("repair_works", "chance that repairing a {} works"),
    )
    for kind in sorted({wish.kind for wish in plan.wishes}):
        for name, words in told:
            assumption = ASSUMPTIONS[f"new.{kind}"][name]
            now = float(getattr(plan.new[kind], name)) * 100

            def change(p: Plan, value: float, name: str = name, kind: ItemKind = kind) -> Plan:
                changed: dict[str, Any] = {name: value / 100}
                return replace(p, new={**p.new, kind: replace(p.new[kind], **changed)})

            if now > 0 and (name != "repair_works" or _repairs(plan, kind)):
                high = min(now * assumption.high, assumption.most)
                words = words.format(kind)
                yield _Lever(words, assumption.unit, now, now * assumption.low, high, change, name != "loses")


def _repairs(plan: Plan, kind: ItemKind) -> bool:
    return any(wish.step is Step.REPAIR and wish.kind is kind for wish in plan.wishes)


def find_break_even(weighed: Weighed, steps: frozenset[int]) -> tuple[BreakEven, ...]:
    """Cost of an unread crossing, crossings, prices and interest at which a set of steps gains nothing."""
    if not steps:
        return ()
    plan, added = weighed.plan, weighed.added_by(steps)
    saved = float(to_money(added.avoided, plan.costs, plan.interest).mean())
    fixed = added.gain - saved
    factor = break_even_factor(fixed, saved)
    crossings = float(weighed.counts.season.places.crossings.sum())
    unread = to_money(added.avoided, _ONE_EACH, plan.interest).mean()
    each = saved / float(unread) if unread else plan.costs[PointKind.FINISH].per_unseen
    dearer = settle(_prices(plan, 200), weighed.counts, 1, weighed.way).added_by(steps).gain
    price_factor = break_even_factor(added.gain - (dearer - added.gain), dearer - added.gain)
    spending = sum(plan.wishes[i].price for i in steps)
    return (
        BreakEven("cost of an unread crossing", "money", each, _times(factor, each), "above"),
        BreakEven("crossings of a season", "crossings", crossings, _times(factor, crossings), "above"),
        BreakEven("price of all of it", "money", spending, _times(price_factor, spending), "below"),
        BreakEven("interest", "% a season", plan.interest * 100, _rate_of_return(added), "below"),
    )


def _times(factor: float | None, now: float) -> float | None:
    return None if factor is None else factor * now


def _rate_of_return(option: Option) -> float | None:
    """The interest, in per cent, at which the mean flows are worth nothing; None where there is none, or several."""
    rates = np.concatenate(
        [np.linspace(INTEREST_TRIED[0], 1, 400), np.geomspace(1.001, INTEREST_TRIED[1], 200)]
    )
    values = np.array([float(present_value(option.flows, rate)) for rate in rates])
    turns = np.flatnonzero(np.sign(values[:-1]) * np.sign(values[1:]) < 0)
    if len(turns) != 1:
        return None
    low, high = rates[turns[0]], rates[turns[0] + 1]
    return 100 * float(optimize.brentq(lambda rate: float(present_value(option.flows, rate)), low, high))
