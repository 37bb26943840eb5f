"""The loss of the late field in two open result tables.

Sources as in ``test_open_histories``.  Published with the tables are tenths of the finishing times, so within a
tenth the order of runners is invented; 185 of the 216 finishers without a time at 25 km of 2014 are in
the slowest tenth, and at 20 miles of 2002 between 90 and 128 in each of the others and 536 in the slowest.
"""

from __future__ import annotations

import polars as pl
import pytest

from lineproof.interruptions import estimate_interruptions, without_interruptions
from reference.test_open_histories import TABLE_2002, TABLE_2014, OpenTable, finishers_of, proofs_of


def slowest(table: OpenTable, point: str) -> tuple[int, int, int]:
    """Finishers in the slowest tenth, of these missed at the point, and all missed there; counted from the table."""
    place = list(table.points).index(point)
    people = finishers_of(table).with_columns(missed=pl.col("history").str.slice(place, 1) == "0")
    late = people.filter(pl.col("decile") == 10)
    return late.height, int(late["missed"].sum()), int(people["missed"].sum())


def test_published_late_field_lost_at_25_km_is_an_interruption() -> None:
    late, late_missed, missed = slowest(TABLE_2014, "25K")
    assert (late_missed, missed) == (185, 216)
    proofs, event = proofs_of(TABLE_2014)
    found = estimate_interruptions(proofs, event)
    (row,) = found.filter(point="25K").rows(named=True)
    assert (row["kind"], row["line"]) == ("late loss", None)
    assert row["missed"] == pytest.approx(late_missed, abs=3)
    assert row["tried"] == pytest.approx(late, rel=0.02)
    assert row["usual"] == pytest.approx((missed - late_missed) / (TABLE_2014.finishers - late), rel=0.1)
    # Elsewhere nothing but the 33 of 39 misses at 40 km, which lie in the slowest tenth too.
    assert slowest(TABLE_2014, "40K")[1:] == (33, 39)
    assert found["point"].to_list() == ["25K", "40K"]
    assert set(found["kind"]) == {"late loss"}


def test_published_weak_line_all_day_is_none_but_its_late_excess_is() -> None:
    late, late_missed, missed = slowest(TABLE_2002, "20M")
    usual = (missed - late_missed) / (TABLE_2002.finishers - late)
    assert late_missed - usual * late == pytest.approx(430, abs=10)
    proofs, event = proofs_of(TABLE_2002)
    (row,) = estimate_interruptions(proofs, event).rows(named=True)
    assert (row["point"], row["kind"]) == ("20M", "late loss")
    assert row["usual"] == pytest.approx(usual, rel=0.02)
    assert row["missed"] - row["usual"] * row["tried"] == pytest.approx(430, abs=15)
    # Nobody is dropped: all who go missing from the counts were in the window.
    rest = without_interruptions(proofs, estimate_interruptions(proofs, event), event)
    assert proofs.height - rest.height == row["tried"]
    assert 1 - (rest.filter(point="20M")["proof"] == "seen").mean() == pytest.approx(usual, rel=0.02)
