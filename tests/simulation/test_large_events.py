"""Large events are reviewed in one go, and every row is accounted for."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from large_events import POINTS, write_reads_event, write_wide_event
from lineproof.pipeline import review_event


def test_a_wide_table_of_40_000_runners_by_10_points(tmp_path: Path) -> None:
    missed = write_wide_event(tmp_path / "wide", 40_000)
    review = review_event(tmp_path / "wide")
    assert review.account.select("rows_read", "kept", "rejected").rows() == [(40_000, 40_000, 0)]
    assert review.crossings.height == 40_000 * POINTS - sum(missed.values())
    proven = review.proofs.filter(pl.col("proof") == "proven").group_by("point").len()
    assert dict(proven.iter_rows()) == {point: count for point, count in missed.items() if count}


def test_two_million_raw_reads(tmp_path: Path) -> None:
    reads = write_reads_event(tmp_path / "reads", 14_500)
    assert reads > 2_000_000
    review = review_event(tmp_path / "reads")
    exports = review.account.filter(pl.col("level").is_not_null())
    assert exports.select("rows_read", "kept", "rejected").rows() == [(reads, reads, 0)]
    assert review.passings["reads"].sum() == reads
    assert review.crossings["passings"].sum() + review.unused.height == review.passings.height
    assert review.gate.passed
