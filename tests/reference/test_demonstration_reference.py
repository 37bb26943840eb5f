"""How many crossings it takes to show a rate: success-run sizes and the rule of three."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from lineproof.detection.intervals import one_sided_lower, trials_to_demonstrate

# ln(1 - confidence) / ln(rate), rounded up: the success-run formula of reliability demonstration, recomputed by hand.
WITHOUT_A_MISS = [
    (0.998, 0.95, 1497), (0.998, 0.90, 1151), (0.999, 0.95, 2995), (0.999, 0.90, 2302), (0.995, 0.95, 598),
    (0.995, 0.90, 460), (0.99, 0.95, 299), (0.99, 0.90, 230), (0.95, 0.95, 59), (0.95, 0.90, 45), (0.9, 0.95, 29),
    (0.9, 0.90, 22),
]  # fmt: skip


@pytest.mark.parametrize(("rate", "confidence", "trials"), WITHOUT_A_MISS)
def test_recomputed_success_runs(rate: float, confidence: float, trials: int) -> None:
    assert trials == math.ceil(math.log(1 - confidence) / math.log(rate))
    assert trials_to_demonstrate(rate, confidence) == trials


@pytest.mark.parametrize(
    ("rate", "confidence", "misses", "trials"),
    [(0.90, 0.95, 0, 29), (0.95, 0.95, 0, 59), (0.90, 0.95, 1, 46), (0.99, 0.90, 0, 230)],
)
def test_published_sizes_of_a_reliability_demonstration(
    rate: float, confidence: float, misses: int, trials: int
) -> None:
    """The table of target reliability, confidence, allowed failures and required sample on an open page about planning such
    tests (codingace.net, "Confidence Reliability Sample Size Calculator"); 29 and 59 are in every handbook."""
    assert trials_to_demonstrate(rate, confidence, misses) == trials


@pytest.mark.parametrize(("misses", "trials"), [(0, 1497), (1, 2371), (2, 3146), (3, 3875)])
def test_recomputed_target_of_the_trade_with_up_to_three_misses_by_scipy(misses: int, trials: int) -> None:
    """0.998 with 95 %: the smallest samples whose exact one-sided bound reaches it (recomputed with scipy)."""
    assert trials_to_demonstrate(0.998, 0.95, misses) == trials
    assert stats.binom.cdf(misses, trials, 0.002) <= 0.05 < stats.binom.cdf(misses, trials - 1, 0.002)
    assert float(one_sided_lower(trials - misses, trials)) >= 0.998
    assert float(one_sided_lower(trials - 1 - misses, trials - 1)) < 0.998


@pytest.mark.parametrize(("trials", "one_in"), [(1500, 500), (300, 100)])
def test_published_rule_of_three(trials: int, one_in: int) -> None:
    """No event in n bounds its rate by 3/n with 95 %: none of 1,500 patients, fewer than 1 in 500; none of 300 parachutes,
    fewer than 1 in 100 (encyclopedia article "Rule of three (statistics)", seen).

    Also seen: abstract of Jovanovic & Levy 1997, The American Statistician 51:137-139.  First given by Hanley & Lippman-Hand
    1983, JAMA 249:1743-1745 (from memory).  The exact bound is under a hundredth below the rule's.
    """
    bound = 1 - float(one_sided_lower(trials, trials))
    assert bound < 1 / one_in
    assert bound == pytest.approx(1 / one_in, rel=0.007)


def test_recomputed_rule_of_three_and_its_exact_form() -> None:
    """By hand: the exact bound is 1 - 0.05^(1/n); three in n is above it by less than 6 % from thirty on."""
    for n in (30, 100, 1500):
        bound = 1 - float(one_sided_lower(n, n))
        assert bound == pytest.approx(1 - 0.05 ** (1 / n), abs=1e-12)
        assert bound < 3 / n
        assert bound == pytest.approx(3 / n, rel=0.06)
    assert 1 - float(one_sided_lower(1500, 1500)) == pytest.approx(0.0019952, abs=5e-8)
