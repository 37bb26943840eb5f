"""The register of equipment, the history of its items, and what the record changes in the plan."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl
import pytest

from lineproof.event import load_event
from lineproof.setup import load_equipment, to_laid_event
from lineproof.setup.history import to_item_places
from lineproof.tables import MATS
from setup_folders import load, sentences, write_event

HEAD = "Item,Kind,Model,Bought,Price,Repairs,Retired,Length (m),Ports,Notes\n"
RECORD = (
    "Line,Slot,Mat,Cable,Port,Hand test from (cm),Hand test up to (cm),Reader,Power,Laid and tested (clock),"
    "Lifted (clock),To the other line (m),Spanned by mats (m)\n"
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_event(tmp_path / "harbour", points=("start", "finish"))


def register(folder: Path, text: str, name: str = "equipment.csv") -> None:
    (folder / name).write_text(text, encoding="utf-8")


def test_a_register_is_read_with_dates_prices_and_repairs(folder: Path) -> None:
    register(
        folder.parent,
        HEAD
        + 'M1,mat,wide,2021-04-01,"238,50",2024-01-02 joint; 2025-03-04 plug,,1,,van\nR1,Reader,,2020-01-01,3000,,,,8,\n',
    )
    found = load_equipment(load_event(folder))
    assert found.complaints.is_empty()
    mat, reader = found.items.rows(named=True)
    assert mat["item"] == "M1"
    assert (mat["kind"], mat["bought"], mat["price"], mat["length_m"]) == (
        "mat",
        dt.date(2021, 4, 1),
        238.5,
        1.0,
    )
    assert mat["repairs"] == "2024-01-02 joint; 2025-03-04 plug"
    assert (reader["kind"], reader["ports"], reader["row"]) == ("reader", 8, 3)


def test_without_a_register_nothing_is_said_of_ids(folder: Path) -> None:
    (folder / "setup.csv").write_text("Line,Slot,Mat,Cable\nstart-main,1,anything,goes\n", encoding="utf-8")
    setup = load(folder)
    assert setup.equipment.is_empty()
    assert not any("register" in said for said in sentences(setup))
    assert setup.mats["mat"].to_list() == ["anything"]


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("M1,mat,,,,,,,,\nM1,mat,,,,,,,,\n", 'equipment.csv, row 3: the item "M1" stands in row 2 already'),
        ("m1,mat,,,,,,,,\nM1,mat,,,,,,,,\n", 'row 3: the item "M1" stands in row 2 already'),
        (",mat,,,,,,,,\n", 'row 2, column "Item": the item has no id'),
        ("M1,,,,,,,,,\n", 'row 2, column "Kind": the item has no kind'),
        ("M1,mate,,,,,,,,\n", 'row 2, column "Kind": "mate" is not one of the words'),
        ("M1,mat,,2022-02-30,,,,,,\n", 'row 2, column "Bought": "2022-02-30" is no date'),
        ("M1,mat,,2024-01-01,,,2023-01-01,,,\n", "before it was bought on 2024-01-01"),
        ("M1,mat,,,-5,,,,,\n", 'row 2, column "Price": -5 is below zero'),
        ("R1,reader,,,,,,,99,\n", 'row 2, column "Ports": 99 cannot be: it lies between 1 and 32'),
    ],
)
def test_what_is_wrong_in_the_register_is_said_once(folder: Path, rows: str, said: str) -> None:
    register(folder, HEAD + rows)
    found = load_equipment(load_event(folder)).complaints["sentence"].to_list()
    assert len(found) == 1, found
    assert said in found[0]


def test_a_register_without_ids_is_no_register(folder: Path) -> None:
    register(folder, "Thing,Kind\nM1,mat\n")
    found = load_equipment(load_event(folder))
    assert found.items.is_empty()
    assert any('there is no column "Item"' in said for said in found.complaints["sentence"])


def test_two_registers_are_said(folder: Path) -> None:
    register(folder, HEAD + "M1,mat,,,,,,,,\n")
    register(folder, "PK", "equipment.xlsx")
    found = load_equipment(load_event(folder)).complaints["sentence"].to_list()
    assert any("only that one is read" in said for said in found)


def test_ids_are_found_whatever_their_case_and_get_the_register_s_spelling(folder: Path) -> None:
    register(folder, HEAD + "M1,mat,,,,,,,,\nC1,cable,,,,,,,,\n")
    (folder / "setup.csv").write_text("Line,Slot,Mat,Cable\nstart-main,1,m1,c1\n", encoding="utf-8")
    assert load(folder).mats.select("mat", "cable").row(0) == ("M1", "C1")


def test_an_id_that_the_register_does_not_know_does_not_count(folder: Path) -> None:
    register(folder, HEAD + "MAT-17,mat,,,,,,,,\nC1,cable,,,,,,,,\n")
    (folder / "setup.csv").write_text("Line,Slot,Mat,Cable\nstart-main,1,MAT-71,C1\n", encoding="utf-8")
    setup = load(folder)
    assert setup.mats.select("mat", "cable").row(0) == (None, "C1")
    assert any(
        'write "MAT-17" if that is meant, or add it to equipment.csv' in said for said in sentences(setup)
    )


def test_every_item_has_its_place_its_times_and_what_was_read_there(folder: Path) -> None:
    (folder / "setup.csv").write_text(
        RECORD + "start-main,1,M1,C1,1,40,180,R1,P1,08:00,11:00,3.4,2\nstart-main,2,M2,C2,2,40,120,,,,,,\n",
        encoding="utf-8",
    )
    setup = load(folder)
    read = MATS.shape_rows(
        [
            {"event": "e", "point": "start", "line": "start-main", "place": "mat", "antenna": antenna, "tried": 100,
             "read": 90, "missed": missed, "estimate": 1 - missed / 100, "verdict": verdict, "method": "by hand"}
            for antenna, missed, verdict in ((1, 1, "sound"), (2, 30, "weak"))
        ]
    )  # fmt: skip
    places = to_item_places(setup.lines, setup.mats, read)
    by_item = {row["item"]: row for row in places.iter_rows(named=True)}
    assert list(by_item) == ["M1", "M2", "C1", "C2", "R1", "P1"]
    assert (by_item["M2"]["slot"], by_item["M2"]["missed"], by_item["M2"]["verdict"]) == (2, 30, "weak")
    assert by_item["M2"]["hand_ceiling_cm"] == 120
    assert by_item["C2"]["missed"] == 30
    assert (by_item["R1"]["slot"], by_item["R1"]["missed"]) == (0, None)
    assert {row["laid"] for row in by_item.values()} == {dt.datetime(2026, 5, 17, 7, 0, tzinfo=dt.UTC)}


def test_a_mat_that_moved_during_the_day_is_at_two_places_in_turn(folder: Path) -> None:
    times = "start-main,1,M1,C1,1,,,R1,,08:00,10:30,,\nfinish-main,1,M1,C1,1,,,R1,,10:45,14:00,,\n"
    (folder / "setup.csv").write_text(RECORD + times, encoding="utf-8")
    setup = load(folder)
    assert not any("two places at once" in said or "as well" in said for said in sentences(setup))
    places = to_item_places(setup.lines, setup.mats, MATS.empty())
    assert places.filter(pl.col("item") == "M1")["line"].to_list() == ["finish-main", "start-main"]
    assert places.filter(pl.col("item") == "R1").height == 2


def test_the_record_s_widths_and_distances_are_right_where_the_plan_differs(folder: Path) -> None:
    (folder / "setup.csv").write_text(RECORD + "start-main,1,M1,C1,1,,,R1,,,,4.5,6\n", encoding="utf-8")
    event = load_event(folder)
    setup = load(folder)
    laid = to_laid_event(event, setup.lines)
    assert (laid.line("start-main").spacing_m, laid.line("start-main").width_m) == (4.5, 6.0)
    assert laid.line("start-backup") == event.line("start-backup")
    said = [
        c["sentence"] for c in setup.complaints.iter_rows(named=True) if c["about"] == "plan" and c["counts"]
    ]
    assert any("4.5 m, where event.toml plans 3 m" in sentence for sentence in said)
    assert any("6 m, where event.toml plans 4 m" in sentence for sentence in said)


def test_two_records_are_said_and_the_workbook_counts(folder: Path) -> None:
    from lineproof.morning_files import write_sheets

    write_sheets(folder)
    (folder / "setup.csv").write_text("Line,Slot\nstart-main,1\n", encoding="utf-8")
    setup = load(folder)
    assert {source.file for source in setup.sources} == {"setup.xlsx"}
    assert any("setup.csv: there is setup.xlsx beside it" in said for said in sentences(setup))
    assert any("both lie there" in remark for remark in write_sheets(folder).remarks)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "windows-1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_a_text_record_is_read_in_any_dress(folder: Path, encoding: str, delimiter: str) -> None:
    rows = [
        ["Set-up of the day"],
        [],
        ["Line", "Slot", "Mat", "Surface"],
        ["start-main", "1", "M1", "Größe"],
        ["start-main", "2", "M2", ""],
    ]
    (folder / "setup.csv").write_text("\n".join(delimiter.join(row) for row in rows), encoding=encoding)
    setup = load(folder)
    assert setup.lines["surface"].to_list() == ["Größe"]
    assert setup.mats["mat"].to_list() == ["M1", "M2"]
    assert setup.mats["row"].to_list() == [4, 5]


def test_an_event_without_a_record_has_none_and_no_complaint(folder: Path) -> None:
    setup = load(folder)
    assert setup.sources == ()
    assert setup.lines.is_empty()
    assert sentences(setup) == []


def test_a_photo_name_that_no_file_can_have_is_said(folder: Path) -> None:
    (folder / "setup.csv").write_text(
        f"Line,Slot,Photos\nstart-main,1,{'x' * 300}.jpg; ../other.jpg\n", encoding="utf-8"
    )
    said = " ".join(sentences(load(folder)))
    assert "there is no file" in said
    assert '"../other.jpg" leads out of the event folder' in said
