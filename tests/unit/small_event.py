"""A small event described in memory, and times on it that a reader can check by eye."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl

from lineproof.event import Course, Event, FileLayout, Input, Line, Point, Visit, Wave
from lineproof.tables import ENTRIES, PASSINGS, READS, TAGS
from lineproof.vocabulary import SETTINGS, Level, PointKind, ReadChoice, Role

GUN = dt.datetime(2026, 5, 17, 9, 0, tzinfo=dt.UTC)


def at(clock: str) -> dt.datetime:
    """``"09:12:30.5"`` on the day of the small event, UTC."""
    return dt.datetime.fromisoformat(f"2026-05-17T{clock}+00:00")


def small_event(
    stops: tuple[tuple[str, float], ...] = (("start", 0), ("mill", 5000), ("finish", 10000)),
) -> Event:
    """One course; every point has a main and a backup line named ``<point>-main`` and ``<point>-backup``."""
    times: dict[str, int] = {}
    visits = []
    for order, (point, at_m) in enumerate(stops):
        times[point] = times.get(point, 0) + 1
        visits.append(Visit(order, point, times[point], at_m))
    kinds = {"start": PointKind.START, "finish": PointKind.FINISH}
    points = tuple(
        Point(
            name,
            name,
            kinds.get(name, PointKind.SPLIT),
            ReadChoice.LAST if name == "start" else ReadChoice.FIRST,
        )
        for name in times
    )
    lines = tuple(
        Line(f"{p.id}-{role}", f"{p.id} {role}", p.id, role, None, None) for p in points for role in Role
    )
    names = {line.id: line.id for line in lines}
    return Event(
        id="small",
        name="Small event",
        date=GUN.date(),
        zone="UTC",
        folder=Path(),
        courses=(Course("road", "Road", tuple(visits), 1_000_000),),
        waves=(Wave("A", "road", GUN),),
        points=points,
        lines=lines,
        inputs=(Input(FileLayout("exports/*.csv", {}), Level.READS, line_names=names),),
        entries=None,
        course_names={},
        wave_names={},
        class_names={},
        settings={name: setting.value for name, setting in SETTINGS.items()},
        gate={},
    )


def entries(*runners: str) -> pl.DataFrame:
    return ENTRIES.shape_rows(
        [{"runner": r, "bib": r, "course": "road", "wave": "A", "runner_class": "foot"} for r in runners]
    )


def tags(**held: str) -> pl.DataFrame:
    """``tags(t1="1")``: tag t1 is held by runner 1 the whole event."""
    return TAGS.shape_rows([{"tag": tag, "runner": runner} for tag, runner in held.items()])


def reads(*rows: tuple[str, str, str]) -> pl.LazyFrame:
    """Rows of (tag, line, clock), from antenna 1 at -60 dBm."""
    return READS.shape_rows(
        [
            {
                "tag": tag,
                "line": line,
                "time": at(clock),
                "antenna": 1,
                "strength": -60.0,
                "file": "exports/a.csv",
                "row": i + 2,
            }
            for i, (tag, line, clock) in enumerate(rows)
        ]
    ).lazy()


def passings(*rows: tuple[str, str, str], level: Level = Level.PASSINGS) -> pl.DataFrame:
    """Rows of (tag, line, clock): passings of a single read; a name without ``-`` is a point without a line."""
    return PASSINGS.shape_rows(
        [
            {
                "passing": i,
                "tag": tag,
                "point": place.split("-")[0],
                "line": place if "-" in place else None,
                "first": at(clock),
                "strongest": at(clock),
                "last": at(clock),
                "reads": None if level in (Level.MERGED, Level.WIDE) else 1,
                "level": level.value,
                "file": "exports/a.csv",
                "row": i + 2,
            }
            for i, (tag, place, clock) in enumerate(rows)
        ]
    )
