"""Detection rates of every line and every segment, over all events, in one table each."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.season_report.charts import LINE_ROWS
from lineproof.season_report.events import labelled
from lineproof.vocabulary import Quantity

if TYPE_CHECKING:
    from lineproof.season_report.flow import SeasonReview

WORDS = {"main": "main line", "backup": "backup line"}
COLUMNS = ("proven", "missed", "estimate", "conf_low", "conf_high", "evidence")


def _achieved(season: SeasonReview, level: str) -> pl.DataFrame:
    return labelled(
        season.kept["rates"].filter(
            pl.col("level").cast(pl.String) == level,
            pl.col("quantity").cast(pl.String) == Quantity.ACHIEVED.value,
            pl.col("estimate").is_not_null(),
        ),
        season,
    ).with_columns((pl.col("proven") - pl.col("detected")).alias("missed"))


def to_line_table(season: SeasonReview) -> pl.DataFrame:
    """One row per event and line whose rate is known: ``label`` (event), ``line``, ``kind`` and the rate."""
    rows = _achieved(season, "line").filter(pl.col("course").is_null(), pl.col("order").is_null())
    kind = pl.col("role").cast(pl.String).replace_strict(WORDS).alias("kind")
    return rows.sort("place", "point", "role").select("event", "label", "point", "line", kind, *COLUMNS)


def to_line_rows(season: SeasonReview) -> pl.DataFrame:
    """LINE_ROWS of all lines, events in the order of their dates."""
    rows = to_line_table(season)
    return LINE_ROWS.conform(rows.with_columns(pl.col("label").alias("event"), pl.col("line").alias("label")))


def to_segment_table(season: SeasonReview) -> pl.DataFrame:
    """One row per event, course and segment: ``between`` (points), and the share timed at both ends."""
    rows = _achieved(season, "segment")
    between = pl.format("{} to {}", "from_point", "point").alias("between")
    return rows.sort("place", "course", "order").select(
        "event", "label", "course", "order", between, *COLUMNS
    )
