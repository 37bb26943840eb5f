"""Everything that the exports show together: points, lines, courses, waves, the day and the first gun."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import polars as pl

from lineproof.draft.boxes import visits_of
from lineproof.draft.looking import Sighting, clock_seconds
from lineproof.draft.places import (
    DraftLine,
    Place,
    after_the_start,
    in_course_order,
    is_telling,
    lap_of,
    place_id,
    place_name,
    to_lines,
    to_place,
)
from lineproof.draft.traces import MOST_LINES, Traces, line_column, main_time, point_column
from lineproof.draft.words import distance_m, slug
from lineproof.intake.times import PATTERNS, Kind
from lineproof.vocabulary import Level, PointKind

MASS_SHARE = 0.2  # the start is on from the first minute that has this share of the busiest one
LATEST_START_S = 300.0  # half of a field has crossed the start by then
_OFFSET = r"(?:[Zz]|[+-]\d{2}:?\d{2})$"


@dataclass(frozen=True, slots=True)
class Scene:
    """What ``writing.py`` puts into words; ``settled`` names what a person has answered.

    ``places`` are the visits of the course in order.  ``point_of`` leads the words of point columns and the
    headers of results tables to ``point`` or ``point#visit``.  ``guns`` by wave id, None where none can be seen.
    """

    date: dt.date | None
    orders: Mapping[str, tuple[str, bool]]  # file -> date order and whether it is certain
    aware: bool  # times carry their offset, so the gun is written with one
    guns: Mapping[str, dt.datetime | None]
    courses: list[tuple[str, str]]  # id, word
    waves: list[tuple[str, str, str]]  # id, word, course id
    places: list[Place]
    lines: list[DraftLine]
    line_of_file: Mapping[str, str] = field(default_factory=dict)  # file -> line id
    point_of: Mapping[str, str] = field(default_factory=dict)
    stated: Mapping[str, str] = field(default_factory=dict)  # word of a line -> name of its place
    repeated: Mapping[str, str] = field(default_factory=dict)  # file -> earlier or later
    settled: frozenset[str] = frozenset()


def to_scene(
    traces: Traces, entries: Sighting | None, title: str, place_of: Mapping[str, str] | None = None
) -> Scene:
    """Put together what the files show; ``place_of`` gives the places of lines that a person has named."""
    exports = traces.exports
    stated = {**_places_of_lines(exports), **(place_of or {})}
    together = {pair.second: pair.first for pair in traces.pairs}
    lines = to_lines(traces.groups, stated, _apart(together))
    courses, waves = _courses_and_waves(exports, entries)
    point_of = _point_words(exports)
    begun = in_course_order if _shows_start(traces) else after_the_start
    places = begun(to_places(traces, lines, stated, point_of), distance_m(title))
    return Scene(
        date=_date(traces),
        orders=traces.orders,
        aware=any(is_aware(s) for s in exports),
        guns=_guns(traces, _start_words(places, lines, point_of), waves, entries),
        courses=courses,
        waves=waves,
        places=places,
        lines=lines,
        line_of_file={
            file: next(line.id for line in lines if word in line.words)
            for file, word in traces.line_of_file.items()
        },
        point_of=point_of,
        stated=stated,
    )


def _shows_start(traces: Traces) -> bool:
    """Whether the first point may be the start: not where all times count from a gun that is minutes before them."""
    if not all(s.level is Level.WIDE and s.times == "elapsed" for s in traces.exports):
        return True
    medians = [_median_of(s, i) for s in traces.exports for i in s.results.places]
    return min((m for m in medians if m is not None), default=0.0) < LATEST_START_S


def _apart(together: Mapping[str, str]) -> dict[str, str]:
    """Lines at one place by their traces, but for those whose names say two different places."""
    return {
        second: first
        for second, first in together.items()
        if not (
            is_telling(first)
            and is_telling(second)
            and place_id(place_name(first)) != place_id(place_name(second))
        )
    }


def _date(traces: Traces) -> dt.date | None:
    days: Counter[dt.date] = Counter()
    for s in traces.exports:
        times = traces.instants[s.file]
        if s.times == "auto" and times.height and _is_dated(s):
            days.update(dict(times["time"].dt.date().drop_nulls().value_counts().iter_rows()))
    if not days:
        return None
    # A night race begins on the day before the one with most times.
    first = min(day for day, count in days.items() if count >= 0.1 * max(days.values()))
    most = days.most_common(1)[0][0]
    return first if most - first == dt.timedelta(days=1) else most


def _is_dated(s: Sighting) -> bool:
    texts = s.column(main_time(s)).head(500)
    return "date" in s.columns or not bool(texts.str.contains(PATTERNS[Kind.COLON]).all())


def is_aware(sighting: Sighting) -> bool:
    """Whether every time states its offset, or counts from 1970."""
    texts = sighting.column(main_time(sighting)).head(500)
    aware = texts.str.contains(_OFFSET) | texts.str.contains(PATTERNS[Kind.NUMBER])
    return bool(texts.len()) and sighting.times == "auto" and bool(aware.mean() == 1.0)


def _places_of_lines(exports: Sequence[Sighting]) -> dict[str, str]:
    """The place that most rows of a line state, in exports that have a column for both."""
    found: dict[str, str] = {}
    for s in exports:
        if not (line_column(s) and point_column(s)):
            continue
        pairs = s.cells.select(
            pl.col(f"c{s.columns['line']}").alias("line"), pl.col(f"c{s.columns['point']}").alias("point")
        )
        counts = (
            pairs.drop_nulls().group_by("line", "point").len().sort("len", "point", descending=[False, True])
        )
        found |= {line: point for line, point, _ in counts.iter_rows()}
    return found


def _point_words(exports: Sequence[Sighting]) -> dict[str, str]:
    """Where each word of a point column, or header of a results table, leads: ``lap 2`` to ``lap#2``."""
    words: dict[str, str] = {}
    for s in exports:
        if s.level is Level.MERGED and point_column(s):
            words |= {word: word for word in s.words["point"]}
        if s.level is Level.WIDE:
            words |= {s.headers[i]: name for i, name in s.results.places.items()}
    found = {}
    for word, name in words.items():
        lap = lap_of(name)
        found[word] = place_id(place_name(name)) + (f"#{lap}" if lap is not None else "")
    return found


def to_places(
    traces: Traces, lines: Sequence[DraftLine], stated: Mapping[str, str], point_of: Mapping[str, str]
) -> list[Place]:
    """Every visit of every place, from lines, point columns and results tables."""
    found: dict[tuple[str, int], Place] = {}
    visits, when = visits_of(traces.by_line), _median_passes(traces.by_line)
    for line in lines:
        word = line.words[0]
        for nth in range(1, visits.get(word, 1) + 1):
            name = (
                place_name(stated.get(word, word))
                if line.role == "main" or (line.point, 1) not in found
                else ""
            )
            add_visit(found, line.point, name, nth, when.get((word, nth)))
    again, when = visits_of(traces.by_point), _median_passes(traces.by_point)
    for s in (s for s in traces.exports if s.level is Level.MERGED and point_column(s)):
        for word in s.words["point"]:
            point, _, lap = point_of[word].partition("#")
            for nth in [int(lap)] if lap else range(1, again.get(word, 1) + 1):
                add_visit(found, point, place_name(word), nth, when.get((word, 1 if lap else nth)))
    for s in (s for s in traces.exports if s.level is Level.WIDE):
        for i in s.results.places:
            point, _, lap = point_of[s.headers[i]].partition("#")
            add_visit(found, point, place_name(s.results.places[i]), int(lap or 1), _median_of(s, i))
    return _one_stated_distance(list(found.values()))


def add_visit(
    found: dict[tuple[str, int], Place], point: str, name: str, visit: int, when: float | None
) -> None:
    """Add a visit to ``found`` unless it is there; the first name of a point stays."""
    if (point, visit) in found:
        return
    first = found.get((point, 1))
    place = to_place(first.name if first else name or point, when)
    found[point, visit] = replace(place, id=point, visit=visit)


def _one_stated_distance(places: list[Place]) -> list[Place]:
    """A place passed several times has no one distance, whatever its name says; a start lies at 0 the first time."""
    often = {p.id for p in places if p.visit > 1}
    return [
        replace(p, at_m=0.0 if first else None, certain=first) if p.id in often else p
        for p in places
        for first in [p.kind is PointKind.START and p.visit == 1]
    ]


def _median_passes(passes: pl.DataFrame) -> dict[tuple[str, int], float]:
    medians = passes.group_by("word", "nth").agg(pl.col("time").median()).sort("word", "nth")
    return {(word, nth): time for word, nth, time in medians.iter_rows()}


def _median_of(sighting: Sighting, column: int) -> float | None:
    median = clock_seconds(sighting.column(column)).median()
    return float(median) if isinstance(median, int | float) else None


def _start_words(
    places: Sequence[Place], lines: Sequence[DraftLine], point_of: Mapping[str, str]
) -> list[str]:
    """The words of lines and points at which runners start."""
    starts = {place.id for place in places if place.kind is PointKind.START}
    words = [word for line in lines if line.point in starts for word in line.words]
    return words + [word for word, target in point_of.items() if target.split("#")[0] in starts]


def _guns(
    traces: Traces, starts: Sequence[str], waves: Sequence[tuple[str, str, str]], entries: Sighting | None
) -> dict[str, dt.datetime | None]:
    """The minute in which the mass of reads at a start begins, for each wave; a proposal, not a fact."""
    if all(s.times == "elapsed" for s in traces.exports):
        return {wave: None for wave, _, _ in waves}
    seen = [passes.filter(pl.col("word").is_in(list(starts))) for passes in (traces.by_line, traces.by_point)]
    first = pl.concat(seen).filter(pl.col("nth") == 1)
    wave_of = _wave_of_id(entries)
    guns: dict[str, dt.datetime | None] = {}
    for wave, word, _ in waves:
        ids = [who for who, of in wave_of.items() if of == word]
        own = first.filter(pl.col("who").is_in(ids)) if word and ids else first
        guns[wave] = _mass_begin(own["time"])
    return guns


def _wave_of_id(entries: Sighting | None) -> dict[str, str]:
    if entries is None or "wave" not in entries.columns:
        return {}
    wave = f"c{entries.columns['wave']}"
    found: dict[str, str] = {}
    for name in ("bib", "tag", "tag_2"):
        if name in entries.columns:
            found |= dict(entries.cells.select(f"c{entries.columns[name]}", wave).drop_nulls().iter_rows())
    return found


def _mass_begin(seconds: pl.Series) -> dt.datetime | None:
    """The first minute with a fair share of the passings of the busiest one."""
    if not seconds.len():
        return None
    minutes = (seconds // 60).cast(pl.Int64).alias("minute").value_counts().sort("minute")
    most = minutes["count"].max()
    assert isinstance(most, int)
    begin = minutes.filter(pl.col("count") >= MASS_SHARE * most)["minute"][0]
    return dt.datetime.fromtimestamp(begin * 60, dt.UTC)


def _courses_and_waves(
    exports: Sequence[Sighting], entries: Sighting | None
) -> tuple[list[tuple[str, str]], list[tuple[str, str, str]]]:
    tables = [entries] if entries else [s for s in exports if s.level is Level.WIDE]
    words = [w for s in tables if "course" in s.columns for w in s.values("course").unique().sort().to_list()]
    courses = [(slug(word), word) for word in dict.fromkeys(words)][:MOST_LINES] or [("course", "")]
    waves: list[tuple[str, str, str]] = []
    for s in tables:
        if "wave" not in s.columns:
            continue
        course = pl.col(f"c{s.columns['course']}") if "course" in s.columns else pl.lit(courses[0][1])
        pairs = s.cells.select(
            pl.col(f"c{s.columns['wave']}").alias("wave"), course.alias("course")
        ).drop_nulls()
        for wave, word in pairs.unique().sort("wave", "course").iter_rows():
            waves.append((slug(wave), wave, slug(word) if word else courses[0][0]))
    ids = Counter(wave[0] for wave in dict.fromkeys(waves))
    if any(count > 1 for count in ids.values()) or not waves:
        return courses, [(course, "", course) for course, _ in courses]
    return courses, list(dict.fromkeys(waves))
