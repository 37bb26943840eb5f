"""The event as everything after it sees it: courses, waves, points, lines and how to read the exports."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

from lineproof.vocabulary import SETTINGS, Level, PointKind, ReadChoice, Role

EVENT_FILE = "event.toml"

TIME_LAYOUTS = ("auto", "iso", "epoch_s", "epoch_ms", "epoch_us", "clock", "elapsed")

READ_COLUMNS = ("tag", "date", "time", "line", "antenna", "strength")

PASSING_COLUMNS = (
    "tag",
    "bib",
    "line",
    "date",
    "first",
    "strongest",
    "last",
    "reads",
    "antenna",
    "antennas",
    "strength",
)

MERGED_COLUMNS = ("tag", "bib", "point", "visit", "line", "date", "time", "status")

WIDE_COLUMNS = ("tag", "bib", "course", "wave", "class", "sex", "age", "status")

COLUMNS_BY_LEVEL: dict[Level, tuple[str, ...]] = {
    Level.READS: READ_COLUMNS,
    Level.PASSINGS: PASSING_COLUMNS,
    Level.MERGED: MERGED_COLUMNS,
    Level.WIDE: WIDE_COLUMNS,
}

ENTRY_COLUMNS = (
    "runner",
    "bib",
    "tag",
    "tag_2",
    "course",
    "wave",
    "class",
    "sex",
    "age",
    "tag_kind",
    "tag_batch",
    "tag_since",
)


@dataclass(frozen=True, slots=True)
class Visit:
    order: int
    point: str
    visit: int
    at_m: float


@dataclass(frozen=True, slots=True)
class Course:
    id: str
    name: str
    visits: tuple[Visit, ...]
    rounding_us: int

    @property
    def distance_m(self) -> float:
        return self.visits[-1].at_m


@dataclass(frozen=True, slots=True)
class Wave:
    id: str
    course: str
    gun: dt.datetime | None  # UTC


@dataclass(frozen=True, slots=True)
class Point:
    id: str
    name: str
    kind: PointKind
    time_from: ReadChoice


@dataclass(frozen=True, slots=True)
class Line:
    id: str
    name: str
    point: str
    role: Role
    spacing_m: float | None
    width_m: float | None


@dataclass(frozen=True, slots=True)
class FileLayout:
    """How to read one kind of table; every option may be left to be found out except ``columns``."""

    files: str
    columns: Mapping[str, str]
    encoding: str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    header_row: int | None = None
    sheet: str | None = None
    zone: str | None = None
    times: str = "auto"
    date_order: str | None = None
    repeated_hour: str | None = None
    missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Input:
    """Exports of one layout.  ``line_names`` and ``point_names`` map the export's words to our ids.

    In a wide table ``point_names`` maps a column's header to ``point`` or ``point#visit``, and
    ``elapsed_from`` says whether elapsed times count from the gun or from the runner's own start.
    """

    layout: FileLayout
    level: Level
    line: str | None = None
    point: str | None = None
    line_names: Mapping[str, str] = field(default_factory=dict)
    point_names: Mapping[str, str] = field(default_factory=dict)
    elapsed_from: str = "gun"
    course: str | None = None  # of all runners of a wide table that does not say


@dataclass(frozen=True, slots=True)
class Event:
    id: str
    name: str
    date: dt.date
    zone: str
    folder: Path
    courses: tuple[Course, ...]
    waves: tuple[Wave, ...]
    points: tuple[Point, ...]
    lines: tuple[Line, ...]
    inputs: tuple[Input, ...]
    entries: FileLayout | None
    course_names: Mapping[str, str]
    wave_names: Mapping[str, str]
    class_names: Mapping[str, str]
    settings: Mapping[str, float]
    gate: Mapping[str, float]

    def setting(self, name: str) -> float:
        return self.settings[name]

    def setting_us(self, name: str) -> int:
        """A setting in seconds, minutes or hours (by its unit) as whole microseconds."""
        scale = {"s": 1, "min": 60, "h": 3600}[SETTINGS[name].unit]
        return round(self.settings[name] * scale * 1_000_000)

    def course(self, course_id: str) -> Course:
        return next(course for course in self.courses if course.id == course_id)

    def point(self, point_id: str) -> Point:
        return next(point for point in self.points if point.id == point_id)

    def line(self, line_id: str) -> Line:
        return next(line for line in self.lines if line.id == line_id)

    def lines_at(self, point_id: str) -> tuple[Line, ...]:
        """The lines of a point, main first."""
        found = (line for line in self.lines if line.point == point_id)
        return tuple(sorted(found, key=lambda line: line.role is Role.BACKUP))

    @property
    def lines_with_input(self) -> set[str]:
        """Lines that an input of reads or passings names, even where they read nobody all day."""
        return {
            line
            for source in self.inputs
            if source.level in (Level.READS, Level.PASSINGS)
            for line in (*source.line_names.values(), *([source.line] if source.line else []))
        }

    @property
    def first_gun(self) -> dt.datetime | None:
        guns = [wave.gun for wave in self.waves if wave.gun is not None]
        return min(guns) if guns else None

    @property
    def opens(self) -> dt.datetime:
        """Begin of the 24 hours in which clock times without a date are placed, UTC."""
        before = dt.timedelta(hours=self.setting("opens_before_h"))
        if self.first_gun is not None:
            return self.first_gun - before
        return dt.datetime.combine(self.date, dt.time(0), ZoneInfo(self.zone)).astimezone(dt.UTC)

    @property
    def closes(self) -> dt.datetime:
        """Reads after this belong to no runner of the event, UTC."""
        guns = [wave.gun for wave in self.waves if wave.gun is not None]
        last = max(guns) if guns else self.opens
        return last + dt.timedelta(hours=self.setting("closes_after_h"))
