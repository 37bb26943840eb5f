"""The case as files for the treasurer: cash flows and wishes as CSV, and the spreadsheet with live formulas."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from lineproof.replacement.case import Case
from lineproof.replacement.report_rows import to_flow_rows, to_wish_rows
from lineproof.replacement.spreadsheet import write_spreadsheet
from lineproof.results import replacing, spreadsheet_safe

FLOWS, WISHES, WORKBOOK = "cash_flows.csv", "wishes.csv", "purchase.xlsx"


def write_case(case: Case, out: str | Path) -> list[Path]:
    """Write the files into ``out`` and return their paths.

    Raises ``OutputError`` where the folder cannot be written; what was there before stays.
    """
    out = Path(out)
    with replacing(out) as new:
        _to_csv(to_flow_rows(case), new / FLOWS)
        _to_csv(to_wish_rows(case), new / WISHES)
        write_spreadsheet(case, new / WORKBOOK)
    return [out / name for name in (FLOWS, WISHES, WORKBOOK)]


def _to_csv(frame: pl.DataFrame, path: Path) -> None:
    # The byte order mark makes a spreadsheet read the file as UTF-8.
    spreadsheet_safe(frame, "UTC").write_csv(path, include_bom=True)
