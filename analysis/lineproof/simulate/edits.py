"""Faults that come into being in the export: rows twice, starts filled in, times typed in, words for "not known"."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from lineproof.simulate.cases import Case
from lineproof.simulate.plan import FaultKind
from lineproof.simulate.runners import Ints
from lineproof.simulate.running import SimulatedEvent
from lineproof.vocabulary import PointKind

PLACEHOLDERS = ("1970-01-01 00:00:00", "00:00:00", "9999")  # as programs write "not known"
FIRST_TIME = ("time", "first")  # what a placeholder replaces in a long table


@dataclass(slots=True)
class Sheet:
    """An export in the making.  ``overlay`` holds texts that stand instead of a cell; rows count from 0."""

    frame: pl.DataFrame
    sim: SimulatedEvent
    wide: bool
    rng: np.random.Generator
    overlay: dict[tuple[int, str], str] = field(default_factory=dict)
    cases: list[Case] = field(default_factory=list)

    def seconds(self, time: dt.datetime) -> float:
        return (time - self.sim.plan.gun).total_seconds()

    def draw(self, rows: Ints, count: int) -> list[int]:
        if len(rows) < count:
            raise ValueError(f"{self.sim.plan.id}: an edit needs {count} rows, {len(rows)} fit")
        return sorted(int(row) for row in self.rng.permutation(rows)[:count])

    def replace_time(self, row: int, column: str, time: dt.datetime) -> None:
        cell = pl.lit(time).cast(pl.Datetime("us", "UTC"))
        here = pl.int_range(pl.len()) == row
        self.frame = self.frame.with_columns(pl.when(here).then(cell).otherwise(column).alias(column))


def make_edits(sheet: Sheet, edits: tuple[tuple[FaultKind, int], ...]) -> None:
    """Make the edits in the order given; rows that come twice must be made first."""
    for kind, count in edits:
        EDITS[kind](sheet, count)


def _double(sheet: Sheet, count: int) -> None:
    drawn = sheet.draw(np.arange(sheet.frame.height), count)
    numbered = sheet.frame.with_row_index("at")
    twice = pl.concat([numbered, numbered[drawn]]).sort("at", maintain_order=True)
    sheet.frame = twice.drop("at")
    for nth, original in enumerate(drawn):
        row = original + nth + 1
        record = sheet.frame.row(row, named=True)
        time = next(record[name] for name in FIRST_TIME if name in record)
        sheet.cases.append(
            Case(
                FaultKind.DUPLICATE_ROWS,
                runner=record.get("bib"),
                tag=record.get("tag"),
                point=record.get("point"),
                line=record.get("line"),
                begin_s=sheet.seconds(time),
                detail="the row above stands here again; the time is the exported one",
                row=row,
            )
        )


def _fill_starts(sheet: Sheet, count: int) -> None:
    """Every start that is missing gets the gun of the wave; ``count`` is the least number to be filled."""
    start = next(point.id for point in sheet.sim.event.points if point.kind is PointKind.START)
    guns = {wave.id: wave.gun for wave in sheet.sim.event.waves}
    empty = np.flatnonzero(sheet.frame[start].is_null().to_numpy())
    if len(empty) < count:
        raise ValueError(f"{sheet.sim.plan.id}: {len(empty)} starts are missing, not {count}")
    gun = pl.col("wave").replace_strict(guns, return_dtype=pl.Datetime("us", "UTC"))
    crossings = sheet.sim.truth.crossings.filter(pl.col("crossed") & (pl.col("order") == 0))
    true = dict(crossings.select("runner", "time").iter_rows())
    for row in empty:
        record = sheet.frame.row(int(row), named=True)
        filled = guns[record["wave"]]
        assert filled is not None
        late = true.get(record["bib"], filled) - filled
        sheet.cases.append(
            Case(
                FaultKind.FILLED_START,
                runner=record["bib"],
                point=start,
                order=0,
                begin_s=sheet.seconds(filled),
                value=late.total_seconds(),
                detail="not read at the start; the gun stands there (value: seconds from gun to start line)",
                row=int(row),
                column=start,
            )
        )
    sheet.frame = sheet.frame.with_columns(pl.coalesce(start, gun).alias(start))


def _mistype(sheet: Sheet, count: int) -> None:
    """A split typed in by hand, later than the next one of the same runner."""
    points = [point.id for point in sheet.sim.event.points]
    middle = len(points) // 2
    here, after = points[middle], points[middle + 1]
    if sheet.wide:
        fits = np.flatnonzero((sheet.frame[here].is_not_null() & sheet.frame[after].is_not_null()).to_numpy())
        rows = [(row, here, sheet.frame[after][row]) for row in sheet.draw(fits, count)]
    else:
        later = dict(sheet.frame.filter(pl.col("point") == after).select("bib", "time").iter_rows())
        known = sheet.frame["bib"].is_in(list(later)) & (sheet.frame["point"] == here)
        drawn = sheet.draw(np.flatnonzero(known.to_numpy()), count)
        rows = [(row, "time", later[sheet.frame["bib"][row]]) for row in drawn]
    for row, column, next_time in rows:
        wrong = next_time + dt.timedelta(seconds=60 + int(sheet.rng.integers(0, 240)))
        sheet.replace_time(row, column, wrong)
        sheet.cases.append(
            Case(
                FaultKind.OUT_OF_ORDER,
                runner=sheet.frame["bib"][row],
                point=here,
                begin_s=sheet.seconds(wrong),
                detail=f"typed in later than the time at {after}",
                row=row,
                column=column,
            )
        )


def _placeholders(sheet: Sheet, count: int) -> None:
    points = [point.id for point in sheet.sim.event.points if point.kind is PointKind.SPLIT]
    column = next((name for name in FIRST_TIME if name in sheet.frame.columns), "")
    marked = {case.row for case in sheet.cases}
    free = np.array([row for row in range(sheet.frame.height) if row not in marked])
    for nth, row in enumerate(sheet.draw(free, count)):
        where = points[nth % len(points)] if sheet.wide else column
        record = sheet.frame.row(row, named=True)
        text = PLACEHOLDERS[nth % len(PLACEHOLDERS)]
        sheet.overlay[row, where] = text
        sheet.cases.append(
            Case(
                FaultKind.SENTINEL,
                runner=record.get("bib"),
                tag=record.get("tag"),
                point=where if sheet.wide else record.get("point"),
                line=record.get("line"),
                detail=text,
                row=row,
                column=where,
            )
        )


EDITS: dict[FaultKind, Callable[[Sheet, int], None]] = {
    FaultKind.DUPLICATE_ROWS: _double,
    FaultKind.FILLED_START: _fill_starts,
    FaultKind.OUT_OF_ORDER: _mistype,
    FaultKind.SENTINEL: _placeholders,
}
