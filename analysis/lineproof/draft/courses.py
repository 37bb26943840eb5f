"""Which points each course passes, where an event has several: by the runners of the start list who were seen there."""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from lineproof.draft.boxes import visits_of
from lineproof.draft.looking import Sighting
from lineproof.draft.places import Place, in_course_order
from lineproof.draft.scene import Scene, to_places
from lineproof.draft.traces import Traces
from lineproof.draft.words import distance_m
from lineproof.vocabulary import Level

PASSED = 0.1  # of a course's runners at its busiest point; fewer are strays and mix-ups


def to_course_places(scene: Scene, traces: Traces, entries: Sighting | None) -> dict[str, list[Place]]:
    """The visits of each course in order; all of the scene's where runners cannot be told apart by course."""
    if len(scene.courses) == 1:
        return {scene.courses[0][0]: scene.places}
    found = {}
    for course, word in scene.courses:
        part = _of_course(traces, entries, word)
        passed = _passed(part, scene) if part is not None else []
        places = in_course_order(passed, distance_m(word)) if len(passed) > 1 else scene.places
        kinds = {place.id: place.kind for place in scene.places}
        found[course] = [replace(p, kind=kinds.get(p.id, p.kind)) for p in places]
    return found


def _of_course(traces: Traces, entries: Sighting | None, word: str) -> Traces | None:
    """The traces of the runners of one course; None where nothing tells who they are."""
    tables = [
        s for s in ([entries] if entries else traces.exports) if s is not None and "course" in s.columns
    ]
    ids: set[str] = set()
    for s in tables:
        mine = s.cells.filter(pl.col(f"c{s.columns['course']}") == word)
        for name in ("bib", "tag", "tag_2"):
            if name in s.columns:
                ids |= set(mine[f"c{s.columns[name]}"].drop_nulls().to_list())
    if not ids:
        return None
    among = pl.col("who").is_in(sorted(ids))
    exports = [_only(s, ids) if s.level is Level.WIDE else s for s in traces.exports]
    return replace(
        traces, exports=exports, by_line=traces.by_line.filter(among), by_point=traces.by_point.filter(among)
    )


def _only(s: Sighting, ids: set[str]) -> Sighting:
    who = s.columns.get("bib", s.columns.get("tag"))
    return replace(s, cells=s.cells.filter(pl.col(f"c{who}").is_in(sorted(ids))))


def _passed(part: Traces, scene: Scene) -> list[Place]:
    """Places at which a fair share of these runners was seen."""
    counts: dict[str, int] = {}
    words = {word: line.point for line in scene.lines for word in line.words}
    words |= {word: target.split("#")[0] for word, target in scene.point_of.items()}
    for passes in (part.by_line, part.by_point):
        for word, runners in passes.group_by("word").agg(pl.col("who").n_unique()).sort("word").iter_rows():
            if word in words:
                counts[words[word]] = max(counts.get(words[word], 0), runners)
    for s in (s for s in part.exports if s.level is Level.WIDE):
        for i in s.results.places:
            point = scene.point_of[s.headers[i]].split("#")[0]
            counts[point] = max(counts.get(point, 0), s.column(i).len())
    least = PASSED * max(counts.values(), default=0)
    visits = visits_of(part.by_line)
    most = {line.point: max(visits.get(w, 0) for w in line.words) for line in scene.lines}
    places = to_places(part, scene.lines, scene.stated, scene.point_of)
    return [
        p
        for p in places
        if counts.get(p.id, 0) > least and (p.visit == 1 or p.visit <= max(most.get(p.id, 99), 1))
    ]
