"""A set-up record as one CSV: one row for each slot, the facts of a line on its first row.

One file holds all of it, so that neither half can be left behind, and it is tidy enough to read at a glance:
a line's facts are written once and never contradict themselves.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from lineproof.formulas import disarm
from lineproof.setup.fields import LINE, LINE_FIELDS, MAT_FIELDS, PLACE, Field
from lineproof.setup.workbook import Cell, Cells

_FIELDS: tuple[Field, ...] = (LINE, PLACE, *MAT_FIELDS, *LINE_FIELDS)


def write_record_text(
    path: Path, lines: Sequence[Cells], mats: Sequence[Cells], delimiter: str = ",", decimal: str = "."
) -> None:
    """Write a record as CSV in UTF-8 with a byte order mark, by which a spreadsheet knows it."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, delimiter=delimiter, lineterminator="\n")
    writer.writerow([field.header for field in _FIELDS])
    for row in _joined(lines, mats):
        writer.writerow([_shown(row.get(field.name), decimal) for field in _FIELDS])
    path.write_text(stream.getvalue(), encoding="utf-8-sig", newline="\n")


def _joined(lines: Sequence[Cells], mats: Sequence[Cells]) -> Iterator[Mapping[str, Cell]]:
    for line in lines:
        mine = [mat for mat in mats if mat.get("line") == line.get("line")]
        yield {**line, **(mine[0] if mine else {})}
        yield from mine[1:]


def _shown(cell: Cell, decimal: str) -> str:
    if cell is None:
        return ""
    if isinstance(cell, dt.time):
        return cell.isoformat(timespec="seconds" if cell.second else "minutes")
    if isinstance(cell, str):
        return disarm(cell)
    return f"{cell:g}".replace(".", decimal)
