"""Looks at one export: which column is what, by its header's words and by what stands in it."""

from __future__ import annotations

import re
import tempfile
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.errors import InputError
from lineproof.event import FileLayout
from lineproof.intake.files import relative_name
from lineproof.intake.opening import open_table
from lineproof.intake.raw import normal
from lineproof.intake.times import PATTERNS, Kind
from lineproof.vocabulary import Level

LOOKED_AT = 200_000  # rows of a file that are looked at
MISSING = r"(?i)^(?:[-–—_.:? ]+|0+(?:[:.,]0+)*|n/?a|#n/a|nan|null|none|nil|dns|dnf|dsq|dq)$"

# Words of the trade by which a header is known, the likelier first; open reader-protocol fields among them.
HEADER_WORDS: dict[str, tuple[str, ...]] = {
    "bib": ("bib", "bib number", "bib no", "bib no.", "race number", "start number", "number", "no", "no.", "bib #", "startnummer", "startnr", "startnr."),
    "tag": ("tag", "tag id", "tag code", "epc-96", "epc", "epcdata", "transponder", "chip", "chip id", "bib tag", "chip epc"),
    "tag_2": ("tag 2", "second tag", "tag2", "shoe tag"),
    "runner": ("runner id", "entry id"),  # "runner" alone heads a column of names, and names come twice
    "line": ("line", "reader", "device", "mat", "taken by", "reader id", "line id"),
    "point": ("point", "place", "location", "timing point", "split", "checkpoint", "station", "where"),
    "first": ("first", "first seen", "first read", "first time", "firstseentimestamputc"),
    "strongest": ("strongest", "strongest read", "strongest time", "peak time"),
    "last": ("last", "last seen", "last read", "last time", "lastseentimestamputc"),
    "time": ("time", "timestamp", "clock", "time of day", "date time", "datetime", "read time", "seen", "when", "firstseentimestamputc"),
    "date": ("date", "day"),
    "antenna": ("antenna", "antenna id", "antennaid", "port", "ant"),
    "strength": ("strength", "rssi", "peakrssi", "signal", "signal strength", "dbm"),
    "reads": ("reads", "count", "tagseencount", "number of reads"),
    "antennas": ("antennas", "antennas hit"),
    "visit": ("visit", "lap", "round"),
    "course": ("course", "race", "distance", "event", "wettbewerb", "strecke"),
    "wave": ("wave", "start wave", "pen", "start group"),
    "class": ("class", "runner class"),
    "sex": ("sex", "gender", "m/f", "geschlecht"),
    "age": ("age", "alter"),
    "tag_kind": ("tag kind", "tag type"),
    "tag_batch": ("tag batch", "batch"),
    "tag_since": ("tag since", "since", "issued"),
}  # fmt: skip
_DATE_ONLY = r"^(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4})$"
_EPOCH = r"^\d{9,19}(?:[.,]\d+)?$"
_NOT_TIMES = ("pace", "speed", "rank", "place", "position", "age", "diff", "behind")


@dataclass(frozen=True, slots=True)
class Sighting:
    """One file as it looks: its cells, which column is what, and the columns that hold times."""

    file: str
    sheet: str
    headers: tuple[str, ...]
    header_row: int
    cells: pl.DataFrame  # c0 … cN, nulls where nothing stands
    columns: dict[str, int]
    time_columns: tuple[int, ...]
    level: Level | None  # None: entries, or no table of times
    times: str
    remarks: tuple[str, ...]

    def header(self, ours: str) -> str:
        return self.headers[self.columns[ours]]

    def values(self, ours: str) -> pl.Series:
        return self.cells[f"c{self.columns[ours]}"].drop_nulls()

    def column(self, index: int) -> pl.Series:
        return self.cells[f"c{index}"].drop_nulls()


def look(path: Path, folder: Path, as_entries: bool) -> Sighting:
    """Open one file and say what its columns are.  Raises ``InputError`` where it is no table."""
    words = [word for group in HEADER_WORDS.values() for word in group]
    with tempfile.TemporaryDirectory() as work:
        table = open_table(
            path, relative_name(path, folder), FileLayout(path.name, {}), words, Path(work) / "raw"
        )
        width = len(table.headers)
        text = [pl.col(f"c{i}").str.strip_chars().alias(f"c{i}") for i in range(width)]
        cells = table.scan().filter(pl.col("trouble").is_null()).head(LOOKED_AT).select(text).collect()
    cells = cells.with_columns(pl.when(~pl.all().str.contains(MISSING) & (pl.all() != "")).then(pl.all()))
    columns = name_columns(table.headers)
    timed = time_columns(table.headers, cells, columns)
    columns = columns if as_entries else by_content(columns, cells, timed)
    columns = {
        ours: i
        for ours, i in columns.items()
        if ours not in ("time", "first", "last", "strongest") or i in timed
    }
    level = None if as_entries else guess_level(cells, columns, timed)
    if level is None and not as_entries:
        raise InputError(
            "no column of times and runners is recognised", todo="describe it by hand", file=path
        )
    columns = settle(columns, timed, level)
    return Sighting(
        table.file, table.sheet, table.headers, table.header_row, cells, columns, timed, level, time_layout(cells, timed, level), table.remarks
    )  # fmt: skip


def name_columns(headers: tuple[str, ...]) -> dict[str, int]:
    """Our names for the headers whose words are known; each header is taken once."""
    normals = [normal(header) for header in headers]
    found: dict[str, int] = {}
    for ours, words in HEADER_WORDS.items():
        for word in words:
            if word in normals and normals.count(word) == 1 and normals.index(word) not in found.values():
                found[ours] = normals.index(word)
                break
    return found


def time_columns(headers: tuple[str, ...], cells: pl.DataFrame, columns: dict[str, int]) -> tuple[int, ...]:
    """Columns in which nearly everything is a time."""
    others = {
        i
        for ours, i in columns.items()
        if ours not in ("time", "first", "last", "strongest", "date", "tag_since")
    }
    found = []
    for i, header in enumerate(headers):
        if i in others or any(word in normal(header).split() for word in _NOT_TIMES):
            continue
        values = cells[f"c{i}"].drop_nulls()
        if values.len() and _time_share(values) >= 0.8:
            found.append(i)
    return tuple(found)


def by_content(columns: dict[str, int], cells: pl.DataFrame, timed: tuple[int, ...]) -> dict[str, int]:
    """Add the id of the runner and the place, where the headers do not tell, from what stands in the cells."""
    found = dict(columns)
    free = [i for i in range(cells.width) if i not in {*timed, *columns.values()}]
    if "bib" not in found and "tag" not in found:
        ids = [(cells[f"c{i}"].n_unique(), i) for i in free if _are_ids(cells[f"c{i}"].drop_nulls())]
        if ids:
            best = max(ids)[1]
            short = cells[f"c{best}"].drop_nulls().str.len_chars().max()
            found["bib" if isinstance(short, int) and short <= 6 else "tag"] = best
            free.remove(best)
    who = found.get("bib", found.get("tag"))
    if who is None or "line" in found or "point" in found:
        return found
    ids_again = cells[f"c{who}"].drop_nulls()
    if ids_again.n_unique() > 0.8 * ids_again.len():
        return found  # nobody stands in it twice: one row is one runner, not one place
    for i in free:
        values = cells[f"c{i}"].drop_nulls()
        if values.len() >= 0.9 * cells.height and 2 <= values.n_unique() <= min(60, values.len() // 3):
            found["point" if "bib" in found else "line"] = i
            break
    return found


def _are_ids(values: pl.Series) -> bool:
    """Codes without blanks, many of them different."""
    codes = values.str.contains(r"^[0-9A-Za-z:_-]{1,40}$")
    return (
        bool(values.len()) and bool(codes.mean() == 1.0) and values.n_unique() > min(20, 0.2 * values.len())
    )


def _time_share(values: pl.Series) -> float:
    dated = values.str.contains(PATTERNS[Kind.ISO]) | values.str.contains(PATTERNS[Kind.DATE])
    hits = dated | values.str.contains(PATTERNS[Kind.COLON]) | values.str.contains(_EPOCH)
    return float(hits.mean() or 0.0)  # type: ignore[arg-type]


def guess_level(cells: pl.DataFrame, columns: dict[str, int], timed: tuple[int, ...]) -> Level | None:
    """How far the export is worked up, by its columns and by how often one runner stands in it."""
    who = columns.get("bib", columns.get("tag"))
    if who is None or not timed:
        return None
    ids = cells[f"c{who}"].drop_nulls()
    once = ids.len() > 0 and ids.n_unique() >= 0.9 * ids.len()
    if "first" in columns and "last" in columns:
        return Level.PASSINGS
    if "antenna" in columns or "strength" in columns:
        return Level.READS
    if "line" not in columns and "point" not in columns and (once or len(timed) > 2):
        return Level.WIDE
    if "point" in columns or "tag" not in columns:
        return Level.MERGED
    place = [f"c{columns[name]}" for name in ("tag", "line") if name in columns]
    per_line = cells.height / max(cells.select(place).unique().height, 1)
    return Level.READS if per_line > 3 else Level.PASSINGS


def settle(columns: dict[str, int], timed: tuple[int, ...], level: Level | None) -> dict[str, int]:
    """Give the level the time columns that it needs, from the columns that hold times."""
    settled = dict(columns)
    if level in (Level.READS, Level.MERGED):
        settled["time"] = columns.get("time", columns.get("first", timed[0]))
        settled = {k: v for k, v in settled.items() if k not in ("first", "last", "strongest")}
    if level is Level.PASSINGS:
        settled["first"] = columns.get("first", columns.get("time", timed[0]))
        settled.pop("time", None)
    if level is Level.WIDE:
        for name in ("time", "first", "last", "strongest", "date"):
            settled.pop(name, None)
    return settled


def time_layout(cells: pl.DataFrame, timed: tuple[int, ...], level: Level | None) -> str:
    """``auto`` where times are dated, else ``clock`` or ``elapsed`` by the smallest of them."""
    values = [cells[f"c{i}"].drop_nulls() for i in timed]
    bare = [v.filter(v.str.contains(PATTERNS[Kind.COLON])) for v in values]
    count, bare_count = sum(v.len() for v in values), sum(v.len() for v in bare)
    if level is None or not count or bare_count < 0.5 * count:
        return "auto"
    if level in (Level.READS, Level.PASSINGS):
        return "clock"
    seconds = pl.concat([clock_seconds(v) for v in bare]).drop_nulls()
    low = seconds.quantile(0.02)
    return "elapsed" if low is not None and low < 5400 else "clock"


def clock_seconds(values: pl.Series) -> pl.Series:
    """Seconds of ``h:mm:ss`` or ``mm:ss`` texts, for guessing only."""
    parts = values.str.extract_groups(r"^(?:(\d+):)?(\d+):(\d+)").struct.unnest().cast(pl.Float64)
    return (parts["1"].fill_null(0) * 3600 + parts["2"] * 60 + parts["3"]).rename("seconds")


def distance_m(words: str) -> float | None:
    """A distance that a name states: ``5 km``, ``10K``, ``3 miles``, ``half``, ``marathon``."""
    text = words.casefold().replace(",", ".")
    found = re.search(r"(?<![\d.])(\d+(?:\.\d+)?)[ _-]*(km|kilometres?|k|miles?|mi|metres?|m)(?![a-z])", text)
    if found:
        unit = found[2]
        scale = 1000.0 if unit.startswith("k") else 1609.344 if unit.startswith("mi") else 1.0
        return round(float(found[1]) * scale, 1)
    reverse = re.search(r"(?<![a-z])(km|mile)[ _-]*(\d+(?:\.\d+)?)(?![\d.])", text)
    if reverse:
        return round(float(reverse[2]) * (1000.0 if reverse[1] == "km" else 1609.344), 1)
    if re.search(r"(?<![a-z])half(?![a-z])", text):
        return 21_097.5
    return 42_195.0 if re.search(r"(?<![a-z])marathon", text) else None
