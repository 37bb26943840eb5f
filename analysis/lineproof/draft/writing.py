"""Puts a scene into a commented ``event.toml`` that ``load_event`` accepts as it stands."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path

from lineproof.draft.looking import Sighting, look
from lineproof.draft.places import Place, place_id, place_name
from lineproof.draft.scene import Scene, line_column, point_column, to_scene
from lineproof.errors import EventError, InputError, OutputError
from lineproof.event import COLUMNS_BY_LEVEL, ENTRY_COLUMNS, EVENT_FILE
from lineproof.vocabulary import Level

CHECK = "  # CHECK"
_SUFFIXES = (".csv", ".tsv", ".txt", ".parquet", ".pq", ".xlsx", ".xlsm", ".xls", ".ods", "")
_HEAD = """\
# Drafted by looking at the exports.  Everything marked CHECK was guessed or could not be seen:
# put it right, then delete the mark.  Times of day are in the zone below.
"""


def write_draft(folder: str | Path) -> Path:
    """Write the draft beside the exports.  Raises ``OutputError`` where an event.toml is there already."""
    path = Path(folder) / EVENT_FILE
    if path.exists():
        raise OutputError(
            "the folder has an event.toml already", todo="move it away to draft a new one", file=path
        )
    text = draft_event(folder)
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as problem:
        raise OutputError(
            f"the draft cannot be written ({problem.strerror})", todo="check the folder", file=path
        ) from None
    return path


def draft_event(folder: str | Path) -> str:
    """The text of an event.toml for the exports and entries in ``folder``.

    Raises ``EventError`` where there is no folder, ``InputError`` where no export can be made out.
    """
    folder = Path(folder)
    if not folder.is_dir():
        raise EventError(f'there is no folder "{folder.name}"', todo="check the path")
    exports, passed_over = _look_at_exports(folder)
    entries = _look_at_entries(folder)
    name = folder.resolve().name
    scene = to_scene(exports, entries, name)
    parts = [
        _HEAD,
        *(f"# Not understood and left out: {line}\n" for line in passed_over),
        _event(scene, name),
        *_courses(scene),
        *_waves(scene),
        *_points(scene),
        *_lines(scene),
        *([_entries(entries, scene)] if entries else [_no_entries(exports)]),
        *_inputs(exports, scene),
    ]
    return "\n".join(parts)


def _look_at_exports(folder: Path) -> tuple[list[Sighting], list[str]]:
    place = folder / "exports"
    if not place.is_dir():
        raise InputError(
            'the folder has no folder "exports"', todo="make it and put the exports of the day into it"
        )
    found, passed_over = [], []
    for path in sorted(place.rglob("*")):
        if not path.is_file() or path.name.startswith(("~$", ".")) or path.suffix.casefold() not in _SUFFIXES:
            continue
        try:
            found.append(look(path, folder, as_entries=False))
        except InputError as problem:
            passed_over.append(str(problem))
    if not found:
        why = f" ({passed_over[0].rstrip('.')})" if passed_over else ""
        raise InputError(
            f'no export in "exports" can be made out{why}', todo="describe them in event.toml by hand"
        )
    return found, passed_over


def _look_at_entries(folder: Path) -> Sighting | None:
    paths = [p for p in sorted(folder.glob("entries.*")) if p.suffix.casefold() in _SUFFIXES]
    return look(paths[0], folder, as_entries=True) if paths else None


def quoted(word: str) -> str:
    """A word as a basic string of TOML: JSON's escapes are among TOML's."""
    return json.dumps(word, ensure_ascii=False).replace("\x7f", "\\u007f")


def _event(scene: Scene, name: str) -> str:
    date = (
        f"date = {scene.date}  # the day of most times"
        if scene.date
        else f"date = 2000-01-01{CHECK}: no export tells it"
    )
    zone = f'zone = "UTC"{CHECK}: the zone of the event, such as "Europe/London"'
    return f"[event]\nid = {quoted(name)}\nname = {quoted(name.replace('-', ' ').replace('_', ' '))}\n{date}\n{zone}\n"


def _courses(scene: Scene) -> Iterator[str]:
    for course, word in scene.courses:
        visits = "\n".join(
            f"  {{ point = {quoted(p.id)}, at_m = {p.at_m:g} }},{_doubt(p)}" for p in _stops(scene)
        )
        note = (
            f"{CHECK}: leave out the points that this course does not pass" if len(scene.courses) > 1 else ""
        )
        name = f"name = {quoted(word)}\n" if word else ""
        yield f"[[course]]\nid = {quoted(course)}\n{name}# a looped course names a point once for each visit{note}\nvisits = [\n{visits}\n]\n"


def _stops(scene: Scene) -> list[Place]:
    """A course has at least two visits, even where the exports show one point only."""
    if len(scene.places) >= 2:
        return scene.places
    return [Place("start", "start", scene.places[0].kind, 0.0, False, None), *_later(scene.places)]


def _later(places: Sequence[Place]) -> list[Place]:
    return [
        Place(p.id, p.name, p.kind, p.at_m if p.at_m else 1000.0, p.certain and bool(p.at_m), p.when)
        for p in places
    ]


def _doubt(place: Place) -> str:
    return "" if place.certain else f"{CHECK}: no file states this distance"


def _waves(scene: Scene) -> Iterator[str]:
    for wave, _, course in scene.waves:
        yield f"[[wave]]\nid = {quoted(wave)}\ncourse = {quoted(course)}\n{_gun(scene)}\n"


def _gun(scene: Scene) -> str:
    if scene.gun is None:
        return f"gun = 09:00:00{CHECK}: the gun cannot be seen in the exports"
    moment = scene.gun.strftime("%Y-%m-%dT%H:%M:%SZ" if scene.aware else "%H:%M:%S")
    return f"gun = {moment}{CHECK}: the minute in which the mass of reads at the start begins"


def _points(scene: Scene) -> Iterator[str]:
    for place in _stops(scene):
        yield f"[[point]]\nid = {quoted(place.id)}\nname = {quoted(place.name)}\nkind = {quoted(place.kind)}\n"


def _lines(scene: Scene) -> Iterator[str]:
    for line in scene.lines:
        doubt = "" if line.certain else f"{CHECK}: the name does not tell"
        yield f"[[line]]\nid = {quoted(line.id)}\npoint = {quoted(line.point)}\nrole = {quoted(line.role)}{doubt}\n"


def _entries(entries: Sighting, scene: Scene) -> str:
    columns = [
        f"{ours} = {quoted(entries.header(ours))}" for ours in ENTRY_COLUMNS if ours in entries.columns
    ]
    text = f"[entries]\nfiles = {quoted(entries.file)}\n" + "\n".join(["[entries.columns]", *columns]) + "\n"
    courses = [
        f"{quoted(word)} = {quoted(course)}" for course, word in scene.courses if word and word != course
    ]
    waves = [f"{quoted(word)} = {quoted(wave)}" for wave, word, _ in scene.waves if word and word != wave]
    if courses:
        text += "\n".join(["[entries.course_names]", *courses]) + "\n"
    return text + ("\n".join(["[entries.wave_names]", *waves]) + "\n" if waves else "")


def _no_entries(exports: Sequence[Sighting]) -> str:
    if any(s.level is Level.WIDE for s in exports):
        return "# No entries.* was found: the runners are taken from the results table.\n"
    return f"# No entries.* was found: every tag is taken for a runner.{CHECK}\n"


def _inputs(exports: Sequence[Sighting], scene: Scene) -> Iterator[str]:
    """One [[input]] for all files that look alike and lie alone in their folder, else one for each."""
    done: set[str] = set()
    for s in exports:
        if s.file in done:
            continue
        alike = [o for o in exports if _look(o) == _look(s) and o.file not in scene.line_of_file]
        pattern = s.file.rsplit("/", 1)[0] + "/*." + s.file.rsplit(".", 1)[-1]
        matched = [
            o
            for o in exports
            if o.file.rsplit("/", 1)[0] == s.file.rsplit("/", 1)[0]
            and o.file.endswith(pattern[pattern.rindex(".") :])
        ]
        together = len(alike) > 1 and {o.file for o in alike} == {o.file for o in matched}
        done |= {o.file for o in alike} if together else {s.file}
        yield _input(s, scene, pattern if together else s.file, alike if together else [s])


def _look(s: Sighting) -> tuple[object, ...]:
    return s.headers, s.level, s.times, tuple(sorted(s.columns.items()))


def _input(s: Sighting, scene: Scene, files: str, alike: Sequence[Sighting]) -> str:
    assert s.level is not None
    rows = ["[[input]]", f"files = {quoted(files)}", f'level = "{s.level}"', *_layout(s, scene)]
    if s.file in scene.line_of_file:
        line = next(line for line in scene.lines if line.word == scene.line_of_file[s.file])
        rows.append(f"line = {quoted(line.id)}{CHECK}: taken from the name of the file")
    elif s.level is Level.MERGED and not point_column(s) and not line_column(s):
        rows.append(f"point = {quoted(scene.places[-1].id)}{CHECK}: no column tells the place")
    rows.append("[input.columns]")
    told = [ours for ours in COLUMNS_BY_LEVEL[s.level] if ours in s.columns]
    told = [o for o in told if (o != "line" or line_column(s)) and (o != "point" or point_column(s))]
    rows += [f"{ours} = {quoted(s.header(ours))}" for ours in told]
    if s.level is not Level.WIDE and line_column(s):
        words = sorted({word for o in alike for word in o.values("line").unique().to_list()})
        of = {line.word: line.id for line in scene.lines}
        rows += [
            "[input.line_names]",
            *(f"{quoted(word)} = {quoted(of[word])}" for word in words if word in of),
        ]
    return "\n".join([*rows, *_point_names(s, alike)]) + "\n"


def _layout(s: Sighting, scene: Scene) -> Iterator[str]:
    if s.times != "auto":
        other = "elapsed" if s.times == "clock" else "clock"
        yield f'times = "{s.times}"{CHECK}: or "{other}"'
    if s.file in scene.orders:
        order, certain = scene.orders[s.file]
        yield f'date_order = "{order}"' + ("" if certain else f'{CHECK}: or "mdy"')
    if s.header_row == 0:
        yield "header_row = 0"


def _point_names(s: Sighting, alike: Sequence[Sighting]) -> Iterator[str]:
    if s.level is Level.WIDE:
        yield "[input.point_names]"
        used: set[str] = set()
        for i in s.time_columns:
            point = place_id(place_name(s.headers[i]))
            twice = (
                f"# {quoted(s.headers[i])} also looks like {point}: only one column can give its time{CHECK}"
            )
            yield twice if point in used else f"{quoted(s.headers[i])} = {quoted(point)}"
            used.add(point)
    elif s.level is Level.MERGED and point_column(s):
        words = sorted({word for o in alike for word in o.values("point").unique().to_list()})
        yield "[input.point_names]"
        yield from (f"{quoted(word)} = {quoted(place_id(place_name(word)))}" for word in words)
