"""What was read, kept, rejected, decided and left to look up, in counts only."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import polars as pl

from lineproof.event_report.shown.labels import clock_words, day_clock, label_of, place_of, point_labels
from lineproof.tables import COUNT, TEXT

if TYPE_CHECKING:
    from lineproof.pipeline import Review

BIN_MINUTES = (10, 30, 60)  # of the look-up counts: no runner's own time …
MOST_BINS = 40  # … and as fine as a table of so many rows can be
_QUOTED = re.compile(r"\"[^\"]*\"|“[^”]*”|‘[^’]*’|(?<!\w)'[^']*'")


def to_lookup_rows(review: Review) -> pl.DataFrame:
    """How many runners to look up at each point in each ten minutes, or longer in a long list; no runner's own time."""
    for minutes in BIN_MINUTES:
        rows = _lookups_in_bins(review, minutes)
        if rows.height <= MOST_BINS:
            break
    return rows


def _lookups_in_bins(review: Review, minutes: int) -> pl.DataFrame:
    labels = point_labels(review.event)
    event = review.event
    begin = day_clock(event, "likely").dt.truncate(f"{minutes}m")
    proof = pl.col("proof").cast(pl.String)
    rows = (
        review.lookups.with_columns(begin.alias("begin"))
        .group_by("point", "begin")
        .agg(
            pl.len().cast(COUNT).alias("runners"),
            *((proof == word).sum().cast(COUNT).alias(word) for word in ("proven", "doubtful", "unproven")),
            pl.col("chance").sum().alias("findable"),
        )
        .sort(place_of(labels, "point"), "begin")
    )
    clock = clock_words(event, rows["begin"], minutes).alias("clock")
    return rows.select(
        label_of(labels, "point").alias("label"),
        clock,
        "runners",
        "proven",
        "doubtful",
        "unproven",
        "findable",
    )


def to_reject_rows(review: Review) -> pl.DataFrame:
    """Rejected rows by file and reason; words quoted from the export are left out."""
    reasons = [_QUOTED.sub("…", reason) for reason in review.rejects["reason"]]
    return (
        review.rejects.with_columns(pl.Series("reason", reasons, dtype=TEXT))
        .group_by("file", "reason")
        .agg(pl.len().cast(COUNT).alias("rows"))
        .sort("rows", "file", "reason", descending=[True, False, False])
    )


def to_unused_rows(review: Review) -> pl.DataFrame:
    """Passings that are part of no crossing, by reason."""
    return (
        review.unused.group_by(pl.col("why").cast(pl.String))
        .agg(pl.len().cast(COUNT).alias("passings"))
        .sort("passings", "why", descending=[True, False])
    )


def to_decision_rows(review: Review) -> pl.DataFrame:
    """The reviewer's decisions by kind: how many, rows they changed, and how many found no row."""
    return (
        review.decisions.group_by(pl.col("decision").cast(pl.String))
        .agg(
            pl.len().cast(COUNT).alias("decisions"),
            pl.col("rows").sum().cast(COUNT),
            (pl.col("rows") == 0).sum().cast(COUNT).alias("lost"),
        )
        .sort("decision")
    )
