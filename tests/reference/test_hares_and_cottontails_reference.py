"""Two populations that show what unequal chances do: hares whose number is unknown, rabbits whose number was known.

Snowshoe hares: 68 caught on six occasions; Cormack 1989, Biometrics 45:395-413; Agresti 1994, Biometrics 50:494-500.
Published and seen: the whole table of models that the R package Rcapture (Baillargeon & Rivest 2007, Journal of Statistical
Software 19(5)) prints, in its saved example output (https://github.com/cran/Rcapture, ``tests/Examples/Rcapture-Ex.Rout.save``), and
N = 76.8 (3.9), AIC 146 without the two always caught, on its help page.

Cottontails: 76 caught of 135 known to be there (Edwards & Eberhardt 1967, Journal of Wildlife Management 31:87-96; the true number
seen in the header of the data file).  Published and seen: what program MARK gives for all alike and for two kinds, noted in the
tests of the R package wiqid (https://github.com/mikemeredith/wiqid, ``inst/tests/testthat/test-closedCap.R``).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy import special

from lineproof.detection.course_model.capture_histories import from_captures
from lineproof.detection.course_model.closed_population import estimate_total, of_beta, of_problem
from lineproof.detection.course_model.families import NORMAL_EFFECT, ONE_KIND, TWO_KINDS, Family
from lineproof.detection.course_model.fit import fit
from lineproof.detection.course_model.loglinear import (
    ListFit,
    Unequal,
    estimate_lists,
    estimate_lower_bound,
    to_counts,
)
from lineproof.detection.course_model.problem import Problem, make_problem
from lineproof.detection.course_model.structure import make_structure

HARES = pl.read_csv(Path(__file__).parent / "data" / "snowshoe_hares.csv").to_numpy().astype(int)
HARE_TIMES = (25, 22, 13, 5, 1, 2)
RABBIT_TIMES = (43, 16, 8, 6, 0, 2, 1)
RABBITS, OCCASIONS = 135, 18


def hares(**options: object) -> ListFit:
    return estimate_lists(*to_counts(HARES), **options)  # type: ignore[arg-type]


def rabbits(family: Family) -> Problem:
    """Occasions are alike, so any histories with the right number of captures will do."""
    captures = np.array([[1] * k + [0] * (OCCASIONS - k) for k in range(1, 8)])
    histories = from_captures(captures, np.array(RABBIT_TIMES))
    structure = make_structure(
        histories, family, line_design=np.ones((OCCASIONS, 1)), sure=[True] * (OCCASIONS - 1)
    )
    return make_problem(histories, structure)


def test_published_counts_of_the_hares() -> None:
    assert HARES.sum(axis=0).tolist() == [16, 28, 20, 26, 23, 32]
    assert np.bincount(HARES.sum(axis=1), minlength=7)[1:].tolist() == list(HARE_TIMES)


@pytest.mark.parametrize(
    ("options", "total", "std_error", "deviance", "df", "aic"),
    [
        ({"alike": True}, 75.4, 3.5, 68.516, 61, 154.707),
        ({}, 75.1, 3.4, 58.314, 56, 154.505),
        ({"unequal": Unequal.POISSON2, "alike": True}, 81.5, 5.7, 59.107, 60, 147.298),
        ({"unequal": Unequal.DARROCH, "alike": True}, 90.4, 11.6, 61.600, 60, 149.791),
        ({"unequal": Unequal.POISSON2}, 81.1, 5.6, 48.137, 55, 146.327),
        ({"unequal": Unequal.DARROCH}, 90.5, 11.7, 50.706, 55, 148.896),
    ],
    ids=["M0", "Mt", "Mh Poisson2", "Mh Darroch", "Mth Poisson2", "Mth Darroch"],
)
def test_published_hares_by_six_models(options, total, std_error, deviance, df, aic) -> None:
    """To every printed digit: totals and errors to one decimal, deviance and AIC to three."""
    found = hares(**options)
    assert (found.total, found.std_error) == pytest.approx((total, std_error), abs=0.051)
    assert (found.deviance, found.aic) == pytest.approx((deviance, aic), abs=6e-4)
    assert found.df == df


def test_published_hares_with_the_two_always_caught_set_apart() -> None:
    found = hares(apart=[(1,) * 6])
    assert (found.total, found.std_error) == pytest.approx((76.8, 3.9), abs=0.05)
    assert found.aic == pytest.approx(146, abs=0.5)


@pytest.mark.parametrize(
    ("options", "total", "std_error", "deviance", "df", "aic"),
    [
        ({"alike": True}, 75.434, 3.455, 68.516, 61, 154.707),
        ({}, 75.066, 3.352, 58.314, 56, 154.505),
        ({"unequal": Unequal.POISSON2}, 81.079, 5.574, 48.137, 55, 146.327),
        ({"unequal": Unequal.POISSON2, "alike": True}, 81.527, 5.711, 59.107, 60, 147.298),
        ({"unequal": Unequal.DARROCH}, 90.464, 11.658, 50.706, 55, 148.896),
        ({"unequal": Unequal.DARROCH, "alike": True}, 90.402, 11.625, 61.600, 60, 149.791),
        ({"apart": [(1,) * 6]}, 76.778, 3.911, 47.894, 55, 146.085),
    ],
)
def test_recomputed_hares_by_statsmodels(options, total, std_error, deviance, df, aic) -> None:
    """Poisson regressions of the published data by statsmodels, to more digits than the package prints."""
    found = hares(**options)
    assert (found.total, found.std_error, found.deviance, found.df, found.aic) == pytest.approx(
        (total, std_error, deviance, df, aic), abs=6e-4
    )


@pytest.mark.parametrize(("alike", "total"), [(True, 75.434), (False, 75.066)])
def test_recomputed_hares_by_the_course_model(alike: bool, total: float) -> None:
    """A closed population is a course that nobody leaves: the same totals as the Poisson regressions."""
    histories = from_captures(HARES)
    design = np.ones((6, 1)) if alike else None
    structure = make_structure(histories, ONE_KIND, line_design=design, sure=[True] * 5)
    found = fit(make_problem(histories, structure))
    assert found.value.never + 68 == pytest.approx(total, abs=2e-3)


def test_published_two_hares_decide_between_answers() -> None:
    """Two animals caught every time move the total from 77 to 90 at almost equal AIC: no single number is honest."""
    fits = [hares(apart=[(1,) * 6]), hares(unequal=Unequal.POISSON2), hares(unequal=Unequal.DARROCH)]
    assert max(f.aic for f in fits) - min(f.aic for f in fits) < 3
    assert max(f.total for f in fits) - min(f.total for f in fits) > 13


def test_recomputed_lower_bounds() -> None:
    """Chao 1987, Biometrics 43:783-791, computed from the published frequencies."""
    found = estimate_lower_bound(HARE_TIMES)
    assert (found.total, found.corrected) == pytest.approx((82.2045, 81.0435), abs=1e-4)
    cottontails = estimate_lower_bound(RABBIT_TIMES)
    assert cottontails.total == pytest.approx(133.78125)
    assert cottontails.variance == pytest.approx(577.0225, abs=1e-4)
    assert cottontails.corrected == pytest.approx(129.1176, abs=1e-4)
    assert cottontails.total < RABBITS


def test_recomputed_cottontails_if_all_were_alike() -> None:
    """Recomputed by scipy from the published frequencies: 29 % of the known population are lost."""
    found = estimate_total(of_problem(rabbits(ONE_KIND)), 76, [-2.0])
    assert found.total == pytest.approx(96.259, abs=1e-3)
    assert special.expit(found.values[0]) == pytest.approx(0.081955, abs=1e-6)


def test_published_cottontails_by_program_mark() -> None:
    """MARK: all alike 96.258770 and 0.0819550, AIC 379.59414; two kinds 135.47714 (0.1548; 0.1795, 0.0360), AIC 369.6155.

    The search stops within 1e-3 of an animal.  The AICs have another constant: their difference is compared.
    """
    alike = estimate_total(of_problem(rabbits(ONE_KIND)), 76, [-2.0])
    two = estimate_total(of_problem(rabbits(TWO_KINDS)), 76, [-1.5, 1.5, 0.6])
    assert alike.total == pytest.approx(96.258770, abs=1e-3)
    assert special.expit(alike.values[0]) == pytest.approx(0.0819550, abs=1e-6)
    assert two.total == pytest.approx(135.47714, abs=1e-3)
    usual, odds, log_shift = two.values
    assert special.expit(-odds) == pytest.approx(0.1548, abs=6e-5)
    assert special.expit([usual, usual - np.exp(log_shift)]) == pytest.approx([0.1795, 0.0360], abs=6e-5)
    found = 2 * (two.log_likelihood - alike.log_likelihood) - 2 * 2
    assert found == pytest.approx(379.59414 - 369.6155, abs=2e-4)


def test_recomputed_cottontails_by_two_families() -> None:
    """135 against 253 at a quarter of a log-likelihood: the data cannot tell, the range has to be shown.

    Recomputed by scipy from the published frequencies; that families disagree so is Link 2003, Biometrics 59:1123-1130.
    """
    two = estimate_total(of_problem(rabbits(TWO_KINDS)), 76, [-1.5, 1.5, 0.6])
    beta = estimate_total(of_beta(RABBIT_TIMES, OCCASIONS), 76, [-1.0, 2.5])
    assert two.total == pytest.approx(135.477, abs=1e-3)
    usual, odds, log_shift = two.values
    assert special.expit(odds) == pytest.approx(0.845239, abs=1e-5)
    assert special.expit(usual) == pytest.approx(0.179515, abs=1e-5)
    assert special.expit(usual - np.exp(log_shift)) == pytest.approx(0.036024, abs=1e-5)
    assert beta.total == pytest.approx(252.685, abs=1e-2)
    assert np.exp(beta.values) == pytest.approx([0.3759, 11.668], abs=5e-4)
    assert two.log_likelihood - beta.log_likelihood == pytest.approx(0.253, abs=5e-4)
    assert two.total < RABBITS + 1 < beta.total


def test_recomputed_course_models_two_families_differ_on_the_cottontails_too() -> None:
    two = estimate_total(of_problem(rabbits(TWO_KINDS)), 76, [-1.5, 1.5, 0.6])
    normal = estimate_total(of_problem(rabbits(NORMAL_EFFECT)), 76, [-3.0, 0.0])
    assert abs(two.log_likelihood - normal.log_likelihood) < 2
    assert normal.total > 1.1 * two.total
