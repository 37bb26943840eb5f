"""The event description, ``event.toml``: courses, timing points, lines and where the exports lie.

``load_event`` reads and checks it whole, so that everything after it can trust ids, distances and
instants.  Every complaint is one ``EventError`` naming the line of the file where it stands.
"""

from __future__ import annotations

import datetime as dt
import difflib
import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from lineproof.errors import EventError
from lineproof.vocabulary import (
    READ_CHOICE_BY_KIND,
    SETTINGS,
    Level,
    PointKind,
    ReadChoice,
    Role,
)

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
MERGED_COLUMNS = ("tag", "bib", "point", "visit", "line", "date", "time")
WIDE_COLUMNS = ("tag", "bib", "course", "wave", "class", "sex", "age")
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


class _Section:
    """One table of the file: hands out checked values and knows where it stands."""

    def __init__(self, data: Mapping[str, Any], where: str, text: str, header: str, nth: int = 0) -> None:
        self.data = data
        self.where = where
        self._text = text
        self._header = header
        self._nth = nth

    def row(self, key: str | None = None) -> int | None:
        """Row of ``key`` (or of the section's header) in the file, for the complaint."""
        lines = self._text.splitlines()
        heads = [i for i, line in enumerate(lines) if line.strip() == self._header]
        if len(heads) <= self._nth:
            return None
        begin = heads[self._nth]
        if key is not None:
            for i in range(begin + 1, len(lines)):
                if lines[i].lstrip().startswith("[["):
                    break
                if re.match(rf"""\s*["']?{re.escape(key)}["']?\s*=""", lines[i]):
                    return i + 1
        return begin + 1

    def error(self, problem: str, todo: str, key: str | None = None) -> EventError:
        return EventError(f"{self.where}: {problem}", todo=todo, file=EVENT_FILE, row=self.row(key))

    def only(self, allowed: Iterable[str]) -> None:
        known = list(allowed)
        for key in self.data:
            if key not in known:
                raise self.error(
                    f'the word "{key}" is not known here',
                    suggest(key, known) or f"use {', '.join(known)}",
                    key,
                )

    def text(self, key: str, default: str | None = None) -> str:
        value = self.data.get(key, default)
        if value is None:
            raise self.error(f'"{key}" is missing', f'write {key} = "…"')
        if not isinstance(value, str) or not value.strip():
            raise self.error(f'"{key}" must be a text', "put it in quotation marks", key)
        return value.strip()

    def optional_text(self, key: str) -> str | None:
        return self.text(key) if key in self.data else None

    def number(self, key: str) -> float | None:
        value = self.data.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e12:
            raise self.error(f'"{key}" must be a number', "write digits without quotation marks", key)
        return float(value)

    def choice(self, key: str, words: Iterable[str], default: str | None = None) -> str:
        value = self.text(key, default)
        known = list(words)
        if value not in known:
            raise self.error(
                f'"{key}" cannot be "{value}"', suggest(value, known) or f"use one of {', '.join(known)}", key
            )
        return value

    def mapping(self, key: str) -> dict[str, str]:
        value = self.data.get(key, {})
        if not isinstance(value, dict) or not all(isinstance(v, str) for v in value.values()):
            raise self.error(
                f'"{key}" must map words to words', f'write [{key}] and lines like "A" = "b"', key
            )
        return dict(value)

    def rows(self, key: str) -> list[dict[str, Any]]:
        value = self.data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            raise self.error(f'"{key}" must be a list of tables', f"write [[{key}]] above each", key)
        return value


def suggest(word: str, known: Iterable[str]) -> str:
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f'did you mean "{close[0]}"?' if close else ""


def load_event(folder: str | Path) -> Event:
    """Read ``event.toml`` of an event folder.

    Raises ``EventError`` where the file is missing, is not TOML, or contradicts itself.
    """
    folder = Path(folder)
    data, text = _read_toml(folder)
    root = _Section(data, "the file", text, "")
    root.only(("event", "course", "wave", "point", "line", "input", "entries", "settings", "gate"))
    head = _Section(data.get("event", {}), "[event]", text, "[event]")
    head.only(("id", "name", "date", "zone"))
    zone = _zone(head)
    date = _date(head)
    points = _points(data, text, root)
    courses = _courses(data, text, root, {point.id for point in points})
    settings = _numbers(data, text, "settings", {name: s.value for name, s in SETTINGS.items()})
    entries = _entries(data, text)
    entries_section = _Section(data.get("entries", {}), "[entries]", text, "[entries]")
    lines = _lines(data, text, root, points)
    return Event(
        id=head.text("id", folder.resolve().name),
        name=head.text("name", folder.resolve().name),
        date=date,
        zone=zone,
        folder=folder,
        courses=courses,
        waves=_waves(data, text, root, courses, date, zone),
        points=points,
        lines=lines,
        inputs=_inputs(data, text, root, points, lines, courses, zone),
        entries=entries,
        course_names=entries_section.mapping("course_names"),
        wave_names=entries_section.mapping("wave_names"),
        class_names=entries_section.mapping("class_names"),
        settings=settings,
        gate=_gate(data, text),
    )


def _read_toml(folder: Path) -> tuple[dict[str, Any], str]:
    path = folder / EVENT_FILE
    if not folder.is_dir():
        raise EventError(f'there is no folder "{folder.name}"', todo="check the path")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise EventError(
            f'the folder "{folder.resolve().name}" has no {EVENT_FILE}',
            todo=f"run lineproof new {folder.name} to draft one from the exports",
        ) from None
    except UnicodeDecodeError:
        raise EventError("the file is not UTF-8 text", todo="save it as UTF-8", file=EVENT_FILE) from None
    except OSError as problem:
        raise EventError(f"the file cannot be opened ({problem.strerror})", file=EVENT_FILE) from None
    try:
        return tomllib.loads(text), text
    except (tomllib.TOMLDecodeError, RecursionError) as problem:
        row = re.search(r"at line (\d+)", str(problem))
        raise EventError(
            f"not valid TOML: {str(problem).split(' (at')[0].lower()}",
            todo="mend that line",
            file=EVENT_FILE,
            row=int(row[1]) if row else None,
        ) from None


def _zone(head: _Section) -> str:
    name = head.text("zone")
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise head.error(
            f'the zone "{name}" is not known', 'use a name like "Europe/London"', "zone"
        ) from None
    return name


def _date(head: _Section) -> dt.date:
    value = head.data.get("date")
    if isinstance(value, dt.datetime) or not isinstance(value, dt.date):
        raise head.error("the date of the event is missing or no date", "write date = 2026-05-17", "date")
    return value


def _unique(ids: Iterable[str], what: str, root: _Section) -> None:
    twice = [word for word, count in Counter(ids).items() if count > 1]
    if twice:
        raise root.error(f'{what} "{twice[0]}" is described twice', "give each an id of its own")


def _sections(data: Mapping[str, Any], text: str, root: _Section, key: str) -> list[_Section]:
    return [
        _Section(row, f"[[{key}]] number {i + 1}", text, f"[[{key}]]", i)
        for i, row in enumerate(root.rows(key))
    ]


def _points(data: Mapping[str, Any], text: str, root: _Section) -> tuple[Point, ...]:
    points = []
    for section in _sections(data, text, root, "point"):
        section.only(("id", "name", "kind", "time_from"))
        kind = PointKind(section.choice("kind", [k.value for k in PointKind], "split"))
        default = READ_CHOICE_BY_KIND[kind].value
        time_from = ReadChoice(section.choice("time_from", [c.value for c in ReadChoice], default))
        point_id = section.text("id")
        if "#" in point_id or "/" in point_id:
            raise section.error(f'the id "{point_id}" holds # or /', "leave these out", "id")
        points.append(Point(point_id, section.text("name", point_id), kind, time_from))
    if not points:
        raise root.error("there is no timing point", "add [[point]] tables, in any order")
    _unique((p.id for p in points), "the point", root)
    return tuple(points)


def _courses(data: Mapping[str, Any], text: str, root: _Section, point_ids: set[str]) -> tuple[Course, ...]:
    courses = []
    for section in _sections(data, text, root, "course"):
        section.only(("id", "name", "visits", "rounding_s"))
        course_id = section.text("id")
        rounding = section.number("rounding_s")
        rounding = SETTINGS["rounding_s"].value if rounding is None else rounding
        if rounding < 1e-6:
            raise section.error("rounding_s must be above 0", "write 1, 0.1 or 0.01", "rounding_s")
        courses.append(
            Course(
                course_id, section.text("name", course_id), _visits(section, point_ids), round(rounding * 1e6)
            )
        )
    if not courses:
        raise root.error("there is no course", "add a [[course]] table with its visits")
    _unique((c.id for c in courses), "the course", root)
    return tuple(courses)


def _visits(section: _Section, point_ids: set[str]) -> tuple[Visit, ...]:
    rows = section.rows("visits")
    if len(rows) < 2:
        raise section.error(
            "a course needs at least two visits",
            'write visits = [{ point = "start", at_m = 0 }, …]',
            "visits",
        )
    times: Counter[str] = Counter()
    visits: list[Visit] = []
    for order, row in enumerate(rows):
        part = _Section(
            row, f"{section.where}, visit {order + 1}", section._text, section._header, section._nth
        )
        part.only(("point", "at_m"))
        point = part.text("point")
        if point not in point_ids:
            raise part.error(
                f'there is no point "{point}"', suggest(point, point_ids) or "add it as [[point]]", "visits"
            )
        at_m = part.number("at_m")
        if at_m is None or at_m < 0:
            raise part.error('"at_m" must be the distance from the start in metres', "add it", "visits")
        if visits and at_m <= visits[-1].at_m:
            raise part.error(
                f"{at_m:g} m does not lie beyond the visit before it at {visits[-1].at_m:g} m",
                "put the visits in course order",
                "visits",
            )
        times[point] += 1
        visits.append(Visit(order, point, times[point], at_m))
    return tuple(visits)


def _instant(section: _Section, key: str, date: dt.date, zone: str) -> dt.datetime | None:
    """A gun as UTC: an offset date-time, a local date-time, or a time of day on the event's date."""
    value = section.data.get(key)
    if value is None:
        return None
    if isinstance(value, str):
        try:
            value = dt.datetime.fromisoformat(value) if "-" in value else dt.time.fromisoformat(value)
        except ValueError:
            raise section.error(f'"{key}" is no time', f"write {key} = 09:30:00", key) from None
    if isinstance(value, dt.time):
        value = dt.datetime.combine(date, value)
    if not isinstance(value, dt.datetime):
        raise section.error(f'"{key}" is no time', f"write {key} = 09:30:00", key)
    if value.tzinfo is not None:
        return value.astimezone(dt.UTC)
    local = value.replace(tzinfo=ZoneInfo(zone))
    instant = local.astimezone(dt.UTC)
    if instant.astimezone(ZoneInfo(zone)).replace(tzinfo=None) != value:
        raise section.error(
            f"{value} does not exist in {zone} (clocks go forward)", "write it with its offset", key
        )
    if local.replace(fold=1).astimezone(dt.UTC) != instant:
        raise section.error(
            f"{value} comes twice in {zone} (clocks go back)", "write it with its offset", key
        )
    return instant


def _waves(
    data: Mapping[str, Any], text: str, root: _Section, courses: tuple[Course, ...], date: dt.date, zone: str
) -> tuple[Wave, ...]:
    waves = []
    course_ids = [course.id for course in courses]
    for section in _sections(data, text, root, "wave"):
        section.only(("id", "course", "gun"))
        course = section.choice("course", course_ids, course_ids[0] if len(course_ids) == 1 else None)
        waves.append(Wave(section.text("id"), course, _instant(section, "gun", date, zone)))
    _unique((w.id for w in waves), "the wave", root)
    without = [c for c in course_ids if c not in {w.course for w in waves}]
    return (*waves, *(Wave(course, course, None) for course in without))


def _lines(data: Mapping[str, Any], text: str, root: _Section, points: tuple[Point, ...]) -> tuple[Line, ...]:
    lines = []
    point_ids = [point.id for point in points]
    for section in _sections(data, text, root, "line"):
        section.only(("id", "name", "point", "role", "spacing_m", "width_m"))
        line_id = section.text("id")
        if "/" in line_id:
            raise section.error(f'the id "{line_id}" holds /', "leave it out", "id")
        lines.append(
            Line(
                line_id,
                section.text("name", line_id),
                section.choice("point", point_ids),
                Role(section.choice("role", [r.value for r in Role], "main")),
                section.number("spacing_m"),
                section.number("width_m"),
            )
        )
    _unique((line.id for line in lines), "the line", root)
    roles = Counter((line.point, line.role) for line in lines)
    for (point, role), count in roles.items():
        if count > 1:
            raise root.error(
                f'the point "{point}" has {count} {role} lines',
                "a point has one main and at most one backup line",
            )
    for point in {line.point for line in lines}:
        if (point, Role.MAIN) not in roles:
            raise root.error(
                f'the point "{point}" has a backup line but no main line', 'give one the role "main"'
            )
    return tuple(lines)


_LAYOUT_KEYS = (
    "files", "columns", "encoding", "delimiter", "decimal", "header_row", "sheet", "zone", "times",
    "date_order", "repeated_hour", "missing",
)  # fmt: skip


def _layout(section: _Section, columns: Iterable[str]) -> FileLayout:
    known = list(columns)
    mapping = section.mapping("columns")
    for key in mapping:
        if key not in known:
            raise section.error(
                f'"{key}" is no column of ours', suggest(key, known) or f"use {', '.join(known)}", key
            )
    header_row = section.number("header_row")
    if header_row is not None and (header_row < 0 or header_row != int(header_row)):
        raise section.error(
            '"header_row" must be a whole row number', "count from 1, or write 0 where there is no header", "header_row"
        )
    missing = section.data.get("missing", [])
    if not isinstance(missing, list) or not all(isinstance(word, str) for word in missing):
        raise section.error('"missing" must be a list of texts', 'write missing = ["DNS", "?"]', "missing")
    zone = section.optional_text("zone")
    if zone is not None:
        _zone(section)
    return FileLayout(
        files=section.text("files"),
        columns=mapping,
        encoding=section.optional_text("encoding"),
        delimiter=section.data.get("delimiter"),
        decimal=section.choice("decimal", (".", ",")) if "decimal" in section.data else None,
        header_row=None if header_row is None else int(header_row),
        sheet=section.optional_text("sheet"),
        zone=zone,
        times=section.choice("times", TIME_LAYOUTS, "auto"),
        date_order=section.choice("date_order", ("ymd", "dmy", "mdy"))
        if "date_order" in section.data
        else None,
        repeated_hour=(
            section.choice("repeated_hour", ("earlier", "later")) if "repeated_hour" in section.data else None
        ),
        missing=tuple(missing),
    )


def _entries(data: Mapping[str, Any], text: str) -> FileLayout | None:
    if "entries" not in data:
        return None
    section = _Section(data["entries"], "[entries]", text, "[entries]")
    section.only((*_LAYOUT_KEYS, "course_names", "wave_names", "class_names"))
    return _layout(section, ENTRY_COLUMNS)


def _inputs(
    data: Mapping[str, Any],
    text: str,
    root: _Section,
    points: tuple[Point, ...],
    lines: tuple[Line, ...],
    courses: tuple[Course, ...],
    zone: str,
) -> tuple[Input, ...]:
    line_ids = {line.id for line in lines}
    point_ids = {point.id for point in points}
    course_ids = {course.id for course in courses}
    inputs = []
    for section in _sections(data, text, root, "input"):
        section.only(
            (*_LAYOUT_KEYS, "level", "line", "point", "course", "line_names", "point_names", "elapsed_from")
        )
        level = Level(section.choice("level", [lv.value for lv in Level]))
        line, point = section.optional_text("line"), section.optional_text("point")
        course = section.optional_text("course")
        _known(section, "course", [course] if course else [], course_ids)
        _known(section, "line", [line] if line else [], line_ids)
        _known(section, "point", [point] if point else [], point_ids)
        _known(section, "line", section.mapping("line_names").values(), line_ids)
        _known(
            section, "point", (p.split("#")[0] for p in section.mapping("point_names").values()), point_ids
        )
        inputs.append(
            Input(
                layout=_layout(section, COLUMNS_BY_LEVEL[level]),
                level=level,
                line=line,
                point=point,
                line_names=section.mapping("line_names"),
                point_names=section.mapping("point_names"),
                elapsed_from=section.choice("elapsed_from", ("gun", "start"), "gun"),
                course=course,
            )
        )
    if not inputs:
        raise root.error("there is no input", "add an [[input]] table with files and level")
    return tuple(inputs)


def _known(section: _Section, what: str, ids: Iterable[str], known: set[str]) -> None:
    for word in ids:
        if word not in known:
            raise section.error(
                f'there is no {what} "{word}"',
                suggest(word, known) or f"add it as [[{what}]]",
                f"{what}_names",
            )


def _numbers(data: Mapping[str, Any], text: str, key: str, defaults: Mapping[str, float]) -> dict[str, float]:
    section = _Section(data.get(key, {}), f"[{key}]", text, f"[{key}]")
    section.only(defaults)
    given = {name: section.number(name) for name in section.data}
    return {**defaults, **{name: value for name, value in given.items() if value is not None}}


def _gate(data: Mapping[str, Any], text: str) -> dict[str, float]:
    """Shares of the validation gate that the event tightens; their names are checked by expectations.py."""
    section = _Section(data.get("gate", {}), "[gate]", text, "[gate]")
    shares = {name: section.number(name) for name in section.data}
    for name, share in shares.items():
        if share is None or not 0 <= share <= 1:
            raise section.error(f'the share "{name}" must lie between 0 and 1', "write 0.99 for 99 %", name)
    return {name: share for name, share in shares.items() if share is not None}
