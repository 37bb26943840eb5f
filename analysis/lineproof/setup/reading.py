"""Opens a record or register and hands out its rows, each cell read by the kind of its column.

Workbooks and text tables are opened as every export is: any encoding, any delimiter, a title block above the
header.  A cell that cannot be read is said and left out; its row stays.
"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from lineproof.errors import LineproofError
from lineproof.event import FileLayout, suggest
from lineproof.formulas import rearm
from lineproof.intake.opening import open_table
from lineproof.intake.raw import RawTable, normal
from lineproof.setup.cells import Clock, Value, Wrong, read_cell
from lineproof.setup.complaints import Complaints, Row
from lineproof.setup.fields import Field


@dataclass(frozen=True, slots=True)
class Source:
    """One table that was read."""

    file: str
    sheet: str
    sha256: str
    rows: int


def read_rows(
    path: Path,
    fields: Sequence[Field],
    clock: Clock | None,
    complaints: Complaints,
    *,
    sheet: str = "",
    needed: Sequence[str] = (),
) -> tuple[list[Row], Source | None]:
    """The rows of one table (None: it cannot be read at all).

    ``needed`` are columns without which no row means anything.  Nothing is raised: what is wrong is said.
    """
    file = path.name
    layout = FileLayout(files=file, columns={}, sheet=sheet or None)
    wanted = [word for field in fields for word in _words(field)]
    with tempfile.TemporaryDirectory(prefix="lineproof-", ignore_cleanup_errors=True) as work:
        try:
            table = open_table(path, file, layout, wanted, Path(work) / "record")
        except LineproofError as error:
            complaints.say_error(error, file, sheet)
            return [], None
        columns = _find_columns(table, fields, complaints, sheet)
        lacking = [field.header for field in fields if field.name in needed and field.name not in columns]
        if lacking:
            todo = f"the columns are {', '.join(word for word in table.headers[:8] if word)}"
            for header in lacking:
                complaints.say_of_file(f'there is no column "{header}"', todo, file, sheet)
            return [], None
        frame = table.scan().collect().sort("row")
    rows = [
        row
        for cells in frame.iter_rows()
        if (row := _read_row(cells, file, sheet, table, columns, complaints, clock)) is not None
    ]
    if not rows:
        complaints.say_of_file(
            "there is no row below the header", "fill it in", file, sheet, row=table.header_row or None
        )
    return rows, Source(file, sheet, table.sha256, len(rows))


def _words(field: Field) -> tuple[str, ...]:
    return field.header, field.question, field.name


def _find_columns(
    table: RawTable, fields: Sequence[Field], complaints: Complaints, sheet: str
) -> dict[str, tuple[int, Field]]:
    """Our columns with their place; unknown and repeated headers are said."""
    by_word = {normal(word): field for field in fields for word in _words(field)}
    found: dict[str, tuple[int, Field]] = {}
    for place, header in enumerate(table.headers):
        field = by_word.get(normal(header))
        where = (table.file, sheet)
        if field is None and header.strip():
            hint = suggest(header, [f.header for f in fields]) or suggest(
                header, [f.question for f in fields]
            )
            complaints.say_of_file(
                "no column of the record has this header, so it is not read",
                hint or "take it out, or use a header of the blank record",
                *where,
                row=table.header_row or None,
                column=header,
            )
        elif field is not None and field.name in found:
            complaints.say_of_file(
                "the header stands twice, and only the first column is read",
                "delete one of them",
                *where,
                row=table.header_row or None,
                column=header,
            )
        elif field is not None:
            found[field.name] = (place, field)
    return found


def _read_row(
    cells: tuple[object, ...],
    file: str,
    sheet: str,
    table: RawTable,
    columns: dict[str, tuple[int, Field]],
    complaints: Complaints,
    clock: Clock | None,
) -> Row | None:
    """None for a blank row."""
    number, *texts, trouble = cells
    headers = {name: table.headers[place] for name, (place, _) in columns.items()}
    row = Row(file, sheet, int(str(number)), headers)
    if trouble is not None:
        complaints.say(row, None, str(trouble), "mend the row; nothing of it counts")
        return None
    shown = {name: _plain(texts[place]) for name, (place, _) in columns.items()}
    if not any(shown.values()):
        return None
    row.texts = shown
    wrong: list[tuple[str, Wrong]] = []
    for name, (_, field) in columns.items():
        value: Value | Wrong | None = read_cell(field, shown[name], clock)
        if isinstance(value, Wrong):
            wrong.append((name, value))
        elif value is not None:
            row.values[name] = value
    for name, reason in wrong:
        complaints.say(row, name, reason.problem, reason.todo)
    return row


def _plain(cell: object) -> str:
    """A cell without outer blanks, and without the apostrophe that keeps a spreadsheet from running it."""
    text = "" if cell is None else str(cell).strip()
    return rearm(text)
