"""Money over the seasons: identities that hold whatever the figures are, and the edges."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lineproof.replacement.cash import (
    annual_costs,
    annuity_factor,
    break_even_factor,
    chance_of_saving,
    find_economic_life,
    marginal_costs,
    payback,
    present_value,
    seasons_worth_keeping,
)
from lineproof.replacement.wear import estimate_life, estimate_wear

MONEY = st.floats(0, 1e5)
INTEREST = st.floats(0, 0.5)


@given(MONEY, st.lists(st.tuples(MONEY, MONEY), min_size=1, max_size=8), INTEREST)
def test_annual_cost_is_the_even_payment_of_the_single_seasons(price, seasons, interest) -> None:
    worth, costs = [w for w, _ in seasons], [c for _, c in seasons]
    yearly = marginal_costs(price, worth, costs, interest)
    even = float(present_value([0.0, *yearly], interest)) * annuity_factor(interest, len(seasons))
    assert annual_costs(price, worth, costs, interest)[-1] == pytest.approx(even, rel=1e-9, abs=1e-6)


def test_without_interest_costs_are_plain_averages() -> None:
    assert annual_costs(600, [300, 0], [10, 20], 0.0).tolist() == [310.0, 315.0]
    assert annuity_factor(0.0, 4) == 0.25


def test_an_item_that_never_gets_dearer_is_kept_to_the_limit() -> None:
    life = find_economic_life(900, [0, 0, 0], [10, 10, 10], 0.0)
    assert (life.seasons, life.at_limit) == (3, True)


@pytest.mark.parametrize(
    ("flows", "interest", "seasons"),
    [
        ([-100, 50, 50, 50], 0.0, 2.0),
        ([-100, 40, 40, 40], 0.0, 2.5),
        ([-100, 110], 0.1, 1.0),
        ([-100, 10, 10], 0.0, None),
        ([0, 10], 0.0, 0.0),
        ([-100, 150, -100, 100], 0.0, 2.5),  # in the black, in the red again, and back
        ([20, -5, -5], 0.0, 0.0),
    ],
)
def test_payback(flows, interest, seasons) -> None:
    found = payback(flows, interest)
    assert found == (None if seasons is None else pytest.approx(seasons))


@given(st.lists(st.floats(0, 1e4), min_size=1, max_size=8), st.floats(1, 1e4), st.floats(0.01, 0.5))
def test_discounting_never_pays_back_sooner(savings, price, interest) -> None:
    plain, discounted = payback([-price, *savings]), payback([-price, *savings], interest)
    if discounted is not None:
        assert plain is not None
        assert plain <= discounted + 1e-9


@given(st.floats(-1e4, -1), st.floats(1, 1e4))
def test_break_even_brings_the_sum_to_zero(fixed, growing) -> None:
    factor = break_even_factor(fixed, growing)
    assert factor is not None
    assert fixed + factor * growing == pytest.approx(0, abs=1e-6)


def test_no_break_even_where_both_pull_the_same_way() -> None:
    assert break_even_factor(-10, -1) is None
    assert break_even_factor(10, 1) is None
    assert break_even_factor(-10, 0) is None


def test_seasons_worth_keeping_stops_at_the_first_dear_one() -> None:
    assert seasons_worth_keeping([5, 6, 20, 7], 10) == 2
    assert seasons_worth_keeping([11, 5], 10) == 0
    assert seasons_worth_keeping([5, 5], 10) == 2


def test_chance_counts_only_what_is_above_zero() -> None:
    assert chance_of_saving([-1.0, 0.0, 1.0, 2.0]) == 0.5


def test_lengths_must_agree() -> None:
    with pytest.raises(ValueError, match="one value for each season"):
        annual_costs(1, [1, 2], [1], 0.0)
    with pytest.raises(ValueError, match="at least one season"):
        annuity_factor(0.1, 0)


def test_lives_need_ends_and_faults_need_ages() -> None:
    assert estimate_life([100, 200], [300] * 9) is None
    assert estimate_life([100, 100, 100]) is None
    assert estimate_wear([10, 20], 30) is None
    assert estimate_wear([10, 20, 40], 30) is None
    assert estimate_wear([30, 30, 30], 30) is None


def test_a_steady_stream_of_faults_shows_no_wear() -> None:
    even = estimate_wear(list(np.arange(1, 101.0)), 100.5)
    late = estimate_wear([60, 80, 85, 90, 95, 99], 100)
    assert even is not None
    assert late is not None
    assert even.b == pytest.approx(1, abs=0.05)
    assert late.b > 2
