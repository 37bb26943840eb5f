"""Puts a scene into a commented ``event.toml`` that ``load_event`` accepts as it stands."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from lineproof.draft.asking import Head
from lineproof.draft.looking import Sighting
from lineproof.draft.places import Place
from lineproof.draft.scene import Scene
from lineproof.draft.traces import line_column, point_column
from lineproof.event import COLUMNS_BY_LEVEL, ENTRY_COLUMNS
from lineproof.vocabulary import Level

CHECK = "  # CHECK"
_HEAD = """\
# Drafted by looking at the exports.  What is marked CHECK was guessed or could not be seen:
# put it right, then delete the mark.  Times of day are in the zone below.
"""


def to_text(
    head: Head,
    scene: Scene,
    courses: Mapping[str, Sequence[Place]],
    exports: Sequence[Sighting],
    entries: Sighting | None,
    all_files: Sequence[str],
    passed_over: Sequence[str],
    folder: str,
) -> str:
    """The whole file.  ``all_files`` are all names beside the exports, so that no pattern catches too much."""
    parts = [
        _HEAD,
        *(f"# Not understood and left out: {line}\n" for line in passed_over),
        _event(head, folder),
        *_courses(scene, courses),
        *_waves(scene),
        *_points(courses, scene),
        *_lines(scene),
        _entries(entries, scene) if entries else _no_entries(exports),
        *_inputs(exports, scene, courses, all_files),
    ]
    return "\n".join(parts)


def quoted(word: str) -> str:
    """A word as a basic string of TOML: JSON's escapes are among TOML's."""
    return json.dumps(word, ensure_ascii=False).replace("\x7f", "\\u007f")


def _event(head: Head, folder: str) -> str:
    date = (
        f"date = {head.date}" + ("" if "date" in head.sure else f"{CHECK}: taken from the name of the folder")
        if head.date
        else f"date = 2000-01-01{CHECK}: no export tells it"
    )
    sure = "" if "zone" in head.sure else f'{CHECK}: the zone of the event, such as "Europe/London"'
    return f"[event]\nid = {quoted(folder)}\nname = {quoted(head.name)}\n{date}\nzone = {quoted(head.zone)}{sure}\n"


def _courses(scene: Scene, courses: Mapping[str, Sequence[Place]]) -> Iterator[str]:
    same = len({tuple((p.id, p.visit) for p in places) for places in courses.values()}) == 1
    for course, word in scene.courses:
        visits = "\n".join(
            f"  {{ point = {quoted(p.id)}, at_m = {p.at_m:g} }},{_doubt(p)}" for p in stops(courses[course])
        )
        several = len(scene.courses) > 1 and same and "courses" not in scene.settled
        note = f"{CHECK}: leave out the points that this course does not pass" if several else ""
        name = f"name = {quoted(word)}\n" if word else ""
        yield (
            f"[[course]]\nid = {quoted(course)}\n{name}# metres from the start; a looped course names a point once "
            f"for each visit{note}\nvisits = [\n{visits}\n]\n"
        )


def stops(places: Sequence[Place]) -> list[Place]:
    """A course has at least two visits, even where the exports show one point only."""
    if len(places) >= 2:
        return list(places)
    start = Place("start", "start", places[0].kind, 0.0, False, None)
    return [start, *(replace(p, at_m=p.at_m or 1000.0, certain=p.certain and bool(p.at_m)) for p in places)]


def _doubt(place: Place) -> str:
    return "" if place.certain else f"{CHECK}: no file states this distance"


def _waves(scene: Scene) -> Iterator[str]:
    for wave, _, course in scene.waves:
        yield f"[[wave]]\nid = {quoted(wave)}\ncourse = {quoted(course)}\n{_gun(scene, wave)}\n"


def _gun(scene: Scene, wave: str) -> str:
    gun = scene.guns.get(wave)
    if "guns" in scene.settled and gun is not None:
        return f"gun = {gun:%Y-%m-%dT%H:%M:%S}"
    if gun is None:
        return f"gun = 09:00:00{CHECK}: the gun cannot be seen in the exports"
    moment = gun.strftime("%Y-%m-%dT%H:%M:%SZ" if scene.aware else "%H:%M:%S")
    return f"gun = {moment}{CHECK}: the minute in which the mass of reads at the start begins"


def _points(courses: Mapping[str, Sequence[Place]], scene: Scene) -> Iterator[str]:
    untold = set() if "places" in scene.settled else {line.point for line in scene.lines if not line.told}
    points = {p.id: p for places in courses.values() for p in reversed(stops(places))}
    order = {p.id: None for places in courses.values() for p in stops(places)}
    for point in order:
        place = points[point]
        doubt = f"{CHECK}: the name does not tell where this is" if point in untold else ""
        yield f"[[point]]\nid = {quoted(place.id)}\nname = {quoted(place.name)}{doubt}\nkind = {quoted(place.kind)}\n"


def _lines(scene: Scene) -> Iterator[str]:
    for line in scene.lines:
        doubt = "" if line.certain else f"{CHECK}: the names do not tell which of the two lines is main"
        yield f"[[line]]\nid = {quoted(line.id)}\npoint = {quoted(line.point)}\nrole = {quoted(line.role)}{doubt}\n"


def _entries(entries: Sighting, scene: Scene) -> str:
    columns = [
        f"{ours} = {quoted(entries.header(ours))}" for ours in ENTRY_COLUMNS if ours in entries.columns
    ]
    layout = ["header_row = 0"] if entries.header_row == 0 else []
    text = (
        "\n".join(["[entries]", f"files = {quoted(entries.file)}", *layout, "[entries.columns]", *columns])
        + "\n"
    )
    courses = [
        f"{quoted(word)} = {quoted(course)}" for course, word in scene.courses if word and word != course
    ]
    waves = [f"{quoted(word)} = {quoted(wave)}" for wave, word, _ in scene.waves if word and word != wave]
    if courses:
        text += "\n".join(["[entries.course_names]", *courses]) + "\n"
    return text + ("\n".join(["[entries.wave_names]", *waves]) + "\n" if waves else "")


def _no_entries(exports: Sequence[Sighting]) -> str:
    if any(s.level is Level.WIDE for s in exports):
        return "# No start list was found: the runners are taken from the results table.\n"
    return f"# No start list was found: every tag is taken for a runner.{CHECK}\n"


def _inputs(
    exports: Sequence[Sighting],
    scene: Scene,
    courses: Mapping[str, Sequence[Place]],
    all_files: Sequence[str],
) -> Iterator[str]:
    """One [[input]] for all files that look alike and lie alone in their folder, else one for each."""
    done: set[str] = set()
    for s in exports:
        if s.file in done:
            continue
        alike = [
            o for o in exports if _look(o, scene) == _look(s, scene) and o.file not in scene.line_of_file
        ]
        folder, _, name = s.file.rpartition("/")
        pattern = f"{folder}/*.{name.rpartition('.')[2]}".lstrip("/")
        suffix = pattern[pattern.rindex(".") :]
        matched = {f for f in all_files if f.rpartition("/")[0] == folder and f.endswith(suffix)}
        together = len(alike) > 1 and {o.file for o in alike} == matched and bool(folder)
        done |= {o.file for o in alike} if together else {s.file}
        yield _input(s, scene, courses, pattern if together else s.file, alike if together else [s])


def _look(s: Sighting, scene: Scene) -> tuple[object, ...]:
    return s.headers, s.level, s.times, tuple(sorted(s.columns.items())), scene.repeated.get(s.file)


def _input(
    s: Sighting, scene: Scene, courses: Mapping[str, Sequence[Place]], files: str, alike: Sequence[Sighting]
) -> str:
    assert s.level is not None
    rows = ["[[input]]", f"files = {quoted(files)}", f'level = "{s.level}"', *_layout(s, scene, alike)]
    if s.file in scene.line_of_file:
        rows.append(f"line = {quoted(scene.line_of_file[s.file])}  # by the name of the file")
    elif s.level is not Level.WIDE and not point_column(s) and not line_column(s):
        last = next(iter(courses.values()))[-1]
        rows.append(f"point = {quoted(last.id)}{CHECK}: no column tells the place")
    rows.append("[input.columns]")
    told_columns = [ours for ours in COLUMNS_BY_LEVEL[s.level] if ours in s.columns]
    told_columns = [
        o for o in told_columns if (o != "line" or line_column(s)) and (o != "point" or point_column(s))
    ]
    rows += [f"{ours} = {quoted(s.header(ours))}" for ours in told_columns]
    if s.level is not Level.WIDE and line_column(s):
        words = sorted({word for o in alike for word in o.words["line"]})
        of = {word: line.id for line in scene.lines for word in line.words}
        rows += [
            "[input.line_names]",
            *(f"{quoted(word)} = {quoted(of[word])}" for word in words if word in of),
        ]
    return "\n".join([*rows, *_point_names(s, scene, courses, alike)]) + "\n"


def _layout(s: Sighting, scene: Scene, alike: Sequence[Sighting]) -> Iterator[str]:
    if s.times != "auto":
        other = "elapsed" if s.times == "clock" else "clock"
        sure = "times" in scene.settled or s.level in (Level.READS, Level.PASSINGS)
        yield f'times = "{s.times}"' + ("" if sure else f'{CHECK}: or "{other}"')
    if s.file in scene.orders:
        order, certain = scene.orders[s.file]
        yield f'date_order = "{order}"' + ("" if certain else f'{CHECK}: or "mdy"')
    if s.file in scene.repeated:
        other = "later" if scene.repeated[s.file] == "earlier" else "earlier"
        doubt = f'{CHECK}: or "{other}"; the clocks went back over these times'
        yield f'repeated_hour = "{scene.repeated[s.file]}"{"" if "repeated" in scene.settled else doubt}'
    if s.header_row == 0:
        yield "header_row = 0"
    missing = sorted({word for o in alike for word in o.missing})
    if missing:
        yield f"missing = [{', '.join(quoted(word) for word in missing)}]  # these stand in place of a time"
    if s.results.from_own_start:
        yield (
            'elapsed_from = "gun"'
            f"{CHECK}: only net times were found; they count from each runner's own start"
        )


def _point_names(
    s: Sighting, scene: Scene, courses: Mapping[str, Sequence[Place]], alike: Sequence[Sighting]
) -> Iterator[str]:
    if s.level is Level.WIDE:
        words, left = [s.headers[i] for i in s.results.places], s.results.left
    elif s.level is Level.MERGED and point_column(s):
        words, left = sorted({word for o in alike for word in o.words["point"]}), {}
    else:
        return
    yield "[input.point_names]"
    often = {p.id for places in courses.values() for p in places if p.visit > 1}
    used: set[str] = set()
    for word in words:
        target = scene.point_of[word]
        if s.level is Level.WIDE and "#" not in target and target in often:
            target = f"{target}#1"
        if s.level is Level.WIDE and target in used:
            yield f"# {quoted(word)} also looks like {target}: only one column can give its time{CHECK}"
        else:
            yield f"{quoted(word)} = {quoted(target)}"
        used.add(target)
    for i, reason in left.items():
        yield f"# {quoted(s.headers[i])} is left out: {reason}"
