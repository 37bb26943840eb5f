"""Items and lines over time: the funnel of a kind, control charts of those that signal, lasting changes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.season_report.charts import CONTROL_ROWS, FUNNEL_ROWS
from lineproof.season_report.events import event_labels

if TYPE_CHECKING:
    from lineproof.season_report.flow import SeasonReview


def to_funnel_rows(season: SeasonReview, subject: str = "mat") -> pl.DataFrame:
    """FUNNEL_ROWS of one kind, in common conditions."""
    rows = season.funnel.filter(pl.col("subject").cast(pl.String) == subject)
    return FUNNEL_ROWS.conform(
        rows.with_columns(
            pl.col("name").alias("label"), pl.col("adjusted").alias("share"), pl.col("side").cast(pl.String)
        )
    )


def to_signal_rows(season: SeasonReview) -> pl.DataFrame:
    """MONITORING rows that signal, with ``label`` and the event's ``at``; the clearest of each item first."""
    labels = event_labels(season)
    return (
        season.monitoring.filter(pl.col("signal").is_not_null())
        .with_columns(
            _subject().alias("label"),
            pl.col("event").replace_strict(labels, return_dtype=pl.String).alias("at"),
        )
        .sort("score", "label", "date", descending=[True, False, False])
    )


def to_control_rows(season: SeasonReview, most: int = 6) -> pl.DataFrame:
    """CONTROL_ROWS of the items and lines with the clearest signals of getting worse, at most ``most``."""
    labels = event_labels(season)
    worse = to_signal_rows(season).filter(pl.col("score") > 0)
    names = worse["label"].unique(maintain_order=True).head(most)
    numbers = {event: number for number, event in enumerate(labels)}
    order = {label: place for place, label in enumerate(names)}
    rows = season.monitoring.with_columns(_subject().alias("label")).filter(
        pl.col("label").is_in(names.to_list())
    )
    place = pl.col("label").replace_strict(order, return_dtype=pl.Int32)
    return CONTROL_ROWS.conform(
        rows.sort(place, "date", "event").with_columns(
            pl.col("event").replace_strict(labels, return_dtype=pl.String),
            pl.col("event").replace_strict(numbers, return_dtype=pl.UInt32).alias("number"),
            (pl.col("share") > pl.col("high")).alias("out"),
        )
    )


def to_change_rows(season: SeasonReview) -> pl.DataFrame:
    """CHANGE_POINTS that were found, with ``label`` and the events' names."""
    labels = event_labels(season)
    named = pl.col("event", "last_before").replace_strict(labels, return_dtype=pl.String)
    return season.changes.filter("found").with_columns(_subject().alias("label"), named).sort("date", "label")


def _subject() -> pl.Expr:
    return pl.format("{} {}", pl.col("subject").cast(pl.String), "name")
