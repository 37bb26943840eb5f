"""Two open result tables through the course model: a wide table has one line at each point, and no backup."""

from __future__ import annotations

import numpy as np
import pytest

from lineproof.detection.course_model import estimate_course_model, to_course_histories
from reference.test_open_histories import TABLE_2002, TABLE_2014, OpenTable, proofs_of


@pytest.mark.parametrize("table", [TABLE_2014, TABLE_2002], ids=["2014", "2002"])
def test_with_the_finish_as_proof_rates_are_one_less_the_share_missed(table: OpenTable) -> None:
    """Misses as counted from the published tables: whoever finished came by every split, so nothing is hidden."""
    proofs, event = proofs_of(table)
    finishers = proofs["runner"].unique().to_list()
    result = estimate_course_model(to_course_histories(proofs, event, "road", finishers=finishers))
    assert result.reason is None
    splits = result.points[:-1]
    assert [point.missed for point in splits] == list(table.misses)
    assert [point.rate for point in splits] == pytest.approx(
        [1 - missed / table.finishers for missed in table.misses], abs=1e-9
    )
    assert [point.hidden_high for point in result.points] == [0] * len(result.points)
    assert all(0.001 < f.weak_share.estimate < 0.006 for f in result.families if f.name == "two kinds")


def test_without_it_the_finish_is_refused_and_the_lost_field_shows_in_the_fit() -> None:
    """In 2002 some 430 runners late in the field were lost at one split: no family of tags explains them."""
    proofs, event = proofs_of(TABLE_2002)
    result = estimate_course_model(to_course_histories(proofs, event, "road"))
    assert result.reason is not None
    assert "list of finishers" in result.reason
    assert np.isnan(result.points[-1].hidden)
    assert all(family.goodness.p_value < 1e-6 for family in result.families)
