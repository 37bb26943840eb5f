"""Open populations caught rarely, against closed forms in textbooks and against our likelihood.

Female black-kneed capsids, thirteen occasions: Jolly 1965, Biometrika 52:225-247.  Published and seen: his recaptures by
occasion of last capture and all estimates, as Seber, The Estimation of Animal Abundance, 2nd ed. reprinted 2002, Tables
5.1 to 5.3, has them, entered in the tests of the R package FSA (https://github.com/fishR-Core-Team/FSA,
``tests/testthat/EXS_mrOpen.R``).

Field voles, eleven occasions: Krebs, Ecological Methodology, 1989, Tables 2.2 and 2.3, seen in the same place.
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


def column(name: str) -> np.ndarray:
    return TABLE[name].to_numpy().astype(float)


def test_published_closed_forms() -> None:
    found = estimate_open_population(*(column(name) for name in "nmsRZ"))
    assert found.marked[1:-1] == pytest.approx(MARKED, abs=0.006)
    # Printed with the share of marked animals rounded first, hence 0.3 of an animal.
    assert found.present[1:-1] == pytest.approx(PRESENT, abs=0.3)
    assert found.survival[:-1] == pytest.approx(SURVIVAL, abs=6e-4)
    # The chance of capture is not printed: marked caught by the printed number of marked there.
    assert found.chance[1:-1] == pytest.approx(column("m")[1:-1] / MARKED, rel=2e-4)


def triangle(*columns: list[int]) -> np.ndarray:
    """Recaptures as the books print them: for each later occasion a column, by the occasion of the last capture before."""
    size = len(columns)
    table = np.zeros((size, size), dtype=int)
    for j, column_of in enumerate(columns):
        table[: j + 1, j] = column_of
    return table


CAPSIDS = triangle(
    [10], [3, 34], [5, 18, 33], [2, 8, 13, 30], [2, 4, 8, 20, 43], [1, 6, 5, 10, 34, 56], [0, 4, 0, 3, 14, 19, 46],
    [0, 2, 4, 2, 11, 12, 28, 51], [0, 0, 1, 2, 3, 5, 17, 22, 34], [1, 2, 3, 1, 0, 4, 8, 12, 16, 30],
    [0, 1, 3, 1, 1, 2, 7, 4, 11, 16, 26], [0, 1, 0, 2, 3, 3, 2, 10, 9, 12, 18, 35],
)  # fmt: skip


def margins(table: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Marked animals caught (m), animals caught again (R) and those known alive but passed over (Z) by occasion."""
    size = len(table) + 1
    over = [table[:i, i:].sum() for i in range(size)]
    marked = np.append(0, table.sum(axis=0))
    return marked.astype(float), np.append(table.sum(axis=1), 0).astype(float), np.array(over) * 1.0


def test_published_table_and_its_margins() -> None:
    """Seber's Table 5.1 adds up to the summary that the closed forms are computed from."""
    marked, again, over = margins(CAPSIDS)
    assert (marked == column("m")).all()
    assert (again == column("R")).all()
    assert (over == column("Z")).all()


def test_published_closed_forms_on_field_voles() -> None:
    """Krebs adds one to releases and recaptures against bias, which moves his estimates by 1 % at most."""
    voles = triangle(
        [15], [1, 15], [0, 0, 37], [0, 1, 2, 61], [0, 0, 0, 4, 75], [0, 0, 0, 1, 3, 77], [0, 0, 0, 1, 2, 4, 69],
        [0] * 7 + [8], [0] * 7 + [1, 14], [0] * 9 + [19],
    )  # fmt: skip
    caught = np.array([22, 41, 48, 82, 89, 101, 107, 91, 19, 27, 22.0])
    released = np.array([21, 41, 46, 82, 88, 99, 106, 90, 19, 26, 22.0])
    marked, again, over = margins(voles)
    found = estimate_open_population(caught, marked, released, again, over)
    printed = [17.5, 17.2, 40.7, 70.5, 87.5, 91.7, 76.0, 9.3, 15.0]
    assert found.marked[1:-1] == pytest.approx(printed, rel=0.01)
    printed = [0.832, 0.395, 0.862, 0.824, 0.925, 0.853, 0.651, 0.104, 0.738]
    assert found.survival[:-1] == pytest.approx(printed, rel=0.01)


def test_published_estimates_by_the_likelihood_where_survival_stays_below_one() -> None:
    """The second survival, 1.015 by the moments, is held at 1 by the likelihood: it and its neighbours may differ."""
    histories = from_recaptures(column("s")[:-1].astype(int), CAPSIDS)
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
    assert caught[far] == pytest.approx((column("m")[1:-1] / MARKED)[far], abs=1e-4)
    assert survival[far] == pytest.approx(SURVIVAL[far], abs=1e-3)
    # The last survival and capture are known as a product only; the one held at 1 has no curvature left.
    assert np.isnan(found.std_error()[[blocks["lines"].stop - 1, blocks["segments"].stop - 1]]).all()
