"""Why they were missed: misses by cause, findings by time, clocks; in counts, with nobody's own time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.event_report.shown.labels import day_clock, label_of, line_labels, place_of, point_labels
from lineproof.event_report.timeline_chart import TIMELINE_ROWS
from lineproof.tables import COUNT

if TYPE_CHECKING:
    from lineproof.pipeline import Review

UNEXPLAINED = "unexplained"


def to_cause_rows(review: Review) -> pl.DataFrame:
    """``cause``, ``misses``, ``both`` (of these, by both lines of the point), ``findings``, ``usual``; the largest first.

    The row *unexplained* stands last, so that ``misses`` add up to all of the event's.
    """
    by_cause = pl.coalesce(pl.col("cause").cast(pl.String), pl.lit(UNEXPLAINED)).alias("cause")
    misses = review.misses.group_by(by_cause).agg(
        pl.len().cast(COUNT).alias("misses"), pl.col("both").sum().cast(COUNT).alias("both")
    )
    findings = review.diagnosis.group_by(pl.col("cause").cast(pl.String)).agg(
        pl.len().cast(COUNT).alias("findings"), pl.col("usual").sum()
    )
    rows = misses.join(findings, on="cause", how="full", coalesce=True, validate="1:1")
    nobody = pl.lit(0, dtype=COUNT)
    return rows.with_columns(
        pl.coalesce("misses", nobody).alias("misses"),
        pl.coalesce("both", nobody).alias("both"),
        pl.coalesce("findings", nobody).alias("findings"),
        (pl.col("cause") == UNEXPLAINED).alias("rest"),
    ).sort("rest", "misses", "cause", descending=[False, True, False])


def to_finding_rows(review: Review) -> pl.DataFrame:
    """DIAGNOSIS with ``label`` (line, point or whole event) and ``clock_from``, ``clock_to`` in full minutes."""
    event = review.event
    local = {
        name: pl.col(name).dt.convert_time_zone(event.zone).dt.strftime("%H:%M") for name in ("begin", "end")
    }
    where = pl.coalesce(
        label_of(line_labels(event), "line"), label_of(point_labels(event), "point"), pl.lit("Whole event")
    )
    return review.diagnosis.with_columns(
        where.alias("label"), local["begin"].alias("clock_from"), local["end"].alias("clock_to")
    )


def to_timeline_rows(review: Review) -> pl.DataFrame:
    """TIMELINE_ROWS: when runners came by each line that a finding speaks of, and the windows of the findings."""
    event = review.event
    labels = line_labels(event)
    found = review.diagnosis.filter(pl.col("point").is_not_null())
    if found.is_empty():
        return TIMELINE_ROWS.empty()
    lines = pl.DataFrame([{"point": line.point, "at_line": line.id} for line in event.lines])
    spans = _spans(review)
    marks = (
        found.join(lines, on="point", how="inner", validate="m:m")
        .filter(pl.col("line").is_null() | (pl.col("line") == pl.col("at_line")))
        .join(spans, on="point", how="inner", validate="m:1")
        .with_columns(
            pl.max_horizontal(pl.coalesce("begin", "first"), "first").alias("begin"),
            pl.min_horizontal(pl.coalesce("end", "last"), "last").alias("end"),
            pl.col("cause").cast(pl.String).alias("what"),
        )
    )
    shown = marks.select("at_line").unique()
    base = (
        lines.join(shown, on="at_line", how="semi")
        .join(spans, on="point", how="inner", validate="m:1")
        .with_columns(
            pl.col("first").alias("begin"),
            pl.col("last").alias("end"),
            pl.lit("runners came by").alias("what"),
            pl.lit(0, dtype=COUNT).alias("finding"),
            pl.lit(0, dtype=COUNT).alias("explained"),
        )
    )
    columns = ["at_line", "begin", "end", "what", "finding", "explained"]
    rows = pl.concat([base.select(columns), marks.select(columns)]).sort(
        place_of(labels, "at_line"), "finding", "begin"
    )
    clock = [day_clock(event, name).alias(name) for name in ("begin", "end")]
    return TIMELINE_ROWS.conform(
        rows.with_columns(label_of(labels, "at_line").alias("label"), *clock).filter(
            pl.col("begin") <= pl.col("end")
        )
    )


def _spans(review: Review) -> pl.DataFrame:
    """When nearly everybody came by each point: a stray read at midnight stretches no picture."""
    known = review.proofs.filter(
        pl.col("about").is_not_null(), pl.col("proof").cast(pl.String).is_in(["seen", "proven"])
    )
    at = pl.col("about").dt.epoch("us")
    ends = [
        at.quantile(share, interpolation="nearest")
        .cast(pl.Datetime("us", "UTC"))
        .dt.truncate("1m")
        .alias(name)
        for name, share in (("first", 0.002), ("last", 0.998))
    ]
    return known.group_by("point").agg(ends).sort("point")


def to_road_items(review: Review) -> dict[tuple[str, int], str]:
    """What lies in a slot of a line by the set-up record, for the picture across the road: ``mat M17, cable C04``."""
    rows = review.setup.mats.filter(pl.any_horizontal(pl.col("mat", "cable").is_not_null()))
    named = rows.with_columns(pl.coalesce("port", "slot").cast(pl.Int64).alias("antenna"))
    found = {}
    for row in named.iter_rows(named=True):
        words = [str(row[name]) for name in ("mat", "cable") if row[name] is not None]
        found[(str(row["line"]), int(row["antenna"]))] = " ".join(words)
    return found


def to_clock_rows(review: Review) -> pl.DataFrame:
    """CLOCK_FAULTS with ``label``, points in course order and main before backup."""
    labels = line_labels(review.event)
    return review.clock_faults.sort(place_of(labels, "line")).with_columns(
        label_of(labels, "line").alias("label")
    )
