"""The workbook of a set-up record: drop-downs, units in the headers, what is known filled in.

The same cells give the same bytes.  Texts are written as texts, so none is ever run as a formula, and a list of
words or ids helps without refusing: an odd entry is better than none, and reading it back says what is odd.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from lineproof.setup.fields import LINE, LINE_FIELDS, MAT_FIELDS, PLACE, Field, Kind
from lineproof.vocabulary import ItemKind

Cell = str | int | float | dt.time | None
Cells = Mapping[str, Cell]

LINES_SHEET, MATS_SHEET, ITEMS_SHEET, HELP_SHEET = "Lines", "Mats", "Items", "How to fill it in"
SPARE_ROWS = 40  # below the filled ones, with their drop-downs
_MADE = dt.datetime(2026, 1, 1)  # noqa: DTZ001  the format knows no zone
_FOUND = {
    "mat": ItemKind.MAT,
    "cable": ItemKind.CABLE,
    "reader": ItemKind.READER,
    "power": ItemKind.POWER_UNIT,
}

HELP = (
    "One row for each line on the sheet Lines, one row for each slot on the sheet Mats; slot 1 is at the near side.",
    "Leave empty what was not measured: not recorded is better than guessed.",
    (
        "Clock times are local, like 05:40. A time of another day takes its date: 2026-05-16 21:30. In the hour that "
        "comes twice when clocks go back, write the offset, too: 2026-10-25 01:30+00:00."
    ),
    (
        "Heights of the hand test are centimetres above the ground; another unit is read only when it is written behind "
        "the number, and then refused with the right number."
    ),
    "Photos: file names in the event folder or in its folder photos, with ; between.",
    (
        "Safety first: work on a closed road only; mats and cables are trip hazards: flat, taped or covered, marked. Mains "
        "outdoors needs residual-current protection and weatherproof enclosures, in rain a competent person. Local "
        "codes, the road authority and the race's safety plan come before this sheet."
    ),
)


def write_record(
    path: Path,
    lines: Sequence[Cells],
    mats: Sequence[Cells],
    items: Mapping[ItemKind, Sequence[str]],
) -> None:
    """Write a record: one mapping of our column names for each row; ``items`` are the register's ids by kind."""
    with xlsxwriter.Workbook(str(path), {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        book.set_properties({"created": _MADE})
        formats = _Formats(book)
        lists = _item_lists(items)
        _write_sheet(book, LINES_SHEET, (LINE, PLACE, *LINE_FIELDS), lines, formats, lists)
        _write_sheet(book, MATS_SHEET, (LINE, *MAT_FIELDS), mats, formats, lists)
        _write_help(book, formats)
        if lists:
            _write_items(book, items, formats)


class _Formats:
    """The few looks of the workbook."""

    def __init__(self, book: Workbook) -> None:
        base = {"font_name": "Arial", "font_size": 11, "valign": "vcenter"}
        box = {**base, "border": 1, "border_color": "#8a8a8a"}
        self.head: Format = book.add_format({**box, "bold": True, "text_wrap": True, "bg_color": "#e8e8e8"})
        self.cell: Format = book.add_format(box)
        self.time: Format = book.add_format({**box, "num_format": "hh:mm"})
        self.text: Format = book.add_format({**base, "text_wrap": True})


def _item_lists(items: Mapping[ItemKind, Sequence[str]]) -> dict[ItemKind, str]:
    """Where the ids of each kind stand on the sheet of items."""
    kinds = [kind for kind in ItemKind if items.get(kind)]
    return {
        kind: f"={ITEMS_SHEET}!${chr(65 + place)}$2:${chr(65 + place)}${1 + len(items[kind])}"
        for place, kind in enumerate(kinds)
    }


def _write_sheet(
    book: Workbook,
    name: str,
    fields: Sequence[Field],
    rows: Sequence[Cells],
    formats: _Formats,
    lists: Mapping[ItemKind, str],
) -> None:
    sheet = book.add_worksheet(name)
    sheet.freeze_panes(1, 2)
    sheet.set_landscape()
    sheet.set_paper(9)
    sheet.repeat_rows(0)
    sheet.repeat_columns(0, 1)
    sheet.fit_to_pages(3 if len(fields) > len(MAT_FIELDS) + 1 else 1, 0)
    sheet.set_row(0, 48)
    last = len(rows) + SPARE_ROWS
    for place, field in enumerate(fields):
        sheet.write_string(0, place, field.header, formats.head)
        sheet.set_column(place, place, _width(field))
        _guide(sheet, place, field, last, lists)
        for number, row in enumerate(rows, start=1):
            _write_cell(sheet, number, place, row.get(field.name), field, formats)


def _width(field: Field) -> float:
    if field.name in ("notes", "mat_notes", "photos"):
        return 34
    if field.name in ("line", "place"):
        return 18
    return 14 if field.kind in (Kind.TEXT, Kind.CHOICE) else 12


def _write_cell(sheet: Worksheet, row: int, column: int, cell: Cell, field: Field, formats: _Formats) -> None:
    look = formats.time if field.kind is Kind.TIME else formats.cell
    if cell is None:
        sheet.write_blank(row, column, None, look)
    elif isinstance(cell, dt.time):
        sheet.write_datetime(row, column, cell, look)
    elif isinstance(cell, str):
        sheet.write_string(row, column, cell, look)
    else:
        sheet.write_number(row, column, cell, look)


def _guide(sheet: Worksheet, column: int, field: Field, last: int, lists: Mapping[ItemKind, str]) -> None:
    """A drop-down or a range, and the hint that shows when the cell is chosen."""
    rule: dict[str, object] = {"validate": "any"}
    kind = _FOUND.get(field.name)
    if field.words:
        rule = {"validate": "list", "source": list(field.words)}
    elif field.kind is Kind.YES_NO:
        rule = {"validate": "list", "source": ["yes", "no"]}
    elif kind is not None and kind in lists:
        rule = {"validate": "list", "source": lists[kind]}
    elif field.kind in (Kind.WHOLE, Kind.NUMBER) and field.low is not None:
        word = "integer" if field.kind is Kind.WHOLE else "decimal"
        rule = {"validate": word, "criteria": "between", "minimum": field.low, "maximum": field.high}
    if field.hint:
        rule |= {"input_title": field.question[:32], "input_message": field.hint[:255]}
    if rule == {"validate": "any"}:
        return
    sheet.data_validation(1, column, last, column, {**rule, "error_type": "warning"})


def _write_help(book: Workbook, formats: _Formats) -> None:
    sheet = book.add_worksheet(HELP_SHEET)
    sheet.set_column(0, 0, 100)
    for row, text in enumerate(HELP):
        sheet.write_string(row, 0, text, formats.text)


def _write_items(book: Workbook, items: Mapping[ItemKind, Sequence[str]], formats: _Formats) -> None:
    sheet = book.add_worksheet(ITEMS_SHEET)
    for place, kind in enumerate(kind for kind in ItemKind if items.get(kind)):
        sheet.write_string(0, place, kind.value, formats.head)
        for row, item in enumerate(items[kind], start=1):
            sheet.write_string(row, place, item, formats.cell)
