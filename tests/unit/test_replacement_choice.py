"""The choice under a budget: agrees with trying every set, whatever the prices and rules."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lineproof.replacement.choice import Offer, Tier, choose_best, choose_by_hand, choose_greedily


def offer(prices, worth, budget, **rules) -> Offer:
    terms = {frozenset([k] if isinstance(k, int) else k): float(v) for k, v in worth.items()}
    return Offer(np.array(prices, dtype=float), terms, float(budget), **rules)


@st.composite
def offers(draw) -> Offer:
    n = draw(st.integers(2, 7))
    whole = st.integers(0, 60)
    prices = [draw(whole) for _ in range(n)]
    worth = {frozenset([i]): float(draw(st.integers(-20, 90))) for i in range(n)}
    steps = st.frozensets(st.integers(0, n - 1), min_size=2, max_size=4)
    worth |= draw(st.dictionaries(steps, st.integers(-50, 50).map(float), max_size=5))
    needs = draw(
        st.dictionaries(st.integers(0, n - 1), st.frozensets(st.integers(0, n - 1), max_size=3), max_size=2)
    )
    either = draw(st.lists(steps, max_size=2))
    groups = {i: draw(st.sampled_from("ab")) for i in range(n) if draw(st.booleans())}
    tiers = [
        Tier(g, least, share) for g in "ab" for least, share in ((2, 0.125), (3, 0.25)) if draw(st.booleans())
    ]
    return Offer(
        np.array(prices, dtype=float), worth, float(draw(st.integers(0, 150))), needs, either, groups, tiers
    )


@settings(max_examples=150)
@given(offers())
def test_the_best_set_is_that_of_trying_all(made: Offer) -> None:
    best, by_hand = choose_best(made)[0], choose_by_hand(made)
    assert made.allows(best.steps)
    assert best.gain == pytest.approx(by_hand.gain, abs=1e-6)
    assert best.gain >= choose_greedily(made).gain - 1e-6


@settings(max_examples=40)
@given(offers())
def test_next_best_sets_differ_and_come_in_order(made: Offer) -> None:
    found = choose_best(made, 4)
    assert len({choice.steps for choice in found}) == len(found)
    assert all(a.gain >= b.gain - 1e-6 for a, b in pairwise(found))


def test_greedy_loses_where_one_dear_step_fills_the_budget() -> None:
    """By value for money 60 for 10 comes first (6 a unit); 100 for 20 (5 a unit) no longer fits and is the best."""
    made = offer([10, 20], {0: 70, 1: 120}, 20)
    assert choose_greedily(made).gain == 60
    assert choose_best(made)[0].gain == 100


def test_two_bad_mats_on_one_line_are_judged_together() -> None:
    """Either alone loses money; both together pay, as the term of the two says."""
    made = offer([100, 100], {0: 80, 1: 80, (0, 1): 90}, 200)
    assert choose_best(made)[0].steps == {0, 1}
    assert choose_greedily(made).steps == frozenset()
    doubled = offer([100, 100], {0: 180, 1: 180, (0, 1): -120}, 200)
    assert len(choose_best(doubled)[0].steps) == 1


def test_a_mat_without_a_cable_is_useless() -> None:
    made = offer([50, 10, 12], {0: 100, 1: 0, 2: 0}, 100, needs={0: frozenset([1, 2])})
    best = choose_best(made)[0]
    assert best.steps == {0, 1}
    assert best.gain == 40
    assert choose_best(offer([50, 10], {0: 55, 1: 0}, 100, needs={0: frozenset([1])}))[0].steps == frozenset()


def test_replace_or_repair_not_both() -> None:
    made = offer([50, 10], {0: 100, 1: 70}, 100, either=[frozenset([0, 1])])
    assert choose_best(made)[0].steps == {1}


def test_a_quantity_discount_can_pay_for_one_more() -> None:
    """Three at 100 with a fifth off cost 240; the third by itself is worth only 50."""
    made = offer(
        [100] * 3,
        {0: 120, 1: 120, 2: 50},
        250,
        groups=dict.fromkeys(range(3), "mat"),
        tiers=[Tier("mat", 3, 0.2)],
    )
    best = choose_best(made)[0]
    assert (len(best.steps), best.spending, best.gain) == (3, 240, 50)


def test_nothing_is_bought_where_nothing_pays() -> None:
    assert choose_best(offer([10, 20], {0: 9, 1: 0}, 1000))[0].steps == frozenset()


def test_settled_steps_beyond_the_budget_are_refused() -> None:
    with pytest.raises(ValueError, match="already settled"):
        choose_best(offer([10], {0: 5}, 5, must=frozenset([0])))


def test_trying_all_sets_has_a_limit() -> None:
    with pytest.raises(ValueError, match="too many"):
        choose_by_hand(offer([1] * 19, {}, 1))


def test_an_empty_list_offers_nothing() -> None:
    assert choose_best(offer([], {}, 10), 3)[0].steps == frozenset()
