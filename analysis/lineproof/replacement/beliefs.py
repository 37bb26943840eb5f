"""What is believed of each item in coming seasons, kept or new, from the season's item model.

* kept: its part of the logit of a miss, plus its trend in the share of the draws in which the trend is taken for real (up to
  a limit), plus the wear that the plan takes for items of its kind;
* new: a draw from the young items of the ledger, or from the stated rate with its range; then it wears likewise;
* repaired: with the stated chance as a new item, else as it was.

Parts are drawn from the posterior of the season, 2,000 times.  Where the items of a kind are drawn
higher, the rest is taken lower by their mean: the season's misses as a whole are known far better than their parts.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import optimize

from lineproof.replacement.plan import Plan, Step, Wish
from lineproof.replacement.store import Beliefs, Change, Floats
from lineproof.season.effects import ItemModel
from lineproof.season.standardising import Conditions, to_rates
from lineproof.vocabulary import ItemKind

DAYS_A_YEAR = 365.25
FEWEST_YOUNG = 3
NORMAL_95 = 1.959964  # half the width of a 95 % range, in standard deviations
MAD_TO_SD = 1.4826
# A trend is not drawn out for ever: an item whose odds of a miss have grown five-fold is noticed and dealt with.
MOST_GROWTH = float(np.log(5))
TREND_SHARE = 0.05  # of items get worse over a season, before anything is seen of them
SEED = 20310901


@dataclass(frozen=True, slots=True)
class NewRate:
    """What new items of a kind are taken for: middle and spread of their part of the logit, by draw.

    Draw by draw, because an item is known better against the others of its kind than by itself.
    """

    kind: ItemKind
    middle: Floats
    spread: Floats
    young: tuple[str, ...]
    stated: bool

    @property
    def mean(self) -> float:
        return float(self.middle.mean())


def to_beliefs(
    model: ItemModel, rest: Floats, uses: Mapping[str, float], plan: Plan, draws: int | None = None
) -> Beliefs:
    """Beliefs of the items in the order of ``model.names``, for places with logits ``rest`` (places,).

    ``uses``: events of a season at which an item lies, for its trend.
    """
    count = len(model.draws) if draws is None else min(draws, len(model.draws))
    base = rest[None, :] - _shift(model)[:count, None]
    middle: Floats = (
        np.arange(plan.horizon, dtype=np.float64) + 0.5
    )  # seasons from the last use to the middle of each coming one
    rng = np.random.default_rng(SEED)
    kept = np.empty((count, len(model.names), plan.horizon))
    for number, (name, kind) in enumerate(zip(model.names, model.kinds, strict=True)):
        own = _course(model, number, uses.get(name, 0.0), middle, rng)[:count]
        kept[:, number] = own + np.log1p(plan.new[ItemKind(kind)].wears) * middle
    return Beliefs(base, kept, model.spreads.cell)


def _shift(model: ItemModel) -> Floats:
    """By how much the rest is lower in a draw in which the items in use are higher."""
    shift = np.zeros(len(model.draws))
    tried = model.cells["tried_at_work"].to_numpy()
    for kind in sorted(set(model.kinds)):
        mine = [n for n, other in enumerate(model.kinds) if other == kind]
        level = {model.names[n]: place for place, n in enumerate(mine)}
        at = np.array([level.get(word, -1) for word in model.cells[kind].to_list()])
        share = np.bincount(at[at >= 0], tried[at >= 0], len(mine)) / tried.sum()
        shift += (model.draws[:, mine] - model.mean[mine]) @ share
    return shift


def _course(model: ItemModel, number: int, uses: float, middle: Floats, rng: np.random.Generator) -> Floats:
    """An item's part (draws, seasons) if it is kept, the plan's wear left out.

    A trend, found or not, is real in a share of the draws (``_chance_of_trend``): there the item goes on getting worse,
    to ``MOST_GROWTH`` at most; in the others it stays as it was on average.
    """
    steady = model.draws[:, number]
    trend = model.trends.get(model.names[number])
    if trend is None:
        return np.repeat(steady[:, None], len(middle), axis=1)
    noise, now = rng.standard_normal(len(steady)), model.now[:, number]
    if trend.found:  # ``now`` is the state at the last use; drawn high, it was drawn on a steep slope
        spread = float(now.std())
        tie = min(trend.late * trend.std_error / spread, 1.0) if spread > 0 else 0.0
        steep = tie * (now - now.mean()) / (spread or 1.0) + np.sqrt(1 - tie**2) * noise
        ahead = uses * middle
    else:
        steep, ahead = noise, trend.late + uses * middle
    growth = (trend.slope + trend.std_error * steep)[:, None] * ahead
    real = rng.random(len(now)) < _chance_of_trend(trend.chance)
    worse = now[:, None] + np.minimum(growth, MOST_GROWTH)
    return np.asarray(np.where(real[:, None], worse, steady[:, None]))


def _chance_of_trend(chance: float) -> float:
    """That an item's trend is real, from the chance of such data without any.

    Prior odds of ``TREND_SHARE`` times the most that a p-value can speak for a trend, -1 / (e p ln p)
    (Sellke, Bayarri & Berger 2001, Am Stat 55:62-71, from memory).
    """
    p = max(chance, 1e-12)
    speaks = -1 / (np.e * p * np.log(p)) if p < np.exp(-1) else 1.0
    odds = TREND_SHARE / (1 - TREND_SHARE) * speaks
    return float(odds / (1 + odds))


def young_items(
    equipment: pl.DataFrame, kind: ItemKind, last_day: dt.date, seasons: float
) -> tuple[str, ...]:
    """Items of the kind bought within so many seasons before the last event, by the newest register."""
    if equipment.is_empty():
        return ()
    newest = equipment.sort("event").unique("item", keep="last", maintain_order=True)
    days = (pl.lit(last_day) - pl.col("bought")).dt.total_days()
    young = newest.filter(
        pl.col("kind").cast(pl.String) == kind.value, days.is_between(0, seasons * DAYS_A_YEAR)
    )
    return tuple(young["item"].sort().to_list())


def to_new_rate(model: ItemModel, kind: ItemKind, plan: Plan, young: tuple[str, ...]) -> NewRate | None:
    """What a new item of the kind is taken for; None where the season tells nothing of the kind.

    With three young items or more that the model knows: their mean and spread.  Else the middle item of
    the kind and the middle half's spread, so that a few bad items do not count.
    """
    stated = plan.new[kind].reads
    count = len(model.draws)
    mine = [n for n, other in enumerate(model.kinds) if other == kind.value]
    if stated is not None and kind.value in model.conditions:
        best, low, high = (_part_of_rate(model.conditions[kind.value], rate) for rate in stated)
        half = abs(low - high) / (2 * NORMAL_95)
        return NewRate(kind, np.full(count, best), np.full(count, half), (), True)
    if not mine:
        return None
    chosen = [n for n in mine if model.names[n] in young]
    if len(chosen) >= FEWEST_YOUNG:
        drawn = model.draws[:, chosen]
        spread = drawn.std(axis=1, ddof=1) * np.sqrt(1 + 1 / len(chosen))
        return NewRate(kind, drawn.mean(axis=1), spread, tuple(model.names[n] for n in chosen), False)
    drawn = model.draws[:, mine]
    middle = np.median(drawn, axis=1)
    spread = MAD_TO_SD * np.median(np.abs(drawn - middle[:, None]), axis=1)
    return NewRate(kind, middle, spread, (), False)


def _part_of_rate(conditions: Conditions, rate: float) -> float:
    """The part of the logit at which an item is read at ``rate`` in common conditions."""

    def off(part: float) -> float:
        return float(to_rates(conditions, np.array([part]))[0]) - rate

    return float(optimize.brentq(off, -30, 30))


def to_changes(
    model: ItemModel, beliefs: Beliefs, rates: Mapping[ItemKind, NewRate | None], plan: Plan
) -> tuple[Change, ...]:
    """What each wish does to its item, draw by draw; every purchase is a new item of its own."""
    seeds = np.random.SeedSequence(SEED).spawn(len(plan.wishes))
    return tuple(
        _change(wish, model, beliefs, rates.get(wish.kind), plan, np.random.default_rng(seed))
        for wish, seed in zip(plan.wishes, seeds, strict=True)
    )


def _change(
    wish: Wish,
    model: ItemModel,
    beliefs: Beliefs,
    rate: NewRate | None,
    plan: Plan,
    rng: np.random.Generator,
) -> Change:
    if wish.item is None or wish.item not in model.names or rate is None:
        return Change(None, None)
    number, draws = model.names.index(wish.item), len(beliefs.base)
    new = rate.middle[:draws] + rate.spread[:draws] * rng.standard_normal(draws)
    age = np.arange(plan.horizon) + 0.5
    if wish.step is Step.RENT:
        age = np.full(plan.horizon, 0.5)
    elif wish.step is Step.REPLACE:
        age = np.arange(plan.horizon) % wish.life + 0.5
    part = new[:, None] + np.log1p(plan.new[wish.kind].wears) * age
    if wish.step is Step.REPAIR:
        works = rng.random(draws) < plan.new[wish.kind].repair_works
        wear = beliefs.kept[:, number] - beliefs.kept[:, number, :1]
        part = np.where(works[:, None], new[:, None] + wear, beliefs.kept[:, number])
    return Change(number, part)
