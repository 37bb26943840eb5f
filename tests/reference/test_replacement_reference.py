"""Replacement economics, choice under a budget and wear, against handbooks and general-purpose libraries.

Three groups: ``test_published_…`` (the figures were seen in the source named), ``test_recomputed_…`` (published
inputs, figures by a named library) and ``test_from_memory_…`` (figures recalled; the arithmetic was done again).
"""

from __future__ import annotations

import numpy as np
import numpy_financial as npf
import pytest
from scipy import optimize, stats

from lineproof.replacement.cash import (
    annuity_factor,
    discount_factors,
    find_economic_life,
    marginal_costs,
    present_value,
    seasons_worth_keeping,
)
from lineproof.replacement.choice import Offer, choose_best, choose_by_hand, choose_greedily
from lineproof.replacement.wear import estimate_life, estimate_wear

# --- published: seen ---------------------------------------------------------------------------------------

# Sullivan, Wicks & Koelling, Engineering Economy, Examples 9-4 and 9-6 with Tables 9-2 and 9-3 (fork-lift truck, 10 %
# a year), as printed in worked solutions of the book's tables that are open on the web: seen.
TRUCK = {
    "price": 30_000,
    "worth": [22_500, 16_875, 12_750, 9_750, 7_125],
    "costs": [3_000, 4_500, 7_000, 10_000, 13_000],
}
OLD_TRUCK = {"price": 7_500, "worth": [6_000, 4_500, 3_000, 1_500], "costs": [8_250, 9_900, 11_700, 13_200]}


def test_published_economic_life_of_a_challenger() -> None:
    life = find_economic_life(**TRUCK, interest=0.10)
    assert [round(cost) for cost in life.by_season] == [13_500, 12_964, 12_918, 13_211, 13_766]
    assert (life.seasons, round(life.annual_cost), life.at_limit) == (3, 12_918, False)
    yearly = marginal_costs(**TRUCK, interest=0.10)
    # Printed in whole dollars with 12,812.5 and 16,600 as shown in the table.
    assert yearly == pytest.approx([13_500, 12_375, 12_813, 14_275, 16_600], abs=0.5)


def test_published_defender_is_kept_two_more_seasons() -> None:
    """Table 9-3: smallest annual cost 10,500 after one year; the second year costs 12,000, less than 12,918."""
    life = find_economic_life(**OLD_TRUCK, interest=0.10)
    assert (life.seasons, round(life.annual_cost)) == (1, 10_500)
    yearly = marginal_costs(**OLD_TRUCK, interest=0.10)
    assert yearly[:2] == pytest.approx([10_500, 12_000])
    assert seasons_worth_keeping(yearly, find_economic_life(**TRUCK, interest=0.10).annual_cost) == 2


# Docstrings of numpy-financial 1.0.0 (installed here and read): seen.
def test_published_net_present_value() -> None:
    assert present_value([-40_000, 5_000, 8_000, 12_000, 30_000], 0.08).round(5) == 3065.22267


@pytest.mark.parametrize(
    ("flows", "rate"),
    [
        ([-100, 39, 59, 55, 20], 0.28095),
        ([-100, 0, 0, 74], -0.0955),
        ([-100, 100, 0, -7], -0.0833),
        ([-100, 100, 0, 7], 0.06206),
        ([-5, 10.5, 1, -8, 1], 0.0886),
    ],
)
def test_published_rates_of_return_make_the_present_value_zero(flows: list[float], rate: float) -> None:
    values = [float(present_value(flows, rate + step)) for step in (-0.0005, 0.0005)]
    assert values[0] * values[1] < 0


def test_published_loan_payment_and_savings() -> None:
    assert 200_000 * annuity_factor(0.075 / 12, 12 * 15) == pytest.approx(1854.0247200054619, rel=1e-12)
    saved = np.full(121, 100.0)  # 100 now and at the end of each of 120 months
    assert present_value(saved, 0.05 / 12) * (1 + 0.05 / 12) ** 120 == pytest.approx(
        15692.928894335748, rel=1e-12
    )
    assert 15692.93 * discount_factors(0.05 / 12, 120)[-1] - 100 / annuity_factor(
        0.05 / 12, 120
    ) == pytest.approx(100.00067131625819, rel=1e-10)


# Problems P01 and P07 of the 0/1 knapsack collection of J. Burkardt (Florida State University), after Martello & Toth;
# data, optima and picks seen in public test suites that quote the collection.
P01 = ([23, 31, 29, 44, 53, 38, 63, 85, 89, 82], [92, 57, 49, 68, 60, 43, 67, 84, 87, 72], 165)
P07 = (
    [70, 73, 77, 80, 82, 87, 90, 94, 98, 106, 110, 113, 115, 118, 120],
    [135, 139, 149, 150, 156, 163, 173, 184, 192, 201, 210, 214, 221, 229, 240],
    750,
)


def knapsack(weights: list[int], values: list[int], capacity: int) -> Offer:
    """The weight is the price; worth is value plus price, so that the gain of a set is its value."""
    worth = {frozenset([i]): float(v + w) for i, (w, v) in enumerate(zip(weights, values, strict=True))}
    return Offer(np.array(weights, dtype=float), worth, float(capacity))


@pytest.mark.parametrize(
    ("problem", "optimum", "picks"), [(P01, 309, {1, 2, 3, 4, 6}), (P07, 1458, {1, 3, 5, 7, 8, 9, 14, 15})]
)
def test_published_knapsack_optima(
    problem: tuple[list[int], list[int], int], optimum: int, picks: set[int]
) -> None:
    best = choose_best(knapsack(*problem))[0]
    assert best.gain == pytest.approx(optimum)
    assert {i + 1 for i in best.steps} == picks


def test_published_weibull_fit_with_censored_lives() -> None:
    """NIST/SEMATECH e-Handbook 8.4.1.3 (data of 8.2.2.1): shape 1.7208, scale 606.5280, log-likelihood 75.135,
    mean 540.737: seen."""
    life = estimate_life([54, 187, 216, 240, 244, 335, 361, 373, 375, 386], [500] * 10)
    assert life is not None
    assert round(life.shape, 4) == 1.7208
    assert life.scale == pytest.approx(606.5280, abs=5e-4)
    assert life.log_likelihood == pytest.approx(-75.135, abs=5e-4)
    assert life.mean == pytest.approx(540.737, abs=5e-3)


# --- recomputed from published inputs ---------------------------------------------------------------------


@pytest.mark.parametrize("interest", [0.0, 0.03, 0.10, 0.281])
def test_recomputed_by_numpy_financial(interest: float) -> None:
    flows = [-100, 39, 59, 55, 20]
    assert float(present_value(flows, interest)) == pytest.approx(npf.npv(interest, flows), abs=1e-12)
    assert annuity_factor(interest, 7) == pytest.approx(-float(npf.pmt(interest, 7, 1)), rel=1e-12)


def test_recomputed_life_by_scipy() -> None:
    ended, in_use = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386], [500] * 10
    data = stats.CensoredData(uncensored=ended, right=in_use)
    shape, _, scale = stats.weibull_min.fit(data, floc=0)
    life = estimate_life(ended, in_use)
    assert life is not None
    assert (life.shape, life.scale) == pytest.approx((shape, scale), rel=1e-3)
    assert life.median == pytest.approx(stats.weibull_min.median(life.shape, scale=life.scale))


@pytest.mark.parametrize("problem", [P01, P07])
def test_recomputed_by_trying_all_sets(problem: tuple[list[int], list[int], int]) -> None:
    offer = knapsack(*problem)
    best, by_hand = choose_best(offer)[0], choose_by_hand(offer)
    assert (best.steps, best.gain) == (by_hand.steps, pytest.approx(by_hand.gain))
    weights, values, capacity = problem
    bare = optimize.milp(
        -np.array(values, dtype=float),
        constraints=optimize.LinearConstraint(np.array([weights]), -np.inf, capacity),
        integrality=np.ones(len(values)),
        bounds=optimize.Bounds(0, 1),
    )
    assert best.gain == pytest.approx(-bare.fun)


def test_recomputed_greedy_loses_at_the_published_problem() -> None:
    """P07 by value for money: 1441 of 1458."""
    assert choose_greedily(knapsack(*P07)).gain < choose_best(knapsack(*P07))[0].gain


# --- from memory -------------------------------------------------------------------------------------------


def test_from_memory_economic_life_of_a_defender() -> None:
    """Blank & Tarquin, Engineering Economy, Example 11.2 (10 %): economic service life 3 years, 6,132 a year."""
    life = find_economic_life(
        13_000, [9_000, 8_000, 6_000, 2_000, 0], [2_500, 2_700, 3_000, 3_500, 4_500], 0.10
    )
    assert life.seasons == 3
    assert life.by_season == pytest.approx([7800.00, 6276.19, 6132.33, 6556.30, 6579.84], abs=5e-3)


def test_from_memory_economic_life_of_the_older_fork_truck() -> None:
    """Sullivan, Wicks & Koelling, an earlier edition of the truck: 9,000, 8,643, 8,598, 9,084, 9,954; three years."""
    life = find_economic_life(
        20_000, [15_000, 11_250, 8_500, 6_500, 4_750], [2_000, 3_000, 4_620, 8_000, 12_000], 0.10
    )
    assert life.seasons == 3
    assert life.by_season == pytest.approx([9000, 8643, 8598, 9084, 9954], abs=1)


def test_from_memory_older_docstring_values() -> None:
    """numpy-financial, earlier docstrings: npv(0.281) of the flows below, and a modified rate of return."""
    assert float(present_value([-100, 39, 59, 55, 20], 0.281)) == pytest.approx(-0.0084785916, abs=1e-9)
    paid = present_value([-100, 0, -60, 0], 0.10)
    received = present_value([0, 50, 0, 70], 0.12) * 1.12**3
    assert float((received / -paid) ** (1 / 3) - 1) == pytest.approx(-0.03909366594356467, rel=1e-9)


def test_from_memory_reliability_growth() -> None:
    """NIST/SEMATECH e-Handbook, power law example: growth slope 0.5165 by the modified estimate, and what follows.

    Faults at 5 ... 1478 h, watched until 1500 h.  The model's formulas (8.1.9.1) were seen, the example was not.
    """
    faults, end = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], 1500
    modified, plain = estimate_wear(faults, end), estimate_wear(faults, end, unbiased=False)
    assert modified is not None
    assert plain is not None
    assert 1 - modified.b == pytest.approx(0.5165, abs=5e-5)
    assert (plain.b, plain.a) == pytest.approx((0.537229, 0.196658), abs=1e-6)
    assert (plain.between_now, modified.between_now) == pytest.approx((279.211, 310.234), abs=5e-4)
