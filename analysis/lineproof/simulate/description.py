"""The text of an ``event.toml`` with its comments, and the start list beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl

from lineproof.event import TIME_LAYOUTS
from lineproof.simulate.exports import Export
from lineproof.simulate.plan import SPACING_M, EventPlan, PointPlan
from lineproof.simulate.running import SimulatedEvent
from lineproof.simulate.workbook import write_workbook


@dataclass(frozen=True, slots=True, kw_only=True)
class StartList:
    """Layout of the entries: ``columns`` maps our names to headers, the name tables our ids to their words."""

    file: str
    columns: Mapping[str, str]
    delimiter: str = ","
    titles: tuple[str, ...] = ()
    courses: Mapping[str, str] = field(default_factory=dict)
    waves: Mapping[str, str] = field(default_factory=dict)
    classes: Mapping[str, str] = field(default_factory=dict)


def to_toml(plan: EventPlan, exports: tuple[Export, ...], start_list: StartList, scene: str) -> str:
    """The whole description; ``scene`` is the comment at its top."""
    parts = [
        _comment(scene),
        _table("event", [("id", plan.id), ("name", plan.name)]),
        f"date = {plan.gun.astimezone(ZoneInfo(plan.zone)).date().isoformat()}\nzone = {_quoted(plan.zone)}",
        *_courses(plan),
        *_waves(plan),
        *_points(plan),
        _entries(start_list),
        *(text for export in exports for text in _inputs(export, plan)),
    ]
    if plan.settings:
        parts.append(
            "[settings]\n" + "\n".join(f"{name} = {value:g}" for name, value in plan.settings.items())
        )
    text = "\n\n".join(parts) + "\n"
    return text.replace('"\n\ndate', '"\ndate')


def _comment(text: str) -> str:
    return "\n".join(f"# {line}" for line in text.splitlines())


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\t", "\\t") + '"'


def _table(head: str, pairs: Iterable[tuple[str, str]], note: str = "") -> str:
    lines = [f"# {note}"] if note else []
    return "\n".join([*lines, f"[{head}]", *(f"{key} = {_quoted(value)}" for key, value in pairs)])


def _names(head: str, names: Mapping[str, str]) -> str:
    return "\n".join(
        [f"[{head}]", *(f"{_quoted(theirs)} = {_quoted(ours)}" for ours, theirs in names.items())]
    )


def _courses(plan: EventPlan) -> list[str]:
    texts = []
    for course in plan.courses:
        visits = "\n".join(f"  {{ point = {_quoted(p)}, at_m = {m:g} }}," for p, m in course.visits)
        texts.append(
            f"[[course]]\nid = {_quoted(course.id)}\nname = {_quoted(course.name or course.id)}\n"
            f"visits = [  # in the order that runners meet them\n{visits}\n]"
        )
    return texts


def _waves(plan: EventPlan) -> list[str]:
    local = plan.gun.astimezone(ZoneInfo(plan.zone)).replace(tzinfo=None)
    texts = []
    for wave in plan.waves:
        seconds = local.hour * 3600 + local.minute * 60 + local.second + round(wave.after_s)
        clock = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
        texts.append(f"[[wave]]\nid = {_quoted(wave.id)}\ncourse = {_quoted(wave.course)}\ngun = {clock}")
    return texts


def _points(plan: EventPlan) -> list[str]:
    return [text for point in plan.points for text in (_point(point), *_lines(point))]


def _point(point: PointPlan) -> str:
    return _table("[point]", [("id", point.id), ("name", point.name or point.id), ("kind", point.kind.value)])


def _lines(point: PointPlan) -> list[str]:
    texts = []
    for line in point.lines:
        text = _table("[line]", [("id", line.id), ("point", point.id), ("role", line.role.value)])
        spacing = f"\nspacing_m = {SPACING_M:g}" if len(point.lines) > 1 else ""
        texts.append(f"{text}{spacing}\nwidth_m = {line.mats}")
    return texts


def _entries(start_list: StartList) -> str:
    parts = [
        _table("entries", [("files", start_list.file)]),
        _names_of(start_list.columns, "entries.columns"),
    ]
    for head, names in (
        ("course_names", start_list.courses),
        ("wave_names", start_list.waves),
        ("class_names", start_list.classes),
    ):
        if names:
            parts.append(_names(f"entries.{head}", names))
    return "\n".join(parts)


def _names_of(columns: Mapping[str, str], head: str) -> str:
    return "\n".join([f"[{head}]", *(f"{ours} = {_quoted(theirs)}" for ours, theirs in columns.items())])


def _inputs(export: Export, plan: EventPlan) -> list[str]:
    """One input; one for each line where every line has a file of its own that does not name it."""
    if not export.by_line or "line" in export.columns:
        return [_input(export, export.file.replace("{line}", "*"), None, plan)]
    lines = export.lines or tuple(line.id for point in plan.points for line in point.lines)
    return [_input(export, export.file_of(line), line, plan) for line in lines]


def _input(export: Export, files: str, line: str | None, plan: EventPlan) -> str:
    pairs = [("files", files), ("level", export.level.value)]
    if line is not None:
        pairs.append(("line", line))
    if export.times in TIME_LAYOUTS:
        pairs.append(("times", export.times))
    if export.times == "dmy":
        pairs.append(("date_order", "dmy"))
    if export.decimal == ",":
        pairs += [("delimiter", export.delimiter), ("decimal", ",")]
    if export.times == "elapsed":
        pairs.append(("elapsed_from", "gun"))
    parts = [_table("[input]", pairs, export.note), _names_of(export.columns, "input.columns")]
    line_ids = {line.id for point in plan.points for line in point.lines}
    lines = {ours: theirs for ours, theirs in export.words.items() if ours in line_ids}
    points = {ours: theirs for ours, theirs in export.words.items() if ours not in line_ids}
    if lines and line is None:
        parts.append(_names("input.line_names", lines))
    if points:
        parts.append(_names("input.point_names", points))
    return "\n".join(parts)


def write_start_list(folder: Path, start_list: StartList, sim: SimulatedEvent) -> None:
    """One row for each tag; an entry with two tags has two rows."""
    words = {"course": start_list.courses, "wave": start_list.waves, "class": start_list.classes}
    people = sim.entries.rename({"runner_class": "class"}).cast({"class": pl.String, "sex": pl.String})
    tags = sim.tags.rename({"kind": "tag_kind", "batch": "tag_batch"})
    frame = people.join(tags, on="runner", validate="1:m").sort("bib", "tag_kind", "tag")
    shown = frame.select(
        (pl.col(ours).replace(dict(words[ours])) if ours in words else pl.col(ours)).alias(theirs)
        for ours, theirs in start_list.columns.items()
    )
    path = folder / start_list.file
    if path.suffix == ".xlsx":
        rows = [[title] for title in start_list.titles]
        write_workbook(
            path, "Entries", [*rows, list(shown.columns), *(list(row) for row in shown.iter_rows())]
        )
        return
    titles = "".join(f"{title}\n" for title in start_list.titles)
    path.write_text(titles + shown.write_csv(separator=start_list.delimiter), encoding="utf-8", newline="\n")
