"""A set-up record with many mistakes: each is said once, with sheet, row and column, and what is right counts."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import openpyxl
import polars as pl
import pytest

from setup_folders import LINES, fill_good, load, row_of, sentences, write, write_event, write_register

T = dt.time


@dataclass(frozen=True)
class Mistake:
    """``said`` must stand in the one sentence about this cell; ``column`` is where the sentence points."""

    sheet: str
    line: str
    slot: int | None
    header: str
    value: object
    said: str
    column: str | None = None
    todo: str = ""


def lines(
    line: str, header: str, value: object, said: str, todo: str = "", column: str | None = None
) -> Mistake:
    return Mistake("Lines", line, None, header, value, said, header if column is None else column, todo)


def mats(
    line: str, slot: int, header: str, value: object, said: str, todo: str = "", column: str | None = None
) -> Mistake:
    return Mistake("Mats", line, slot, header, value, said, header if column is None else column, todo)


CEILING, FLOOR = "Hand test up to (cm)", "Hand test from (cm)"
MISTAKES = (
    lines("start-main", "Role", "chief", '"chief" is not one of the words', "main or backup"),
    lines("start-backup", "Role", "main", "event.toml has start-backup as the backup line"),
    lines("p1-main", "Reader set to", "training", '"training" is not one of the words', "race or practice"),
    lines("p1-backup", "Power on (clock)", T(7, 30), "clock was set at 07:20, before the reader had power at 07:30",
          column="Clock set (clock)"),
    lines("p2-main", "Clock set (clock)", T(10, 30), "set at 10:30, after the first gun at 10:00"),
    lines("p2-backup", "Road closed (clock)", T(8, 20), "laid at 08:00, before the road was closed at 08:20",
          column="Laid and tested (clock)"),
    lines("p3-main", "Lifted (clock)", T(6, 0), "lifted at 06:00, before it was laid at 08:00"),
    lines("p3-backup", "Laid and tested (clock)", "half past six", '"half past six" is no clock time', "05:40"),
    lines("p4-main", "To the other line (m)", 30, "30 m cannot be: it lies between 0.5 and 20 m", "decimal point: 3?"),
    lines("p4-backup", "Spanned by mats (m)", 9, "9 m of mats on a road of 4 m"),
    lines("finish-main", "Crew minutes", -15, "-15 min is below zero"),
    lines("finish-main", "Photos", "line.jpg", 'there is no file "line.jpg"'),
    lines("finish-backup", "Road closed (clock)", "2026-05-10 07:00", "is another day than the event's"),
    lines("finish-backup", "Reader", "R14", "retired since 2025-11-02"),
    lines("p1-main", "Walk test", "maybe", '"maybe" is neither yes nor no'),
    lines("p3-main", "Ports told", 2.5, '"2.5" is no whole number'),
    lines("p4-backup", "Reader", "R03", 'the reader "R03" stands at p1-main (row 4) as well'),
    lines("start-main", "Road that runners can use (m)", "four metres", '"four metres" is no number'),
    lines("p2-main", "Near edge to first mat (m)", 250, "250 m cannot be", "if it is in centimetres, write 2.5"),
    lines("p2-backup", "Power", "C60", '"C60" is a cable by the register'),
    lines("finish-main", "Power changed over (clock)", T(6, 30), "changed over at 06:30, before power-on at 07:10"),
    mats("start-main", 2, "Mat", "M99", 'there is no mat "M99" in the register'),
    mats("start-backup", 3, "Mat", "M05", 'the mat "M05" stands in slot 1 of start-backup (row 6) as well'),
    mats("p1-main", 1, "Mat", "M48", 'the mat "M48" lies in two places at once', column="Mat"),
    mats("p1-backup", 2, "Port", 1, 'port 1 of reader "R04" serves slot 1 of p1-backup (row 14) already'),
    mats("p2-main", 4, "Port", 9, 'port 9, but reader "R05" has 8 by the register'),
    mats("p2-backup", 3, "Slot", 2, "slot 2 of p2-backup stands in row 23 already", column=""),
    mats("p3-main", 1, FLOOR, 190, "from 190 cm up to 181 cm: the heights are swapped", "write 181 and 190"),
    mats("p3-backup", 2, CEILING, 1.8, "1.8 cm looks like metres", "write 180"),
    mats("p4-main", 3, CEILING, "63 in", '"63 in" is not in centimetres', "write 160"),
    mats("p4-backup", 1, "Mat", "C37", '"C37" is a cable by the register'),
    mats("finish-main", 2, "Mat", "M60", "was bought on 2026-06-01", "mend this or equipment.csv"),
    mats("finish-main", 3, "Cable used (m)", 25, '25 m used, but cable "C43" is 10 m long'),
    mats("finish-main", 4, "Cable", "C60", 'cable "C60" is 1.5 m long by the register, and slot 4 lies 3 m'),
    mats("finish-backup", 1, CEILING, "low", '"low" is no number'),
)  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = write_event(tmp_path / "harbour")
    text = write_register(tmp_path).read_text(encoding="utf-8")
    text = text.replace("R14,reader,2020-03-01,,,8", "R14,reader,2020-03-01,2025-11-02,,8")
    text = text.replace("M60,mat,2020-03-01,,1,", "M60,mat,2026-06-01,,1,")
    text = text.replace("C60,cable,2020-03-01,,10,", "C60,cable,2020-03-01,,1.5,")
    (tmp_path / "equipment.csv").write_text(text, encoding="utf-8")
    fill_good(folder)
    return folder


def test_a_good_record_has_nothing_to_complain_about(folder: Path) -> None:
    setup = load(folder)
    assert sentences(setup) == []
    assert setup.lines.height == len(LINES)
    assert setup.mats.height == 4 * len(LINES)


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda m: f"{m.line} {m.header}")
def test_one_mistake_is_one_sentence(folder: Path, mistake: Mistake) -> None:
    break_record(folder, (mistake,))
    found = sentences(load(folder))
    # A slot that stands twice leaves another one out.
    assert len(found) == (2 if mistake.header == "Slot" else 1), found
    assert where(mistake) in " ".join(found)
    assert mistake.said in " ".join(found)


def test_a_record_with_more_than_thirty_mistakes_says_each_once(folder: Path) -> None:
    book = break_record(folder, MISTAKES)
    sheet = book["Lines"]
    for header, value in (("Line", "p9-main"), ("Role", "main")):
        write(sheet, 14, header, value)
    for header, value in (("Line", "p2-main"), ("Role", "main")):
        write(sheet, 15, header, value)
    sheet.cell(row=1, column=sheet.max_column + 1, value="Colour")
    for slot in (1, 2, 3, 4):  # the whole line in inches: 40 and 180 cm
        write(book["Mats"], row_of("p3-backup", slot), FLOOR, 16)
    for slot in (1, 3, 4):
        write(book["Mats"], row_of("p3-backup", slot), CEILING, 71)
    write(book["Mats"], 50, "Line", "start-mian")
    write(book["Mats"], 50, "Slot", 5)
    write(book["Mats"], 51, "Line", "finish-main")
    write(book["Mats"], 51, "Slot", "five")
    book.save(folder / "setup.xlsx")
    text = (folder / "event.toml").read_text(encoding="utf-8")
    (folder / "event.toml").write_text(
        text + '[[line]]\nid = "p5-main"\npoint = "p5"\n[[point]]\nid = "p5"\n'
    )
    found = sentences(load(folder))
    expected = [(where(m), m.said, m.todo) for m in MISTAKES] + [
        ('setup.xlsx, sheet "Lines", row 14, column "Line"', 'there is no line "p9-main" in event.toml', ""),
        ('setup.xlsx, sheet "Lines", row 15:', 'the line "p2-main" stands in row 6 already', ""),
        ('setup.xlsx, sheet "Lines", row 1, column "Colour"', "no column of the record has this header", ""),
        (
            f'sheet "Mats", row {row_of("p3-backup", 1)}, column "{CEILING}"',
            "this looks like inches",
            "write 180",
        ),
        (
            'sheet "Mats", row 50, column "Line"',
            'there is no line "start-mian"',
            'did you mean "start-main"?',
        ),
        ('sheet "Mats", row 51, column "Slot"', '"five" is no number', "write digits"),
        ('sheet "Mats", row 25, column "Slot"', "p2-backup has a mat in slot 4 and no row for slot 3", ""),
        ('setup.xlsx, sheet "Lines":', 'the line "p5-main" of event.toml has no row', ""),
    ]
    assert len(expected) >= 40
    for place, said, todo in expected:
        hits = [sentence for sentence in found if place in sentence and said in sentence and todo in sentence]
        assert len(hits) == 1, (place, said, todo, [s for s in found if place in s])
    assert len(found) == len(expected), [
        s for s in found if not any(p in s and t in s for p, t, _ in expected)
    ]
    assert all(sentence.endswith(".") and "\n" not in sentence for sentence in found)


def test_what_is_right_counts_beside_what_is_wrong(folder: Path) -> None:
    break_record(folder, MISTAKES)
    setup = load(folder)
    assert setup.lines.height == len(LINES)
    assert setup.mats.height == 4 * len(LINES) - 1
    p3 = setup.lines.row(by_predicate=pl.col("line") == "p3-main", named=True)
    assert p3["lifted"] is None
    assert p3["laid"] == dt.datetime(2026, 5, 17, 7, 0, tzinfo=dt.UTC)
    early = setup.lines.row(by_predicate=pl.col("line") == "p2-backup", named=True)
    assert early["laid"] is not None
    slot = setup.mats.row(by_predicate=(pl.col("line") == "p4-main") & (pl.col("slot") == 3), named=True)
    assert slot["hand_ceiling_cm"] is None
    assert slot["mat"] == "M35"
    swapped = setup.mats.filter(pl.col("line") == "p3-main", pl.col("slot") == 1)
    assert swapped["hand_floor_cm"].to_list() == swapped["hand_ceiling_cm"].to_list() == [None]
    assert setup.mats.filter(pl.col("mat") == "M48").is_empty()


def where(mistake: Mistake) -> str:
    place = f'setup.xlsx, sheet "{mistake.sheet}", row {row_of(mistake.line, mistake.slot)}'
    if mistake.said.startswith('the mat "M48"'):  # said where the second of the two stands
        return f'setup.xlsx, sheet "Mats", row {row_of("finish-backup", 4)}, column "Mat"'
    return f'{place}, column "{mistake.column}"' if mistake.column else f"{place}:"


def break_record(folder: Path, mistakes: tuple[Mistake, ...]) -> openpyxl.Workbook:
    book = openpyxl.load_workbook(folder / "setup.xlsx")
    for mistake in mistakes:
        write(book[mistake.sheet], row_of(mistake.line, mistake.slot), mistake.header, mistake.value)
    book.save(folder / "setup.xlsx")
    return book


def test_an_empty_sheet_and_a_missing_one_leave_the_other(folder: Path) -> None:
    book = openpyxl.load_workbook(folder / "setup.xlsx")
    del book["Mats"]
    book.create_sheet("Mats")
    book.save(folder / "setup.xlsx")
    setup = load(folder)
    assert any('sheet "Mats"' in said and "empty" in said for said in sentences(setup))
    assert setup.lines.height == len(LINES)
    del book["Mats"]
    book.save(folder / "setup.xlsx")
    setup = load(folder)
    assert any('there is no sheet "Mats"' in said for said in sentences(setup))
    assert setup.lines.height == len(LINES)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "the file is empty"),
        (b"PK\x03\x04 broken", "cannot be opened"),
        (b"no workbook at all", "no Excel workbook, whatever its name says"),
        (b"\xd0\xcf\x11\xe0" + b"\0" * 600, "encrypted"),
    ],
)
def test_a_file_that_is_no_workbook_is_one_clear_sentence_a_sheet(
    folder: Path, content: bytes, said: str
) -> None:
    (folder / "setup.xlsx").write_bytes(content)
    setup = load(folder)
    assert set(setup.complaints["sheet"]) <= {"Lines", "Mats", ""}
    assert any(said in sentence for sentence in sentences(setup))
    assert setup.lines.is_empty()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the file is empty"),
        ("Line;Slot\n", "no row below the header"),
        ("Place,Slot\nx,1\n", 'there is no column "Line"'),
        ("Line,Slot\nstart-main,1,2,3\n", "4 fields where the header has 2"),
        ("Line,Slot,Slot\nstart-main,1,1\n", "the header stands twice"),
        ('Line,Slot,Mat\nstart-main,1,"M01\n', "quotation mark"),
        ("Line,Slot,Hand test from (cm)\nstart-main,1,1.234,5\n", "4 fields where the header has 3"),
        ("Line;Slot;Hand test from (cm)\nstart-main;1;1.234,5\n", '"1.234,5" is no number'),
        (
            "Line;Slot;Laid and tested (clock)\nstart-main;1;05:40\nstart-main;2;05:50\n",
            "this differs from row 2",
        ),
    ],
)
def test_a_text_record_that_is_broken_is_said(tmp_path: Path, text: str, said: str) -> None:
    folder = write_event(tmp_path / "harbour", points=("start", "finish"))
    (folder / "setup.csv").write_text(text, encoding="utf-8")
    assert any(said in sentence for sentence in sentences(load(folder))), sentences(load(folder))
