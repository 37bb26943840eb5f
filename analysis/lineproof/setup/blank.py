"""The blank record of an event: a row for each line and slot of the plan, and nothing that was not measured.

Only what the plan certainly says is filled in: line, place and slot numbers.  Roles, ports and widths stay
empty, because a box that is filled in before the work is never looked at.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path

from lineproof.event import Event, Line
from lineproof.setup.complaints import Complaints
from lineproof.setup.fields import LINE, LINE_FIELDS, MAT_FIELDS, PLACE
from lineproof.setup.loading import LINES_SHEET, MATS_SHEET, TEXT
from lineproof.setup.reading import read_rows
from lineproof.setup.register import Register
from lineproof.setup.workbook import Cells
from lineproof.vocabulary import ItemKind

_FILLED_IN = {"line", "place", "slot"}


def count_slots(line: Line, event: Event) -> int:
    """Mats that the planned width takes at one antenna per metre; 1 where no width is planned."""
    each = event.setting("mat_width_m") or 1.0
    return 1 if line.width_m is None else max(1, math.ceil(round(line.width_m / each, 6)))


def to_blank_rows(event: Event) -> tuple[list[Cells], list[Cells]]:
    """Rows of the blank record by our column names: lines, and slots."""
    lines: list[Cells] = [{"line": line.id, "place": event.point(line.point).name} for line in event.lines]
    mats: list[Cells] = [
        {"line": line.id, "slot": slot}
        for line in event.lines
        for slot in range(1, count_slots(line, event) + 1)
    ]
    return lines, mats


def to_item_lists(register: Register) -> Mapping[ItemKind, list[str]]:
    """Ids of the register that are in use, by kind: the words of the drop-downs."""
    frame = register.frame
    return {
        kind: [
            str(row["item"])
            for row in frame.iter_rows(named=True)
            if row["kind"] == kind.value and row["retired"] is None
        ]
        for kind in ItemKind
    }


def is_filled_in(path: Path) -> bool:
    """Whether somebody wrote anything into a record; one that cannot be read is taken for filled in."""
    complaints = Complaints()
    if path.name == TEXT:
        tables = [read_rows(path, (LINE, PLACE, *LINE_FIELDS, *MAT_FIELDS), None, complaints)]
    else:
        tables = [
            read_rows(path, (LINE, PLACE, *LINE_FIELDS), None, complaints, sheet=LINES_SHEET),
            read_rows(path, (LINE, *MAT_FIELDS), None, complaints, sheet=MATS_SHEET),
        ]
    written = any(
        text
        for rows, _ in tables
        for row in rows
        for name, text in row.texts.items()
        if name not in _FILLED_IN
    )
    return written or bool(complaints.found)
