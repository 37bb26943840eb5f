"""What people saw on the camera: outcomes of look-ups and counted minutes of the audit, read back.

The forms are ``lookups.csv`` and ``audit.csv`` of a review, whose last columns are empty.  Filled in and saved in the
event folder under a name that begins with ``sightings`` (``sightings.csv``, ``sightings-audit.xlsx`` …) they
are read at the next review.  A row without an outcome and without counts is a row that nobody has come to yet.
Nothing in the exports is changed, and taking a word back is emptying its cell.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.camera_tables import MINUTES, SIGHTINGS
from lineproof.errors import EventError
from lineproof.event import Event, FileLayout, read_moment, suggest
from lineproof.formulas import rearm
from lineproof.intake.files import relative_name
from lineproof.intake.opening import open_table
from lineproof.intake.raw import RawTable, normal
from lineproof.vocabulary import Outcome

PATTERN = "sightings*"
SUFFIXES = (".csv", ".txt", ".tsv", ".xlsx", ".xlsm", ".xls", ".ods")
WHO = ("runner", "bib")
LOOKED = ("point", "outcome", "time_seen", "who", "when")
COUNTED = ("point", "begin", "crossed", "missed")
OTHERS = ("visit", "note", "stratum", "stratum_minutes", "flow", "seed")
WORDS = (*WHO, *LOOKED, *COUNTED, *OTHERS)

Cells = Mapping[str, str]
Found = dict[tuple[object, object], dict[str, object]]


@dataclass(frozen=True, slots=True)
class Sightings:
    """``outcomes`` keeps SIGHTINGS, ``minutes`` keeps MINUTES."""

    outcomes: pl.DataFrame
    minutes: pl.DataFrame


@dataclass(frozen=True, slots=True)
class _Row:
    """One row of a file, with the error that names it."""

    cells: Cells
    file: str
    number: int

    def get(self, name: str) -> str:
        return self.cells.get(name, "")

    def wrong(self, column: str, problem: str, todo: str) -> EventError:
        return EventError(problem, todo=todo, file=self.file, row=self.number, column=column)


def load_sightings(event: Event, entries: pl.DataFrame, work: Path) -> Sightings:
    """Everything that was filled in, sorted; empty where there is no such file.

    ``work`` is a directory for scratch files.  Raises ``EventError`` naming row and column of the first cell that
    cannot be followed, ``InputError`` where a file cannot be read.
    """
    known = _Known(event, entries)
    outcomes: Found = {}
    minutes: Found = {}
    for row in _rows(event, work):
        if row.get("outcome") or row.get("time_seen"):
            found = known.outcome(row)
            _add(outcomes, (found["runner"], found["order"]), found, row)
        elif row.get("begin"):
            found = known.minute(row)
            _add(minutes, (found["point"], found["begin"]), found, row)
        elif row.get("crossed") or row.get("missed"):
            raise row.wrong("begin", "the counts name no minute", "write when the minute begins")
    return Sightings(
        SIGHTINGS.check(SIGHTINGS.shape_rows(list(outcomes.values()))).sort("runner", "order"),
        MINUTES.check(MINUTES.shape_rows(list(minutes.values()))).sort("point", "begin"),
    )


def sighting_files(folder: Path) -> list[Path]:
    """The filled-in forms of an event folder, sorted by name."""
    found = (path for path in folder.glob(PATTERN) if path.suffix.casefold() in SUFFIXES)
    return sorted(path for path in found if path.is_file())


def _rows(event: Event, work: Path) -> Iterator[_Row]:
    for number, path in enumerate(sighting_files(event.folder)):
        layout = FileLayout(path.name, {})
        name = relative_name(path, event.folder)
        table = open_table(path, name, layout, WORDS, work / f"sightings{number}")
        places = _places(table)
        for cells in table.scan().collect().sort("row").iter_rows(named=True):
            if cells["trouble"] is not None:
                raise EventError(cells["trouble"], todo="mend the row", file=name, row=cells["row"])
            given = {ours: (cells[f"c{place}"] or "").strip() for ours, place in places.items()}
            yield _Row(given, name, cells["row"])


def _places(table: RawTable) -> dict[str, int]:
    """Place of each of our columns; others are the reviewer's own and stay unread."""
    words = [normal(word).replace(" ", "_") for word in table.headers]
    for name in WORDS:
        if words.count(name) > 1:
            raise EventError(
                "the column stands twice", todo="delete one of them", file=table.file,
                row=table.header_row or None, column=name,
            )  # fmt: skip
    found = {name: words.index(name) for name in WORDS if name in words}
    looked, counted = set(LOOKED) & set(found), set(COUNTED) & set(found)
    wanted = COUNTED if "crossed" in counted and "outcome" not in looked else LOOKED
    lacking = [name for name in wanted if name not in found]
    if wanted == LOOKED and not set(WHO) & set(found):
        lacking = [*lacking, "bib"]
    if lacking:
        close = suggest(lacking[0], [word for word in words if word and word not in WORDS])
        raise EventError(
            "the column is missing",
            todo=close or "fill in a copy of lookups.csv or of audit.csv",
            file=table.file,
            row=table.header_row or None,
            column=lacking[0],
        )
    return found


def _add(before: Found, key: tuple[object, object], found: dict[str, object], row: _Row) -> None:
    same = before.setdefault(key, found)
    if same is not found:
        where = f"row {same['row']}" + ("" if same["file"] == row.file else f" of {same['file']}")
        what = "the runner was looked for there" if "outcome" in found else "the minute was counted"
        column = "outcome" if "outcome" in found else "begin"
        raise row.wrong(column, f"{what} in {where} already", "keep one of the two rows")


class _Known:
    """The runners, points and visits that a row may name."""

    def __init__(self, event: Event, entries: pl.DataFrame) -> None:
        self.event = event
        self.course = dict(entries.select("runner", "course").iter_rows())
        self.by_bib = {b: r for r, b in entries.select("runner", "bib").iter_rows() if b is not None}
        self.without_zeros = _without_zeros(self.by_bib) | _without_zeros({r: r for r in self.course})
        named = {normal(point.name): point.id for point in event.points}
        self.points = named | {normal(point.id): point.id for point in event.points}

    def outcome(self, row: _Row) -> dict[str, object]:
        runner = self.runner(row)
        point = self.point(row)
        word = self.word(row)
        for name in ("who", "when"):
            if not row.get(name):
                raise row.wrong(name, "the cell is empty", "say it, so that the sighting can be followed")
        seen = word is Outcome.SEEN
        if seen != bool(row.get("time_seen")):
            raise row.wrong(
                "time_seen",
                "a runner who was seen needs the time" if seen else f'"{word}" takes no time',
                "write the clock time on the camera" if seen else "empty the cell, or write seen",
            )
        return {
            "runner": runner,
            "course": self.course[runner],
            "point": point,
            "order": self.order(row, runner, point),
            "outcome": word.value,
            "time": self.instant(row, "time_seen") if seen else None,
            "who": row.get("who"),
            "when": row.get("when"),
            "note": row.get("note") or None,
            "file": row.file,
            "row": row.number,
        }

    def minute(self, row: _Row) -> dict[str, object]:
        crossed, missed = self.count(row, "crossed"), self.count(row, "missed")
        if (crossed is None) != (missed is None):
            empty = "crossed" if crossed is None else "missed"
            raise row.wrong(empty, "one of the two counts is missing", "write 0 where there was nobody")
        if crossed is not None and missed is not None and missed > crossed:
            raise row.wrong(
                "missed", f"{missed} missed of {crossed} who crossed is too many", "correct the two counts"
            )
        design = ("stratum", "stratum_minutes", "flow", "seed")
        return {
            "point": self.point(row),
            "begin": self.instant(row, "begin"),
            "crossed": crossed,
            "missed": missed,
            **{name: self.count(row, name) for name in design},
            "file": row.file,
            "row": row.number,
        }

    def runner(self, row: _Row) -> str:
        given = {name: rearm(row.get(name)) for name in WHO if row.get(name)}
        if not given:
            raise row.wrong(
                "bib", "the row names no runner", "write the bib, or the runner as in lookups.csv"
            )
        found = []
        for name, word in given.items():
            runner = (self.by_bib.get(word) if name == "bib" else None) or (
                word if word in self.course else None
            )
            runner = runner or self.without_zeros.get(word)
            if runner is None:
                known = self.by_bib if name == "bib" and self.by_bib else self.course
                raise row.wrong(
                    name,
                    f'nobody is entered under "{word}"',
                    suggest(word, known) or "write it as it stands in the start list",
                )
            found.append(runner)
        if len(set(found)) > 1:
            raise row.wrong(
                "bib", "runner and bib of this row are two different people", "correct one of them"
            )
        return found[0]

    def point(self, row: _Row) -> str:
        word = row.get("point")
        found = self.points.get(normal(word))
        if found is None:
            problem = f'there is no timing point "{word}"' if word else "the cell is empty"
            todo = suggest(word, [p.id for p in self.event.points]) if word else ""
            raise row.wrong(
                "point", problem, todo or f"the points are {', '.join(p.id for p in self.event.points)}"
            )
        return found

    def word(self, row: _Row) -> Outcome:
        text = row.get("outcome")
        plain = normal(text.replace("_", " ").replace("-", " "))
        words = [outcome.value for outcome in Outcome]
        if plain not in words:
            problem = (
                f'there is no outcome "{text}"'
                if text
                else "the cell is empty, though a time stands beside it"
            )
            raise row.wrong("outcome", problem, suggest(plain, words) or "write seen, not there or unclear")
        return Outcome(plain)

    def order(self, row: _Row, runner: str, point: str) -> int:
        stops = [v for v in self.event.course(self.course[runner]).visits if v.point == point]
        if not stops:
            raise row.wrong(
                "point", f'the runner\'s course does not pass "{point}"', "correct the point or the runner"
            )
        stated = self.count(row, "visit")
        if stated is None and len(stops) > 1:
            raise row.wrong(
                "visit",
                f'the course passes "{point}" {len(stops)} times',
                f"write which, from 1 to {len(stops)}",
            )
        visit = stated or 1
        if visit > len(stops):
            raise row.wrong("visit", f'there is no visit {visit} of "{point}"', f"write 1 to {len(stops)}")
        return stops[visit - 1].order

    def count(self, row: _Row, name: str) -> int | None:
        text = row.get(name)
        if not text:
            return None
        whole = text.removesuffix(".0").removesuffix(",0")
        if not (whole.isascii() and whole.isdigit()):
            raise row.wrong(name, f'"{text}" is no whole number', "write digits only")
        return int(whole)

    def instant(self, row: _Row, name: str) -> dt.datetime:
        """ISO date-time with or without offset, or a clock time of the event, as UTC."""
        text = row.get(name).replace(",", ".")
        try:
            value = read_moment(text, self.event)
        except ValueError:
            raise row.wrong(name, f'"{text}" is no time', "write 10:42:17 or 2026-05-17T10:42:17") from None
        if value is None:
            raise row.wrong(
                name,
                f'"{text}" comes twice or not at all in the zone of the event (the clocks are changed then)',
                "write it with its date and offset, or with the letters of its zone",
            )
        if not self.event.opens <= value <= self.event.closes:
            raise row.wrong(
                name, f'"{text}" lies outside of the event', "correct the time, or write it with its date"
            )
        return value


def _without_zeros(named: Mapping[str, str]) -> dict[str, str]:
    """Ids as a spreadsheet leaves them when it takes them for numbers, where they name one runner only."""
    found: dict[str, set[str]] = {}
    for word, runner in named.items():
        found.setdefault(word.lstrip("0"), set()).add(runner)
    return {word: runners.pop() for word, runners in found.items() if word and len(runners) == 1}
