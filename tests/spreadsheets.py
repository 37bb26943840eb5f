"""Files opened by LibreOffice, as a person would, to see what it takes for a formula."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import openpyxl
import pytest

OFFICE = shutil.which("soffice")
needs_office = pytest.mark.skipif(OFFICE is None, reason="LibreOffice (soffice) is not installed")
# Separator, quotation mark, UTF-8, first row, …, and as the last word: evaluate formulas.
FILTER = "CSV:{separator},34,76,1,,0,false,true,false,false,false,-1,true"


def open_in_office(paths: Sequence[Path], folder: Path, separator: str | None = None) -> list[Path]:
    """Each file as the workbook that LibreOffice makes of it; texts are split at ``separator``."""
    assert OFFICE is not None
    out = folder / f"opened-{ord(separator) if separator else 0}"
    words = [OFFICE, f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless"]
    if separator is not None:
        words.append("--infilter=" + FILTER.format(separator=ord(separator)))
    done = subprocess.run(
        [*words, "--convert-to", "xlsx", "--outdir", str(out), *map(str, paths)],
        capture_output=True, timeout=600, check=False, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return [out / f"{path.stem}.xlsx" for path in paths]


def formulas(path: Path) -> list[str]:
    """Every formula of a workbook, with the cell that holds it."""
    book = openpyxl.load_workbook(path)
    return [
        f"{path.name} {sheet.title}!{cell.coordinate} {cell.value}"
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if cell.data_type == "f"
    ]
