"""The whole case on a small season: what follows from what, in numbers and in words."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import polars as pl
import pytest

from lineproof.replacement import report_rows as rows
from lineproof.replacement import words
from lineproof.replacement.assumptions import ASSUMPTIONS
from lineproof.replacement.case import to_case
from lineproof.replacement.evaluation import Way, Word, settle, with_budget
from lineproof.replacement.habits import to_better_habits
from lineproof.replacement.plan import Stops
from lineproof.replacement.plan_reading import load_plan
from lineproof.replacement.plan_writing import draft_plan
from lineproof.replacement.store import count_misses
from lineproof.vocabulary import ItemKind
from purchase_case import DRAWS, evidence, small_case, small_plan, true_season, worst
from simulation.purchases import a_plan, a_wish


def test_the_bad_mat_is_bought() -> None:
    """The truth of the season has one bad mat; replacing or renting it is in the best set."""
    case = small_case()
    bad = true_season().items.filter(pl.col("class") == "bad", pl.col("kind") == "mat")["item"].to_list()
    items = {case.plan.wishes[i].item for i in case.weighed.purchase.steps}
    assert set(bad) & items
    assert case.weighed.word is Word.BUY


def test_the_purchase_keeps_the_rules() -> None:
    case = small_case()
    plan, steps = case.plan, case.weighed.purchase.steps
    assert case.weighed.purchase.spending <= plan.budget
    ids = {plan.wishes[i].id for i in steps}
    for i in steps:
        assert not plan.wishes[i].needs or set(plan.wishes[i].needs) & ids
    items = [plan.wishes[i].item for i in steps if plan.wishes[i].item]
    assert len(items) == len(set(items))


def test_what_the_terms_say_is_what_counting_again_says() -> None:
    case = small_case()
    counts, steps = case.weighed.counts, case.weighed.purchase.steps
    season = counts.habits.season if case.weighed.way is Way.BOTH else counts.season
    pairs = np.arange(len(season.places.main))
    assert counts.of(case.weighed.way).by(steps) == pytest.approx(
        count_misses(season, pairs) - count_misses(season, pairs, sorted(steps)), abs=1e-6
    )


def test_flows_add_up_to_the_gain() -> None:
    case = small_case()
    flows = rows.to_flow_rows(case)
    assert flows["running"][-1] == pytest.approx(case.weighed.added.gain)
    assert (flows["spent"] + flows["saved"] - flows["net"]).abs().max() == pytest.approx(0, abs=1e-9)
    assert flows["spent"][0] == pytest.approx(
        -case.weighed.added.spending + sum(case.plan.wishes[i].trade_in for i in case.weighed.purchase.steps
        if case.plan.wishes[i].step == "replace")
    )  # fmt: skip


def test_more_budget_never_gains_less() -> None:
    weighed = small_case().weighed
    gains = [with_budget(weighed, budget).gain for budget in (0, 50, 100, 200, 400, 800)]
    assert gains[0] == 0
    assert all(a <= b + 1e-6 for a, b in pairwise(gains))


def test_the_next_step_of_the_budget_is_the_smallest() -> None:
    case = small_case(budget=10.0)
    assert case.more is not None
    money, better = case.more
    now = with_budget(case.weighed, case.plan.budget).gain
    assert better.gain > now
    assert with_budget(case.weighed, case.plan.budget + money + 0.02).gain == pytest.approx(better.gain)
    assert with_budget(case.weighed, case.plan.budget + money - 0.05).gain == pytest.approx(now)


def test_without_budget_nothing_is_bought_and_the_page_says_so() -> None:
    case = small_case(budget=0.0)
    assert case.weighed.word is Word.LEAVE
    assert words.say_purchase(case) == "Do not buy: the budget pays for no wish of the list."
    assert case.weighed.added.gain == 0


def test_an_empty_list_is_told() -> None:
    plan = replace(small_plan(), wishes=(), discounts=())
    case = to_case(plan, evidence(), lambda _step: None, 50)
    assert words.say_purchase(case) == "Do not buy: the wish list is empty."
    assert rows.to_wish_rows(case).is_empty()
    assert rows.to_flow_rows(case)["running"].to_list() == [0.0] * 6


def test_dear_wishes_are_left_with_the_distance_told() -> None:
    plan = small_plan(budget=1e6)
    dear = replace(plan, wishes=tuple(replace(w, price=w.price + 90_000, needs=()) for w in plan.wishes))
    case = to_case(dear, evidence(), lambda _step: None, 50)
    assert case.weighed.word is Word.LEAVE
    told = words.say_purchase(case)
    assert told.startswith("Do not buy: no wish of the list is expected to earn its price within")
    assert "short" in told


def test_certainty_is_asked_for() -> None:
    """Repair works in 60 % of the draws: with nothing else on the list and 95 % asked, nobody can tell yet."""
    repair = replace(small_plan().wishes[4], price=4.0)
    plan = replace(small_plan(), wishes=(repair,), discounts=(), certainty=0.95)
    case = to_case(plan, evidence(), lambda _step: None, DRAWS)
    assert case.weighed.word is Word.UNSURE
    told = words.say_purchase(case)
    assert told.startswith("Cannot tell yet: repair cable")
    assert "less sure than the 95\u00a0% asked" in told
    assert "By itself sure enough" not in told


def test_origins_add_up() -> None:
    o = small_case().origins
    assert o.stopped + o.weak + o.chance + o.curable == pytest.approx(o.unread, rel=1e-6)
    assert min(o.stopped, o.weak, o.chance, o.curable) >= 0
    before = small_case().weighed.counts.avoided.before
    assert o.unread == pytest.approx(float(before[:, 0, :, 0].sum(axis=1).mean()))


def test_no_mat_cures_a_stop() -> None:
    plan = replace(small_plan(), stops=Stops(0.5, 0.5, 0.2))
    case = to_case(plan, evidence(), lambda _step: None, 50)
    assert case.origins.stopped > 0.9 * case.origins.unread
    assert "while a line stands still" in words.say_origins(case)


def test_better_habits_never_miss_more() -> None:
    season = small_case().weighed.counts.season
    plan = small_case().plan
    laid = evidence().laid(plan)
    better = to_better_habits(season, laid["event"].to_list(), 1000.0, plan)
    pairs = np.arange(len(season.places.main))
    before, after = (
        count_misses(each, pairs)[:, 0, :, 0].sum(axis=1).mean() for each in (season, better.season)
    )
    assert after < before
    assert sorted(map(tuple, better.season.places.items[:, :2].tolist())) == sorted(
        map(tuple, season.places.items[:, :2].tolist())
    )
    assert better.cost == pytest.approx(
        1000.0 * plan.weak_tags.share * plan.weak_tags.found * plan.weak_tags.per_tag
    )


def test_sensitivity_moves_the_gain_the_right_way() -> None:
    moved = {one.name: one for one in small_case().sensitivity.moved}
    assert moved["look up minutes"].gain_low < moved["look up minutes"].gain_high
    assert moved["prices of the wish list"].gain_low > moved["prices of the wish list"].gain_high
    assert moved["interest"].gain_low > moved["interest"].gain_high
    assert moved["runners"].gain_low < moved["runners"].gain_high
    swings = [one.swing for one in small_case().sensitivity.moved]
    assert swings == sorted(swings, reverse=True)


def test_at_the_break_even_cost_nothing_is_gained() -> None:
    case = small_case()
    even = {one.name: one for one in case.sensitivity.break_even}
    cost = even["cost of an unread crossing"]
    assert cost.value is not None
    factor = cost.value / cost.now
    costs = {
        kind: replace(
            c,
            staff_per_hour=c.staff_per_hour * factor,
            complaint=c.complaint * factor,
            refund=c.refund * factor,
        )
        for kind, c in case.plan.costs.items()
    }
    again = settle(replace(case.plan, costs=costs), case.weighed.counts, 1, case.weighed.way)
    assert again.added_by(case.sensitivity.steps).gain == pytest.approx(0, abs=1e-6)
    price = even["price of all of it"]
    assert price.value is not None
    wishes = tuple(replace(w, price=w.price * price.value / price.now) for w in case.plan.wishes)
    again = settle(replace(case.plan, wishes=wishes), case.weighed.counts, 1, case.weighed.way)
    assert again.added_by(case.sensitivity.steps).gain == pytest.approx(0, abs=1e-6)
    rate = even["interest"]
    if rate.value is not None:
        again = settle(
            replace(case.plan, interest=rate.value / 100), case.weighed.counts, 1, case.weighed.way
        )
        assert again.added_by(case.sensitivity.steps).gain == pytest.approx(0, abs=1e-3)


def test_a_bad_mat_is_not_worth_keeping() -> None:
    lives = {row["item"]: row for row in rows.to_life_rows(small_case()).iter_rows(named=True)}
    bad = worst(ItemKind.MAT, 1)[0]
    assert lives[bad]["next"] > lives[bad]["new"]
    assert lives[bad]["keep"] == 0


def test_a_draft_is_a_plan_that_loads_and_explains_itself(tmp_path) -> None:
    text = draft_plan(evidence())
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    plan = load_plan(path, evidence().known.items())
    assert plan.wishes
    assert not plan.assumed  # a draft states every number
    for line in text.splitlines():
        if " = " in line and not line.startswith("#") and line.split(" = ")[0] in ASSUMPTIONS["costs"]:
            assert "ASSUMPTION" in line
    bad = worst(ItemKind.MAT, 1)[0]
    assert bad in {wish.item for wish in plan.wishes}


def test_an_item_that_never_lay_changes_nothing() -> None:
    plan = a_plan([a_wish("M999", ItemKind.MAT, 10.0)])
    case = to_case(plan, evidence(), lambda _step: None, 50)
    assert case.weighed.word is Word.LEAVE
    assert rows.to_wish_rows(case)["unread"].to_list() == [0.0]


@pytest.mark.parametrize(
    ("money", "told"),
    [(0.4, "EUR\u00a00"), (4_437, "EUR\u00a04,400"), (-18.6, "−EUR\u00a019"), (99.6, "EUR\u00a0100"), (123_456, "EUR\u00a0120,000")],
)  # fmt: skip
def test_estimates_are_rounded_to_two_digits(money: float, told: str) -> None:
    assert words.say_about(money, "EUR") == told


def test_chances_never_reach_certainty() -> None:
    assert words.say_chance(1.0) == "more than 99\u00a0%"
    assert words.say_chance(0.0) == "less than 1\u00a0%"
    assert words.say_chance(0.8) == "80\u00a0%"
