"""Opens an export by what it is, not by what it is called, and proves that it did not change meanwhile."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from lineproof.errors import InputError
from lineproof.event import FileLayout
from lineproof.intake.files import chunks, verify
from lineproof.intake.parquet import load_parquet
from lineproof.intake.raw import RawTable
from lineproof.intake.text import load_text
from lineproof.intake.workbooks import load_workbook

_ZIP, _OLD_OFFICE, _PARQUET = b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"PAR1"
_WORKBOOKS = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")


def open_table(path: Path, name: str, layout: FileLayout, wanted: Iterable[str], stem: Path) -> RawTable:
    """Read one export, which every table and sentence calls ``name``, into a raw table under ``stem``.

    ``wanted`` are the headers by which the header row is known.  Raises ``InputError`` where the file is
    no table, cannot be opened, or changes while it is read.
    """
    try:
        return _open(path, name, layout, wanted, stem)
    except InputError as problem:  # below, a file is known by its path only
        raise InputError(
            problem.problem, todo=problem.todo, file=name, row=problem.row, column=problem.column
        ) from None


def _open(path: Path, name: str, layout: FileLayout, wanted: Iterable[str], stem: Path) -> RawTable:
    head = next(chunks(path), b"")
    suffix = path.suffix.casefold()
    if head.startswith((_ZIP, _OLD_OFFICE)):
        table, stamp = load_workbook(path, name, layout, wanted, stem)
    elif head.startswith(_PARQUET):
        table, stamp = load_parquet(path, name, stem)
    elif head and suffix in _WORKBOOKS:
        raise InputError(
            "the file is no Excel workbook, whatever its name says",
            todo="save it again as .xlsx or as CSV",
            file=path,
        )
    elif head and suffix in (".parquet", ".pq"):
        raise InputError("the file is no Parquet, whatever its name says", todo="export it again", file=path)
    else:
        table, stamp = load_text(path, name, layout, wanted, stem)
    verify(path, stamp)
    return table
