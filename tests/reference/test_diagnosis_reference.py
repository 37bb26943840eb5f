"""The statistics behind diagnosis and clocks, against published examples and general-purpose libraries."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.multitest import multipletests

from lineproof.clock_faults.robust import fit_robust
from lineproof.diagnosis.false_discovery import adjust_chances
from lineproof.diagnosis.pattern import more_missed_chance
from lineproof.diagnosis.tags import to_tails

# Benjamini & Hochberg 1995, J. R. Statist. Soc. B 57, 289-300, section 4.1: fifteen comparisons of two treatments after
# a heart attack.  The list and both results were seen as quoted word by word in public notes on the paper.
HEART = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459]
HEART += [0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.0000]


def test_published_heart_attack_example_of_the_false_discovery_rate() -> None:
    """At 0.05 the procedure takes the four smallest for findings; Bonferroni's takes three."""
    adjusted = adjust_chances(HEART)
    assert (adjusted <= 0.05).tolist() == [True] * 4 + [False] * 11
    assert sum(p <= 0.05 / len(HEART) for p in HEART) == 3


def test_recomputed_adjusted_chances_by_statsmodels() -> None:
    assert adjust_chances(HEART) == pytest.approx(multipletests(HEART, method="fdr_bh")[1])
    shuffled = np.random.default_rng(3).permutation(HEART)
    assert adjust_chances(shuffled) == pytest.approx(multipletests(shuffled, method="fdr_bh")[1])


def test_recomputed_patterns_not_stated_count_as_certain() -> None:
    stated, all_of_them = HEART[:6], HEART[:6] + [1.0] * 30
    assert adjust_chances(stated, 36) == pytest.approx(multipletests(all_of_them, method="fdr_bh")[1][:6])


def test_published_tea_tasting_is_the_case_without_a_margin() -> None:
    """R. A. Fisher, The Design of Experiments, 1935: four cups of each kind, all told right, 1 in 70 by luck (seen in an encyclopedia's
    article on the experiment); three or more of each right, 0.2429 (seen in the example of R's help page of ``fisher.test``)."""
    assert more_missed_chance(4, 4, 0, 4, 1.0) == pytest.approx(1 / 70)
    assert more_missed_chance(3, 4, 1, 4, 1.0) == pytest.approx(0.2429, abs=5e-5)


def test_recomputed_misses_above_a_margin_by_scipy() -> None:
    """With odds 1 Fisher's exact test; with larger odds the noncentral distribution summed by hand."""
    exact = stats.fisher_exact([[20, 180], [15, 585]], alternative="greater").pvalue
    assert more_missed_chance(20, 200, 15, 600, 1.0) == pytest.approx(exact)
    odds, misses = 2.0, 35
    k = np.arange(0, 36)
    word = stats.hypergeom.logpmf(k, 800, misses, 200) + k * np.log(odds)
    share = np.exp(word - word.max())
    assert more_missed_chance(20, 200, 15, 600, odds) == pytest.approx(
        share[20:].sum() / share.sum(), rel=1e-6
    )


def test_recomputed_chance_of_several_misses_is_binomial_where_all_shares_are_alike() -> None:
    tails = to_tails(np.full(12, 0.03), np.repeat([0, 1], 6), 2)
    assert tails[0] == pytest.approx(stats.binom.sf(np.arange(-1, 6), 6, 0.03))


def test_recomputed_chance_of_several_misses_by_all_outcomes() -> None:
    """Three tries of different chances: every outcome summed up."""
    shares = np.array([0.1, 0.25, 0.5])
    at_least_two = sum(
        np.prod(np.where(outcome, shares, 1 - shares))
        for outcome in ([1, 1, 0], [1, 0, 1], [0, 1, 1], [1, 1, 1])
        for outcome in [np.array(outcome, dtype=bool)]
    )
    assert to_tails(shares, np.zeros(3, dtype=np.int64), 1)[0, 2] == pytest.approx(at_least_two)


def test_published_robust_line_of_the_stack_losses() -> None:
    """R's MASS 7.3 prints for ``rlm(stack.loss ~ ., stackloss)``: -41.0265 (9.8073), 0.8294 (0.1112), 0.9261 (0.3034),
    -0.1278 (0.1289), residual standard error 2.441; seen in several public course notes, and the same coefficients on
    statsmodels' page on robust lines.

    Its scale is the median absolute deviation about zero, ours about the median, so a tenth of a standard error is allowed.
    """
    data = sm.datasets.stackloss.load_pandas()
    ours = fit_robust(sm.add_constant(data.exog).to_numpy(), data.endog.to_numpy())
    printed = np.array([-41.0265, 0.8294, 0.9261, -0.1278])
    errors = np.array([9.8073, 0.1112, 0.3034, 0.1289])
    assert (np.abs(ours.coefficients - printed) < 0.1 * errors).all()
    assert ours.scale == pytest.approx(2.441, rel=0.05)


def test_recomputed_robust_line_by_statsmodels() -> None:
    """The stack loss plant data (Brownlee 1965, public domain, shipped with the library), Huber's estimator."""
    data = sm.datasets.stackloss.load_pandas()
    design = sm.add_constant(data.exog).to_numpy()
    values = data.endog.to_numpy()
    theirs = sm.RLM(values, design, M=sm.robust.norms.HuberT()).fit(scale_est="mad")
    ours = fit_robust(design, values)
    # The scale of both is the median absolute deviation, theirs about zero and ours about the median.
    assert ours.coefficients == pytest.approx(theirs.params, rel=0.05)
    assert ours.scale == pytest.approx(theirs.scale, rel=0.1)
