"""What truly happened, for tests to compare with: crossings, rates, tags and planted faults."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass

import numpy as np
import polars as pl

from lineproof.event import Course, Event
from lineproof.simulate.carriers import TagSet
from lineproof.simulate.cases import Case
from lineproof.simulate.plan import FOREVER, EventPlan
from lineproof.simulate.runners import Bools, Field, Floats
from lineproof.tables import COUNT, INSTANT, TEXT

FAULT_SCHEMA = pl.Schema(
    {
        "kind": TEXT,
        "runner": TEXT,
        "tag": TEXT,
        "other_runner": TEXT,
        "other_tag": TEXT,
        "point": TEXT,
        "line": TEXT,
        "course": TEXT,
        "order": pl.Int16(),
        "begin": INSTANT,
        "end": INSTANT,
        "value": pl.Float64(),
        "detail": TEXT,
        "file": TEXT,
        "row": pl.Int64(),
        "column": TEXT,
    }
)


@dataclass(frozen=True, slots=True)
class Truth:
    """``crossings``: one row for each entry and visit of its course, crossed or not.

    ``runner``, ``carried_by`` (the runner whose body carried the entry's tags), ``course``, ``wave``,
    ``point``, ``order``, ``visit``, ``at_m``, ``crossed``, ``time`` (over the main line; null: not crossed),
    ``read_main`` and ``read_backup`` (null: no such line).
    ``rates``: ``level`` line, point or segment with ``crossed``, ``read`` and ``rate``.
    ``tags``: class, body and waking orders of each tag.  ``faults``: one row for each planted case.
    """

    crossings: pl.DataFrame
    rates: pl.DataFrame
    tags: pl.DataFrame
    faults: pl.DataFrame


def to_instant(plan: EventPlan, seconds: float) -> dt.datetime | None:
    """Seconds since the first gun as UTC; None for a time without bound."""
    if abs(seconds) >= FOREVER:
        return None
    return plan.gun.astimezone(dt.UTC) + dt.timedelta(microseconds=round(seconds * 1e6))


def gun_us(plan: EventPlan) -> int:
    return (plan.gun - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)) // dt.timedelta(microseconds=1)


def to_fault_frame(cases: list[Case], plan: EventPlan) -> pl.DataFrame:
    rows = []
    for case in cases:
        row = asdict(case)
        for key in ("begin", "end"):
            seconds = row.pop(f"{key}_s")
            row[key] = None if seconds is None else to_instant(plan, seconds)
        row["kind"] = case.kind.value
        rows.append(row)
    return pl.DataFrame(rows, schema=FAULT_SCHEMA)


def to_true_crossings(
    plan: EventPlan, event: Event, field: Field, tags: TagSet, read_main: Bools, read_backup: Bools
) -> pl.DataFrame:
    carrier = np.arange(field.bodies)
    carrier[tags.entry[tags.listed]] = tags.body[tags.listed]
    times: Floats = field.times[carrier]
    base = gun_us(plan)
    lines = {point.id: len(point.lines) for point in plan.points}
    frames = []
    for index, course in enumerate(event.courses):
        mine = np.flatnonzero(field.course == index)
        waves = np.array([wave.id for wave in plan.waves])[field.wave[mine]]
        for visit in course.visits:
            time = times[mine, visit.order]
            crossed = ~np.isnan(time)
            whole = np.where(crossed, np.round(np.nan_to_num(time) * 1e6), 0).astype(np.int64) + base
            frames.append(
                pl.DataFrame(
                    {
                        "runner": field.bib[mine],
                        "carried_by": field.bib[carrier[mine]],
                        "course": [course.id] * len(mine),
                        "wave": waves,
                        "point": [visit.point] * len(mine),
                        "order": np.full(len(mine), visit.order, dtype=np.int16),
                        "visit": np.full(len(mine), visit.visit, dtype=np.int16),
                        "at_m": np.full(len(mine), visit.at_m),
                        "crossed": crossed,
                        "time": whole,
                        "read_main": read_main[mine, visit.order],
                        "read_backup": read_backup[mine, visit.order],
                    }
                ).with_columns(
                    pl.when("crossed").then(pl.col("time").cast(INSTANT)).alias("time"),
                    pl.when(pl.lit(lines[visit.point] > 0)).then("read_main").alias("read_main"),
                    pl.when(pl.lit(lines[visit.point] > 1)).then("read_backup").alias("read_backup"),
                )
            )
    return pl.concat(frames).sort("runner", "order")


def to_true_rates(crossings: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Realised shares read among true crossings: per line and point over all courses, and per segment."""
    either = pl.any_horizontal(pl.col("read_main", "read_backup").fill_null(value=False))
    crossed = crossings.filter("crossed").with_columns(either.alias("read"))
    rows: list[dict[str, object]] = []
    for point in event.points:
        here = crossed.filter(pl.col("point") == point.id)
        lines = event.lines_at(point.id)
        for line, column in zip(lines, ("read_main", "read_backup"), strict=False):
            rows.append(_rate("line", here[column], point=point.id, line=line.id))
        if lines:
            rows.append(_rate("point", here["read"], point=point.id))
    rows += [
        _segment(crossed, course, order) for course in event.courses for order in range(1, len(course.visits))
    ]
    schema = {
        "level": TEXT,
        "course": TEXT,
        "point": TEXT,
        "order": pl.Int16(),
        "line": TEXT,
        "crossed": COUNT,
        "read": COUNT,
        "rate": pl.Float64(),
    }
    return pl.DataFrame(rows, schema=schema)


def _segment(crossed: pl.DataFrame, course: Course, order: int) -> dict[str, object]:
    visit = course.visits[order]
    mine = crossed.filter(pl.col("course") == course.id)
    ends = mine.filter(pl.col("order") == order - 1).join(
        mine.filter(pl.col("order") == order), on="runner", validate="1:1"
    )
    both = ends["read"] & ends["read_right"]
    return _rate("segment", both, course=course.id, point=visit.point, order=order)


def _rate(level: str, read: pl.Series, **place: object) -> dict[str, object]:
    count, hits = len(read), int(read.sum())
    return {"level": level, **place, "crossed": count, "read": hits, "rate": hits / count if count else None}


def to_true_tags(field: Field, tags: TagSet, orders: int) -> pl.DataFrame:
    listed = tags.listed
    return pl.DataFrame(
        {
            "tag": tags.tag,
            "runner": np.where(listed, field.bib[tags.entry], ""),
            "carried_by": field.bib[tags.body],
            "quality": tags.quality,
            "shift": tags.shift,
            "answers_from": np.minimum(tags.wakes, orders).astype(np.int16),
            "answers_until": (np.minimum(tags.dies, orders) - 1).astype(np.int16),
        }
    ).with_columns(pl.when(pl.col("runner") != "").then("runner").alias("runner"))
