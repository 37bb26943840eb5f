"""Everything that the exports show together: points, lines, courses, waves, the day and the first gun."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import polars as pl

from lineproof.draft.looking import Sighting, clock_seconds, distance_m
from lineproof.draft.places import (
    DraftLine,
    Place,
    in_course_order,
    place_id,
    place_name,
    slug,
    to_lines,
    to_place,
)
from lineproof.intake.times import PATTERNS, Kind, TimePlan, to_instants
from lineproof.vocabulary import Level, PointKind

MOST_LINES = 60  # different words in a line or point column; more of them is no such column
MASS_SHARE = 0.2  # the start is on from the first minute that has this share of the busiest one
_OFFSET = r"(?:[Zz]|[+-]\d{2}:?\d{2})$"


@dataclass(frozen=True, slots=True)
class Scene:
    """What ``writing.py`` puts into words.  ``gun`` is None where it cannot be seen."""

    date: dt.date | None
    orders: dict[str, tuple[str, bool]]  # file -> date order and whether it is certain
    aware: bool  # times carry their offset, so the gun is written with one
    gun: dt.datetime | None
    courses: list[tuple[str, str]]  # id, word
    waves: list[tuple[str, str, str]]  # id, word, course id
    places: list[Place]
    lines: list[DraftLine]
    line_of_file: dict[str, str] = field(default_factory=dict)


def to_scene(exports: Sequence[Sighting], entries: Sighting | None, title: str) -> Scene:
    """Put together what the files show."""
    orders = {s.file: order for s in exports if (order := date_order(s)) is not None}
    instants = {s.file: to_times(s, orders.get(s.file, ("dmy", True))[0]) for s in exports}
    words, line_of_file = _line_words(exports)
    place_of = _places_of_lines(exports)
    lines = to_lines(words, place_of)
    courses, waves = _courses_and_waves(exports, entries)
    places = in_course_order(_places(exports, lines, place_of, instants), distance_m(title))
    dated = [t["time"] for s in exports if s.times == "auto" for t in [instants[s.file]] if t.height]
    days: Counter[dt.date] = Counter()
    for times in dated:
        days.update(dict(times.dt.date().drop_nulls().value_counts().iter_rows()))
    return Scene(
        date=days.most_common(1)[0][0] if days else None,
        orders=orders,
        aware=any(_is_aware(s) for s in exports),
        gun=_gun(exports, lines, instants),
        courses=courses,
        waves=waves,
        places=places,
        lines=lines,
        line_of_file=line_of_file,
    )


def _main_time(sighting: Sighting) -> int:
    for name in ("time", "first"):
        if name in sighting.columns:
            return sighting.columns[name]
    return sighting.time_columns[0]


def date_order(sighting: Sighting) -> tuple[str, bool] | None:
    """The order of day and month, and whether the data leave no doubt; None where years come first."""
    columns = [*sighting.time_columns, *([sighting.columns["date"]] if "date" in sighting.columns else [])]
    texts = pl.concat([sighting.column(i).rename("t") for i in columns])
    parts = (
        texts.str.extract_groups(r"^(\d{1,2})[-/.](\d{1,2})[-/.](?:\d{4}|\d{2})\b")
        .struct.unnest()
        .drop_nulls()
    )
    if not parts.height:
        return None
    first, second = (parts[c].cast(pl.Int64).max() for c in parts.columns)
    if isinstance(first, int) and first > 12:
        return "dmy", True
    return ("mdy", True) if isinstance(second, int) and second > 12 else ("dmy", False)


def to_times(sighting: Sighting, order: str) -> pl.DataFrame:
    """``cell`` rows with ``time``: the main time column read as if its zone were UTC."""
    text = pl.col(f"c{_main_time(sighting)}")
    if "date" in sighting.columns:
        text = pl.concat_str([pl.col(f"c{sighting.columns['date']}"), pl.lit(" "), text])
    plan = TimePlan(frozenset(Kind), "UTC", date_order=order, number="epoch", colon="clock")
    return to_instants(sighting.cells.lazy().with_columns(text.alias("text")), "text", plan).collect()


def _is_aware(sighting: Sighting) -> bool:
    texts = sighting.column(_main_time(sighting)).head(500)
    aware = texts.str.contains(_OFFSET) | texts.str.contains(PATTERNS[Kind.NUMBER])
    return bool(texts.len()) and sighting.times == "auto" and bool(aware.mean() == 1.0)


def line_column(sighting: Sighting) -> bool:
    """Whether the file has a column that tells the line."""
    return "line" in sighting.columns and 1 <= sighting.values("line").n_unique() <= MOST_LINES


def point_column(sighting: Sighting) -> bool:
    return "point" in sighting.columns and 1 <= sighting.values("point").n_unique() <= MOST_LINES


def _line_words(exports: Sequence[Sighting]) -> tuple[list[str], dict[str, str]]:
    """Words that stand for lines: of a column, else the name of a file that is one line's."""
    words: list[str] = []
    of_file: dict[str, str] = {}
    for s in exports:
        if s.level is Level.WIDE:
            continue
        if line_column(s):
            words += s.values("line").unique().sort().to_list()
        elif s.level in (Level.READS, Level.PASSINGS):
            of_file[s.file] = s.file.rsplit("/", 1)[-1].rsplit(".", 1)[0]
            words.append(of_file[s.file])
    return list(dict.fromkeys(words)), of_file


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


def _places(
    exports: Sequence[Sighting],
    lines: Sequence[DraftLine],
    place_of: dict[str, str],
    instants: dict[str, pl.DataFrame],
) -> list[Place]:
    named: dict[str, Place] = {}
    point_of = {line.word: line.point for line in lines}
    seen = {line.point: place_name(place_of.get(line.word, line.word)) for line in reversed(lines)}
    when = _median_by_word(exports, instants, "line", point_of)
    for point, name in seen.items():
        place = to_place(name, when.get(point))
        named[point] = Place(point, name, place.kind, place.at_m, place.certain, place.when)
    for s in exports:
        if s.level is Level.MERGED and point_column(s):
            words = {word: place_id(place_name(word)) for word in s.values("point").unique().sort().to_list()}
            when = _median_by_word([s], instants, "point", words)
            for word, point in words.items():
                named.setdefault(point, to_place(place_name(word), when.get(point)))
        if s.level is Level.WIDE:
            for i in s.time_columns:
                place = to_place(place_name(s.headers[i]), _median_of(s, i))
                named.setdefault(place.id, place)
    return list(named.values())


def _median_by_word(
    exports: Sequence[Sighting], instants: dict[str, pl.DataFrame], column: str, points: dict[str, str]
) -> dict[str, float]:
    """Median time of each point, seconds, for the order along the course."""
    found: dict[str, float] = {}
    for s in exports:
        if column not in s.columns or s.level is Level.WIDE:
            continue
        word = pl.col(f"c{s.columns[column]}").replace_strict(points, default=None, return_dtype=pl.String)
        seconds = pl.col("time").dt.epoch("us").median() / 1e6
        medians = (
            instants[s.file]
            .group_by(word.alias("point"))
            .agg(seconds.alias("when"))
            .drop_nulls()
            .sort("point")
        )
        found |= {point: when for point, when in medians.iter_rows() if point not in found}
    return found


def _median_of(sighting: Sighting, column: int) -> float | None:
    median = clock_seconds(sighting.column(column)).median()
    return float(median) if isinstance(median, int | float) else None


def _gun(
    exports: Sequence[Sighting], lines: Sequence[DraftLine], instants: dict[str, pl.DataFrame]
) -> dt.datetime | None:
    """The minute in which the mass of reads at a start begins; a proposal, not a fact."""
    starts = {line.word for line in lines if to_place(place_name(line.word), None).kind is PointKind.START}
    parts = []
    for s in exports:
        frame = instants[s.file]
        if s.level in (Level.READS, Level.PASSINGS, Level.MERGED) and s.times != "elapsed":
            name = "line" if line_column(s) else "point" if point_column(s) else None
            if name is not None:
                word = pl.col(f"c{s.columns[name]}")
                start = word.is_in(list(starts)) | (word.str.contains(r"(?i)\bstart"))
                parts.append(frame.filter(start).select("time"))
    times = (
        pl.concat(parts)["time"].drop_nulls() if parts else pl.Series("time", [], pl.Datetime("us", "UTC"))
    )
    if not times.len():
        return None
    minutes = times.dt.truncate("1m").value_counts().sort("time")
    busy = minutes.filter(pl.col("count") >= MASS_SHARE * minutes["count"].max())  # type: ignore[operator]
    first: dt.datetime = busy["time"][0]
    return first


def _courses_and_waves(
    exports: Sequence[Sighting], entries: Sighting | None
) -> tuple[list[tuple[str, str]], list[tuple[str, str, str]]]:
    tables = [
        s for s in ([entries] if entries else [s for s in exports if s.level is Level.WIDE]) if s is not None
    ]
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
