"""European dippers: survival and recapture, the five models every textbook fits.

Data: 294 birds, seven years; Marzolin 1988; Lebreton, Burnham, Clobert & Anderson 1992, Ecological Monographs 62:67-118.
Published and seen: estimates, standard errors and -2 log-likelihoods in public teaching notes with program output and
in the vignette of the CRAN package ``marked``.  A bird is a runner, a year a point with one line; a record counts from its
first capture on.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy import optimize, special

from lineproof.detection.course_model.capture_histories import (
    estimate_open_population,
    from_captures,
    from_recaptures,
)
from lineproof.detection.course_model.families import ONE_KIND
from lineproof.detection.course_model.fit import Fit, fit
from lineproof.detection.course_model.problem import make_problem
from lineproof.detection.course_model.profile import of_parameter, profile_ends
from lineproof.detection.course_model.structure import Condition, make_structure

DATA = Path(__file__).parent / "data"
CAUGHT_BY_YEAR = np.eye(7)[:, 1:]  # the first year only releases
CAUGHT_ALIKE = np.ones((7, 1))
SURVIVE_BY_YEAR = np.eye(6)
SURVIVE_ALIKE = np.ones((6, 1))
FLOOD = np.column_stack([np.ones(6), [0, 1, 1, 0, 0, 0]])  # the Moselle rose in two of the winters
RELEASED = np.array([22, 60, 78, 80, 88, 98])
RECAPTURED = np.array(
    [
        [11, 2, 0, 0, 0, 0],
        [0, 24, 1, 0, 0, 0],
        [0, 0, 34, 2, 0, 0],
        [0, 0, 0, 45, 1, 2],
        [0, 0, 0, 0, 51, 0],
        [0, 0, 0, 0, 0, 52],
    ]
)


def fitted(caught: np.ndarray, survive: np.ndarray, *, by_release: bool = False) -> Fit:
    if by_release:
        histories = from_recaptures(RELEASED, RECAPTURED)
    else:
        words = pl.read_csv(DATA / "dipper.csv", schema_overrides={"ch": pl.String})["ch"]
        histories = from_captures(np.array([[int(c) for c in word] for word in words]), from_first=True)
    structure = make_structure(
        histories, ONE_KIND, line_design=caught, segment_design=survive, condition=Condition.ENTERED
    )
    return fit(make_problem(histories, structure))


MODELS = [
    # caught, survive, -2 log-likelihood, estimates on the probability scale: caught first, then survival
    (CAUGHT_ALIKE, SURVIVE_ALIKE, 666.8377, [0.9025835, 0.5602430]),
    (
        CAUGHT_ALIKE,
        SURVIVE_BY_YEAR,
        659.7301,
        [0.9020662, 0.6258351, 0.4541914, 0.4783772, 0.6244043, 0.6079444, 0.5832982],
    ),
    (
        CAUGHT_BY_YEAR,
        SURVIVE_ALIKE,
        664.4802,
        [0.7850809, 0.8905191, 0.8750974, 0.9083167, 0.9405547, 0.9639315, 0.5530901],
    ),
]


@pytest.mark.parametrize("by_release", [False, True], ids=["by bird", "by release"])
@pytest.mark.parametrize(
    ("caught", "survive", "deviance", "shares"), MODELS, ids=["phi p", "phi(t) p", "phi p(t)"]
)
def test_published_estimates(caught, survive, deviance, shares, by_release) -> None:
    """Published digits: four of -2 log-likelihood, seven of the estimates (the last is left to the search)."""
    found = fitted(caught, survive, by_release=by_release)
    assert -2 * found.log_likelihood == pytest.approx(deviance, abs=1e-4)
    assert special.expit(found.values) == pytest.approx(shares, abs=2e-6)
    assert found.rank == len(shares)
    assert found.settled


def test_published_standard_errors() -> None:
    """On the logit scale, as printed; and on the probability scale by the delta method."""
    found = fitted(CAUGHT_ALIKE, SURVIVE_ALIKE)
    assert found.values == pytest.approx([2.2262659, 0.2421484], abs=1e-5)
    assert found.std_error() == pytest.approx([0.3251094, 0.1020127], abs=1e-5)
    share = special.expit(found.values)
    assert share * (1 - share) * found.std_error() == pytest.approx([0.0285857, 0.0251330], abs=1e-5)
    half = 1.959964 * found.std_error()
    assert special.expit(found.values - half) == pytest.approx([0.8304826, 0.5105493], abs=1e-5)
    assert special.expit(found.values + half) == pytest.approx([0.9460113, 0.6087577], abs=1e-5)


def test_published_effect_of_the_flood() -> None:
    found = fitted(CAUGHT_ALIKE, FLOOD)
    assert -2 * found.log_likelihood == pytest.approx(660.1028, abs=1e-4)
    assert found.values == pytest.approx([2.1948811, 0.4351207, -0.5599740], abs=2e-5)


def test_published_estimates_with_the_last_pair_confounded() -> None:
    """By year in both: the last survival and the last capture are only known as a product; twelve values, rank eleven."""
    found = fitted(CAUGHT_BY_YEAR, SURVIVE_BY_YEAR)
    assert -2 * found.log_likelihood == pytest.approx(656.9502, abs=1e-4)
    assert found.rank == 11
    share = special.expit(found.values)
    assert share[:5] == pytest.approx([0.69620, 0.92308, 0.91304, 0.90079, 0.93241], abs=1e-5)
    assert share[6:11] == pytest.approx([0.71818, 0.43467, 0.47817, 0.62612, 0.59853], abs=1e-5)
    assert share[5] * share[11] == pytest.approx(0.53061, abs=1e-5)
    assert np.isnan(found.std_error()[[5, 11]]).all()
    assert np.isfinite(found.std_error()[[0, 1, 2, 3, 4, 6, 7, 8, 9, 10]]).all()


def test_published_estimates_by_the_closed_forms() -> None:
    """With survival and recapture by year the moments are the maximum of the likelihood: the same printed estimates."""
    caught = np.append(RELEASED, 93.0)
    marked = np.append(0, RECAPTURED.sum(axis=0)).astype(float)
    again = np.append(RECAPTURED.sum(axis=1), 0).astype(float)
    over = np.array([RECAPTURED[:i, i:].sum() for i in range(7)], dtype=float)
    found = estimate_open_population(caught, marked, caught, again, over)
    assert found.chance[1:-1] == pytest.approx([0.69620, 0.92308, 0.91304, 0.90079, 0.93241], abs=1e-5)
    assert found.survival[:-1] == pytest.approx([0.71818, 0.43467, 0.47817, 0.62612, 0.59853], abs=1e-5)


def test_recomputed_profile_interval_by_scipy() -> None:
    """The end of the profile interval against a plain constrained search (scipy, SLSQP) on the same m-array."""
    found = fitted(CAUGHT_ALIKE, SURVIVE_ALIKE)
    ends = profile_ends(found, of_parameter(1))
    assert ends.settled

    def log_likelihood(values: np.ndarray) -> float:
        caught, survive = special.expit(values)
        total = 0.0
        for i in range(6):
            left = 1.0
            for j in range(i, 6):
                chance = survive ** (j - i + 1) * (1 - caught) ** (j - i) * caught
                left -= chance
                total += RECAPTURED[i, j] * np.log(chance)
            total += (RELEASED[i] - RECAPTURED[i].sum()) * np.log(left)
        return total

    top = log_likelihood(found.values)
    assert top == pytest.approx(found.log_likelihood, abs=1e-8)
    for side, end in ((1, ends.low), (-1, ends.high)):
        by_scipy = optimize.minimize(
            lambda v, side=side: side * v[1], found.values, method="SLSQP",
            constraints={"type": "ineq", "fun": lambda v: log_likelihood(v) - top + 3.841459 / 2},
        )  # fmt: skip
        # The search stops within 2 % of the drop, which is 1 % of the way.
        assert end == pytest.approx(by_scipy.x[1], abs=0.005)
