"""From a folder of exports to ``event.toml``: look, show, ask, write."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from lineproof.draft.asking import (
    Answers,
    Ask,
    Head,
    Interview,
    Say,
    ask_distances,
    ask_guns,
    ask_head,
    ask_layouts,
    ask_places,
    ask_repeated,
    ask_roles,
)
from lineproof.draft.courses import to_course_places
from lineproof.draft.folder import look_around
from lineproof.draft.looking import Sighting
from lineproof.draft.places import Place, spread
from lineproof.draft.scene import Scene, to_scene
from lineproof.draft.traces import Traces, to_traces
from lineproof.draft.words import distance_m
from lineproof.draft.writing import stops, to_text
from lineproof.errors import InputError, OutputError
from lineproof.event import EVENT_FILE

Show = Callable[[Sequence[Sighting]], None]


def _silent(_sentence: str) -> None:
    return None


def _unseen(_sightings: Sequence[Sighting]) -> None:
    return None


def write_draft(
    folder: str | Path,
    said: Answers | None = None,
    ask: Ask | None = None,
    say: Say = _silent,
    show: Show = _unseen,
) -> Path:
    """Write the draft beside the exports.  Raises ``OutputError`` where an event.toml is there already."""
    path = Path(folder) / EVENT_FILE
    if path.exists():
        raise OutputError(
            "the folder has an event.toml already", todo="move it away to draft a new one", file=path
        )
    text = draft_event(folder, said, ask, say, show)
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except OSError as problem:
        raise OutputError(
            f"the draft cannot be written ({problem.strerror})", todo="check the folder", file=path
        ) from None
    return path


def draft_event(
    folder: str | Path,
    said: Answers | None = None,
    ask: Ask | None = None,
    say: Say = _silent,
    show: Show = _unseen,
) -> str:
    """The text of an event.toml for the exports and the start list in ``folder``.

    ``said`` holds answers given beforehand; ``ask`` is asked for what cannot be seen (none: guesses are marked
    CHECK); ``say`` gets sentences on the way, ``show`` every file as it was understood.  Raises ``EventError``
    where there is no folder, ``InputError`` where no export can be made out.
    """
    folder = Path(folder)
    found = look_around(folder)
    show([*found.exports, *([found.entries] if found.entries else [])])
    if found.loose:
        say('there is no folder "exports": the files are read where they lie, and stay there')
    for sentence in found.passed_over:
        say(f"left out: {sentence}")
    interview = Interview(ask, say)
    traces, title = to_traces(found.exports), folder.resolve().name
    scene = to_scene(traces, found.entries, title)
    head = ask_head(interview, scene, traces, said or Answers(), title)
    if interview.asks:
        scene = to_scene(traces, found.entries, title, ask_places(interview, traces, scene.stated))
    scene = replace(scene, repeated=ask_repeated(interview, traces, head, say))
    courses = to_course_places(_titled(scene, head), traces, found.entries)
    if not all(courses.values()):
        raise InputError(
            "no timing point can be made out in the exports", todo="describe them in event.toml by hand"
        )
    exports = found.exports
    if interview.asks:
        scene, courses, exports = _answered(interview, scene, traces, courses, head, exports)
    return to_text(head, scene, courses, exports, found.entries, found.all_files, found.passed_over, title)


def _titled(scene: Scene, head: Head) -> Scene:
    """The length of the course may stand in the name that a person gave."""
    length = distance_m(head.name)
    if length is None or not scene.places or scene.places[-1].certain:
        return scene
    end = replace(scene.places[-1], at_m=length, certain=True)
    return replace(scene, places=spread([*scene.places[:-1], end]))


def _answered(
    interview: Interview,
    scene: Scene,
    traces: Traces,
    courses: Mapping[str, Sequence[Place]],
    head: Head,
    exports: Sequence[Sighting],
) -> tuple[Scene, dict[str, list[Place]], tuple[Sighting, ...]]:
    """Roles, distances, guns and layouts as the person says they are."""
    lines = ask_roles(interview, scene.lines)
    orders, times = ask_layouts(interview, scene, traces)
    names = dict(scene.courses)
    measured = {
        course: ask_distances(
            interview, stops(places), names[course] or ("" if len(courses) == 1 else course)
        )
        for course, places in courses.items()
    }
    assert head.date is not None
    guns = ask_guns(interview, scene, head.zone, head.date)
    settled = frozenset({"guns", "times", "repeated", "places", "courses"})
    line_of = {word: line.id for line in lines for word in line.words}
    scene = replace(scene, line_of_file={f: line_of[w] for f, w in traces.line_of_file.items()})
    scene = replace(scene, lines=lines, orders=orders, guns=guns, settled=settled)
    return scene, measured, tuple(replace(s, times=times.get(s.file, s.times)) for s in exports)
