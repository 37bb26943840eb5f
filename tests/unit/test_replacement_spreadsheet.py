"""The spreadsheet, recalculated by a real spreadsheet program, gives the report's numbers, and follows a changed price."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import openpyxl
import polars as pl
import pytest

from lineproof.replacement.case import Case
from lineproof.replacement.evaluation import settle
from lineproof.replacement.report_rows import to_flow_rows, to_shown
from lineproof.replacement.spreadsheet import SHEETS, write_spreadsheet
from purchase_case import small_case

OFFICE = shutil.which("soffice")
# Always recalculate what is loaded, whoever saved it.
SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
 xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"><item oor:path="/org.openoffice.Office.Calc/Formula/Load">
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item></oor:items>
"""
needs_office = pytest.mark.skipif(OFFICE is None, reason="LibreOffice (soffice) is not installed")


def shown_case() -> Case:
    case = small_case()
    assert case.weighed.purchase.steps, "the case must buy something, else the sheet is hardly tried"
    return case


def recalculate(path: Path, folder: Path) -> openpyxl.Workbook:
    """Load, recalculate and save by LibreOffice; the workbook with the values that it found."""
    profile = folder / "profile"
    (profile / "user").mkdir(parents=True, exist_ok=True)
    (profile / "user" / "registrymodifications.xcu").write_text(SETTINGS, encoding="utf-8")
    out = folder / "recalculated"
    assert OFFICE is not None
    done = subprocess.run(
        [OFFICE, f"-env:UserInstallation={profile.as_uri()}", "--headless", "--convert-to", "xlsx", "--outdir", str(out), str(path)],
        capture_output=True, timeout=300, check=False, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return openpyxl.load_workbook(out / path.name, data_only=True)


def without_values(path: Path, changes: dict[tuple[str, str], float] | None = None) -> Path:
    """The workbook with formulas alone (no stored results) and some inputs changed."""
    book = openpyxl.load_workbook(path)
    for (sheet, cell), value in (changes or {}).items():
        book[sheet][cell] = value
    stripped = path.with_name(f"stripped-{len(changes or {})}.xlsx")
    book.save(stripped)
    return stripped


def results(book: openpyxl.Workbook) -> dict[str, object]:
    rows = book["Result"].iter_rows(min_row=2, max_row=8, values_only=True)
    return {str(row[0]).split(",")[0]: row[1] for row in rows}


def test_the_workbook_has_its_sheets_and_no_outside_link(tmp_path: Path) -> None:
    path = write_spreadsheet(shown_case(), tmp_path / "purchase.xlsx")
    book = openpyxl.load_workbook(path)
    assert tuple(book.sheetnames) == SHEETS
    formulas = [
        cell.value
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if isinstance(cell.value, str)
    ]
    assert not [text for text in formulas if "http" in text or "[" in text]
    assert sum(text.startswith("=") for text in formulas) > 200


def test_stored_values_are_the_reports(tmp_path: Path) -> None:
    """A program that shows stored values without recalculating shows the report's too."""
    case = shown_case()
    path = write_spreadsheet(case, tmp_path / "purchase.xlsx")
    found = results(openpyxl.load_workbook(path, data_only=True))
    assert found["gain over 5 seasons"] == pytest.approx(to_shown(case).gain)
    assert found["spending today"] == pytest.approx(to_shown(case).spending)


@needs_office
def test_recalculated_by_a_spreadsheet_program_it_gives_the_reports_numbers(tmp_path: Path) -> None:
    case = shown_case()
    book = recalculate(without_values(write_spreadsheet(case, tmp_path / "purchase.xlsx")), tmp_path)
    shown, found = to_shown(case), results(book)
    assert found["spending today"] == pytest.approx(shown.spending)
    assert found["gain over 5 seasons"] == pytest.approx(shown.gain, abs=1e-6)
    assert found["chance that it saves money"] == pytest.approx(shown.chance)
    assert found["cost of an unread crossing at which it gains nothing"] == pytest.approx(
        case.sensitivity.break_even[0].value
    )
    assert found["is the spending within the budget?"] == "yes"
    rows = to_flow_rows(case)
    sheet = [
        row[1:8]
        for row in book["Seasons"].iter_rows(min_row=2, max_row=case.plan.horizon + 2, values_only=True)
    ]
    for column, name in (
        (0, "spent"),
        (1, "saved"),
        (2, "net"),
        (4, "discounted"),
        (5, "running"),
        (6, "unread_avoided"),
    ):
        assert [row[column] for row in sheet] == pytest.approx(rows[name].to_list(), abs=1e-6), name


@needs_office
def test_a_changed_price_and_interest_are_followed(tmp_path: Path) -> None:
    """The sheet with other inputs says what the case says of a plan with these inputs, same set."""
    case = shown_case()
    steps = to_shown(case).steps
    first = min(steps)
    path = write_spreadsheet(case, tmp_path / "purchase.xlsx")
    dear = case.plan.wishes[first].price * 3
    changed = without_values(path, {("Wishes", f"E{first + 2}"): dear, ("Costs", "B2"): 0.12})
    found = results(recalculate(changed, tmp_path))
    wishes = tuple(replace(w, price=dear) if i == first else w for i, w in enumerate(case.plan.wishes))
    plan = replace(case.plan, wishes=wishes, interest=0.12)
    again = settle(plan, case.weighed.counts, 1, case.weighed.way).added_by(steps)
    assert found["spending today"] == pytest.approx(again.spending)
    assert found["gain over 5 seasons"] == pytest.approx(again.gain, abs=1e-6)
    assert found["chance that it saves money"] == pytest.approx(again.chance)


@needs_office
def test_another_choice_is_followed_and_its_chance_not_pretended(tmp_path: Path) -> None:
    case = shown_case()
    steps = to_shown(case).steps
    left = steps - {min(steps)}
    path = write_spreadsheet(case, tmp_path / "purchase.xlsx")
    found = results(recalculate(without_values(path, {("Wishes", f"D{min(steps) + 2}"): 0}), tmp_path))
    assert found["gain over 5 seasons"] == pytest.approx(case.weighed.added_by(left).gain, abs=1e-6)
    assert found["chance that it saves money"] == "known only for the set of the report"


def test_the_files_of_a_case(tmp_path: Path) -> None:
    from lineproof.replacement import write_case

    paths = write_case(shown_case(), tmp_path / "out")
    assert [path.name for path in paths] == ["cash_flows.csv", "wishes.csv", "purchase.xlsx"]
    flows = pl.read_csv(paths[0])
    assert flows["season"].to_list() == list(range(6))
    assert flows["running"][-1] == pytest.approx(to_shown(shown_case()).gain)
