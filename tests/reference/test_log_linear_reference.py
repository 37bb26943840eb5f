"""Several lists of one population: log-linear models, their closed forms, and the same by statsmodels.

Hepatitis A in Taiwan 1995, lists P, Q, E: Chao, Tsay, Lin, Shau & Chao 2001, Statistics in Medicine 20:3123-3157; list totals and
the number of cases seen on the help page of the CRAN package CARE1.  HIV in Rome, four lists: Abeni, Brancato & Perucci 1994,
Epidemiology 5:410-414.  Published and seen: what the R package Rcapture prints for them, in its saved example output
(https://github.com/cran/Rcapture, ``tests/Examples/Rcapture-Ex.Rout.save``), and in the same place Seber, The Estimation of Animal
Abundance, 2nd ed. 1982, p. 107: two catches with 167 animals in both, 781 in the first only, 254 in the second only.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm

from lineproof.detection.course_model.capture_histories import from_captures
from lineproof.detection.course_model.families import NORMAL_EFFECT, ONE_KIND, TWO_KINDS, Family
from lineproof.detection.course_model.fit import fit
from lineproof.detection.course_model.identifiability import estimate_rank
from lineproof.detection.course_model.loglinear import (
    estimate_lists,
    estimate_lower_bound,
    estimate_sample_coverage,
    to_counts,
)
from lineproof.detection.course_model.problem import make_problem
from lineproof.detection.course_model.structure import make_structure
from lineproof.detection.two_lines import Cells, estimate_two_lines

LISTS = {"111": 28, "110": 21, "101": 17, "011": 18, "100": 69, "010": 55, "001": 63}
WORDS = np.array([[int(c) for c in word] for word in LISTS])
NUMBERS = np.array(list(LISTS.values()))
FOUR = pl.read_csv(Path(__file__).parent / "data" / "four_lists.csv").cast(pl.Int64)
P, Q, E = 0, 1, 2


def test_published_totals_of_the_lists() -> None:
    assert (WORDS.T @ NUMBERS).tolist() == [135, 122, 126]
    assert NUMBERS.sum() == 271


HEPATITIS = [
    ([], 388.483, 21.553, 24.3568, 3),
    ([(P, Q)], 416.000, 30.943, 21.144, 2),
    ([(P, E)], 393.313, 26.796, None, 2),
    ([(Q, E)], 413.182, 29.835, None, 2),
    ([(P, Q), (P, E)], 463.500, 59.272, 19.422, 1),
    ([(P, Q), (Q, E)], 526.706, 78.021, 13.2026, 1),
    ([(P, E), (Q, E)], 451.714, 52.943, 19.904, 1),
    ([(P, Q), (P, E), (Q, E)], 1312.7647, 517.977, 0.0, 0),
]


@pytest.mark.parametrize(("interactions", "total", "std_error", "deviance", "df"), HEPATITIS)
def test_recomputed_hepatitis(interactions, total, std_error, deviance, df) -> None:
    """Recomputed by statsmodels from the published counts (388 published, from memory); again here, digit by digit."""
    found = estimate_lists(*to_counts(WORDS, NUMBERS), interactions=interactions)
    assert (found.total, found.std_error) == pytest.approx((total, std_error), abs=2e-3)
    assert found.df == df
    if deviance is not None:
        assert found.deviance == pytest.approx(deviance, abs=6e-4)
    if df == 0:
        return  # statsmodels divides by the degrees of freedom; the closed form below stands in
    histories, counts = to_counts(WORDS, NUMBERS)
    columns = [histories[:, list(group)].prod(axis=1) for group in interactions]
    design = np.column_stack([np.ones(len(counts)), histories, *columns])
    by_statsmodels = sm.GLM(counts, design, family=sm.families.Poisson()).fit(tol=1e-12)
    assert found.hidden == pytest.approx(float(np.exp(by_statsmodels.params[0])), rel=1e-6)
    assert found.aic == pytest.approx(float(by_statsmodels.aic), abs=1e-5)


def test_recomputed_saturated_model_by_its_closed_form() -> None:
    found = estimate_lists(*to_counts(WORDS, NUMBERS), interactions=[(P, Q), (P, E), (Q, E)])
    assert found.total == pytest.approx(271 + 28 * 69 * 55 * 63 / (21 * 17 * 18), rel=1e-8)


def test_from_memory_sample_coverage_and_lower_bounds() -> None:
    """Estimates of Chao and others from memory; the lower bounds recomputed from the published counts."""
    coverage, total = estimate_sample_coverage(*to_counts(WORDS, NUMBERS))
    assert (coverage, total) == pytest.approx((0.512690, 407.0038), abs=1e-4)
    assert estimate_lower_bound([187, 56, 28]).total == pytest.approx(583.223, abs=1e-3)
    assert estimate_lower_bound([187, 56, 28], 3).corrected == pytest.approx(474.404, abs=1e-3)


def four_lists() -> tuple[np.ndarray, np.ndarray]:
    return FOUR.select("c1", "c2", "c3", "c4").to_numpy(), FOUR["freq"].to_numpy()


def test_published_counts_of_the_four_lists() -> None:
    words, numbers = four_lists()
    assert numbers.sum() == 1896
    assert numbers[words.sum(axis=1) == 1].sum() == 1774


def test_published_fit_of_the_four_lists() -> None:
    """With the interaction of the first two lists 12318.5 (1188.7), deviance 7.614 on 9, AIC 86.65: to the printed digits."""
    found = estimate_lists(*to_counts(*four_lists()), interactions=[(0, 1)])
    assert (found.total, found.std_error) == pytest.approx((12318.5, 1188.7), abs=0.051)
    assert (found.deviance, found.aic) == pytest.approx((7.614, 86.65), abs=6e-4)
    assert found.df == 9


def test_published_fit_of_the_four_lists_with_all_pairs() -> None:
    """23443.5 (9594.9), deviance 3.037 on 4, AIC 92.073: six interactions, and the total has doubled at hardly a better fit."""
    pairs = [(i, j) for i in range(4) for j in range(i + 1, 4)]
    found = estimate_lists(*to_counts(*four_lists()), interactions=pairs)
    assert found.total == pytest.approx(23443.5, abs=0.06)
    assert found.std_error == pytest.approx(9594.9, abs=0.06)
    assert (found.deviance, found.aic) == pytest.approx((3.037, 92.073), abs=6e-4)
    assert found.df == 4


@pytest.mark.parametrize(
    ("alike", "total", "std_error", "deviance", "df", "aic"),
    [(True, 2805.6, 164.1, 281.334, 1, 308.166), (False, 2389.9, 130.4, 0.0, 0, 28.831)],
)
def test_published_two_catches(alike, total, std_error, deviance, df, aic) -> None:
    """Two lists are two lines: if all occasions are alike, and with a chance of their own each (Petersen's estimate)."""
    histories = np.array([[1, 1], [1, 0], [0, 1]])
    found = estimate_lists(*to_counts(histories, np.array([167, 781, 254])), alike=alike)
    assert (found.total, found.std_error) == pytest.approx((total, std_error), abs=0.051)
    assert (found.deviance, found.aic) == pytest.approx((deviance, aic), abs=6e-4)
    assert found.df == df
    if not alike:
        assert found.total == pytest.approx(estimate_two_lines(Cells(167, 781, 254)).crossed, rel=1e-6)


@pytest.mark.parametrize(
    ("interactions", "total", "std_error", "deviance", "df", "aic"),
    [([], 11124.578, 904.752, 13.026, 10, 90.062), ([(0, 1)], 12318.468, 1188.721, 7.614, 9, 86.650)],
)
def test_recomputed_four_lists(interactions, total, std_error, deviance, df, aic) -> None:
    """By statsmodels from the published counts, to more digits than the package prints."""
    found = estimate_lists(*to_counts(*four_lists()), interactions=interactions)
    assert (found.total, found.deviance, found.aic) == pytest.approx((total, deviance, aic), abs=2e-3)
    assert found.std_error == pytest.approx(std_error, rel=1e-5)
    assert found.df == df


@pytest.mark.parametrize(
    ("data", "pairs", "paired", "total"),
    [
        ((WORDS, NUMBERS), [(P,), (Q,), (E,)], (), 388.483),
        ((WORDS, NUMBERS), [(P, Q), (E,)], (0,), 416.000),
        ((WORDS, NUMBERS), [(P, E), (Q,)], (0,), 393.313),
        ((WORDS, NUMBERS), [(Q, E), (P,)], (0,), 413.182),
        (four_lists(), [(0,), (1,), (2,), (3,)], (), 11124.578),
        (four_lists(), [(0, 1), (2,), (3,)], (0,), 12318.468),
    ],
)
def test_recomputed_two_lists_that_depend_are_two_lines_of_a_point(data, pairs, paired, total) -> None:
    """The course model with a pair dependence, of people whom nobody leaves, is the log-linear model with that interaction."""
    histories = from_captures(*data, pairs=pairs)
    structure = make_structure(histories, ONE_KIND, sure=[True] * (len(pairs) - 1), paired=paired)
    found = fit(make_problem(histories, structure))
    assert found.value.never + histories.total == pytest.approx(total, rel=5e-6)


@pytest.mark.parametrize(
    ("lists", "family", "rank", "size"),
    [
        (2, ONE_KIND, 2, 2), (2, NORMAL_EFFECT, 2, 3), (2, TWO_KINDS, 2, 4),
        (3, ONE_KIND, 3, 3), (3, NORMAL_EFFECT, 4, 4), (3, TWO_KINDS, 4, 5),
        (4, ONE_KIND, 4, 4), (4, NORMAL_EFFECT, 5, 5), (4, TWO_KINDS, 6, 6),
        (6, ONE_KIND, 6, 6), (6, NORMAL_EFFECT, 7, 7), (6, TWO_KINDS, 8, 8),
    ],
)  # fmt: skip
def test_recomputed_what_so_many_lists_can_tell(lists: int, family: Family, rank: int, size: int) -> None:
    """Ranks of the conditional multinomial by numpy's singular values; the last lists' weakest direction is weak."""
    found = estimate_rank(lists, 1, family, survival=False)
    assert (found.rank, found.parameters, found.cells) == (rank, size, 2**lists - 2)


@pytest.mark.parametrize("points", [3, 4, 5])
def test_recomputed_one_line_per_point_leaves_the_last_pair_confounded(points: int) -> None:
    """Known of Cormack's model (Lebreton and others 1992): of 2K - 1 values here, one is lost, the last pair's product stays."""
    found = estimate_rank(points, 1, ONE_KIND, survival=True)
    assert found.rank == found.parameters - 1
    assert estimate_rank(points, 2, ONE_KIND, survival=True).identified if points < 4 else True


def test_recomputed_full_rank_is_not_information() -> None:
    """Four single lines and tags that differ: identified in principle, with a direction forty times weaker than the rest."""
    found = estimate_rank(4, 1, NORMAL_EFFECT, survival=True)
    assert found.identified
    assert found.weakest < 0.05 < estimate_rank(3, 2, NORMAL_EFFECT, survival=True).weakest
