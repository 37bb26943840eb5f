"""Jolly's capsids: an open population caught rarely, against his closed forms and against our likelihood.

Data: Jolly 1965, Biometrika 52:225-247, thirteen occasions.  His table was entered from memory and his estimates agree with
it to every printed digit that is remembered: from memory, not published and seen.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy import special

from lineproof.detection.course_model.capture_histories import estimate_open_population, from_recaptures
from lineproof.detection.course_model.families import ONE_KIND
from lineproof.detection.course_model.fit import fit
from lineproof.detection.course_model.problem import make_problem
from lineproof.detection.course_model.structure import Condition, make_structure

TABLE = pl.read_csv(Path(__file__).parent / "data" / "capsid.csv").fill_null(0)
MARKED = [35.02, 170.54, 258.00, 227.73, 324.99, 359.50, 319.33, 402.13, 316.45, 317.00, 277.71]
PRESENT = [511.2, 779.1, 963.0, 945.3, 882.2, 802.5, 653.6, 628.8, 478.5, 506.4, 462.8]
SURVIVAL = [0.649, 1.015, 0.867, 0.564, 0.836, 0.790, 0.651, 0.985, 0.686, 0.884, 0.771]
CAUGHT = [0.2855, 0.2170, 0.2171, 0.2327, 0.2369, 0.3115, 0.2693, 0.2735, 0.2654, 0.2429, 0.2593]


def column(name: str) -> np.ndarray:
    return TABLE[name].to_numpy().astype(float)


def test_from_memory_the_closed_forms() -> None:
    found = estimate_open_population(*(column(name) for name in "nmsRZ"))
    assert found.marked[1:-1] == pytest.approx(MARKED, abs=0.006)
    # Printed with the share of marked animals rounded first, hence 0.3 of an animal.
    assert found.present[1:-1] == pytest.approx(PRESENT, abs=0.3)
    assert found.survival[:-1] == pytest.approx(SURVIVAL, abs=6e-4)
    assert found.chance[1:-1] == pytest.approx(CAUGHT, abs=6e-5)


def recaptures_of(margins: pl.DataFrame) -> np.ndarray:
    """A table of first recaptures with Jolly's margins: the longest known alive are caught first.

    Which cohort a recapture is of does not matter to the likelihood: releases seen again, marked animals caught and
    those passed over are all it holds.
    """
    again = margins["R"].to_numpy().astype(int)
    marked = margins["m"].to_numpy().astype(int)
    steps = len(again) - 1
    table, waiting = np.zeros((steps, steps), dtype=int), again[:-1].copy()
    for j in range(1, steps + 1):
        due = marked[j]
        for i in range(j):
            taken = min(due, waiting[i])
            table[i, j - 1] = taken
            waiting[i] -= taken
            due -= taken
        assert due == 0
    assert not waiting.any()
    return table


def test_from_memory_the_likelihood_agrees_where_survival_stays_below_one() -> None:
    """The second survival, 1.015 by the moments, is held at 1 by the likelihood: it and its neighbours may differ."""
    histories = from_recaptures(column("s")[:-1].astype(int), recaptures_of(TABLE))
    structure = make_structure(
        histories, ONE_KIND, line_design=np.eye(13)[:, 1:], condition=Condition.ENTERED
    )
    found = fit(make_problem(histories, structure))
    blocks = structure.blocks
    caught, survival = (
        special.expit(found.values[blocks["lines"]]),
        special.expit(found.values[blocks["segments"]]),
    )
    assert survival[1] > 0.999
    far = slice(3, 11)
    assert caught[far] == pytest.approx(CAUGHT[far], abs=1e-4)
    assert survival[far] == pytest.approx(SURVIVAL[far], abs=1e-3)
    # The last survival and capture are known as a product only; the one held at 1 has no curvature left.
    assert np.isnan(found.std_error()[[blocks["lines"].stop - 1, blocks["segments"].stop - 1]]).all()
