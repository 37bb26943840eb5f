"""The blank record, the clipboard pages and the page of readiness: made, filled in, read back, never written over."""

from __future__ import annotations

import datetime as dt
import zipfile
from pathlib import Path

import openpyxl
import polars as pl
import pytest

from lineproof.cli import main
from lineproof.errors import LineproofError
from lineproof.event import load_event
from lineproof.morning_files import write_ready, write_sheets
from lineproof.setup.fields import LINE_FIELDS, MAT_FIELDS
from setup_folders import (
    GOOD_LINE,
    LINES,
    MATS,
    column_of,
    fill_good,
    load,
    row_of,
    sentences,
    write,
    write_event,
    write_register,
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_register(tmp_path)
    return write_event(tmp_path / "harbour")


def test_the_blank_record_has_a_row_for_each_line_and_slot(folder: Path) -> None:
    write_sheets(folder)
    book = openpyxl.load_workbook(folder / "setup.xlsx")
    lines, mats = book["Lines"], book["Mats"]
    assert [lines.cell(row=i, column=1).value for i in range(2, 15)] == [*LINES, None]
    assert mats.cell(row=2 + MATS * len(LINES), column=1).value is None
    assert [mats.cell(row=i, column=2).value for i in range(2, 6)] == [1, 2, 3, 4]
    headers = [cell.value for cell in lines[1]]
    assert headers[2:] == [field.header for field in LINE_FIELDS]
    assert [cell.value for cell in mats[1]][1:] == [field.header for field in MAT_FIELDS]
    filled = {cell.value for row in lines.iter_rows(min_row=2, min_col=3) for cell in row}
    assert filled == {None}, "what was not measured stays empty"


def test_units_stand_in_the_headers() -> None:
    for field in (*LINE_FIELDS, *MAT_FIELDS):
        if field.unit in ("m", "cm"):
            assert field.header.endswith(f"({field.unit})"), field.name


def test_drop_downs_offer_words_and_the_ids_of_the_register(folder: Path) -> None:
    write_sheets(folder)
    book = openpyxl.load_workbook(folder / "setup.xlsx")
    lines, mats = book["Lines"], book["Mats"]
    lists = {
        v.formula1
        for sheet in (lines, mats)
        for v in sheet.data_validations.dataValidation
        if v.type == "list"
    }
    assert '"main,backup"' in lists
    assert '"yes,no"' in lists
    mat_list = next(v.formula1 for v in mats.data_validations.dataValidation if "Items!$A" in str(v.formula1))
    assert mat_list == "Items!$A$2:$A$61"
    assert book["Items"]["A2"].value == "M01"
    # An odd entry is better than none: a list warns and does not refuse.
    assert {v.errorStyle for v in mats.data_validations.dataValidation if v.type == "list"} == {"warning"}


def test_retired_items_are_not_offered(folder: Path, tmp_path: Path) -> None:
    write_register(tmp_path, "M98,mat,2019-01-01,2024-01-01,1,\n")
    write_sheets(folder)
    items = openpyxl.load_workbook(folder / "setup.xlsx")["Items"]
    assert "M98" not in [cell.value for cell in items["A"]]


def test_a_record_filled_in_reads_back_as_it_was_written(folder: Path) -> None:
    fill_good(folder)
    setup = load(folder)
    assert sentences(setup) == []
    line = setup.lines.row(by_predicate=pl.col("line") == "p2-backup", named=True)
    assert (line["role"], line["met"], line["reader"], line["reader_role"]) == (
        "backup",
        "second",
        "R06",
        "race",
    )
    assert (line["ports_told"], line["spacing_m"], line["crew_minutes"]) == (4, 3.0, 40.0)
    assert (line["gun_check"], line["walk_test"], line["covers"], line["backup_power"]) == (
        True,
        True,
        True,
        True,
    )
    assert line["laid"] == dt.datetime(2026, 5, 17, 7, 0, tzinfo=dt.UTC)  # 08:00 in summer time
    assert (line["file"], line["sheet"], line["row"]) == ("setup.xlsx", "Lines", row_of("p2-backup"))
    slot = setup.mats.row(by_predicate=(pl.col("line") == "p2-backup") & (pl.col("slot") == 3), named=True)
    assert (slot["mat"], slot["cable"], slot["port"]) == ("M23", "C23", 3)
    assert (slot["hand_floor_cm"], slot["hand_ceiling_cm"]) == (40.0, 183.0)
    assert [source.sheet for source in setup.sources] == ["Lines", "Mats"]


def test_a_text_record_filled_in_says_the_same(folder: Path) -> None:
    fill_good(folder)
    expected = load(folder)
    book = openpyxl.load_workbook(folder / "setup.xlsx")
    rows = {
        name: [dict(zip([c.value for c in book[name][1]], [c.value for c in row], strict=True))
               for row in book[name].iter_rows(min_row=2) if row[0].value]
        for name in ("Lines", "Mats")
    }  # fmt: skip
    (folder / "setup.xlsx").unlink()
    write_sheets(folder, as_text=True)
    head, *body = (folder / "setup.csv").read_text(encoding="utf-8-sig").splitlines()
    headers = head.split(",")
    assert len(body) == MATS * len(LINES)
    by_line = {row["Line"]: row for row in rows["Lines"]}
    filled = [head]
    for mat in rows["Mats"]:
        facts = {**mat, **(by_line[mat["Line"]] if mat["Slot"] == 1 else {})}
        cells = [facts.get(header) for header in headers]
        filled.append(
            ",".join(
                "" if c is None else c.isoformat("minutes") if isinstance(c, dt.time) else str(c)
                for c in cells
            )
        )
    (folder / "setup.csv").write_text("\n".join(filled), encoding="utf-8")
    found = load(folder)
    assert sentences(found) == []
    where = ["file", "sheet", "row"]
    assert found.lines.drop(where).equals(expected.lines.drop(where))
    assert found.mats.drop(where).equals(expected.mats.drop(where))


def test_a_filled_in_record_is_never_written_over(folder: Path) -> None:
    path = fill_good(folder)
    before = path.read_bytes()
    written = write_sheets(folder)
    assert path.read_bytes() == before
    assert [p.name for p in written.paths] == ["setup-sheets.html"]
    assert any("setup.xlsx is filled in already and stays as it is" in remark for remark in written.remarks)
    assert not write_sheets(folder, as_text=True).paths[0].name.endswith(".csv")
    assert not (folder / "setup.csv").exists()


def test_one_written_word_is_enough_to_keep_a_record(folder: Path) -> None:
    write_sheets(folder)
    book = openpyxl.load_workbook(folder / "setup.xlsx")
    write(book["Mats"], 7, "Notes on the mat", "joint wet")
    book.save(folder / "setup.xlsx")
    before = (folder / "setup.xlsx").read_bytes()
    write_sheets(folder)
    assert (folder / "setup.xlsx").read_bytes() == before


def test_a_record_that_cannot_be_read_is_kept(folder: Path) -> None:
    (folder / "setup.xlsx").write_bytes(b"PK\x03\x04 somebody's only copy")
    assert write_sheets(folder).remarks
    assert (folder / "setup.xlsx").read_bytes() == b"PK\x03\x04 somebody's only copy"


def test_a_blank_record_follows_a_change_of_the_plan(folder: Path) -> None:
    write_sheets(folder)
    write_event(folder, width="width_m = 6.2")
    write_sheets(folder)
    mats = openpyxl.load_workbook(folder / "setup.xlsx")["Mats"]
    assert [mats.cell(row=i, column=2).value for i in range(2, 10)] == [1, 2, 3, 4, 5, 6, 7, 1]


def test_a_plan_without_widths_says_what_to_add(folder: Path) -> None:
    write_event(folder, width="")
    remarks = write_sheets(folder).remarks
    assert any("plans no width_m for start-main" in remark for remark in remarks)


def test_the_same_plan_makes_the_same_bytes(folder: Path) -> None:
    write_sheets(folder)
    first = (folder / "setup.xlsx").read_bytes()
    write_sheets(folder)
    assert (folder / "setup.xlsx").read_bytes() == first


def test_names_that_a_spreadsheet_would_run_stay_texts(tmp_path: Path) -> None:
    """A cell that begins with = + - or @ is taken for a formula when it is not written as text."""
    evil = '=cmd|" /c calc"!A1'
    folder = write_event(tmp_path / "evil", points=("start", "finish"))
    text = (folder / "event.toml").read_text(encoding="utf-8")
    quoted = evil.replace('"', '\\"')
    (folder / "event.toml").write_text(
        text.replace('id = "finish"', f'name = "{quoted}"\nid = "finish"'), encoding="utf-8"
    )
    write_sheets(folder)
    with zipfile.ZipFile(folder / "setup.xlsx") as archive:
        sheets = [archive.read(name).decode() for name in archive.namelist() if "worksheets/sheet" in name]
    assert not any("<f>" in sheet for sheet in sheets)
    (folder / "setup.xlsx").unlink()
    write_sheets(folder, as_text=True)
    assert "'=cmd" in (folder / "setup.csv").read_text(encoding="utf-8-sig")
    assert not (folder / "setup.xlsx").exists()
    page = (folder / "setup-sheets.html").read_text(encoding="utf-8")
    assert "=cmd|&#34;" in page


def test_an_id_with_an_apostrophe_before_it_reads_as_written(tmp_path: Path) -> None:
    folder = write_event(tmp_path / "harbour", points=("start", "finish"))
    (folder / "setup.csv").write_text(
        "Line,Slot,Mat\nstart-main,1,'-17\nstart-main,2,'twas\n", encoding="utf-8"
    )
    assert load(folder).mats["mat"].to_list() == ["-17", "'twas"]


def test_pages_escape_names_and_ask_for_nothing_from_elsewhere(tmp_path: Path) -> None:
    folder = write_event(tmp_path / "harbour", points=("start", "finish"))
    text = (folder / "event.toml").read_text(encoding="utf-8")
    text = text.replace('name = "Harbour 10 km"', 'name = "<script>alert(1)</script>"')
    (folder / "event.toml").write_text(text, encoding="utf-8")
    (folder / "setup.csv").write_text(
        "Line,Slot,Mat,Hand test up to (cm)\nstart-main,1,<b>M1</b>,90\n", encoding="utf-8"
    )
    pages = [write_sheets(folder).paths[0], write_ready(folder).paths[0]]
    for page in (path.read_text(encoding="utf-8") for path in pages):
        assert "<script" not in page
        assert "&lt;script&gt;" in page
        assert "http://" not in page
        assert "https://" not in page
        assert "<b>M1</b>" not in page
        assert "default-src 'none'" in page


def test_the_clipboard_has_a_page_for_each_line(folder: Path) -> None:
    page = write_sheets(folder).paths[0].read_text(encoding="utf-8")
    assert page.count("<section>") == len(LINES)
    assert page.count('<th scope="row">') == (MATS + 1) * len(LINES)
    assert "60 or lower" in page
    assert "150 or higher" in page
    assert "closed road" in page


def test_ready_says_and_writes_the_list(folder: Path) -> None:
    fill_good(folder)
    written = write_ready(folder)
    assert written.remarks == ("all 132 answers are go",)  # 12 lines by 10 rules, 6 pairs of lines by 2
    book = openpyxl.load_workbook(folder / "setup.xlsx")
    write(book["Mats"], row_of("p1-main", 2), "Hand test up to (cm)", 120)
    write(book["Lines"], row_of("p4-main"), "Walk test", None)
    book.save(folder / "setup.xlsx")
    written = write_ready(folder)
    said = " ".join(written.remarks)
    assert "look again: p1-main: hand test: slot 2 (M10) up to 120 cm only." in said
    assert "not recorded: walk test: whether a tag was walked over every mat (p4-main)" in said
    page = written.paths[0].read_text(encoding="utf-8")
    assert written.paths[0] == folder / "review" / "ready.html"
    assert "slot 2 (M10) up to 120 cm only" in page
    assert "Safety first" in page


def test_ready_without_a_record_is_never_go(folder: Path) -> None:
    written = write_ready(folder)
    assert "nothing can be go" in written.remarks[0]
    assert "0 go" in written.remarks[-1]
    assert "nothing can be go" in written.paths[0].read_text(encoding="utf-8")


def test_a_wrong_event_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(LineproofError, match=r"has no event\.toml"):
        write_sheets(tmp_path)
    with pytest.raises(LineproofError, match=r"has no event\.toml"):
        write_ready(tmp_path)


def test_the_commands_run(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    for arguments in (["sheet", str(folder)], ["ready", str(folder), "--out", str(folder / "out")]):
        monkeypatch.setattr("sys.argv", ["lineproof", *arguments])
        with pytest.raises(SystemExit) as stopped:
            main()
        assert stopped.value.code == 0
    assert (folder / "setup.xlsx").is_file()
    assert (folder / "out" / "ready.html").is_file()


def test_a_spreadsheet_that_lost_its_time_format_is_told_what_to_do(folder: Path) -> None:
    fill_good(folder)
    book = openpyxl.load_workbook(folder / "setup.xlsx")
    sheet = book["Lines"]
    cell = sheet.cell(row=3, column=column_of(sheet, "Laid and tested (clock)"))
    cell.value, cell.number_format = 0.3333333, "General"
    book.save(folder / "setup.xlsx")
    assert any("give the cell a time format" in said for said in sentences(load(folder)))


def test_what_the_blank_record_asks_is_all_that_a_good_one_answers() -> None:
    asked = {field.header for field in LINE_FIELDS}
    assert set(GOOD_LINE) <= asked


def test_the_event_s_own_register_comes_before_the_series(folder: Path) -> None:
    (folder / "equipment.csv").write_text("Item,Kind\nX1,mat\n", encoding="utf-8")
    assert load(folder).equipment["item"].to_list() == ["X1"]
    assert load_event(folder).id == "harbour-10k"
