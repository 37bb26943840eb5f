"""Merged passing data: one stated time for each runner and point, with or without the line that gave it."""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from lineproof.event import Event
from lineproof.intake.columns import require
from lineproof.intake.faults import Fault, match_words, says, to_row_rejects
from lineproof.intake.fields import (
    count_from_start,
    number_rejects,
    point_of_line,
    runner_faults,
    time_fault,
    time_text,
    trouble_fault,
    with_line,
    with_numbers,
)
from lineproof.intake.guns import Guns
from lineproof.intake.layouts import Judge, TimeColumn, plan_times
from lineproof.intake.plausible import PaceJudge, distances
from lineproof.intake.sources import (
    SOUND,
    Outcome,
    Source,
    cells,
    marked_rows,
    named_ids,
    passing_outcome,
    who_column,
    words_of,
)
from lineproof.intake.stated import stated_in, to_statements
from lineproof.intake.times import TimePlan, to_instants
from lineproof.vocabulary import PointKind


def load_merged(source: Source, event: Event, guns: Guns) -> Outcome:
    """One stated time of a runner at a point, which is first, strongest and last read in one."""
    require(source.table, source.columns, "time", f"{source.section}, columns")
    who = who_column(source)
    frame = with_numbers(cells(source), source, ("visit",))
    line_faults: list[Fault] = []
    if "line" in source.columns or source.given.line:
        frame, line_faults = with_line(frame, source, event)
        line_faults = [f for f in line_faults if f.value is not None]  # an unnamed line is no fault here
    else:
        frame = frame.with_columns(pl.lit(None, dtype=pl.String).alias("line"))
    frame, point_faults = _with_point(frame, source, event)
    words = [name for name in ("time", "status") if name in source.columns]
    stated = to_statements(frame, named_ids(source), words)
    said = stated_in(pl.col("time")).is_not_null()
    frame = frame.with_columns(
        pl.when(~said).then(time_text(source, "time")).alias("time_text"),
        pl.coalesce(said, pl.lit(False)).alias("said"),
    ).drop("time")
    plan, remarks = plan_times(
        TimeColumn(frame, "time_text", source.table.file, source.header("time"), source.section),
        source.given.layout,
        event,
        _judge(frame, source, event),
    )
    frame = _based(frame, source, event, guns, plan, who)
    frame = to_instants(frame, "time_text", plan).rename({"why": "time_why"})
    faults = [
        trouble_fault(),
        *runner_faults(source, who),
        *line_faults,
        *point_faults,
        _without_said(time_fault(source, "time")),
    ]
    marked = marked_rows(frame, faults)
    kept = marked.filter(SOUND & ~pl.col("said")).with_columns(
        pl.col("time").alias(name) for name in ("first", "strongest", "last")
    )
    rejects = [
        to_row_rejects(marked, source.table.file),
        *number_rejects(marked.filter(SOUND), source, ("visit",)),
    ]
    times = int(kept.select(pl.len()).collect().item())
    return replace(passing_outcome(source, marked, kept, rejects, remarks, times=times), stated=stated)


def _without_said(fault: Fault) -> Fault:
    """A word of the results in place of a time is kept as such, and not lost."""
    return replace(fault, when=fault.when & ~pl.col("said"))


def _based(
    frame: pl.LazyFrame, source: Source, event: Event, guns: Guns, plan: TimePlan, who: str
) -> pl.LazyFrame:
    """What elapsed times of merged data count from: the gun, or the runner's own start row."""
    if not plan.elapsed:
        return frame
    frame = guns.with_base(frame, source)
    if source.given.elapsed_from == "gun":
        return frame
    at_start = pl.col("point").is_in([p.id for p in event.points if p.kind is PointKind.START])
    started = to_instants(frame.filter(at_start), "time_text", plan).filter(pl.col("time").is_not_null())
    starts = (
        started.group_by(who).agg(pl.col("time").min().dt.epoch("us").alias("start_us")).sort(who).collect()
    )
    counted = count_from_start(
        frame.rename({"base_us": "gun_us"}).with_columns(pl.lit(None, dtype=pl.Int64).alias("base_us")),
        starts if starts.height else None,
        who,
        source,
    )
    return counted.with_columns(pl.when(at_start).then("gun_us").otherwise("base_us").alias("base_us")).drop(
        "gun_us"
    )


def _with_point(frame: pl.LazyFrame, source: Source, event: Event) -> tuple[pl.LazyFrame, list[Fault]]:
    """``point`` (and ``visit``, where the word states it) of merged data."""
    by_line = point_of_line(event)
    if "point" not in source.columns:
        if source.given.point is None and "line" not in source.columns and source.given.line is None:
            require(
                source.table,
                source.columns,
                "point",
                f'{source.section}, columns, or point = "…" for all rows',
            )
        given = pl.lit(source.given.point, dtype=pl.String)
        header = source.header("line") if "line" in source.columns else None
        frame = frame.with_columns(pl.coalesce(by_line, given).alias("point"))
        return frame, [Fault(pl.col("point").is_null(), says("the row names neither point nor line"), header)]
    names = (
        {p.name: p.id for p in event.points}
        | {p.id: p.id for p in event.points}
        | dict(source.given.point_names)
    )
    words = match_words(words_of(frame, "point"), names, "point", "point_names")
    frame = frame.rename({"point": "point_word"}).with_columns(words.id_of("point_word").alias("_target"))
    stated = pl.col("_target").str.extract(r"#(\d+)$").cast(pl.Int16, strict=False)
    frame = frame.with_columns(
        pl.coalesce(pl.col("_target").str.extract(r"^([^#]+)"), by_line).alias("point"),
        pl.coalesce("visit", stated).alias("visit"),
    ).drop("_target")
    header, word = source.header("point"), pl.col("point_word")
    elsewhere = says("the line lies at another point than the row says")
    return frame, [
        Fault(words.reason_of("point_word").is_not_null(), words.reason_of("point_word"), header, word),
        Fault(pl.col("point").is_null(), says("the point is empty"), header),
        Fault(by_line.is_not_null() & (by_line != pl.col("point")), elsewhere, header, word),
    ]


def _judge(frame: pl.LazyFrame, source: Source, event: Event) -> Judge | None:
    if source.given.layout.times != "auto":
        return None
    known = {p.id: d for p in event.points if (d := distances(event, p.id, None)) is not None}
    rows = frame.select(
        pl.col("time_text").alias("text"),
        pl.col("point").replace_strict({p: d[0] for p, d in known.items()}, default=None, return_dtype=pl.Float64).alias("near_m"),
        pl.col("point").replace_strict({p: d[1] for p, d in known.items()}, default=None, return_dtype=pl.Float64).alias("far_m"),
    ).filter(pl.col("near_m").is_not_null())  # fmt: skip
    beyond = rows.filter(pl.col("far_m") > 0).collect()
    used = beyond if beyond.height else rows.collect()
    return PaceJudge(used, event, source.given.layout.zone or event.zone, (source.header("time"),))
