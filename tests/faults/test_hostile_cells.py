"""Texts that a spreadsheet would run as a formula: harmless in every table and workbook that we write.

Held against LibreOffice itself, which opens each file split at commas, at semicolons and at tabs, with formulas on.
"""

from __future__ import annotations

from pathlib import Path

import openpyxl
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from event_folders import READS, write_folder
from hostile import FORMULAS, LINES, hostile_season, reviewed_event, write_hostile_event
from lineproof.event import load_event
from lineproof.formulas import disarm, disarmed, rearm
from lineproof.morning_files import write_sheets
from lineproof.replacement import load_plan, spreadsheet
from lineproof.replacement.plan_writing import draft_plan
from lineproof.results import write_csv
from lineproof.setup import load_setup
from lineproof.setup.text_table import write_record_text
from lineproof.sightings import load_sightings
from purchase_case import evidence
from spreadsheets import formulas, needs_office, open_in_office

SEPARATORS = [",", ";", "\t"]
pytestmark = pytest.mark.xdist_group("hostile pages")


@pytest.fixture(scope="module")
def table() -> pl.DataFrame:
    return pl.DataFrame({"text": FORMULAS, "number": [-1.5] * len(FORMULAS), "whole": [-7] * len(FORMULAS)})


@needs_office
@pytest.mark.parametrize("separator", SEPARATORS)
def test_no_text_of_a_table_becomes_a_formula(tmp_path: Path, table: pl.DataFrame, separator: str) -> None:
    table.write_csv(tmp_path / "armed.csv", include_bom=True)
    write_csv(table, tmp_path / "written.csv", "UTC")
    armed, written = open_in_office([tmp_path / "armed.csv", tmp_path / "written.csv"], tmp_path, separator)
    assert formulas(armed), "the office runs nothing at all: the test tests nothing"
    assert formulas(written) == []


@needs_office
def test_numbers_stay_numbers(tmp_path: Path, table: pl.DataFrame) -> None:
    write_csv(table, tmp_path / "written.csv", "UTC")
    (opened,) = open_in_office([tmp_path / "written.csv"], tmp_path, ",")
    sheet = openpyxl.load_workbook(opened).active
    assert sheet is not None
    cells = [(row[1].value, row[2].value) for row in sheet.iter_rows(min_row=2)]
    assert cells == [(-1.5, -7)] * len(FORMULAS)


@needs_office
@pytest.mark.parametrize("separator", SEPARATORS)
def test_every_table_of_a_review_and_of_a_season_is_harmless(tmp_path: Path, separator: str) -> None:
    season = hostile_season()
    paths = [
        *sorted((reviewed_event() / "review").glob("*.csv")),
        *sorted((season / "season").glob("*.csv")),
        *sorted((season / "purchase").glob("*.csv")),
    ]
    assert len(paths) >= 35
    texts = "".join(path.read_text(encoding="utf-8-sig") for path in paths)
    assert texts.count("'=") > 100, "the names are no attacks any more: the test tests nothing"
    assert [found for path in open_in_office(paths, tmp_path, separator) for found in formulas(path)] == []


@needs_office
def test_the_workbook_of_the_purchase_runs_our_formulas_only(tmp_path: Path) -> None:
    (book,) = (hostile_season() / "purchase").glob("*.xlsx")
    (opened,) = open_in_office([book], tmp_path)
    found = formulas(opened)
    assert len(found) > 100
    assert not [formula for formula in found if "<img" in formula or "@x" in formula]
    wishes = openpyxl.load_workbook(opened)["Wishes"]
    items = [str(row[2].value) for row in wishes.iter_rows(min_row=2) if row[2].value]
    assert items
    assert all(item.startswith("=") and item.endswith(";@x") for item in items)


def test_a_workbook_of_the_purchase_takes_any_word_as_a_text(tmp_path: Path) -> None:
    """An array formula has braces around it; a link needs no equals sign."""
    import xlsxwriter

    words = ["{=1+1}", "=1+1", "http://bitten.invalid/", "internal:Costs!A1", "7"]
    path = tmp_path / "book.xlsx"
    book = xlsxwriter.Workbook(str(path))  # with formulas and links on
    maker = spreadsheet._Book.__new__(spreadsheet._Book)
    maker.sheets = {"Wishes": book.add_worksheet("Wishes")}
    maker._row("Wishes", 0, words)
    book.close()
    (row,) = openpyxl.load_workbook(path)["Wishes"].iter_rows()
    assert [cell.data_type for cell in row] == ["s"] * 5
    assert [cell.value for cell in row] == words
    assert not any(cell.hyperlink for cell in row)


@needs_office
@pytest.mark.parametrize("as_text", [False, True])
def test_a_blank_record_of_hostile_lines_and_items(tmp_path: Path, as_text: bool) -> None:
    folder = write_hostile_event(tmp_path / "event")
    (folder / "setup.csv").unlink()
    written = [path for path in write_sheets(folder, as_text=as_text).paths if path.suffix != ".html"]
    (opened,) = open_in_office(written, tmp_path, "," if as_text else None)
    assert formulas(opened) == []
    if not as_text:  # of a text, a row counts that says anything
        assert set(load_setup(load_event(folder)).lines["line"]) == set(LINES)


def test_what_is_disarmed_is_read_back_as_it_was(tmp_path: Path) -> None:
    """Tags, bibs and items that begin like formulas pass through our own forms and back."""
    folder = write_folder(tmp_path / "event", READS, entries="bib,tag\n-12,A1\n=7,A2\n@3,A3\n", reads_csv="Tag,Time,Line\nA1,2026-05-17 10:00:00,M1\n")  # fmt: skip
    form = pl.DataFrame({"bib": ["-12", "=7", "@3"], "point": "mill", "visit": 1, "outcome": "seen", "time_seen": "10:00:00", "who": "Ada", "when": "2026-05-18"})  # fmt: skip
    write_csv(form, folder / "sightings.csv", "UTC")
    assert "'-12" in (folder / "sightings.csv").read_text(encoding="utf-8-sig")
    from event_folders import load

    found = load_sightings(load_event(folder), load(folder).entries, tmp_path)
    assert found.outcomes["runner"].sort().to_list() == ["-12", "=7", "@3"]
    write_record_text(folder / "setup.csv", [{"line": "mill-main", "notes": "=dry"}], [{"line": "mill-main", "slot": 1, "mat": "-M1", "cable": "a;=C1"}])  # fmt: skip
    mat = load_setup(load_event(folder)).mats.row(0, named=True)
    assert (mat["mat"], mat["cable"]) == ("-M1", "a;=C1")


@given(
    st.one_of(
        st.sampled_from(FORMULAS), st.text(max_size=12), st.text(alphabet="=+-@;|\t\r\n'\"a \0", max_size=8)
    )
)
def test_one_rule_for_cells_and_columns_and_a_way_back(text: str) -> None:
    safe = disarm(text)
    assert pl.select(disarmed(pl.lit(text))).item() == safe
    assert disarm("plain text; -3 s") == "plain text; -3 s"
    if not text.startswith("'") and "'" not in text:
        assert rearm(safe) == text


@pytest.mark.parametrize(
    "item", ['M"1', "M\\1", "M\n[[wish]]", "M\x7f1", "M\x1b[31m", "M\u2028x", "=M#1", "M'''1", "é🏃"]
)
def test_a_drafted_plan_quotes_the_items(tmp_path: Path, item: str) -> None:
    """No id can end its quotation marks or its remark, and begin a line of its own."""
    known = evidence()
    worst = known.model.items.sort("effect", descending=True)["item"][0]
    from dataclasses import replace

    items = known.model.items.with_columns(pl.col("item").replace(worst, item))
    text = draft_plan(replace(known, model=replace(known.model, items=items)))
    (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
    plan = load_plan(tmp_path / "plan.toml")
    assert item in {wish.item for wish in plan.wishes}
    assert text.count("\n[[wish]]") == len(plan.wishes)
