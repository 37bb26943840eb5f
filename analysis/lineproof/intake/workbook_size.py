"""How many cells a workbook spreads out to: two cells far apart make a table of millions between them.

A sheet is read as one whole table from its first cell to its last, so a file of a few hundred bytes could ask for more
memory than any computer has.  It is counted here before anything is read, piece by piece, in little memory.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO
from xml.etree import ElementTree

from lineproof.errors import InputError

MOST_CELLS = 1 << 24  # a million rows of sixteen columns
_PIECE = 1 << 20
_OVERLAP = 4096  # bytes: a place that two pieces share is in one of them whole
_PLACE = re.compile(rb"""\br\s*=\s*["']([A-Za-z]*)(\d+)["']""")
_LONGEST = 9  # letters or digits of a place, far more than any sheet has
_REPEATED = "number-{}-repeated"


def find_spread(path: Path) -> int:
    """The most cells that any sheet spreads out to; 0 where the file is no archive at all.

    Raises ``InputError`` for an archive with a damaged part: a reader that overlooks the damage would not be held back.
    """
    if not zipfile.is_zipfile(path):
        return 0
    try:
        with zipfile.ZipFile(path) as archive:
            names = archive.namelist()
            if "content.xml" in names:
                with archive.open("content.xml") as part:
                    return _in_rows(part)
            return max((_in_part(archive, name) for name in names if name.endswith(".xml")), default=0)
    except (zipfile.BadZipFile, zlib.error, OSError, EOFError, ValueError, NotImplementedError, RuntimeError):
        raise InputError(
            "the workbook cannot be opened (its archive is damaged)",
            todo="save it again as .xlsx or as CSV",
            file=path,
        ) from None


def _in_part(archive: zipfile.ZipFile, name: str) -> int:
    """Last row times last column of a sheet of Office Open XML (ECMA-376): each cell names its place."""
    rows = columns = 0
    with archive.open(name) as part:
        for piece in _pieces(part):
            places = _PLACE.findall(piece)
            rows = max(rows, max((int(digits[:_LONGEST]) for _, digits in places), default=0))
            columns = max(columns, max(map(_number, {letters for letters, _ in places}), default=0))
    return rows * columns


def _pieces(part: IO[bytes]) -> Iterator[bytes]:
    tail = b""
    while read := part.read(_PIECE):
        yield tail + read
        tail = read[-_OVERLAP:]


def _number(letters: bytes) -> int:
    number = 0
    for letter in letters.upper()[:_LONGEST]:
        number = number * 26 + letter - 64
    return number


def _in_rows(part: IO[bytes]) -> int:
    """Of an OpenDocument sheet: rows that hold anything, as often as they are repeated, times the widest of them."""
    rows = widest = most = 0
    try:
        for _, element in ElementTree.iterparse(part):
            kind = element.tag.rpartition("}")[2]
            if kind == "table-row":
                width = _width(element)
                if width:
                    rows, widest = rows + _times(element, "rows"), max(widest, width)
                element.clear()
            elif kind == "table":
                most, rows, widest = max(most, rows * widest), 0, 0
                element.clear()
    except ElementTree.ParseError:
        return 0
    return max(most, rows * widest)


def _width(row: ElementTree.Element) -> int:
    """Cells up to the last that holds anything."""
    at = width = 0
    for cell in row:
        at += _times(cell, "columns")
        if len(cell) or any(name.endswith("}value-type") for name in cell.attrib):
            width = at
    return width


def _times(element: ElementTree.Element, what: str) -> int:
    wanted = _REPEATED.format(what)
    found = next((value for name, value in element.attrib.items() if name.endswith(wanted)), "1")
    return int(found) if found.isdecimal() and len(found) < 12 else 1
