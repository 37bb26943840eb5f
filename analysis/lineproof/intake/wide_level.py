"""Wide results tables: one row per runner, one time column per point and visit.

A wide table is merged data lying on its side; each of its times becomes a row of PASSINGS.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import polars as pl

from lineproof.errors import EventError
from lineproof.event import EVENT_FILE, Event
from lineproof.intake.columns import find_header_index
from lineproof.intake.faults import to_cell_rejects, to_row_rejects
from lineproof.intake.fields import count_from_start, runner_faults, trouble_fault
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
)
from lineproof.intake.stated import stated_in, to_statements
from lineproof.intake.times import to_instants
from lineproof.vocabulary import PointKind

WIDE_MISSING = r"(?i)^(?:[-–—_.:? ]+|0+(?:[:.,]0+)*|n/?a|#n/a|nan|null|none|nil|dns|dnf|dsq|dq)$"


@dataclass(frozen=True, slots=True)
class _Split:
    """One time column of a wide table."""

    column: str
    header: str
    point: str
    visit: int
    is_start: bool


def load_wide(source: Source, event: Event, guns: Guns) -> Outcome:
    """One row per runner, one column per point and visit; missing times are missing, not rejects."""
    who = who_column(source)
    splits = _splits(source, event)
    widened = replace(source, columns=source.columns | {s.column: _index(source, s) for s in splits})
    texts = cells(widened)
    words = [*(s.column for s in splits), *(name for name in ("status",) if name in source.columns)]
    stated = to_statements(texts, named_ids(source), words)
    frame = texts.with_columns(
        pl.when(~(pl.col(s.column).str.contains(WIDE_MISSING) | stated_in(pl.col(s.column)).is_not_null()))
        .then(s.column)
        .alias(s.column)
        for s in splits
    )
    marked = marked_rows(frame, [trouble_fault(), *runner_faults(source, who)])
    sound = marked.filter(SOUND)
    timed, said = _timed_splits(sound, splits, source, event, guns)
    rejects = [to_row_rejects(marked, source.table.file)]
    rejects += [
        to_cell_rejects(
            f.lazy(), source.table.file, s.header, s.column, pl.col("why").is_not_null(), pl.col("why")
        )
        for s, f in timed
    ]
    rows = [
        f.filter(pl.col("time").is_not_null()).select(
            *named_ids(source),
            pl.lit(s.point).alias("point"),
            pl.lit(s.visit, dtype=pl.Int16).alias("visit"),
            pl.col("time").alias("first"),
            "row",
        )
        for s, f in timed
    ]
    long = pl.concat(rows).with_columns(pl.col("first").alias(name) for name in ("strongest", "last"))
    found = passing_outcome(source, marked, long.lazy(), rejects, said, times=long.height)
    return replace(found, stated=stated)


def _timed_splits(
    sound: pl.LazyFrame, splits: Sequence[_Split], source: Source, event: Event, guns: Guns
) -> tuple[list[tuple[_Split, pl.DataFrame]], list[str]]:
    """Every split column with its instants, starts first, because the others may count from them."""
    said: list[str] = []
    timed: list[tuple[_Split, pl.DataFrame]] = []
    others = [s for s in splits if not s.is_start]
    joint = _judge(sound, others, source, event)
    starts: pl.DataFrame | None = None
    for split in [*(s for s in splits if s.is_start), *others]:
        judge = _judge(sound, [split], source, event) if split.is_start else joint
        column = TimeColumn(sound, split.column, source.table.file, split.header, source.section)
        plan, remarks = plan_times(column, source.given.layout, event, judge)
        frame = sound.select("row", *named_ids(source), split.column)
        if plan.elapsed:
            frame = guns.with_base(frame, source)
            if source.given.elapsed_from == "start" and not split.is_start:
                frame = count_from_start(frame, starts, "row", source)
        done = to_instants(frame, split.column, plan).collect()
        if split.is_start:
            starts = done.filter(pl.col("time").is_not_null()).select(
                "row", pl.col("time").dt.epoch("us").alias("start_us")
            )
        timed.append((split, done))
        said += [remark for remark in remarks if remark not in said]
    return timed, said


def _judge(sound: pl.LazyFrame, splits: Sequence[_Split], source: Source, event: Event) -> Judge | None:
    if source.given.layout.times != "auto":
        return None
    parts = []
    for split in splits:
        at = distances(event, split.point, split.visit)
        if at is not None:
            text = pl.col(split.column).alias("text")
            parts.append(sound.select(text, pl.lit(at[0]).alias("near_m"), pl.lit(at[1]).alias("far_m")))
    if not parts:
        return None
    frame = pl.concat(parts).filter(pl.col("text").is_not_null()).collect()
    headers = tuple(split.header for split in splits)
    return PaceJudge(frame, event, source.given.layout.zone or event.zone, headers)


def _splits(source: Source, event: Event) -> list[_Split]:
    """The time columns by ``point_names``; raises ``EventError`` where a visit does not exist or is not said."""
    if not source.given.point_names:
        raise EventError(
            f"{source.section} is a wide table without point_names",
            todo='write [input.point_names] and lines like "10 km" = "split-10k"',
            file=EVENT_FILE,
        )
    starts = {p.id for p in event.points if p.kind is PointKind.START}
    splits = []
    for number, (header, target) in enumerate(source.given.point_names.items()):
        point, _, stated = target.partition("#")
        visits = {v.visit for course in event.courses for v in course.visits if v.point == point}
        visit = _visit(header, point, stated, visits)
        splits.append(_Split(f"split_{number}", header, point, visit, point in starts and visit == 1))
    return splits


def _visit(header: str, point: str, stated: str, visits: set[int]) -> int:
    place = f'the column "{header}" of point_names'
    if stated:
        if not stated.isdigit() or (visits and int(stated) not in visits):
            most = max(visits, default=1)
            raise EventError(
                f'{place} names "{point}#{stated}", but "{point}" is passed {most} time{"s" if most > 1 else ""}',
                todo=f"write a visit from 1 to {most}",
                file=EVENT_FILE,
            )
        return int(stated)
    if len(visits) > 1:
        raise EventError(
            f'{place} does not say which of the {max(visits)} visits of "{point}" it holds',
            todo=f'write "{header}" = "{point}#1"',
            file=EVENT_FILE,
        )
    return 1


def _index(source: Source, split: _Split) -> int:
    return find_header_index(source.table, split.header, split.point)
