"""Purchase decisions on seasons of known truth: what the case says, and what truly would have been saved.

A season of cells is drawn (``simulate/season_cells.py``), the item model is fitted, wishes are weighed.  The truth of a
wish is its expected saving under the true rates: the same plan and money, but true states of all items, of the
new one as well, and the true conditions of every place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy import optimize, special

from lineproof.replacement.assumptions import ASSUMPTIONS
from lineproof.replacement.beliefs import MOST_GROWTH
from lineproof.replacement.cash import present_value
from lineproof.replacement.evaluation import Way, Weighed, Word, count_all, settle, to_option, to_season
from lineproof.replacement.evidence import Evidence, load_evidence
from lineproof.replacement.flows import to_step_flows
from lineproof.replacement.plan import (
    JUDGED_KINDS,
    Costs,
    Discount,
    Habits,
    Lay,
    NewItem,
    Plan,
    Step,
    Stops,
    WeakTags,
    Wish,
)
from lineproof.replacement.store import Beliefs, Change, Floats, Season, count_sets
from lineproof.replacement.worth import NONE, count_avoided, to_money
from lineproof.season_tables import KEPT
from lineproof.simulate.season_cells import CellPlan, TrueItems, simulate_cells
from lineproof.vocabulary import ItemKind, PointKind

SMALL = CellPlan(events=24, points=2, slots=3, mats=14, cables=14, readers=6, bad=2, decaying=2)


@dataclass(frozen=True, slots=True)
class OnlyCells:
    """A ledger of which only the cells are known."""

    cells: pl.DataFrame

    def scan(self, table: str) -> pl.LazyFrame:
        return self.cells.lazy() if table == "cells" else KEPT[table].empty().lazy()


@dataclass(frozen=True, slots=True)
class Decision:
    """One wish by itself: the stated chance and gain, and the true gain."""

    item: str
    group: str
    price: float
    chance: float
    gain: float
    truth: float


def a_plan(wishes: Sequence[Wish], budget: float = 1000.0, horizon: int = 5) -> Plan:
    """A plan with the usual numbers and no wear but what the season shows."""
    new = {kind: _usual_item(kind) for kind in JUDGED_KINDS}
    return Plan(
        name="next", currency="EUR", budget=budget, interest=0.04, horizon=horizon, growth=0.0, certainty=0.8,
        young_seasons=2.0, lay=Lay.LAST_SEASON, costs={kind: Costs(20, 6, 0.1, 15, 0.01, 40) for kind in PointKind},
        weak_tags=WeakTags(0.0015, 0.6, 0.5, 1.0), stops=Stops(0.002, 0.002, 0.0001),
        habits=Habits(2.5, 0.2, 0.0, 0.0), new=new, wishes=tuple(wishes), discounts=tuple[Discount, ...](), lines=(),
    )  # fmt: skip


def _usual_item(kind: ItemKind) -> NewItem:
    """A new item by the defaults of a draft, but for wear: the truth has none beside the decay of single items."""
    usual = {name: assumption.value for name, assumption in ASSUMPTIONS[f"new.{kind}"].items()}
    return NewItem(
        price=usual["price"], trade_in=0.0, life=int(usual["life"]), upkeep=usual["upkeep"], upkeep_old=usual["upkeep_old"],
        loses=usual["loses"] / 100, wears=0.0, repair=usual["repair"], repair_works=usual["repair_works"] / 100,
        rent=usual["rent"],
    )  # fmt: skip


def a_wish(item: str, kind: ItemKind, price: float, step: Step = Step.REPLACE) -> Wish:
    return Wish(f"{step} {item}", step, kind, item, price, 0.0, _usual_item(kind).life, (), None)


def true_season(season: Season, true: TrueItems, evidence: Evidence, sizes: CellPlan, seed: int) -> Season:
    """The season of the plan under the truth: one draw, and new items as they truly turn out."""
    laid = evidence.model.cells.select("event", "point", "role", "line", "slot").with_row_index("row")
    number = np.arange(len(true.usual))
    places = sizes.slots * 2 * sizes.points
    event, line, slot = number // places, number % places // sizes.slots, number % sizes.slots
    usual = pl.DataFrame(
        {
            "event": [f"e{e + 1:03d}" for e in event],
            "line": [f"p{n // 2 + 1}-{'backup' if n % 2 else 'main'}" for n in line],
            "slot": (slot + 1).astype(np.int16),
            "usual": true.usual,
        }
    )
    joined = laid.join(usual, on=["event", "line", "slot"], how="left", validate="1:1").sort(
        "event", "point", "role", "slot"
    )
    begin = dict(true.items.select("item", "state_end").iter_rows())
    decay = {
        item: sizes.decay if word == "decaying" else 0.0
        for item, word in true.items.select("item", "class").iter_rows()
    }
    middle = np.arange(season.seasons) + 0.5
    names = evidence.model.names
    kept = np.array([[begin[name] + np.minimum(decay[name] * middle, MOST_GROWTH) for name in names]])
    rng = np.random.default_rng([seed, 7])
    changes = []
    for change in season.changes:
        new = np.full((1, season.seasons), rng.normal(0, sizes.item_sd))
        changes.append(Change(change.item, None if change.part is None else new))
    beliefs = Beliefs(joined["usual"].to_numpy()[None, :], kept, sizes.cell_sd)
    return replace(season, beliefs=beliefs, changes=tuple(changes))


def known_season(sizes: CellPlan, seed: int) -> tuple[TrueItems, Evidence]:
    """A season and what a case would know of it."""
    true = simulate_cells(sizes, seed)
    return true, load_evidence(OnlyCells(true.cells))


def decide_each(seed: int, sizes: CellPlan, draws: int, prices: tuple[float, float]) -> list[Decision]:
    """Replace each mat and cable of a season, one by one, at a price drawn between the two given."""
    true, evidence = known_season(sizes, seed)
    rng = np.random.default_rng([seed, 11])
    items = [(n, ItemKind(k)) for n, k in zip(evidence.model.names, evidence.model.kinds, strict=True)]
    low, high = np.log(prices)
    plan = a_plan(
        [
            a_wish(n, kind, float(np.exp(rng.uniform(low, high))))
            for n, kind in items
            if kind is not ItemKind.READER
        ]
    )
    season, _ = to_season(plan, evidence, evidence.laid(plan), draws)
    truth = true_season(season, true, evidence, sizes, seed)
    group = dict(true.items.select("item", "class").iter_rows())
    found = []
    for i, wish in enumerate(plan.wishes):
        money = float(present_value(to_step_flows(wish, plan), plan.interest))
        values, right = (_values(each, i, plan) + money for each in (season, truth))
        found.append(
            Decision(
                wish.item or "",
                group[wish.item],
                wish.price,
                float((values > 0).mean()),
                float(values.mean()),
                float(right[0]),
            )
        )
    return found


def _values(season: Season, step: int, plan: Plan) -> Floats:
    places = season.places
    pairs = np.flatnonzero(season.touched(places.main, step) | season.touched(places.backup, step))
    by = count_sets(season, pairs, [NONE, frozenset([step])])
    return to_money(by[NONE] - by[frozenset([step])], plan.costs, plan.interest)


def calibration_slope(decisions: Sequence[Decision], draws: int) -> tuple[float, float, float]:
    """Slope of the logistic regression of "truly saved" on the logit of the stated chance, its standard error, and
    the intercept.  1 and 0 where the chances are right; below 1 where they are too bold."""
    chance = np.clip([d.chance for d in decisions], 0.5 / draws, 1 - 0.5 / draws)
    x, y = special.logit(chance), np.array([d.truth > 0 for d in decisions], dtype=float)

    def cost(b: Floats) -> float:
        eta = b[0] + b[1] * x
        return float((np.logaddexp(0, eta) - y * eta).sum())

    b = optimize.minimize(cost, np.array([0.0, 1.0])).x
    p = special.expit(b[0] + b[1] * x)
    w = p * (1 - p)
    information = np.array([[w.sum(), (w * x).sum()], [(w * x).sum(), (w * x * x).sum()]])
    return float(b[1]), float(np.sqrt(np.linalg.inv(information)[1, 1])), float(b[0])


@dataclass(frozen=True, slots=True)
class Bought:
    """A whole purchase: the word, what it truly gains, and what the best purchase under the truth gains."""

    word: Word
    spending: float
    stated: float
    truth: float
    best: float


def buy_for(seed: int, sizes: CellPlan, draws: int, wishes: int, budget: float) -> Bought:
    """Weigh the wishes to replace the items that look worst, under a budget; habits as they are."""
    true, evidence = known_season(sizes, seed)
    worst = evidence.model.items.filter(
        pl.col("effect").is_not_null(), pl.col("kind").cast(pl.String) != ItemKind.READER.value
    ).sort("effect", "item", descending=[True, False])
    plan = a_plan(
        [
            a_wish(item, ItemKind(kind), _usual_item(ItemKind(kind)).price)
            for item, kind in worst.select("item", pl.col("kind").cast(pl.String)).head(wishes).iter_rows()
        ],
        budget,
    )
    counts = count_all(plan, evidence, draws)
    weighed = settle(plan, counts, 1, Way.BUY)
    truth = true_season(counts.season, true, evidence, sizes, seed)
    right = replace(counts, season=truth, avoided=count_avoided(truth))
    steps = weighed.purchase.steps if weighed.word is Word.BUY else NONE
    return Bought(
        weighed.word,
        weighed.purchase.spending,
        weighed.added.gain,
        _gain(weighed, right, steps),
        settle(plan, right, 1, Way.BUY).added.gain,
    )


def _gain(weighed: Weighed, right: object, steps: frozenset[int]) -> float:
    return to_option(weighed.plan, right, weighed.step_flows, Way.BUY, steps).gain  # type: ignore[arg-type]
