"""Where and when the exports saw runners: the rows behind everything that a draft says of places and lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from lineproof.draft.boxes import Pair, find_pairs, join_parts, rename, to_passes
from lineproof.draft.looking import Sighting
from lineproof.intake.times import Kind, TimePlan, to_instants
from lineproof.vocabulary import Level

MOST_LINES = 60  # different words in a line or point column; more of them is no such column
_SEEN = {"word": pl.String, "who": pl.String, "time": pl.Datetime("us", "UTC")}
_NO_PASSES = pl.DataFrame(schema={"word": pl.String, "who": pl.String, "nth": pl.Int64, "time": pl.Float64})


@dataclass(frozen=True, slots=True)
class Traces:
    """``instants``: of each file the rows with ``time`` as if its zone were UTC.

    ``groups``: the words of each line (several where its export comes in parts); ``line_of_file``: the word of
    a file that is one line's.  ``by_line`` and ``by_point`` are passes (``boxes.to_passes``) by line and by the
    words of a point column.
    """

    exports: Sequence[Sighting]
    orders: Mapping[str, tuple[str, bool]]
    instants: Mapping[str, pl.DataFrame]
    groups: Sequence[tuple[str, ...]]
    line_of_file: Mapping[str, str]
    by_line: pl.DataFrame
    by_point: pl.DataFrame
    pairs: Sequence[Pair]


def to_traces(exports: Sequence[Sighting]) -> Traces:
    orders = {s.file: order for s in exports if (order := date_order(s)) is not None}
    instants = {s.file: to_times(s, orders.get(s.file, ("dmy", True))[0]) for s in exports}
    words, line_of_file = _line_words(exports)
    lined = [s for s in exports if s.level is not Level.WIDE and (line_column(s) or s.file in line_of_file)]
    by_word = _passes([_seen(s, instants[s.file], line_of_file.get(s.file), "line") for s in lined])
    files = [word for word in words if word in line_of_file.values()]
    groups = [(word,) for word in words if word not in files] + join_parts(files, by_word)
    by_line = rename(by_word, {word: group[0] for group in groups for word in group})
    placed = [s for s in exports if s.level is Level.MERGED and point_column(s)]
    by_point = _passes([_seen(s, instants[s.file], None, "point") for s in placed])
    return Traces(exports, orders, instants, groups, line_of_file, by_line, by_point, find_pairs(by_line))


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
    if isinstance(second, int) and second > 12:
        return "mdy", True
    return "dmy", bool(parts.select((pl.nth(0) == pl.nth(1)).all()).item()) or bool(
        texts.str.contains(r"^\d+\.").all()
    )


def to_times(sighting: Sighting, order: str) -> pl.DataFrame:
    """``cell`` rows with ``time``: the main time column read as if its zone were UTC."""
    text = pl.col(f"c{main_time(sighting)}")
    if "date" in sighting.columns:
        text = pl.concat_str([pl.col(f"c{sighting.columns['date']}"), pl.lit(" "), text])
    plan = TimePlan(frozenset(Kind), "UTC", date_order=order, number="epoch", colon="clock")
    return to_instants(sighting.cells.lazy().with_columns(text.alias("text")), "text", plan).collect()


def main_time(sighting: Sighting) -> int:
    for name in ("time", "first"):
        if name in sighting.columns:
            return sighting.columns[name]
    return sighting.time_columns[0]


def line_column(sighting: Sighting) -> bool:
    """Whether the file has a column that tells the line."""
    return "line" in sighting.columns and 1 <= len(sighting.words["line"]) <= MOST_LINES


def point_column(sighting: Sighting) -> bool:
    return "point" in sighting.columns and 1 <= len(sighting.words["point"]) <= MOST_LINES


def _line_words(exports: Sequence[Sighting]) -> tuple[list[str], dict[str, str]]:
    """Words that stand for lines: of a column, else the name of a file that is one line's."""
    words: list[str] = []
    of_file: dict[str, str] = {}
    for s in exports:
        if s.level is Level.WIDE:
            continue
        if line_column(s):
            words += s.words["line"]
        elif s.level in (Level.READS, Level.PASSINGS) and not point_column(s):
            of_file[s.file] = s.file.rsplit("/", 1)[-1].rsplit(".", 1)[0]
            words.append(of_file[s.file])
    return list(dict.fromkeys(words)), of_file


def _seen(s: Sighting, frame: pl.DataFrame, word: str | None, column: str) -> pl.DataFrame:
    who = s.columns.get("tag", s.columns.get("bib"))
    said = pl.lit(word, dtype=pl.String) if word is not None else pl.col(f"c{s.columns[column]}")
    return frame.select(said.alias("word"), pl.col(f"c{who}").alias("who"), pl.col("time")).cast(_SEEN)  # type: ignore[arg-type]


def _passes(frames: list[pl.DataFrame]) -> pl.DataFrame:
    return to_passes(pl.concat(frames)) if frames else _NO_PASSES
