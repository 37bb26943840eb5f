"""The money of single steps: what goes out today, what comes later, by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lineproof.replacement.flows import to_step_flows
from lineproof.replacement.plan import NewItem, Plan, Step
from lineproof.vocabulary import ItemKind
from purchase_case import a_wish
from simulation.purchases import a_plan

NEW = NewItem(
    price=100,
    trade_in=0,
    life=3,
    upkeep=2,
    upkeep_old=7,
    loses=0.5,
    wears=0.0,
    repair=9,
    repair_works=0.6,
    rent=11,
)


def plan_of(seasons: int) -> Plan:
    plan = a_plan([], horizon=seasons)
    return replace(plan, new={**plan.new, ItemKind.MAT: NEW})


def test_replace_pays_trades_in_saves_upkeep_and_keeps_its_worth() -> None:
    """100 less 16 for the old one; 5 less upkeep a season; after 3 seasons worth 12.5, the old one would fetch 2."""
    flows = to_step_flows(a_wish(Step.REPLACE, ItemKind.MAT, "M1", 100, trade_in=16.0, life=3), plan_of(3))
    assert flows.tolist() == [-84, 5, 5, 5 + 12.5 - 2]


def test_an_item_whose_life_ends_is_bought_again() -> None:
    """Life 2 of 5 seasons: bought again after 2 and 4 (25 for the old one); one season old at the end: 50."""
    flows = to_step_flows(a_wish(Step.REPLACE, ItemKind.MAT, "M1", 100, trade_in=0.0, life=2), plan_of(5))
    assert flows.tolist() == [-100, 5, 5 - 75, 5, 5 - 75, 5 + 50]


def test_a_life_that_ends_with_the_horizon_leaves_its_last_worth() -> None:
    flows = to_step_flows(a_wish(Step.REPLACE, ItemKind.MAT, "M1", 100, trade_in=0.0, life=2), plan_of(2))
    assert flows.tolist() == [-100, 5, 5 + 25]


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        (Step.REPAIR, [-9, 0, 0]),
        (Step.RENT, [-9, -9 + 7, 7]),  # due at the start of each season; the old one rests
        (Step.SPARE, [-9, -2, -2 + 9 * 0.25]),
    ],
)
def test_the_other_steps(step: Step, expected: list[float]) -> None:
    item = None if step is Step.SPARE else "M1"
    assert to_step_flows(a_wish(step, ItemKind.MAT, item, 9, life=3), plan_of(2)).tolist() == expected
