"""The set-up record of an event: what was really laid, by line and by slot, with everything that is wrong in it.

The record is ``setup.xlsx`` with the sheets *Lines* and *Mats*, or ``setup.csv`` with one row for each slot
and the facts of a line on its first row: one file, so that half of a record cannot be left in the van.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.contracts import Table
from lineproof.event import Event
from lineproof.setup.against_plan import compare_with_plan
from lineproof.setup.against_register import compare_with_register
from lineproof.setup.cells import Clock, to_clock
from lineproof.setup.complaints import Complaints, Row, to_complaint_frame
from lineproof.setup.contradictions import find_contradictions
from lineproof.setup.fields import LINE, LINE_FIELDS, MAT_FIELDS, PLACE
from lineproof.setup.reading import Source, read_rows
from lineproof.setup.record import Record, split_joined, to_record
from lineproof.setup.register import Register, read_register
from lineproof.setup_tables import LAID_LINES, LAID_MATS

WORKBOOK, TEXT = "setup.xlsx", "setup.csv"
LINES_SHEET, MATS_SHEET = "Lines", "Mats"


@dataclass(frozen=True, slots=True)
class Setup:
    """LAID_LINES, LAID_MATS, COMPLAINTS and EQUIPMENT; ``sources`` is empty where there is no record."""

    lines: pl.DataFrame
    mats: pl.DataFrame
    complaints: pl.DataFrame
    equipment: pl.DataFrame
    sources: tuple[Source, ...]


def load_setup(event: Event) -> Setup:
    """Read the record in the event folder and hold it against itself, the plan and the register.

    Nothing is raised: what is wrong is in ``complaints``, and what is right counts.
    """
    complaints = Complaints()
    register = read_register(event.folder, complaints)
    clock = to_clock(event)
    path = _record_path(event.folder, complaints)
    sources: list[Source] = []
    record = Record(event, (), (), complaints)
    if path is not None:
        line_rows, mat_rows, sources = _read(path, clock, complaints)
        record = to_record(event, line_rows, mat_rows, complaints)
    if sources:
        judge_record(record, register)
    return Setup(
        _to_frame(LAID_LINES, record.lines, {}),
        _to_frame(LAID_MATS, record.mats, {"notes": "mat_notes"}),
        to_complaint_frame(complaints.found),
        register.frame,
        tuple(sources),
    )


def judge_record(record: Record, register: Register) -> None:
    """Everything that can be wrong with a record as a whole; the register last, on ids that still count."""
    compare_with_register(record, register)
    find_contradictions(record)
    compare_with_plan(record)


def _record_path(folder: Path, complaints: Complaints) -> Path | None:
    there = [folder / name for name in (WORKBOOK, TEXT) if (folder / name).is_file()]
    if len(there) > 1:
        complaints.say_of_file(
            f"there is {WORKBOOK} beside it, and only that one is read", "keep one of the two", TEXT
        )
    return there[0] if there else None


def _read(path: Path, clock: Clock, complaints: Complaints) -> tuple[list[Row], list[Row], list[Source]]:
    if path.name == TEXT:
        fields = (LINE, PLACE, *LINE_FIELDS, *MAT_FIELDS)
        rows, source = read_rows(path, fields, clock, complaints, needed=("line",))
        lines, mats = split_joined(rows, complaints)
        return lines, mats, [source] if source else []
    lines, of_lines = read_rows(
        path, (LINE, PLACE, *LINE_FIELDS), clock, complaints, sheet=LINES_SHEET, needed=("line",)
    )
    mats, of_mats = read_rows(
        path, (LINE, *MAT_FIELDS), clock, complaints, sheet=MATS_SHEET, needed=("line", "slot")
    )
    return lines, mats, [source for source in (of_lines, of_mats) if source]


def _to_frame(table: Table, rows: Sequence[Row], renamed: Mapping[str, str]) -> pl.DataFrame:
    shown: list[dict[str, object]] = []
    for row in rows:
        where: dict[str, object] = {"file": row.file, "sheet": row.sheet, "row": row.row}
        facts = {name: row.values.get(renamed.get(name, name)) for name in table.columns if name not in where}
        shown.append({**facts, **where})
    return table.check(table.shape_rows(shown))
