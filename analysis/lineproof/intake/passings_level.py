"""Passings per line: first, strongest and last read of a tag at a line, as the exporting program grouped them."""

from __future__ import annotations

import polars as pl

from lineproof.event import Event
from lineproof.intake.columns import require
from lineproof.intake.faults import Fault, says, to_cell_rejects, to_row_rejects
from lineproof.intake.fields import (
    number_rejects,
    point_of_line,
    runner_faults,
    time_fault,
    to_timed,
    trouble_fault,
    with_line,
    with_numbers,
)
from lineproof.intake.guns import Guns
from lineproof.intake.sources import SOUND, Outcome, Source, cells, marked_rows, passing_outcome, who_column
from lineproof.tables import REJECTS


def load_passings(source: Source, event: Event, guns: Guns) -> Outcome:
    """First, strongest and last read of a tag (or bib) at a line; the latter two default to the first."""
    require(source.table, source.columns, "first", f"{source.section}, columns")
    who = who_column(source)
    details = ("reads", "antenna", "antennas", "strength")
    frame, line_faults = _line_or_point(cells(source), source, event)
    frame = with_numbers(frame, source, details)
    frame, remarks = to_timed(frame, source, "first", event, guns)
    said = list(remarks)
    for name in ("strongest", "last"):
        frame, more = _further_time(frame, source, name, event, guns)
        said += [remark for remark in more if remark not in said]
    faults = [
        trouble_fault(),
        *runner_faults(source, who),
        *line_faults,
        time_fault(source, "first"),
        _backwards(source),
    ]
    marked = marked_rows(frame, faults)
    kept = marked.filter(SOUND).with_columns(
        pl.when(pl.col("strongest").is_between("first", "last"))
        .then("strongest")
        .otherwise("first")
        .alias("strongest")
    )
    rejects = [
        to_row_rejects(marked, source.table.file),
        *number_rejects(marked.filter(SOUND), source, details),
        *_further_rejects(marked.filter(SOUND), source),
    ]
    return passing_outcome(source, marked, kept, rejects, said)


def _line_or_point(frame: pl.LazyFrame, source: Source, event: Event) -> tuple[pl.LazyFrame, list[Fault]]:
    """Line ids with the point of each, or no line and the one point of the input."""
    if "line" not in source.columns and source.given.line is None and source.given.point is not None:
        null = pl.lit(None, dtype=pl.String).alias("line")
        return frame.with_columns(null, pl.lit(source.given.point).alias("point")), []
    frame, faults = with_line(frame, source, event)
    return frame.with_columns(point_of_line(event).alias("point")), faults


def _further_time(
    frame: pl.LazyFrame, source: Source, name: str, event: Event, guns: Guns
) -> tuple[pl.LazyFrame, tuple[str, ...]]:
    """``strongest`` or ``last``: its own column, or the first read where there is none."""
    if name not in source.columns:
        return frame.with_columns(pl.col("first").alias(name)), ()
    frame, remarks = to_timed(frame, source, name, event, guns)
    return frame.with_columns(pl.coalesce(name, "first").alias(name)), remarks


def _backwards(source: Source) -> Fault:
    header = source.header("last") if "last" in source.columns else None
    value = pl.col("last_text") if "last" in source.columns else None
    return Fault(pl.col("last") < pl.col("first"), says("the last read is before the first"), header, value)


def _further_rejects(kept: pl.LazyFrame, source: Source) -> list[pl.DataFrame]:
    rejects = [REJECTS.empty()]
    for name in ("strongest", "last"):
        if name not in source.columns:
            continue
        why = pl.col(f"{name}_why")
        rejects.append(
            to_cell_rejects(
                kept, source.table.file, source.header(name), f"{name}_text", why.is_not_null(), why
            )
        )
    if "strongest" in source.columns:
        outside = ~pl.col("strongest").is_between("first", "last")
        reason = "the strongest read is not between first and last; the first is used"
        rejects.append(
            to_cell_rejects(
                kept, source.table.file, source.header("strongest"), "strongest_text", outside, reason
            )
        )
    return rejects
