"""A plain Excel workbook of one sheet, the same bytes every time.

Office Open XML (ECMA-376): texts are inline strings, numbers stay numbers, and a ``datetime.time`` becomes a
fraction of a day under a time-of-day format.
"""

from __future__ import annotations

import datetime as dt
import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from xml.sax.saxutils import escape

Cell = str | int | float | dt.time | None

_STAMP = (2026, 1, 1, 0, 0, 0)
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_RELATIONS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_SHEET_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"

_FIXED = {
    "[Content_Types].xml": (
        f'{_HEAD}<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="xml" ContentType="application/xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{_SHEET_TYPE}.sheet.main+xml"/>'
        f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_SHEET_TYPE}.worksheet+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{_SHEET_TYPE}.styles+xml"/></Types>'
    ),
    "_rels/.rels": (
        f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{_RELATIONS}/officeDocument" Target="xl/workbook.xml"/></Relationships>'
    ),
    "xl/_rels/workbook.xml.rels": (
        f'{_HEAD}<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{_RELATIONS}/worksheet" Target="worksheets/sheet1.xml"/>'
        f'<Relationship Id="rId2" Type="{_RELATIONS}/styles" Target="styles.xml"/></Relationships>'
    ),
    "xl/styles.xml": (
        f'{_HEAD}<styleSheet xmlns="{_MAIN}">'
        '<numFmts count="1"><numFmt numFmtId="164" formatCode="hh:mm:ss.000"/></numFmts>'
        '<fonts count="1"><font><sz val="11"/><name val="Arial"/></font></fonts>'
        '<fills count="2"><fill><patternFill patternType="none"/></fill>'
        '<fill><patternFill patternType="gray125"/></fill></fills>'
        '<borders count="1"><border><left/><right/><top/><bottom/><diagonal/></border></borders>'
        '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>'
        '<cellXfs count="2"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>'
        '<xf numFmtId="164" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>'
        '</cellXfs><cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>'
    ),
}


def write_workbook(path: Path, sheet: str, rows: Iterable[Sequence[Cell]]) -> None:
    """Write ``rows`` as the only sheet of a new workbook."""
    body = "".join(_row(number, row) for number, row in enumerate(rows, start=1))
    parts = {
        **_FIXED,
        "xl/workbook.xml": (
            f'{_HEAD}<workbook xmlns="{_MAIN}" xmlns:r="{_RELATIONS}"><sheets>'
            f'<sheet name="{escape(sheet)}" sheetId="1" r:id="rId1"/></sheets></workbook>'
        ),
        "xl/worksheets/sheet1.xml": (
            f'{_HEAD}<worksheet xmlns="{_MAIN}"><sheetData>{body}</sheetData></worksheet>'
        ),
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(zipfile.ZipInfo(name, _STAMP), text, zipfile.ZIP_DEFLATED, 9)


def _row(number: int, cells: Sequence[Cell]) -> str:
    filled = (
        _cell(f"{_letters(index)}{number}", cell) for index, cell in enumerate(cells) if cell is not None
    )
    return f'<row r="{number}">{"".join(filled)}</row>'


def _cell(place: str, cell: Cell) -> str:
    if isinstance(cell, dt.time):
        return f'<c r="{place}" s="1"><v>{_day_fraction(cell)}</v></c>'
    if isinstance(cell, str):
        return f'<c r="{place}" t="inlineStr"><is><t xml:space="preserve">{escape(cell)}</t></is></c>'
    return f'<c r="{place}"><v>{cell}</v></c>'


def _day_fraction(time: dt.time) -> str:
    seconds = time.hour * 3600 + time.minute * 60 + time.second + time.microsecond / 1e6
    return repr(seconds / 86400)


def _letters(index: int) -> str:
    return chr(65 + index) if index < 26 else chr(64 + index // 26) + chr(65 + index % 26)
