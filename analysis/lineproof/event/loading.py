"""Reads ``event.toml`` whole and checks it against itself, so that everything after can trust it."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from lineproof.errors import EventError
from lineproof.event.inputs import names_of, to_entries_layout, to_inputs
from lineproof.event.mistakes import find_mistake
from lineproof.event.model import EVENT_FILE, Course, Event, Line, Point, Visit, Wave
from lineproof.event.sections import Section, refuse_twice, sections_of, suggest, zone_of
from lineproof.vocabulary import READ_CHOICE_BY_KIND, SETTINGS, PointKind, ReadChoice, Role, RunnerClass

YEARS = range(1900, 2201)  # of any race that was timed, and of none that a typing error makes
SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}
LONGEST_S = 366 * 86_400.0


def load_event(folder: str | Path) -> Event:
    """Read ``event.toml`` of an event folder.

    Raises ``EventError`` where the file is missing, is not TOML, or contradicts itself.
    """
    folder = Path(folder)
    data, text = _read_toml(folder)
    root = Section(data, "the file", text, "")
    root.only(("event", "course", "wave", "point", "line", "input", "entries", "settings", "gate"))
    head = root.table("event")
    head.only(("id", "name", "date", "zone"))
    zone = zone_of(head)
    date = _date(head)
    points = _points(text, root)
    courses = _courses(text, root, {point.id for point in points})
    waves = _waves(text, root, courses, date, zone)
    lines = _lines(text, root, points)
    people = root.table("entries")
    return Event(
        id=head.text("id", folder.resolve().name),
        name=head.text("name", folder.resolve().name),
        date=date,
        zone=zone,
        folder=folder,
        courses=courses,
        waves=waves,
        points=points,
        lines=lines,
        inputs=to_inputs(text, root, points, lines, courses),
        entries=to_entries_layout(people),
        course_names=names_of(people, "course_names", "course", {course.id for course in courses}),
        wave_names=names_of(people, "wave_names", "wave", {wave.id for wave in waves}),
        class_names=names_of(people, "class_names", "runner class", {c.value for c in RunnerClass}),
        settings=_settings(root.table("settings")),
        gate=_gate(root.table("gate")),
    )


def _read_toml(folder: Path) -> tuple[dict[str, Any], str]:
    path = folder / EVENT_FILE
    if folder.is_file():
        raise EventError(f'"{folder.name}" is a file', todo="give the folder that it lies in")
    if not folder.is_dir():
        raise EventError(f'there is no folder "{folder.name}"', todo="check the path")
    if path.exists() and not path.is_file():
        raise EventError("this is no plain file", todo="put the event's own file there", file=EVENT_FILE)
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
        wrong = find_mistake(text, str(problem))
        raise EventError(wrong.problem, todo=wrong.todo, file=EVENT_FILE, row=wrong.row) from None
    except ValueError:  # Python reads no number of so many digits
        raise EventError(
            "a number has thousands of digits", todo="write it shorter", file=EVENT_FILE
        ) from None


def _date(head: Section) -> dt.date:
    value = head.data.get("date")
    if isinstance(value, dt.datetime) or not isinstance(value, dt.date):
        found = "is missing" if value is None else f"is {value!r}, which is no date"
        raise head.error(
            f"the date of the event {found}", "write date = 2026-05-17, without quotation marks", "date"
        )
    if value.year not in YEARS:
        raise head.error(f"the date of the event is {value}", "write its year with four digits", "date")
    return value


def _points(text: str, root: Section) -> tuple[Point, ...]:
    points = []
    for section in sections_of(text, root, "point"):
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
    refuse_twice((p.id for p in points), "the point", root)
    return tuple(points)


def _courses(text: str, root: Section, point_ids: set[str]) -> tuple[Course, ...]:
    courses = []
    for section in sections_of(text, root, "course"):
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
    refuse_twice((c.id for c in courses), "the course", root)
    return tuple(courses)


def _visits(section: Section, point_ids: set[str]) -> tuple[Visit, ...]:
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
        part = section.part(row, f"visit {order + 1}")
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


def _instant(section: Section, key: str, date: dt.date, zone: str) -> dt.datetime | None:
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
    if abs((value.date() - date).total_seconds()) > LONGEST_S:
        raise section.error(f'"{key}" is more than a year from the date of the event', "put it right", key)
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
    text: str, root: Section, courses: tuple[Course, ...], date: dt.date, zone: str
) -> tuple[Wave, ...]:
    waves = []
    course_ids = [course.id for course in courses]
    for section in sections_of(text, root, "wave"):
        section.only(("id", "course", "gun"))
        course = section.choice("course", course_ids, course_ids[0] if len(course_ids) == 1 else None)
        waves.append(Wave(section.text("id"), course, _instant(section, "gun", date, zone)))
    refuse_twice((w.id for w in waves), "the wave", root)
    without = [c for c in course_ids if c not in {w.course for w in waves}]
    return (*waves, *(Wave(course, course, None) for course in without))


def _lines(text: str, root: Section, points: tuple[Point, ...]) -> tuple[Line, ...]:
    lines = []
    point_ids = [point.id for point in points]
    for section in sections_of(text, root, "line"):
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
    refuse_twice((line.id for line in lines), "the line", root)
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


def _settings(section: Section) -> dict[str, float]:
    """All settings: the event's own where given, else the defaults."""
    section.only(SETTINGS)
    given = {name: section.number(name) for name in section.data}
    for name, value in given.items():
        unit = SECONDS.get(SETTINGS[name].unit)
        if value is not None and unit is not None and value * unit > LONGEST_S:
            raise section.error(
                f'"{name}" is longer than a year', f"it counts in {SETTINGS[name].unit}", name
            )
        if value is None or value < 0 or (SETTINGS[name].unit == "share" and value > 1):
            limits = "between 0 and 1" if SETTINGS[name].unit == "share" else "0 or more"
            raise section.error(
                f'"{name}" must be {limits}', f"the default is {SETTINGS[name].value:g}", name
            )
    defaults = {name: setting.value for name, setting in SETTINGS.items()}
    return {**defaults, **{name: value for name, value in given.items() if value is not None}}


def _gate(section: Section) -> dict[str, float]:
    """Shares of the validation gate that the event tightens; their names are checked by expectations.py."""
    shares = {name: section.number(name) for name in section.data}
    for name, share in shares.items():
        if share is None or not 0 <= share <= 1:
            raise section.error(f'the share "{name}" must lie between 0 and 1', "write 0.99 for 99 %", name)
    return {name: share for name, share in shares.items() if share is not None}
