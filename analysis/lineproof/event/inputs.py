"""How ``event.toml`` says to read the entries and the exports."""

from __future__ import annotations

from collections.abc import Iterable

from lineproof.event.model import (
    COLUMNS_BY_LEVEL,
    ENTRY_COLUMNS,
    TIME_LAYOUTS,
    Course,
    FileLayout,
    Input,
    Line,
    Point,
)
from lineproof.event.sections import Section, refuse_unknown, sections_of, suggest, zone_of
from lineproof.vocabulary import Level

_LAYOUT_KEYS = (
    "files", "columns", "encoding", "delimiter", "decimal", "header_row", "sheet", "zone", "times",
    "date_order", "repeated_hour", "missing",
)  # fmt: skip


def to_entries_layout(section: Section) -> FileLayout | None:
    """How to read the entries; None where the section only explains the words of a results table."""
    names = ("course_names", "wave_names", "class_names")
    section.only((*_LAYOUT_KEYS, *names))
    if set(section.data) <= set(names):
        return None
    return _layout(section, ENTRY_COLUMNS)


def names_of(section: Section, key: str, what: str, ids: set[str]) -> dict[str, str]:
    """A map of the entries' words to ids; raises ``EventError`` for an id that is not there."""
    names = section.mapping(key)
    for word, target in names.items():
        if target not in ids:
            raise section.error(
                f'{key} leads "{word}" to the {what} "{target}", which is not there',
                suggest(target, ids) or f"use {', '.join(sorted(ids))}",
                key,
            )
    return names


def to_inputs(
    text: str,
    root: Section,
    points: tuple[Point, ...],
    lines: tuple[Line, ...],
    courses: tuple[Course, ...],
) -> tuple[Input, ...]:
    line_ids = {line.id for line in lines}
    point_ids = {point.id for point in points}
    course_ids = {course.id for course in courses}
    inputs = []
    for section in sections_of(text, root, "input"):
        section.only(
            (*_LAYOUT_KEYS, "level", "line", "point", "course", "line_names", "point_names", "elapsed_from")
        )
        level = Level(section.choice("level", [lv.value for lv in Level]))
        line, point = section.optional_text("line"), section.optional_text("point")
        course = section.optional_text("course")
        refuse_unknown(section, "course", [course] if course else [], course_ids)
        refuse_unknown(section, "line", [line] if line else [], line_ids)
        refuse_unknown(section, "point", [point] if point else [], point_ids)
        refuse_unknown(section, "line", section.mapping("line_names").values(), line_ids)
        refuse_unknown(
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


def _layout(section: Section, columns: Iterable[str]) -> FileLayout:
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
            '"header_row" must be a whole row number',
            "count from 1, or write 0 where there is no header",
            "header_row",
        )
    delimiter = section.data.get("delimiter")
    if delimiter is not None and not isinstance(delimiter, str):
        raise section.error('"delimiter" must be a text', 'write delimiter = ";" or "tab"', "delimiter")
    missing = section.data.get("missing", [])
    if not isinstance(missing, list) or not all(isinstance(word, str) for word in missing):
        raise section.error('"missing" must be a list of texts', 'write missing = ["DNS", "?"]', "missing")
    zone = section.optional_text("zone")
    if zone is not None:
        zone_of(section)
    return FileLayout(
        files=section.text("files"),
        columns=mapping,
        encoding=section.optional_text("encoding"),
        delimiter=delimiter,
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
