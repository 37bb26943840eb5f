"""Replacement economics, choice under a budget and wear, against handbooks and general-purpose libraries.

Three groups: ``test_published_…`` (the figures were seen in the source named), ``test_recomputed_…`` (published
inputs, figures by a named library) and ``test_from_memory_…`` (figures recalled; the arithmetic was done again).
"""

from __future__ import annotations

import numpy as np
import numpy_financial as npf
import pytest
from scipy import optimize, stats

from lineproof.replacement.beliefs import TREND_SHARE, _chance_of_trend
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


def test_published_economic_life_of_a_defender() -> None:
    """Blank & Tarquin, Engineering Economy, Example 11.2 (10 %): 7,800, 6,276 and 6,132 a year, economic service life three years;
    worked out in lecture notes of the American University in Cairo (ENGR 345, summer 2003; studylib.net), whole dollars.

    The fourth and fifth year, which the notes leave out, by the same formula.
    """
    life = find_economic_life(
        13_000, [9_000, 8_000, 6_000, 2_000, 0], [2_500, 2_700, 3_000, 3_500, 4_500], 0.10
    )
    assert [round(cost) for cost in life.by_season[:3]] == [7_800, 6_276, 6_132]
    assert life.seasons == 3
    assert life.by_season[3:] == pytest.approx([6556.30, 6579.84], abs=5e-3)


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


def test_published_older_values() -> None:
    """``numpy.npv`` of NumPy 1.16 (https://numpy.org/doc/1.16/reference/generated/numpy.npv.html); ``mirr`` in the docstring of
    numpy-financial's current sources: what is paid discounted at 10 %, what is received left to grow at 12 %."""
    assert float(present_value([-100, 39, 59, 55, 20], 0.281)) == pytest.approx(
        -0.0084785916384548798, rel=1e-9
    )
    paid = present_value([-100, 0, -60, 0], 0.10)
    received = present_value([0, 50, 0, 70], 0.12) * 1.12**3
    assert float((received / -paid) ** (1 / 3) - 1) == pytest.approx(-0.03909366594356467, rel=1e-9)


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


def test_published_greedy_choice_loses() -> None:
    """P07 by value for money: 1441 of 1458, in the table of a public comparison of methods on the collection
    (https://github.com/Callmeg0d/knapsack_0-1_problem)."""
    assert choose_greedily(knapsack(*P07)).gain == pytest.approx(1441)
    assert choose_best(knapsack(*P07))[0].gain == pytest.approx(1458)


FAULTS, WATCHED = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478], 1500


def test_published_reliability_growth() -> None:
    """NIST/SEMATECH e-Handbook, chapter 8.4, fit of the power law (data of 8.2.2.3: faults at 5 to 1,478 h, watched until 1,500 h):
    the handbook's own R output, seen in a public copy of it.  Growth slope 0.516494, a 0.2913003, b 0.483506, and 310.234 h
    between faults at the end."""
    found = estimate_wear(FAULTS, WATCHED)
    assert found is not None
    assert 1 - found.b == pytest.approx(0.516494, abs=5e-7)
    assert (found.b, found.a) == pytest.approx((0.483506, 0.2913003), abs=5e-7)
    assert found.between_now == pytest.approx(310.234, abs=5e-4)


@pytest.mark.parametrize(
    ("chance", "least"), [(0.10, 0.626), (0.05, 0.407), (0.01, 0.125), (0.005, 0.072), (0.001, 0.019)]
)
def test_published_most_that_a_p_value_can_say(chance: float, least: float) -> None:
    """Sellke, Bayarri & Berger 2001, The American Statistician 55:62-71: the smallest Bayes factor for no effect, as tabled on an open
    page on calibrating p-values (metricgate.com); the chance of a real trend has prior odds of ``TREND_SHARE``."""
    prior = TREND_SHARE / (1 - TREND_SHARE)
    after = _chance_of_trend(chance) / (1 - _chance_of_trend(chance))
    assert prior / after == pytest.approx(least, abs=5.1e-4)


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


def test_recomputed_annual_costs_by_numpy_financial() -> None:
    """Price, what it fetches and its costs as one flow; its present value as a yearly payment."""
    price, worth, costs = 13_000, [9_000, 8_000, 6_000, 2_000, 0], [2_500, 2_700, 3_000, 3_500, 4_500]
    life = find_economic_life(price, worth, costs, 0.10)
    for seasons, found in enumerate(life.by_season, start=1):
        flows = [price, *costs[:seasons]]
        flows[seasons] -= worth[seasons - 1]
        assert found == pytest.approx(-float(npf.pmt(0.10, seasons, npf.npv(0.10, flows))), rel=1e-12)


def test_recomputed_wear_without_correction_by_scipy() -> None:
    """The power law's log-likelihood, watched until a fixed time, maximised over both values."""

    def minus(logs: np.ndarray) -> float:
        a, b = np.exp(logs)
        return float(a * WATCHED**b - np.log(a * b * np.array(FAULTS) ** (b - 1.0)).sum())

    best = optimize.minimize(
        minus, np.log([0.1, 0.8]), method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12}
    )
    found = estimate_wear(FAULTS, WATCHED, unbiased=False)
    assert found is not None
    assert (found.a, found.b) == pytest.approx(tuple(np.exp(best.x)), rel=1e-6)


# --- from memory -------------------------------------------------------------------------------------------


def test_from_memory_economic_life_of_the_older_fork_truck() -> None:
    """Sullivan, Wicks & Koelling, an earlier edition of the truck: 9,000, 8,643, 8,598, 9,084, 9,954; three years."""
    life = find_economic_life(
        20_000, [15_000, 11_250, 8_500, 6_500, 4_750], [2_000, 3_000, 4_620, 8_000, 12_000], 0.10
    )
    assert life.seasons == 3
    assert life.by_season == pytest.approx([9000, 8643, 8598, 9084, 9954], abs=1)
