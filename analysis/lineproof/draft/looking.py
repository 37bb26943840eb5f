"""Looks at one export: which column is what, by its header's words and by what stands in it."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import polars as pl

from lineproof.draft.columns import (
    Ids,
    by_content,
    guess_level,
    name_columns,
    settle,
    tags_by_content,
    time_columns,
    with_details,
)
from lineproof.draft.results import TimeColumns, sort_columns
from lineproof.draft.words import HEADER_WORDS, MISSING, WRITTEN
from lineproof.errors import InputError
from lineproof.event import FileLayout
from lineproof.intake.files import relative_name
from lineproof.intake.opening import open_table
from lineproof.intake.raw import RawTable
from lineproof.intake.text import DELIMITERS, split_line
from lineproof.intake.times import PATTERNS, Kind
from lineproof.vocabulary import Level

LOOKED_AT = 200_000  # rows of a file that are looked at, spread evenly over it
_DELIMITER_NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", " ": "blank"}
_TIMES = ("time", "first", "last", "strongest")


@dataclass(frozen=True, slots=True)
class Sighting:
    """One file as it looks: its cells, which column is what, and the columns that hold times.

    ``words`` are all words of the line and the point column in the whole file.  ``missing`` are words
    that stand in place of a time.  ``results`` sorts the time columns of a wide table.
    """

    file: str
    sheet: str
    headers: tuple[str, ...]
    header_row: int
    rows: int
    cells: pl.DataFrame  # c0 … cN, nulls where nothing stands
    columns: dict[str, int]
    time_columns: tuple[int, ...]
    level: Level | None  # None: entries, or no table of times
    times: str
    remarks: tuple[str, ...]
    delimiter: str = ""
    words: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    results: TimeColumns = field(default_factory=TimeColumns)

    def header(self, ours: str) -> str:
        return self.headers[self.columns[ours]]

    def values(self, ours: str) -> pl.Series:
        return self.cells[f"c{self.columns[ours]}"].drop_nulls()

    def column(self, index: int) -> pl.Series:
        return self.cells[f"c{index}"].drop_nulls()


def look(path: Path, folder: Path, as_entries: bool, known: Ids | None = None) -> Sighting:
    """Open one file and say what its columns are; ``known`` are the ids of the start list.

    Raises ``InputError`` where it is no table, or none of times and runners.
    """
    name = relative_name(path, folder)
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as work:
        table = _open(path, name, Path(work))
        rows, cells = _sample(table)
        columns = name_columns(table.headers)
        timed = time_columns(table.headers, cells, columns)
        columns = (
            tags_by_content(columns, cells)
            if as_entries
            else by_content(columns, cells, timed, known or Ids())
        )
        columns = {ours: i for ours, i in columns.items() if ours not in _TIMES or i in timed}
        level = None if as_entries else guess_level(cells, columns, timed)
        if level is None and not as_entries:
            raise InputError(
                "no column of times and runners is recognised", todo="describe it by hand", file=name
            )
        columns = settle(columns, timed, level)
        columns = with_details(columns, cells, timed) if level is Level.READS else columns
        words: dict[str, tuple[str, ...]] = {
            ours: _all_words(table, columns[ours]) for ours in ("line", "point") if ours in columns
        }
    cells, missing = without_missing(cells, timed)
    return Sighting(
        file=name,
        sheet=table.sheet,
        headers=table.headers,
        header_row=table.header_row,
        rows=rows,
        cells=cells,
        columns=columns,
        time_columns=timed,
        level=level,
        times=time_layout(cells, timed, level),
        remarks=table.remarks,
        delimiter=_delimiter(path, table),
        words=words,
        missing=missing,
        results=sort_columns(table.headers, cells, timed) if level is Level.WIDE else TimeColumns(),
    )


def _open(path: Path, name: str, work: Path) -> RawTable:
    words = [*(word for group in HEADER_WORDS.values() for word in group), *WRITTEN]
    return open_table(path, name, FileLayout(name, {}), words, work / "raw")


def _sample(table: RawTable) -> tuple[int, pl.DataFrame]:
    width = len(table.headers)
    text = [pl.col(f"c{i}").str.strip_chars().alias(f"c{i}") for i in range(width)]
    sound = table.scan().filter(pl.col("trouble").is_null())
    rows = int(sound.select(pl.len()).collect().item())
    every = -(-rows // LOOKED_AT) or 1
    cells = sound.collect().gather_every(every).select(text)
    cells = cells.with_columns(pl.when(~pl.all().str.contains(MISSING) & (pl.all() != "")).then(pl.all()))
    return rows, cells


def _all_words(table: RawTable, column: int) -> tuple[str, ...]:
    text = pl.col(f"c{column}").str.strip_chars()
    sound = table.scan().filter(pl.col("trouble").is_null())
    words = sound.select(text.alias("w")).drop_nulls().unique().collect()["w"].sort()
    return tuple(word for word in words.to_list() if word)


def _delimiter(path: Path, table: RawTable) -> str:
    """Which sign parts the columns of a text file, in words; empty for workbooks and Parquet."""
    if table.encoding is None:
        return ""
    encoding = table.encoding.replace("windows-1252", "cp1252")
    with path.open(encoding=encoding, errors="replace") as stream:
        lines = [line for line, _ in zip(stream, range(max(table.header_row, 1)), strict=False)]
    for sign in DELIMITERS:
        if lines and len(split_line(lines[-1].strip("\r\n\ufeff"), sign)) >= len(table.headers) > 1:
            return _DELIMITER_NAMES[sign]
    return ""


def without_missing(cells: pl.DataFrame, timed: tuple[int, ...]) -> tuple[pl.DataFrame, tuple[str, ...]]:
    """Cells without the words that stand in place of a time, and these words (``aufgegeben``, ``out``)."""
    words: set[str] = set()
    for i in timed:
        letters = cells[f"c{i}"].drop_nulls()
        words |= set(letters.filter(letters.str.contains(r"^[^\d:]*\p{L}[^\d:]*$")).unique().to_list())
    if not words or len(words) > 12:
        return cells, ()
    blank = [
        pl.when(~pl.col(f"c{i}").is_in(sorted(words))).then(pl.col(f"c{i}")).alias(f"c{i}") for i in timed
    ]
    return cells.with_columns(blank), tuple(sorted(words))


def time_layout(cells: pl.DataFrame, timed: tuple[int, ...], level: Level | None) -> str:
    """``auto`` where times are dated or of two kinds, else ``clock`` or ``elapsed`` by the smallest of them."""
    values = [cells[f"c{i}"].drop_nulls() for i in timed]
    bare = [v.filter(v.str.contains(PATTERNS[Kind.COLON])) for v in values]
    count, bare_count = sum(v.len() for v in values), sum(v.len() for v in bare)
    if level is None or not count or bare_count < 0.5 * count:
        return "auto"
    if level in (Level.READS, Level.PASSINGS):
        return "clock"
    seconds = [clock_seconds(v).drop_nulls() for v in bare if v.len()]
    low = pl.concat(seconds).quantile(0.02)
    if level is Level.WIDE:
        kinds = {_is_elapsed(s) for s in seconds}
        if len(kinds) == 2 and not _starts_late(seconds):
            return "auto"
    return "elapsed" if low is not None and low < 5400 else "clock"


def _is_elapsed(seconds: pl.Series) -> bool:
    low = seconds.quantile(0.02)
    return low is not None and low < 5400


def _starts_late(seconds: list[pl.Series]) -> bool:
    """Elapsed times of a long race pass 90 minutes too: they rise from column to column from near 0."""
    medians = [float(m) for s in seconds if isinstance(m := s.median(), int | float)]
    return all(after > before for before, after in pairwise(medians))


def clock_seconds(values: pl.Series) -> pl.Series:
    """Seconds of ``h:mm:ss`` or ``mm:ss`` texts, for guessing only."""
    parts = values.str.extract_groups(r"^(?:(\d+):)?(\d+):(\d+)").struct.unnest().cast(pl.Float64)
    return (parts["1"].fill_null(0) * 3600 + parts["2"] * 60 + parts["3"]).rename("seconds")
