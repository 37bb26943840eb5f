"""When the lines missed: misses and flow in bins of local clock time, counted from PROOFS."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.charts import EITHER, KIND_WORDS, MOST_ROWS, TIME_ROWS
from lineproof.detection.tries import UNTOLD_SHARE
from lineproof.event import Event
from lineproof.event_report.shown.labels import clock_words, day_clock, line_labels, point_labels
from lineproof.vocabulary import CROSSED, Proof, Role

if TYPE_CHECKING:
    from lineproof.pipeline import Review


def to_time_rows(review: Review) -> pl.DataFrame:
    """TIME_ROWS of the lines that missed somebody, or of points where the data do not tell the lines apart."""
    event = review.event
    minutes = event.setting_us("time_bin_min") // 60_000_000 or 1
    rows = _time_rows(review.proofs, event, minutes)
    while rows.height > MOST_ROWS:
        minutes *= 2
        rows = _time_rows(review.proofs, event, minutes)
    return rows


def _time_rows(proofs: pl.DataFrame, event: Event, minutes: int) -> pl.DataFrame:
    crossed = proofs.filter(pl.col("proof").cast(pl.String).is_in(CROSSED), pl.col("about").is_not_null())
    binned = crossed.with_columns(day_clock(event, "about").dt.truncate(f"{minutes}m").alias("begin"))
    parts = [
        _in_time(binned.filter(pl.col("point") == point), label, kind, missed, minutes)
        for point in point_labels(event)
        for label, kind, missed in _witnesses(binned, event, point)
    ]
    together = pl.concat([TIME_ROWS.empty().drop("clock"), *parts])
    rows = together.with_columns(clock_words(event, together["begin"], minutes).alias("clock"))
    return TIME_ROWS.conform(rows.filter(pl.col("missed").sum().over("label") > 0))


def _witnesses(binned: pl.DataFrame, event: Event, point: str) -> list[tuple[str, str, pl.Expr]]:
    """What can be told of a point: label, kind and misses of its lines, else of both together."""
    here = binned.filter(pl.col("point") == point)
    labels = line_labels(event)
    lines = [
        (labels[line.id], KIND_WORDS[place], ~pl.col(column))
        for line in event.lines_at(point)
        for place, column in [(0, "seen_main") if line.role is Role.MAIN else (1, "seen_backup")]
        # As for the rates: a line of which the data tell too little shows nothing of its misses.
        if here[column].null_count() <= UNTOLD_SHARE * here.height
    ]
    unread = pl.col("proof").cast(pl.String) != Proof.SEEN.value
    return lines or [(point_labels(event)[point], EITHER, unread)]


def _in_time(here: pl.DataFrame, label: str, kind: str, missed: pl.Expr, minutes: int) -> pl.DataFrame:
    rows = (
        here.group_by("begin")
        .agg(
            (pl.len() / minutes).alias("flow"),
            missed.is_not_null().sum().alias("proven"),
            missed.sum().alias("missed"),
        )
        .filter(pl.col("proven") > 0)
        .sort("begin")
    )
    schema = TIME_ROWS.schema
    return rows.with_columns(
        label=pl.lit(label), kind=pl.lit(kind), end=pl.col("begin").dt.offset_by(f"{minutes}m")
    ).select(pl.col(name).cast(schema[name]) for name in schema if name != "clock")
