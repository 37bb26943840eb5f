"""Rates as the review shows them: what was read today beside what this set-up would read next time."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import polars as pl

from lineproof.charts import EITHER, KIND_WORDS
from lineproof.detection.tries import FLOW_LABELS
from lineproof.event import Event
from lineproof.event_report.shown.labels import label_of, line_labels, place_of, point_labels
from lineproof.vocabulary import Evidence, Quantity
from lineproof.wording import say_list, start_sentence

if TYPE_CHECKING:
    from lineproof.pipeline import Review

_KIND = (
    pl.col("role")
    .cast(pl.String)
    .replace_strict({"main": KIND_WORDS[0], "backup": KIND_WORDS[1]}, default=EITHER)
    .alias("kind")
)
_MISSED = (pl.col("proven") - pl.col("detected")).alias("missed")
WHOLE = ("course", "order", "from_point", "group")  # null in the rates of a line or point as a whole
RATE_COLUMNS = ("proven", "detected", "doubtful", "estimate", "conf_low", "conf_high", "evidence", "reason")


def to_line_rows(review: Review) -> pl.DataFrame:
    """One row per line in course order; see ``_both`` for the columns."""
    labels = line_labels(review.event)
    rows = review.rates.filter(_level("line"), *(pl.col(name).is_null() for name in WHOLE))
    return _both(rows.with_columns(label_of(labels, "line").alias("label")).sort(place_of(labels, "line")))


def to_point_rows(review: Review) -> pl.DataFrame:
    """One row per point in course order: read by either of its lines."""
    labels = point_labels(review.event)
    rows = review.rates.filter(_level("point"), *(pl.col(name).is_null() for name in WHOLE))
    return _both(rows.with_columns(label_of(labels, "point").alias("label")).sort(place_of(labels, "point")))


def to_segment_rows(review: Review) -> pl.DataFrame:
    """One row per segment in course order: timed at both ends."""
    labels = point_labels(review.event)
    between = pl.format("{} to {}", label_of(labels, "from_point"), label_of(labels, "point"))
    rows = review.rates.filter(_level("segment")).with_columns(
        pl.concat_str(_of_course(review.event, "order"), between, separator="").alias("label")
    )
    return _both(rows.sort("course", "order"))


def to_wave_rows(review: Review) -> pl.DataFrame:
    """One row per wave, over all its points: read by either line."""
    rows = review.rates.filter(_level("wave"), pl.col("point").is_null())
    several = len(review.event.courses) > 1
    names = {course.id: course.name for course in review.event.courses}
    name = pl.format("{}, {}", label_of(names, "course"), "group") if several else pl.col("group")
    return _both(rows.with_columns(name.alias("label")).sort("course", "group"))


def to_flow_rows(review: Review, most: int = 4) -> pl.DataFrame:
    """Rates by flow of the lines that missed the largest shares, at most ``most`` of them."""
    labels = line_labels(review.event)
    lines = to_line_rows(review).filter(pl.col("missed") > 0).sort("estimate", "label")["label"].head(most)
    rows = review.rates.filter(_level("flow"), pl.col("line").is_not_null()).with_columns(
        label_of(labels, "line").alias("name"),
        pl.format("{}, {}", label_of(labels, "line"), pl.col("group")).alias("label"),
    )
    dense = pl.col("group").replace_strict(
        dict(zip(FLOW_LABELS, range(len(FLOW_LABELS)), strict=True)), return_dtype=pl.Int32
    )
    return _both(rows.filter(pl.col("name").is_in(lines.to_list())).sort(place_of(labels, "line"), dense))


def _level(level: str) -> pl.Expr:
    return pl.col("level").cast(pl.String) == level


def _of_course(event: Event, order: str) -> pl.Expr:
    """The course before a label where there are several, and which segment where a course has loops."""
    names = {course.id: f"{course.name}: " for course in event.courses}
    course = label_of(names, "course") if len(names) > 1 else pl.lit("")
    loops = any(visit.visit > 1 for one in event.courses for visit in one.visits)
    return pl.concat_str(course, pl.format("{}. ", pl.col(order)) if loops else pl.lit(""))


def _both(rows: pl.DataFrame) -> pl.DataFrame:
    """What was read today beside what this set-up would read next time, rows in the order given.

    RATE_COLUMNS of *achieved* with ``label``, ``kind`` and ``missed``; ``next_estimate``, ``next_low`` and
    ``next_high`` of *capability*, and ``next_reason``.
    """
    named = rows.select("label", "quantity", _KIND, _MISSED, *RATE_COLUMNS)
    quantity = pl.col("quantity").cast(pl.String)
    next_time = named.filter(quantity == Quantity.CAPABILITY.value).select(
        "label",
        "kind",
        pl.col("estimate").alias("next_estimate"),
        pl.col("conf_low").alias("next_low"),
        pl.col("conf_high").alias("next_high"),
        pl.col("reason").alias("next_reason"),
    )
    return (
        named.filter(quantity == Quantity.ACHIEVED.value)
        .drop("quantity")
        .join(next_time, on=["label", "kind"], how="left", validate="1:1", maintain_order="left")
    )


def to_next_time(rows: pl.DataFrame) -> pl.DataFrame:
    """RATE_ROWS to draw: counts of today, the rate and interval of the same set-up next time."""
    return rows.select(
        "label", "kind", "proven", "missed",
        estimate="next_estimate", conf_low="next_low", conf_high="next_high",
    )  # fmt: skip


def evidence_words(evidence: str) -> str:
    return {
        Evidence.CAMERA.value: "camera",
        Evidence.SEEN_LATER.value: "later read",
        Evidence.SIBLING.value: "other line",
        Evidence.NONE.value: "none",
    }[evidence]


def to_methods(review: Review) -> list[str]:
    """How the shown rates were made, each way once, with what it was used for."""
    levels = pl.col("level").cast(pl.String)
    used = (
        review.rates.filter(
            pl.col("estimate").is_not_null(), levels.is_in(["line", "point", "segment", "wave"])
        )
        .with_columns(pl.col("method").map_elements(plain_method, return_dtype=pl.String))
        .group_by("method")
        .agg(levels.unique().sort())
        .sort("method")
    )
    return [
        f"{start_sentence(row['method'])} (used for: {say_list([f'{level}s' for level in row['level']])})."
        for row in used.iter_rows(named=True)
    ]


def plain_method(method: str) -> str:
    """A method without the figures of the single rate: those stand in ``rates.csv``."""
    known = re.sub(
        r"and (?:under )?[\d.,]+ more that nothing proves", "and those that nothing proves", method
    )
    return re.sub(r"came together [\d.]+ times as unevenly as", "came together less evenly than", known)
