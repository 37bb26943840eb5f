"""The quality of the data over the season: what the checks caught, and which files lost rows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.event_report.shown import check_label
from lineproof.season_report.events import labelled
from lineproof.vocabulary import Severity

if TYPE_CHECKING:
    from lineproof.season_report.flow import SeasonReview


def to_check_rows(season: SeasonReview) -> pl.DataFrame:
    """One row per check that caught something: ``label``, ``severity``, ``findings``, ``events``, ``decided``."""
    order = {severity.value: place for place, severity in enumerate(Severity)}
    rows = (
        season.kept["finding_counts"]
        .group_by("check", "severity")
        .agg(pl.col("findings", "decided").sum(), pl.col("event").n_unique().alias("events"))
        .with_columns(pl.col("check").map_elements(check_label, return_dtype=pl.String).alias("label"))
    )
    rank = pl.col("severity").cast(pl.String).replace_strict(order, return_dtype=pl.Int32)
    return rows.sort(rank, "findings", "check", descending=[False, True, False])


def to_quality_rows(season: SeasonReview) -> pl.DataFrame:
    """One row per event: rows read and rejected, findings by severity, whether the gate passed, complaints of the record."""
    rejected = season.kept["account"].group_by("event").agg(pl.col("rows_read", "rejected").sum())
    words = [severity.value for severity in Severity]
    findings = (
        season.kept["finding_counts"]
        .group_by("event")
        .agg(
            pl.col("findings").filter(pl.col("severity").cast(pl.String) == word).sum().alias(word)
            for word in words
        )
    )
    complaints = season.kept["complaints"].group_by("event").agg(pl.len().alias("complaints"))
    recorded = season.kept["laid_lines"].group_by("event").agg(pl.len().alias("lines_recorded"))
    rows = season.events.select("event", "passed")
    for part in (rejected, findings, complaints, recorded):
        rows = rows.join(part, on="event", how="left", validate="1:1")
    # An event without a row in a table has nothing of it to count.
    counts = ["rows_read", "rejected", *words, "complaints", "lines_recorded"]
    return labelled(rows.with_columns(pl.col(counts).fill_null(0)), season)
