"""Crossings that no line saw, windows in which a line did not work, and tags to retire: in counts only.

Nobody's own time is shown: a window begins and ends at full minutes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from lineproof.event import Event
from lineproof.event_report.shown.labels import label_of, line_labels, place_of, point_labels
from lineproof.event_report.shown.rates import WHOLE
from lineproof.vocabulary import Quantity

if TYPE_CHECKING:
    from lineproof.pipeline import Review


@dataclass(frozen=True, slots=True)
class UnseenTotal:
    """Over all visits that were answered.  ``low`` to ``high`` add up the visits' ends, so that they are cautious."""

    crossings: float
    missed: int
    hidden: float
    low: float
    high: float
    refused: tuple[str, ...]


def to_unseen_rows(review: Review) -> pl.DataFrame:
    """UNSEEN with ``label`` and ``lines`` (how many the point has), by course and visit."""
    event = review.event
    lines = {point.id: len(event.lines_at(point.id)) for point in event.points}
    return review.unseen.with_columns(
        _visit_label(event).alias("label"),
        pl.col("point").replace_strict(lines, return_dtype=pl.UInt32).alias("lines"),
    )


def to_unseen_total(review: Review) -> UnseenTotal | None:
    """None where no visit was answered."""
    rows = to_unseen_rows(review)
    told = rows.filter(pl.col("hidden").is_not_null())
    if told.is_empty():
        return None
    missed = int(told["missed_seen_later"].sum())
    hidden, low, high = (float(told[name].sum()) for name in ("hidden", "hidden_low", "hidden_high"))
    refused = rows.filter(pl.col("hidden").is_null())["label"].to_list()
    crossings = missed + hidden + int(told["read"].sum())
    return UnseenTotal(crossings, missed, hidden, missed + low, missed + high, tuple(refused))


def to_unseen_notes(review: Review) -> list[str]:
    """What limits the numbers of a whole course, each once."""
    return review.unseen["note"].drop_nulls().unique(maintain_order=True).to_list()


def _visit_label(event: Event) -> pl.Expr:
    """The point; before it the course where there are several, after it which visit where it has more than one."""
    names = {course.id: f"{course.name}: " for course in event.courses}
    course = label_of(names, "course") if len(names) > 1 else pl.lit("")
    again = {visit.point for one in event.courses for visit in one.visits if visit.visit > 1}
    which = (
        pl.when(pl.col("point").is_in(list(again)))
        .then(pl.format(" (visit {})", "visit"))
        .otherwise(pl.lit(""))
    )
    return pl.concat_str(course, label_of(point_labels(event), "point"), which)


def to_interruption_rows(review: Review) -> pl.DataFrame:
    """INTERRUPTIONS with ``label``, ``clock_from``, ``clock_to``; misses of the day and without interruptions.

    ``day_missed`` of ``day_proven`` are those of the line (or of the point, where neither line is named) over the whole day,
    ``work_missed`` of ``work_proven`` those outside its interruptions; null where there is no rate.
    """
    event = review.event
    points, lines = point_labels(event), line_labels(event)
    minute = pl.col("begin", "end").dt.convert_time_zone(event.zone)
    begin, end = (
        minute.dt.truncate("1m").name.prefix("from_"),
        minute.dt.offset_by("59999999us").dt.truncate("1m"),
    )
    return (
        review.interruptions.with_columns(
            pl.coalesce(label_of(lines, "line"), label_of(points, "point")).alias("label")
        )
        .with_columns(begin, end.name.prefix("to_"))
        .with_columns(
            pl.col("from_begin").dt.strftime("%H:%M").alias("clock_from"),
            pl.col("to_end").dt.strftime("%H:%M").alias("clock_to"),
            pl.col("kind").cast(pl.String),
        )
        .drop("from_begin", "from_end", "to_begin", "to_end")
        .join(
            _misses(review.rates, "day"), on=["point", "line"], how="left", validate="m:1", nulls_equal=True
        )
        .join(
            _misses(review.rates_at_work, "work"),
            on=["point", "line"],
            how="left",
            validate="m:1",
            nulls_equal=True,
        )
        .sort(place_of(points, "point"), "begin", "line", nulls_last=False)
    )


def _misses(rates: pl.DataFrame, word: str) -> pl.DataFrame:
    """What lines and points missed as a whole."""
    whole = rates.filter(
        pl.col("level").cast(pl.String).is_in(["line", "point"]),
        pl.col("quantity").cast(pl.String) == Quantity.ACHIEVED.value,
        pl.col("estimate").is_not_null(),
        *(pl.col(name).is_null() for name in WHOLE),
    )
    missed = (pl.col("proven") - pl.col("detected")).alias(f"{word}_missed")
    return whole.select("point", "line", missed, pl.col("proven").alias(f"{word}_proven"))
