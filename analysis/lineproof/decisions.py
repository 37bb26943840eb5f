"""The reviewer's word on single rows, kept in a file of its own and applied to the analysis copy only.

``decisions.csv`` in the event folder has the columns key, decision, time, who, when, why.  The key is
copied from a row of findings.csv; the decision is *keep* (the row is right), *void* (leave it out) or
*correct* (use this time).  The key ``clock/<line>`` speaks of the clock of a whole line: *correct* with the
seconds to add in the column time, as clocks.csv proposes them, or *keep*.  Exports are never changed, so every review
can apply the decisions anew, and taking a decision back is deleting its row.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.errors import EventError
from lineproof.event import Event, read_moment, suggest
from lineproof.formulas import rearm
from lineproof.tables import APPLIED, DECISIONS, FINDINGS, row_key
from lineproof.vocabulary import DecisionKind, TimeSource

DECISIONS_FILE = "decisions.csv"
COLUMNS = ("key", "decision", "time", "who", "when", "why")
KEY_TIME = "%Y-%m-%dT%H:%M:%S%.6fZ"  # as tables.row_key() writes it
CLOCK = "clock/"
LONGEST_SHIFT_S = 14 * 86_400  # more than a wrong date makes
UNKNOWN_KEY = "no row of the data has this key (the export was changed, or the key was mistyped)"
UNKNOWN_LINE = (
    "no passing of the data is of a line with this id (write clock/ and the line's id of event.toml)"
)


@dataclass(frozen=True, slots=True)
class Decided:
    """``passings`` is the analysis copy; ``report`` (APPLIED) tells what became of each decision."""

    passings: pl.DataFrame
    report: pl.DataFrame


def load_decisions(event: Event) -> pl.DataFrame:
    """DECISIONS from the event folder, empty where there is no file.

    Raises ``EventError`` naming row and column of the first row that cannot be followed.
    """
    path = event.folder / DECISIONS_FILE
    if not path.is_file():
        return DECISIONS.empty()
    lines = _read(path)
    if not lines:
        return DECISIONS.empty()
    header = _header(lines[0][1])
    rows = [(number, _named(header, cells, number)) for number, cells in lines[1:]]
    return DECISIONS.check(DECISIONS.shape_rows(_without_repeats([_decision(r, n, event) for n, r in rows])))


def _error(problem: str, todo: str, row: int | None = None, column: str | None = None) -> EventError:
    return EventError(problem, todo=todo, file=DECISIONS_FILE, row=row, column=column)


def _read(path: Path) -> list[tuple[int, list[str]]]:
    """Rows that hold anything, with their number as a spreadsheet counts them."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise _error("the file is not UTF-8 text", "save it as CSV UTF-8") from None
    except OSError as problem:
        raise _error(f"the file cannot be opened ({problem.strerror})", "close it elsewhere") from None
    first = text.split("\n", 1)[0]
    delimiter = max(",;\t", key=first.count)
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as problem:
        raise _error(f"the file is no CSV table ({problem})", "look for an open quotation mark") from None
    return [(i + 1, cells) for i, cells in enumerate(rows) if any(cell.strip() for cell in cells)]


def _header(cells: list[str]) -> dict[str, int]:
    """Place of each of our columns; other columns are the reviewer's own and stay unread."""
    words = [cell.strip().lower() for cell in cells]
    for name in COLUMNS:
        if words.count(name) > 1:
            raise _error("the column stands twice", "delete one of them", 1, name)
        if name not in words and name != "time":
            close = suggest(name, [word for word in words if word not in COLUMNS])
            raise _error("the column is missing", close or f"use the header {','.join(COLUMNS)}", 1, name)
    return {name: words.index(name) for name in COLUMNS if name in words}


def _named(header: dict[str, int], cells: list[str], number: int) -> dict[str, str]:
    if len(cells) < len(header) and len(cells) <= max(header.values()):
        raise _error(
            f"the row has {len(cells)} cells, the header more", "fill the row up with empty cells", number
        )
    return {name: cells[place].strip() if place < len(cells) else "" for name, place in header.items()}


def _decision(row: dict[str, str], number: int, event: Event) -> dict[str, object]:
    for name in ("key", "decision", "who", "when", "why"):
        if not row[name]:
            raise _error("the cell is empty", "say it, so that the decision can be followed", number, name)
    kinds = [kind.value for kind in DecisionKind]
    word = row["decision"].lower()
    if word not in kinds:
        raise _error(
            f'there is no decision "{row["decision"]}"',
            suggest(word, kinds) or "write keep, void or correct",
            number,
            "decision",
        )
    time = row.get("time", "")
    if (word == DecisionKind.CORRECT) != bool(time):
        raise _error(
            "correct needs a time" if not time else f'"{word}" takes no time',
            "write the right clock time" if not time else "empty the cell, or write correct",
            number,
            "time",
        )
    key, time = rearm(row["key"]), rearm(time)
    clock = key.startswith(CLOCK)
    if clock and word == DecisionKind.VOID:
        raise _error(
            "a clock cannot be void", "write correct with the seconds to add, or keep", number, "decision"
        )
    return {
        **{name: row[name] for name in ("who", "when", "why")},
        "key": key,
        "decision": word,
        "time": _instant(time, number, event) if time and not clock else None,
        "shift_us": _shift(time, number) if time and clock else None,
        "row": number,
    }


def _shift(text: str, number: int) -> int:
    """Seconds to add to a line's times, as whole microseconds."""
    try:
        seconds = float(text.removesuffix("s").strip().replace(",", ".").replace("\u2212", "-"))
    except ValueError:
        raise _error(
            f'"{text}" is no number of seconds',
            "write the seconds to add, such as +3600 or -2.98",
            number,
            "time",
        ) from None
    if not abs(seconds) <= LONGEST_SHIFT_S:
        raise _error(f'"{text}" seconds are more than two weeks', "write the seconds to add", number, "time")
    return round(seconds * 1e6)


def _instant(text: str, number: int, event: Event) -> dt.datetime:
    """ISO date-time with or without offset, or a clock time of the event, as UTC."""
    try:
        value = read_moment(text, event)
    except ValueError:
        raise _error(
            f'"{text}" is no time', "write 09:42:17.3 or 2026-05-17T09:42:17.3", number, "time"
        ) from None
    if value is None:
        problem = "comes twice or not at all in the zone of the event (the clocks are changed then)"
        raise _error(
            f'"{text}" {problem}', "write it with its offset, or with the letters of its zone", number, "time"
        )
    return value


def _without_repeats(rows: list[dict[str, object]]) -> list[dict[str, object]]:
    seen: dict[object, object] = {}
    for row in rows:
        if row["key"] in seen:
            raise _error(
                f"the key was decided on in row {seen[row['key']]} already",
                "keep one of the two",
                int(str(row["row"])),
                "key",
            )
        seen[row["key"]] = row["row"]
    return [{name: value for name, value in row.items() if name != "row"} for row in rows]


def apply_decisions(passings: pl.DataFrame, decisions: pl.DataFrame) -> Decided:
    """Voided passings left out, corrected ones and lines with the right time; nothing else is touched.

    ``passings`` and ``decisions`` keep their contracts.  Clocks are corrected first; a row may then be named by its key
    before or after that.  A decision whose key names no passing is reported with a remark; several passings of
    one key (copies of a row) share the decision.
    """
    clocks = decisions.filter(pl.col("key").str.starts_with(CLOCK))
    rows = decisions.filter(~pl.col("key").str.starts_with(CLOCK))
    moved = _with_right_clocks(passings, clocks)
    known = rows.select("key", "decision", "time")
    as_read = rows.select(key_read="key", decision_read="decision", time_read="time")
    marked = (
        moved.with_columns(key=row_key(), key_read=passings.select(key=row_key())["key"])
        .join(known, on="key", how="left", validate="m:1", maintain_order="left")
        .join(as_read, on="key_read", how="left", validate="m:1", maintain_order="left")
        .with_columns(
            pl.coalesce("time", "time_read").alias("time"),
            pl.coalesce("decision", "decision_read").alias("decision"),
            pl.when(pl.col("decision").is_not_null()).then("key").otherwise("key_read").alias("named"),
        )
    )
    counts = marked.group_by(key="named").agg(
        pl.len().alias("rows"), pl.col("key").first().alias("key_moved")
    )
    corrected = pl.col("decision") == DecisionKind.CORRECT.value
    right = [
        pl.when(corrected).then("time").otherwise(name).alias(name) for name in ("first", "strongest", "last")
    ]
    kept = marked.filter(pl.col("decision").ne_missing(pl.lit(DecisionKind.VOID.value))).with_columns(right)
    report = rows.join(counts, on="key", how="left", validate="1:1").with_columns(
        pl.coalesce("rows", pl.lit(0)).alias("rows"),
        _key_now().alias("key_now"),
        pl.when(pl.col("rows").is_null()).then(pl.lit(UNKNOWN_KEY)).alias("remark"),
    )
    told = pl.concat([report.drop("key_moved"), _clock_report(passings, clocks)], how="diagonal_relaxed")
    return Decided(kept.select(passings.columns), APPLIED.conform(told.sort("key")))


def clock_shifts(decisions: pl.DataFrame) -> dict[str, int]:
    """By line: microseconds that the reviewer's decisions add to its times.  ``decisions`` as loaded or as applied."""
    shifted = decisions.filter(pl.col("key").str.starts_with(CLOCK), pl.col("shift_us").is_not_null())
    return {key.removeprefix(CLOCK): shift for key, shift in shifted.select("key", "shift_us").iter_rows()}


def _with_right_clocks(passings: pl.DataFrame, clocks: pl.DataFrame) -> pl.DataFrame:
    shifts = clock_shifts(clocks)
    if not shifts:
        return passings
    by_line = pl.col("line").replace_strict(shifts, default=0, return_dtype=pl.Int64)
    shift = pl.duration(microseconds=pl.coalesce(by_line, pl.lit(0)))
    return passings.with_columns(pl.col("first", "strongest", "last") + shift)


def _clock_report(passings: pl.DataFrame, clocks: pl.DataFrame) -> pl.DataFrame:
    counts = passings.group_by(pl.lit(CLOCK) + pl.col("line")).len("rows").rename({"literal": "key"})
    return clocks.join(counts, on="key", how="left", validate="1:1").with_columns(
        pl.coalesce("rows", pl.lit(0)).alias("rows"),
        pl.col("key").alias("key_now"),
        pl.when(pl.col("rows").is_null()).then(pl.lit(UNKNOWN_LINE)).alias("remark"),
    )


def _key_now() -> pl.Expr:
    """The key that the row has after the decision and after its line's clock was corrected."""
    place = pl.col("key").str.replace(r"/[^/]*$", "")
    moved = pl.concat_str([place, pl.col("time").dt.strftime(KEY_TIME)], separator="/")
    return pl.coalesce(moved, "key_moved", "key")


def mark_decided(findings: pl.DataFrame, decided: Decided) -> pl.DataFrame:
    """``findings`` with ``decided`` filled where the row they label was decided on; same order."""
    words = decided.report.filter(pl.col("rows") > 0).select(
        key="key_now", word=pl.col("decision").cast(FINDINGS.schema["decided"])
    )
    # A corrected row may now bear the time, and so the key, of another that was decided on, too.
    words = words.group_by("key").agg(pl.col("word").last())
    return FINDINGS.check(
        findings.join(words, on="key", how="left", validate="m:1", maintain_order="left")
        .with_columns(decided=pl.coalesce("word", "decided"))
        .drop("word")
    )


def mark_corrected(crossings: pl.DataFrame, decided: Decided) -> pl.DataFrame:
    """``crossings`` with ``time_source`` *corrected* where the reviewer gave the time."""
    keys = decided.report.filter((pl.col("decision") == DecisionKind.CORRECT.value) & (pl.col("rows") > 0))
    by_hand = pl.col("key").is_in(keys["key_now"].to_list())
    source = pl.lit(TimeSource.CORRECTED.value, dtype=crossings.schema["time_source"])
    return crossings.with_columns(time_source=pl.when(by_hand).then(source).otherwise("time_source"))
