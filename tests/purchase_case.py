"""One purchase case on a small invented season, worked out once for each process."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import polars as pl

from lineproof.replacement.case import Case, to_case
from lineproof.replacement.evidence import Evidence, load_evidence
from lineproof.replacement.plan import Discount, Plan, Step, Wish
from lineproof.simulate.season_cells import TrueItems, simulate_cells
from lineproof.vocabulary import ItemKind
from purchase_ledger import SEASON, SEED
from simulation.purchases import OnlyCells, a_plan

DRAWS = 200


@cache
def true_season() -> TrueItems:
    return simulate_cells(SEASON, SEED)


@cache
def evidence() -> Evidence:
    return load_evidence(OnlyCells(true_season().cells))


def worst(kind: ItemKind, count: int) -> list[str]:
    """Items of the kind that the season finds worst, worst first."""
    items = evidence().model.items.filter(pl.col("kind").cast(pl.String) == kind.value)
    return items.sort("effect", "item", descending=[True, False])["item"].head(count).to_list()


def a_wish(step: Step, kind: ItemKind, item: str | None, price: float, **more: object) -> Wish:
    told = {"id": f"{step} {item or kind}", "trade_in": 10.0, "life": 4, "needs": (), "group": None, **more}
    return Wish(step=step, kind=kind, item=item, price=price, **told)  # type: ignore[arg-type]


def small_plan(budget: float = 150.0) -> Plan:
    """All four steps, a need, a discount group, and two mats on the list."""
    bad, next_bad = worst(ItemKind.MAT, 2)
    cable = worst(ItemKind.CABLE, 1)[0]
    wishes = [
        a_wish(Step.REPLACE, ItemKind.MAT, bad, 60, group="mats", needs=("spare cable",)),
        a_wish(Step.REPLACE, ItemKind.MAT, next_bad, 60, group="mats", life=8),
        a_wish(Step.SPARE, ItemKind.CABLE, None, 8, id="spare cable"),
        a_wish(Step.RENT, ItemKind.MAT, bad, 15),
        a_wish(Step.REPAIR, ItemKind.CABLE, cable, 12, trade_in=0.0),
        a_wish(Step.REPLACE, ItemKind.CABLE, cable, 40, trade_in=0.0),
    ]
    return replace(a_plan(wishes, budget), discounts=(Discount("mats", 2, 0.125),))


@cache
def small_case(budget: float = 150.0) -> Case:
    return to_case(small_plan(budget), evidence(), lambda _step: None, DRAWS)
