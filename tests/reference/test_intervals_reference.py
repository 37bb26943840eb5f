"""Intervals against published tables and against general-purpose statistics libraries.

Published and seen: Newcombe 1998, Statistics in Medicine 17:857-872, Table I, methods 3 (score), 5 (exact) and 6 (mid-P), as quoted
with table and method in the tests of several public programs, mid-P in those of the R package coin; there too Berry & Armitage
1995 and Agresti & Gottard 2001.  NIST/SEMATECH e-Handbook of Statistical Methods 7.2.4.1
(https://www.itl.nist.gov/div898/handbook/prc/section2/prc241.htm), the whole page seen as stored in a public collection, its exact
limits also in the handbook's own R output.  Weil's litters of rats: design effects printed on the manual page of the R
package PF (``rsb``, https://rdrr.io/github/ABS-dev/PF/man/rsb.html).

*Recomputed*: made with statsmodels or scipy, from counts that a source names.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from lineproof.detection.clusters import design_effects
from lineproof.detection.intervals import (
    Interval,
    clopper_pearson,
    estimate_share,
    jeffreys,
    mid_p,
    one_sided_lower,
    one_sided_upper,
    rao_scott,
    wilson,
)

# Newcombe 1998, Statistics in Medicine 17:857-872, Table I, 95 %: score, exact, mid-P.
NEWCOMBE = {
    (81, 263): ((0.2553, 0.3662), (0.2527, 0.3676), (0.2544, 0.3658)),
    (15, 148): ((0.0624, 0.1605), (0.0578, 0.1617), (0.0601, 0.1581)),
    (0, 20): ((0.0, 0.1611), (0.0, 0.1684), (0.0, 0.1391)),
    (1, 29): ((0.0061, 0.1718), (0.0009, 0.1776), (0.0017, 0.1585)),
}


def ends(interval: Interval) -> tuple[float, float]:
    return float(interval.low), float(interval.high)


@pytest.mark.parametrize("counts", NEWCOMBE, ids=str)
def test_published_newcombes_four_cases(counts: tuple[int, int]) -> None:
    for method, expected in zip((wilson, clopper_pearson, mid_p), NEWCOMBE[counts], strict=True):
        assert ends(method(*counts)) == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize(
    ("hits", "trials", "low", "high"), [(5, 20, 0.098, 0.470), (4, 10, 0.142, 0.709), (0, 10, 0.0, None)]
)
def test_published_mid_p_intervals(hits: int, trials: int, low: float, high: float | None) -> None:
    """Berry & Armitage 1995, p. 420 (5 of 20); Agresti & Gottard 2001, p. 369 (of 10)."""
    found = ends(mid_p(hits, trials))
    assert found[0] == pytest.approx(low, abs=5e-4)
    if high is not None:
        assert found[1] == pytest.approx(high, abs=5e-4)


def test_published_exact_limits_of_the_e_handbook() -> None:
    """4 of 20 at 90 %: pl = 0.071354, pu = 0.401029; its search for roots stops a unit of the last digit off."""
    assert ends(clopper_pearson(4, 20, 0.90)) == pytest.approx((0.071354, 0.401029), abs=1e-6)


def test_published_one_sided_score_limit_of_the_e_handbook() -> None:
    """26 of 200: at least 0.09577 with 95 % on one side, the lower end of a 90 % interval (normal point as 1.645)."""
    assert ends(wilson(26, 200, 0.90))[0] == pytest.approx(0.09577, abs=1e-5)


COUNTS = [
    (0, 1),
    (1, 1),
    (0, 20),
    (1, 29),
    (15, 148),
    (81, 263),
    (998, 1000),
    (2995, 3000),
    (1500, 1500),
    (1, 2),
]


@pytest.mark.parametrize("confidence", [0.8, 0.95, 0.999])
def test_recomputed_by_statsmodels(confidence: float) -> None:
    hits, trials = np.array(COUNTS).T
    for method, name in ((wilson, "wilson"), (clopper_pearson, "beta")):
        low, high = proportion_confint(hits, trials, alpha=1 - confidence, method=name)
        found = method(hits, trials, confidence)
        np.testing.assert_allclose(found.low, low, atol=1e-12)
        np.testing.assert_allclose(found.high, high, atol=1e-12)


def test_recomputed_jeffreys_by_statsmodels_which_does_not_reach_the_ends() -> None:
    """Brown, Cai & DasGupta 2001, Statistical Science 16:101-133: lower end 0 at no hits, upper end 1 at all hits."""
    inner = [pair for pair in COUNTS if 0 < pair[0] < pair[1]]
    low, high = proportion_confint(*np.array(inner).T, method="jeffreys")
    found = jeffreys(*np.array(inner).T)
    np.testing.assert_allclose((found.low, found.high), (low, high), atol=1e-12)
    assert proportion_confint(0, 20, method="jeffreys")[0] > 0
    assert ends(jeffreys(0, 20)) == pytest.approx((0.0, 0.116639), abs=1e-6)
    assert ends(jeffreys(20, 20)) == pytest.approx((1 - 0.116639, 1.0), abs=1e-6)


# Recomputed with scipy 1.17 and statsmodels 0.15: what the intervals look like near 1.
NEAR_ONE = [
    (998, 1000, wilson, 0.992737, 0.999451),
    (998, 1000, clopper_pearson, 0.992794, 0.999758),
    (998, 1000, jeffreys, 0.993600, 0.999584),
    (998, 1000, mid_p, 0.993408, 0.999665),
    (2995, 3000, wilson, 0.996104, 0.999288),
    (2995, 3000, clopper_pearson, 0.996115, 0.999459),
    (2995, 3000, jeffreys, 0.996351, 0.999364),
    (1500, 1500, wilson, 0.997446, 1.0),
    (1500, 1500, clopper_pearson, 0.997544, 1.0),
]


@pytest.mark.parametrize(("hits", "trials", "method", "low", "high"), NEAR_ONE)
def test_recomputed_high_rate_anchors_by_scipy_and_statsmodels(hits, trials, method, low, high) -> None:
    assert ends(method(hits, trials)) == pytest.approx((low, high), abs=6e-7)


def test_recomputed_mid_p_by_the_binomial_of_scipy() -> None:
    """Half of the outcome's probability and all beyond it make the tail (Lancaster 1961), by scipy's binomial."""
    for hits, trials in [(3, 40), (39, 40), (998, 1000)]:
        low, high = ends(mid_p(hits, trials))
        below = stats.binom.cdf(hits - 1, trials, high) + stats.binom.pmf(hits, trials, high) / 2
        above = stats.binom.sf(hits, trials, low) + stats.binom.pmf(hits, trials, low) / 2
        assert (below, above) == pytest.approx((0.025, 0.025), abs=1e-9)


def test_recomputed_one_sided_bounds_by_scipy() -> None:
    for hits, trials in COUNTS:
        test = stats.binomtest(hits, trials, alternative="greater").proportion_ci(0.95, "exact")
        assert float(one_sided_lower(hits, trials)) == pytest.approx(test.low, abs=1e-12)
        test = stats.binomtest(hits, trials, alternative="less").proportion_ci(0.95, "exact")
        assert float(one_sided_upper(hits, trials)) == pytest.approx(test.high, abs=1e-12)


def coverage(rate: float, trials: int) -> float:
    """Exact chance that the interval of ``estimate_share`` holds ``rate``: a sum, no simulation."""
    hits = np.arange(trials + 1)
    share = estimate_share(hits, np.full(trials + 1, trials))
    inside = (share.low <= rate) & (rate <= share.high)
    return float(stats.binom.pmf(hits, trials, rate)[inside].sum())


@pytest.mark.parametrize("trials", [200, 1000, 5000])
def test_recomputed_coverage_of_the_chosen_interval_by_scipy(trials: int) -> None:
    """At least 94 % where fewer than 5 misses are expected, 92 to 98 % elsewhere (Wilson alone falls to 85 %)."""
    few = [coverage(1 - misses / trials, trials) for misses in np.arange(0.05, 5, 0.05)]
    assert min(few) >= 0.94
    more = [
        coverage(1 - misses / trials, trials)
        for misses in [*np.arange(5, 60, 0.11), *np.arange(60, trials / 2, trials / 97)]
    ]
    assert min(more) >= 0.92
    assert max(more) <= 0.98


# Weil 1970 (Food and Cosmetics Toxicology 8:177-182), rat pups alive at 4 days of those weaned, by litter; data as given in Rao & Scott 1992,
# Biometrics 48:577-585, and in the CRAN package aod (data set rats): (litter size, survivors).
CONTROL = [(13, 13), (12, 12), (9, 9), (9, 9), (8, 8), (8, 8), (13, 12), (12, 11), (10, 9), (10, 9), (9, 8), (13, 11), (5, 4), (7, 5), (10, 7), (10, 7)]  # fmt: skip
TREATED = [(12, 12), (11, 11), (10, 10), (9, 9), (11, 10), (10, 9), (10, 9), (9, 8), (9, 8), (5, 4), (9, 7), (7, 4), (10, 5), (6, 3), (10, 3), (7, 0)]  # fmt: skip


@pytest.mark.parametrize(
    ("litters", "rate", "variance", "binomial", "deff"),
    [
        (CONTROL, 142 / 158, 0.000709941, 0.000576019, 1.232495),
        (TREATED, 112 / 145, 0.004792250, 0.001212350, 3.952861),
    ],
    ids=["control", "treated"],
)
def test_published_design_effects_of_rao_and_scott_for_litters_of_rats(
    litters, rate, variance, binomial, deff
) -> None:
    """1.232495 and 3.952861 are printed; formula of the manual page of aod, variances by it from the public data."""
    trials, survivors = np.array(litters).T
    found = rao_scott(survivors, trials)
    assert found.estimate == pytest.approx(rate)
    assert found.variance == pytest.approx(variance, abs=5e-10)
    assert found.binomial_variance == pytest.approx(binomial, abs=5e-10)
    assert found.deff == pytest.approx(deff, abs=1e-6)


def test_recomputed_design_effects_of_many_groups_at_once() -> None:
    rows = [
        {"group": name, "litter": i, "died": pup >= alive}
        for name, litters in (("control", CONTROL), ("treated", TREATED))
        for i, (size, alive) in enumerate(litters)
        for pup in range(size)
    ]
    found = design_effects(pl.DataFrame(rows), ["group"], ["litter"], pl.col("died"))
    assert found["group"].to_list() == ["control", "treated"]
    assert found["deff"].to_list() == pytest.approx([1.232495, 3.952861], abs=1e-6)


def test_recomputed_adjusted_comparison_of_rao_and_scott() -> None:
    """Naive chi-square 8.8999, adjusted 4.0406: clustering turns p = 0.003 into p = 0.044 (recomputed)."""
    sizes, effects = [], []
    for litters in (CONTROL, TREATED):
        trials, survivors = np.array(litters).T
        sizes.append((survivors.sum(), trials.sum()))
        effects.append(rao_scott(survivors, trials).deff)
    for divisors, expected in (((1, 1), 8.899893), (effects, 4.040611)):
        alive, all_ = (
            np.array([pair[k] / d for pair, d in zip(sizes, divisors, strict=True)]) for k in (0, 1)
        )
        pooled = alive.sum() / all_.sum()
        chi2 = ((alive - all_ * pooled) ** 2 / (all_ * pooled * (1 - pooled))).sum()
        assert chi2 == pytest.approx(expected, abs=1e-5)
