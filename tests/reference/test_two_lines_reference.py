"""Two lines at a point are two lists of the same population: checks from capture-recapture and paired tests."""

from __future__ import annotations

import math

import numpy as np
import pytest
from statsmodels.stats.contingency_tables import StratifiedTable, mcnemar

from lineproof.detection.two_lines import (
    Cells,
    compare_lines,
    estimate_dependence,
    estimate_stratified,
    estimate_two_lines,
    hidden_by_odds_ratio,
)

# Marked, caught, marked among the caught: what textbooks print, as entered with page and table in the validation tests of the
# R package FSA (https://github.com/fishR-Core-Team/FSA, tests/testthat/test_mrClosed_VALIDATE.R): Petersen, Chapman, error of
# Chapman.  Krebs 1989, Ecological Methodology, Box 2.1; Ricker 1975, Computation and Interpretation of Biological Statistics of
# Fish Populations; Pine and others 2013, Box 11.2 (1,330 to 1,826 at 95 %).
TEXTBOOKS = [
    (948, 421, 167, 2390, 2383, None),
    (109, 177, 57, None, 337, None),
    (421, 332, 88, None, 1578, (1826 - 1330) / 2 / 1.959964),
]


@pytest.mark.parametrize(
    ("marked", "caught", "twice", "petersen", "chapman", "error"), TEXTBOOKS, ids=["Krebs", "Ricker", "Pine"]
)
def test_published_pairs_of_textbooks(marked, caught, twice, petersen, chapman, error) -> None:
    """Printed in whole animals, some of them cut off instead of rounded."""
    found = estimate_two_lines(Cells(twice, marked - twice, caught - twice))
    assert found.crossed_chapman == pytest.approx(chapman, abs=0.6)
    if petersen is not None:
        assert found.crossed == pytest.approx(petersen, abs=0.6)
    if error is not None:
        assert found.crossed_chapman_se == pytest.approx(error, abs=0.6)


def test_published_chapman_of_few_seen_twice() -> None:
    """Seber 2002, The Estimation of Animal Abundance, Table 3.7 (seen in the same place): 500 marked, 149 caught, 7 of them
    marked: 9,393, error 3,022."""
    found = estimate_stratified([Cells(7, 500 - 7, 149 - 7)])
    assert (found.crossed, found.variance**0.5) == pytest.approx((9393, 3022), abs=0.6)


# Hepatitis A outbreak, Taiwan 1995, three lists P, Q, E by history; Chao, Tsay, Lin, Shau & Chao 2001, Statistics in
# Medicine 20:3123-3157.  List totals 135, 122, 126 and 271 cases seen on the help page of the CRAN package CARE1.
HISTORIES = {"111": 28, "110": 21, "101": 17, "011": 18, "100": 69, "010": 55, "001": 63}


def pair_of(first: int, second: int) -> Cells:
    def count(a: str, b: str) -> int:
        return sum(n for word, n in HISTORIES.items() if (word[first], word[second]) == (a, b))

    return Cells(count("1", "1"), count("1", "0"), count("0", "1"))


def test_published_totals_of_the_lists() -> None:
    assert sum(HISTORIES.values()) == 271
    assert (pair_of(0, 1).main, pair_of(0, 1).backup, pair_of(0, 2).backup) == (135, 122, 126)


@pytest.mark.parametrize(
    ("lists", "petersen", "petersen_se", "chapman", "chapman_se"),
    [
        ((0, 1), 336.122449, 29.645811, 333.560000, 28.699714),
        ((0, 2), 378.000000, 36.889023, 374.478261, 35.581833),
        ((1, 2), 334.173913, 30.9870498, 331.361702, 29.9286915),
    ],
)
def test_from_memory_pairs_of_lists(lists, petersen, petersen_se, chapman, chapman_se) -> None:
    """Published 336, 378, 334 (from memory); the digits recomputed from the published counts."""
    found = estimate_two_lines(pair_of(*lists))
    assert found.crossed == pytest.approx(petersen, abs=1e-6)
    assert found.crossed_se == pytest.approx(petersen_se, abs=1e-6)
    assert found.crossed_chapman == pytest.approx(chapman, abs=1e-6)
    assert found.crossed_chapman_se == pytest.approx(chapman_se, abs=1e-6)


def test_from_memory_two_lists_can_lie() -> None:
    """Serum screening later gave 545 cases (from memory): every pair is far below, as its lists depend on each other."""
    cells = pair_of(0, 1)
    assert all(estimate_two_lines(pair_of(*pair)).crossed < 400 for pair in ((0, 1), (0, 2), (1, 2)))
    totals = [cells.seen + hidden_by_odds_ratio(cells, ratio) for ratio in (1, 1.5, 2, 3, 4)]
    assert totals == pytest.approx([336.122, 400.184, 464.245, 592.367, 720.490], abs=1e-3)
    assert cells.seen + hidden_by_odds_ratio(cells, 2.6303) == pytest.approx(545, abs=0.01)


def test_recomputed_a_pair_of_a_manual() -> None:
    """346 marked, 184 caught, 49 of them marked: the example of FSA's manual page, worked out by hand."""
    found = estimate_two_lines(Cells(49, 346 - 49, 184 - 49))
    assert (found.crossed, found.crossed_se) == pytest.approx((1299.265306, 147.298373), abs=1e-6)
    assert (found.crossed_chapman, found.crossed_chapman_se) == pytest.approx((1282.9, 142.082509), abs=1e-6)


def test_recomputed_swapped_lists_change_names_only() -> None:
    there, back = estimate_two_lines(Cells(49, 86, 73)), estimate_two_lines(Cells(49, 73, 86))
    assert (there.rate_main, there.rate_backup) == (back.rate_backup, back.rate_main)
    assert (there.crossed, there.crossed_se) == (back.crossed, back.crossed_se)


def test_recomputed_weak_tags_fool_two_lines_and_strata_undo_it() -> None:
    """Exact arithmetic: 2 % of tags read at 0.6, the rest at 0.999, by both lines; per million crossings."""
    weak, strong, million = 0.02, 0.98, 10**6
    both = weak * 0.36 + strong * 0.999**2
    one = weak * 0.24 + strong * 0.999 * 0.001
    neither = weak * 0.16 + strong * 0.001**2
    found = estimate_two_lines(Cells(round(both * million), round(one * million), round(one * million)))
    assert neither * million == pytest.approx(3200.98)
    assert found.hidden == pytest.approx(33.89736, rel=1e-3)
    assert neither * million / found.hidden == pytest.approx(94.43, rel=1e-3)
    assert found.rate_main == pytest.approx(0.99416861, abs=1e-6)
    apart = estimate_stratified(
        [
            Cells(7200, 4800, 4800),
            Cells(round(strong * 0.999**2 * million), round(strong * 999), round(strong * 999)),
        ]
    )
    assert apart.hidden == pytest.approx(neither * million, rel=1e-3)


def test_from_memory_strata_add_nothing_where_one_list_catches_everybody_alike() -> None:
    """Sekar & Deming 1949, J Am Stat Assoc 44:101-115: pooled and stratified agree if one rate is constant."""
    strata = [Cells(720, 80, 180), Cells(360, 40, 540)]  # main 0.8 and 0.4, backup 0.9 in both
    pooled = estimate_two_lines(Cells(1080, 120, 720))
    assert estimate_stratified(strata).crossed == pytest.approx(pooled.crossed)


def test_from_memory_a_small_stratum_takes_chapmans_estimator() -> None:
    assert estimate_stratified([Cells(3, 2, 2)]).crossed == pytest.approx(6 * 6 / 4 - 1)


def test_published_mcnemar_on_the_approval_survey() -> None:
    """1,600 people asked twice, 794, 150, 86, 570 (Agresti 1990, Categorical Data Analysis, p. 350, as R's help page has it).

    17.356 without and 16.818 with continuity correction seen in public teaching notes with R's output; the exact chance
    recomputed by statsmodels.
    """
    found = compare_lines(Cells(794, 150, 86, 570))
    assert found.chi2 == pytest.approx((150 - 86) ** 2 / 236)
    assert (found.chi2, found.chi2_corrected) == pytest.approx((17.355932, 16.817797), abs=1e-6)
    assert found.p_exact == pytest.approx(3.715936e-05, rel=1e-6)


@pytest.mark.parametrize("table", [(794, 150, 86, 570), (101, 121, 59, 33), (5, 0, 0, 1), (900, 12, 30, 2)])
def test_recomputed_mcnemar_by_statsmodels(table: tuple[int, int, int, int]) -> None:
    a, b, c, d = table
    found, square = compare_lines(Cells(*table)), [[a, b], [c, d]]
    assert found.p_exact == pytest.approx(mcnemar(square, exact=True).pvalue)
    if b + c:
        assert found.chi2 == pytest.approx(mcnemar(square, exact=False, correction=False).statistic)
        assert found.chi2_corrected == pytest.approx(mcnemar(square, exact=False).statistic)


# Admissions to six departments of the University of California, Berkeley, 1973 (Bickel, Hammel & O'Connell 1975, Science
# 187:398-404; table UCBAdmissions of R): men admitted and rejected, women admitted and rejected.
ADMISSIONS = [
    (512, 313, 89, 19),
    (353, 207, 17, 8),
    (120, 205, 202, 391),
    (138, 279, 131, 244),
    (53, 138, 94, 299),
    (22, 351, 24, 317),
]


def test_published_common_odds_ratio_of_the_admissions() -> None:
    """0.9046968 (0.7719074 to 1.0603298): program output seen in the tutorial of the CRAN package vcdExtra.

    The counts by department were seen in a handout of the University of Toronto (STA429, "The Berkeley Data").
    """
    found = estimate_dependence(Cells(*row) for row in ADMISSIONS)
    assert (found.odds_ratio, found.low, found.high) == pytest.approx(
        (0.9046968, 0.7719074, 1.0603298), abs=5e-7
    )


@pytest.mark.parametrize("tables", [ADMISSIONS, ADMISSIONS[:1], [(900, 12, 9, 4), (2000, 40, 30, 11)]])
def test_recomputed_common_odds_ratio_by_statsmodels(tables: list[tuple[int, int, int, int]]) -> None:
    stratified = StratifiedTable([np.array(t, dtype=float).reshape(2, 2) for t in tables])
    found = estimate_dependence(Cells(*t) for t in tables)
    low, high = stratified.oddsratio_pooled_confint()
    assert found.odds_ratio == pytest.approx(stratified.oddsratio_pooled)
    assert (found.low, found.high) == pytest.approx((low, high))


def test_recomputed_no_dependence_without_a_runner_whom_neither_read() -> None:
    assert math.isnan(estimate_dependence([Cells(90, 5, 5, 0)]).odds_ratio)
    assert math.isnan(estimate_dependence([Cells(90, 5, 5)]).odds_ratio)
    assert math.isnan(estimate_dependence([]).odds_ratio)
