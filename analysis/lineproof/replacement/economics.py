"""Keep or replace, season by season: what each further season of an item costs against a new one's annual cost.

The rule of replacement: an item is kept as long as its next season costs less than the smallest annual cost
of the new one.  Costs of a season are upkeep, loss of worth, interest, and the unread crossings at the
places where the item lies, whoever else lies there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lineproof.replacement.cash import (
    EconomicLife,
    find_economic_life,
    marginal_costs,
    seasons_worth_keeping,
)
from lineproof.replacement.evaluation import Counts
from lineproof.replacement.flows import worth_after
from lineproof.replacement.plan import Plan, Step
from lineproof.replacement.store import Floats, count_sets
from lineproof.replacement.worth import NONE, to_yearly_money


@dataclass(frozen=True, slots=True)
class KeepOrReplace:
    """``keep_costs`` (seasons): of each further season of the old item.  ``seasons_to_keep`` counts those that cost
    less than the new one's annual cost."""

    step: int
    keep_costs: tuple[float, ...]
    new: EconomicLife
    seasons_to_keep: int


def compare_lives(plan: Plan, counts: Counts) -> tuple[KeepOrReplace, ...]:
    """One row for each wish to replace an item that lies somewhere next season."""
    found = []
    for i, wish in enumerate(plan.wishes):
        missed = _missed(counts, plan, i)
        if wish.step is not Step.REPLACE or missed is None:
            continue
        new, after = plan.new[wish.kind], np.arange(1, plan.horizon + 1)
        old_worth = worth_after(wish.trade_in, new.loses, after)
        keep = marginal_costs(wish.trade_in, old_worth, new.upkeep_old + missed[0], plan.interest)
        lasts = min(plan.horizon, wish.life)
        challenger = find_economic_life(
            wish.price,
            worth_after(wish.price, new.loses, after[:lasts]),
            (new.upkeep + missed[1])[:lasts],
            plan.interest,
        )
        found.append(
            KeepOrReplace(
                i, tuple(map(float, keep)), challenger, seasons_worth_keeping(keep, challenger.annual_cost)
            )
        )
    return tuple(found)


def _missed(counts: Counts, plan: Plan, step: int) -> tuple[Floats, Floats] | None:
    """Mean money of unread crossings (seasons) at the item's places, kept and with the step; None: it lies nowhere.

    All other items are held as they are next season, so that the costs of an age are the item's own.
    """
    season, places = counts.season, counts.season.places
    pairs = np.flatnonzero(season.touched(places.main, step) | season.touched(places.backup, step))
    item = season.changes[step].item
    if not len(pairs) or item is None:
        return None
    held = np.repeat(season.beliefs.kept[:, :, :1], season.seasons, axis=2)
    held[:, item] = season.beliefs.kept[:, item]
    still = replace(season, beliefs=replace(season.beliefs, kept=held))
    by = count_sets(still, pairs, [NONE, frozenset([step])])
    kept, new = (to_yearly_money(crossings, plan.costs).mean(axis=0) for crossings in by.values())
    return kept, new
