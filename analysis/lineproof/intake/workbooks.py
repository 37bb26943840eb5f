"""Excel and OpenDocument workbooks into raw tables: what the cell holds, as text that loses nothing.

Texts stay texts (leading zeros and all), whole numbers lose their ``.0``, dates and times are written
in ISO order, durations as ``h:mm:ss``.  A spreadsheet shows a duration over 24 hours in a time-of-day
format as a date in January 1900; such cells become durations again, unless their column holds real dates.
"""

from __future__ import annotations

import datetime as dt
import math
import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import python_calamine as calamine

from lineproof.errors import InputError
from lineproof.event import FileLayout
from lineproof.intake.files import Stamp, stamp
from lineproof.intake.raw import HEADER_DEPTH, PartWriter, RawTable, find_header, normal, numbered_headers
from lineproof.intake.workbook_size import MOST_CELLS, find_spread

UNPACKED_LIMIT = 1 << 30  # bytes; a million rows of ten columns unpack to about half of it
_DAY_ZERO = dt.datetime(1899, 12, 31)  # noqa: DTZ001  a spreadsheet's serial number 0, no zone
_REAL_DATES = 1905  # first year taken for a date; below, a spreadsheet shows durations


def load_workbook(
    path: Path, name: str, layout: FileLayout, wanted: Iterable[str], stem: Path
) -> tuple[RawTable, Stamp]:
    """Read the sheet ``layout.sheet``, or the sheet that holds most of the wanted headers.

    Raises ``InputError`` for damaged, encrypted or absurdly large workbooks and missing sheets.
    """
    before = stamp(path)
    book = _open(path)
    wanted = list(wanted)
    sheet, rows = _choose(book, layout, wanted, path)
    while rows and not any(_text(cell, dt_as_duration=False).strip() for cell in rows[-1]):
        rows.pop()
    if not rows:
        raise InputError(f'the sheet "{sheet}" is empty', todo="name another with sheet = …", file=path)
    at = _header_line(rows, layout, wanted, path)
    headers = _headers(rows, at)
    writer = PartWriter(stem, len(headers))
    durations = [_holds_durations(rows[at + 1 :], i) for i in range(max(len(row) for row in rows))]
    for number, row in enumerate(rows[at + 1 :], start=at + 2):
        writer.add(number, [_text(c, dt_as_duration=d) for c, d in zip(row, durations, strict=False)], None)
    remarks = _remarks(book, layout, sheet, rows, at)
    shown = layout.sheet or ""
    return RawTable(name, shown, headers, at + 1, writer.close(), before.sha256, None, remarks), before


def _open(path: Path) -> calamine.CalamineWorkbook:
    try:
        with zipfile.ZipFile(path) as archive:
            size = sum(part.file_size for part in archive.infolist())
    except (zipfile.BadZipFile, OSError, NotImplementedError, ValueError):
        size = 0
    if size > UNPACKED_LIMIT:
        raise InputError(
            f"the workbook unpacks to {size / 2**30:.1f} GiB, too much for a sheet of results",
            todo="export it as CSV",
            file=path,
        )
    spread = find_spread(path)
    if spread > MOST_CELLS:
        raise InputError(
            f"a sheet of the workbook spreads out to {spread:,} cells, too many for results",
            todo="delete what stands far below or far right of the table, or export it as CSV",
            file=path,
        )
    try:
        return calamine.CalamineWorkbook.from_path(str(path))
    except calamine.PasswordError:
        raise InputError(
            "the workbook is protected by a password", todo="save it without", file=path
        ) from None
    except (calamine.CalamineError, OSError, ValueError) as problem:
        if path.read_bytes()[:4] == b"\xd0\xcf\x11\xe0" and path.suffix.casefold() != ".xls":
            raise InputError(
                "the workbook is encrypted", todo="save it without a password", file=path
            ) from None
        what = str(problem).splitlines()[0] if str(problem) else type(problem).__name__
        raise InputError(
            f"the workbook cannot be opened ({what})", todo="save it again as .xlsx or as CSV", file=path
        ) from None


def _rows(book: calamine.CalamineWorkbook, sheet: str, path: Path) -> list[list[Any]]:
    try:
        return book.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
    except (calamine.CalamineError, OSError, ValueError) as problem:
        raise InputError(
            f'the sheet "{sheet}" cannot be read ({problem})', todo="save it as CSV", file=path
        ) from None


def _choose(
    book: calamine.CalamineWorkbook, layout: FileLayout, wanted: list[str], path: Path
) -> tuple[str, list[list[Any]]]:
    names = list(book.sheet_names)
    if layout.sheet is not None:
        for name in names:
            if normal(name) == normal(layout.sheet):
                return name, _rows(book, name, path)
        raise InputError(
            f'there is no sheet "{layout.sheet}"', todo=f"the sheets are {', '.join(names)}", file=path
        )
    tables = [(name, _rows(book, name, path)) for name in names]
    if not any(rows for _, rows in tables):
        raise InputError("the workbook is empty", todo="export it again", file=path)
    words = {normal(word) for word in wanted}

    def score(table: tuple[str, list[list[Any]]]) -> int:
        head = [{normal(str(cell)) for cell in row} for row in table[1][:HEADER_DEPTH]]
        return max((len(words & row) for row in head), default=0)

    return max(tables, key=lambda table: (score(table), bool(table[1])))


def _header_line(rows: list[list[Any]], layout: FileLayout, wanted: list[str], path: Path) -> int:
    if layout.header_row is None:
        return find_header([[str(cell) for cell in row] for row in rows[:HEADER_DEPTH]], wanted)
    if layout.header_row > len(rows):
        raise InputError(
            f"the sheet has no row {layout.header_row} for a header", todo="mend header_row", file=path
        )
    return layout.header_row - 1


def _headers(rows: Sequence[Sequence[Any]], at: int) -> tuple[str, ...]:
    if at < 0:
        return numbered_headers(max(len(row) for row in rows))
    cells = [_text(cell, dt_as_duration=False).strip() for cell in rows[at]]
    while len(cells) > 1 and not cells[-1]:
        cells.pop()
    return tuple(cells)


def _holds_durations(rows: Sequence[Sequence[Any]], column: int) -> bool:
    """Whether early dates of a column are durations: it holds no real date."""
    days = [row[column] for row in rows if len(row) > column and isinstance(row[column], dt.date)]
    return bool(days) and all(day.year < _REAL_DATES for day in days)


def _text(cell: Any, dt_as_duration: bool) -> str:
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return _number_text(cell)
    if isinstance(cell, dt.datetime):
        return _duration_text(cell - _DAY_ZERO) if dt_as_duration else _moment_text(cell)
    if isinstance(cell, dt.date):
        moment = dt.datetime.combine(cell, dt.time())
        return _duration_text(moment - _DAY_ZERO) if dt_as_duration else cell.isoformat()
    if isinstance(cell, dt.time):
        return cell.isoformat(timespec="microseconds")
    if isinstance(cell, dt.timedelta):
        return _duration_text(cell)
    return str(cell)


def _number_text(value: float) -> str:
    if not math.isfinite(value):
        return str(value)
    if value == int(value) and abs(value) < 2**53:
        return str(int(value))
    if abs(value) >= 2**53:
        return f"{value:E}".replace("E+0", "E+")
    return f"{value:.6f}".rstrip("0").rstrip(".")


def _moment_text(moment: dt.datetime) -> str:
    return moment.isoformat(sep=" ", timespec="microseconds")


def _duration_text(length: dt.timedelta) -> str:
    micros = round(length / dt.timedelta(microseconds=1))
    seconds, fraction = divmod(abs(micros), 1_000_000)
    sign = "-" if micros < 0 else ""
    return f"{sign}{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}.{fraction:06}"


def _remarks(
    book: calamine.CalamineWorkbook, layout: FileLayout, sheet: str, rows: Sequence[Sequence[Any]], at: int
) -> tuple[str, ...]:
    said = []
    if layout.sheet is None and len(book.sheet_names) > 1:
        said.append(f'the sheet "{sheet}" was read; the others were not')
    titles = [row for row in rows[: max(at, 0)] if any(str(cell).strip() for cell in row)]
    if titles:
        said.append(f"{len(titles)} title rows above the header in row {at + 1} were passed over")
    return tuple(said)
