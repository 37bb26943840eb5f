"""From headers and cells to our columns: by the header's words, else by what stands below it."""

from __future__ import annotations

from dataclasses import dataclass, field

import polars as pl

from lineproof.draft.words import DATE_ONLY, HEADER_WORDS, NOT_TIMES, plain
from lineproof.intake.times import PATTERNS, Kind
from lineproof.vocabulary import Level

_EPOCH = r"^\d{9,19}(?:[.,]\d+)?$"
_TIMED = ("time", "first", "last", "strongest")
_LONGEST_PASSING_S = 60.0
_MOST_PORTS = 32
_SHORT = 5  # digits; a longer number is no bib


@dataclass(frozen=True, slots=True)
class Ids:
    """The ids of the start list, by which a column without a telling header is known."""

    bibs: frozenset[str] = field(default=frozenset())
    tags: frozenset[str] = field(default=frozenset())

    def kind(self, values: pl.Series) -> str | None:
        """``bib`` or ``tag``, whichever list holds most of the values; None where neither holds half."""
        different = values.unique().to_list()
        shares = {
            name: sum(value in ids for value in different) / max(len(different), 1)
            for name, ids in (("tag", self.tags), ("bib", self.bibs))
        }
        best = max(shares, key=lambda name: shares[name])
        return best if shares[best] >= 0.5 else None


def name_columns(headers: tuple[str, ...]) -> dict[str, int]:
    """Our names for the headers whose words are known; each header is taken once."""
    words = [plain(header) for header in headers]
    found: dict[str, int] = {}
    for ours, known in HEADER_WORDS.items():
        for word in known:
            if words.count(word) == 1 and words.index(word) not in found.values():
                found[ours] = words.index(word)
                break
    return found


def time_columns(headers: tuple[str, ...], cells: pl.DataFrame, columns: dict[str, int]) -> tuple[int, ...]:
    """Columns in which nearly everything that is no word is a time."""
    others = {i for ours, i in columns.items() if ours not in (*_TIMED, "date", "tag_since")}
    found = []
    for i, header in enumerate(headers):
        if i in others or any(word in plain(header).split() for word in NOT_TIMES):
            continue
        values = cells[f"c{i}"].drop_nulls()
        values = values.filter(values.str.contains(r"\d"))
        if values.len() and _time_share(values) >= 0.8:
            found.append(i)
    return tuple(found)


def by_content(
    columns: dict[str, int], cells: pl.DataFrame, timed: tuple[int, ...], known: Ids
) -> dict[str, int]:
    """Add the id of the runner and the place, where the headers do not tell, from what stands in the cells."""
    found = _ids_by_list(columns, cells, known) | _first_and_last(columns, cells, timed)
    free = [i for i in range(cells.width) if i not in {*timed, *found.values()}]
    if "bib" not in found and "tag" not in found:
        ids = [i for i in free if _are_ids(cells[f"c{i}"].drop_nulls())]
        listed = [i for i in ids if known.kind(cells[f"c{i}"].drop_nulls())]
        if ids:
            best = max(listed or ids, key=lambda i: cells[f"c{i}"].n_unique())
            values = cells[f"c{best}"].drop_nulls()
            found[known.kind(values) or ("bib" if _are_bibs(values) else "tag")] = best
            free.remove(best)
    who = found.get("bib", found.get("tag"))
    if who is None or "line" in found or "point" in found:
        return found
    ids_again = cells[f"c{who}"].drop_nulls()
    if ids_again.n_unique() > 0.8 * ids_again.len():
        return found  # nobody stands in it twice: one row is one runner, not one place
    place = next((i for i in free if _are_places(cells[f"c{i}"].drop_nulls(), cells.height)), None)
    return found if place is None else {**found, "point" if "bib" in found else "line": place}


def tags_by_content(columns: dict[str, int], cells: pl.DataFrame) -> dict[str, int]:
    """The column of a start list that holds a code of its own for each runner, where no header names the tags."""
    if "tag" in columns or not cells.height:
        return columns
    for i in (i for i in range(cells.width) if i not in columns.values()):
        values = cells[f"c{i}"].drop_nulls()
        codes = values.str.contains(r"^[0-9A-Za-z:_-]{3,40}$") & values.str.contains(r"\d")
        dates = values.str.contains(DATE_ONLY)
        own = values.n_unique() >= 0.95 * cells.height
        if own and bool(codes.all()) and not bool(dates.any()) and not _counts_on(values):
            return {**columns, "tag": i}
    return columns


def _counts_on(values: pl.Series) -> bool:
    """Numbers one by one, as a program numbers its rows."""
    numbers = values.cast(pl.Int64, strict=False).sort()
    return numbers.null_count() == 0 and bool((numbers.diff().drop_nulls() == 1).all())


def _first_and_last(columns: dict[str, int], cells: pl.DataFrame, timed: tuple[int, ...]) -> dict[str, int]:
    """Two columns of times of which the second follows the first within a minute: one passing of one line."""
    if any(name in columns for name in _TIMED) or len(timed) != 2:
        return {}
    first, last = (_day_seconds(cells[f"c{i}"]) for i in timed)
    lasting = (last - first).drop_nulls()
    longest = lasting.quantile(0.9)
    brief = longest is not None and longest < _LONGEST_PASSING_S
    return {"first": timed[0], "last": timed[1]} if brief and bool((lasting >= 0).all()) else {}


def _day_seconds(values: pl.Series) -> pl.Series:
    """Seconds into the hour of day of a text that ends in a clock time, for comparing two columns only."""
    parts = values.str.extract_groups(r"(\d{1,2}):(\d{2}):(\d{2}(?:[.,]\d+)?)").struct.unnest()
    numbers = parts.with_columns(pl.all().str.replace(",", ".", literal=True).cast(pl.Float64))
    return numbers["1"] * 3600 + numbers["2"] * 60 + numbers["3"]


def _ids_by_list(columns: dict[str, int], cells: pl.DataFrame, known: Ids) -> dict[str, int]:
    """Bib for tag, or the other way about, where the start list says so against the header."""
    only = [name for name in ("bib", "tag") if name in columns]
    if len(only) != 1:
        return dict(columns)
    kind = known.kind(cells[f"c{columns[only[0]]}"].drop_nulls())
    if kind is None or kind == only[0]:
        return dict(columns)
    return {kind if ours == only[0] else ours: i for ours, i in columns.items()}


def _are_ids(values: pl.Series) -> bool:
    """Codes without blanks, many of them different."""
    codes = values.str.contains(r"^[0-9A-Za-z:_-]{1,40}$")
    return (
        bool(values.len()) and bool(codes.mean() == 1.0) and values.n_unique() > min(20, 0.2 * values.len())
    )


def _are_bibs(values: pl.Series) -> bool:
    return bool(values.str.contains(rf"^\d{{1,{_SHORT}}}$").mean() == 1.0)


def _are_places(values: pl.Series, rows: int) -> bool:
    """A few words that come again and again; numbers alone are ports, counts or laps."""
    few = 2 <= values.n_unique() <= min(60, values.len() // 3)
    return values.len() >= 0.9 * rows and few and bool(values.str.contains(r"\p{L}").all())


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


def with_details(columns: dict[str, int], cells: pl.DataFrame, timed: tuple[int, ...]) -> dict[str, int]:
    """Antenna and strength of raw reads by what such columns hold: small counting numbers, negative decibels."""
    found = dict(columns)
    for i in (i for i in range(cells.width) if i not in {*timed, *columns.values()}):
        values = cells[f"c{i}"].drop_nulls()
        numbers = values.str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
        if values.len() < 0.9 * cells.height or numbers.null_count():
            continue
        whole = bool(values.str.contains(r"^\d{1,2}$").all())
        if "antenna" not in found and whole and bool(numbers.is_between(1, _MOST_PORTS).all()):
            found["antenna"] = i
        elif "strength" not in found and bool(numbers.is_between(-100, -10).all()):
            found["strength"] = i
    return found


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
        for name in (*_TIMED, "date"):
            settled.pop(name, None)
    return settled
