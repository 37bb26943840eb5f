"""Mistakes in event.toml: the row, what stands there, and what to write instead."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from event_folders import MERGED, load, write_folder
from lineproof.errors import EventError
from lineproof.event import load_event
from lineproof.event.mistakes import find_mistake

WRONG = [
    ('visits = [{ point = "a", at_m = 5,2 }]', "the number 5,2 has a decimal comma", "write at_m = 5.2 with a point"),
    ("at_m = 5,2", "the number 5,2 has a decimal comma", "write at_m = 5.2 with a point"),
    ("at_m = 5 km", "the unit km does not belong into the number", "write at_m = 5000"),
    ("date = 2026-13-05", "2026-13-05 is no date: write year, month and day", "write it as date = 2026-05-17"),
    ("date = 17.05.2026", "the date 17.05.2026 is not written as year-month-day", "write date = 2026-05-17"),
    ("date = 05/06/2026", "the date 05/06/2026 is not written as year-month-day", "write date = 2026-05-17 (year, month, day)"),
    ("zone = Europe/London", "the text Europe/London has no quotation marks", 'write zone = "Europe/London"'),
    ('name = "Half', "a quotation mark is missing", 'put one before and one after the text, as in name = "Half marathon"'),
    ("name = “Half”", "quotation marks of a word processor stand here", 'type them as plain " marks'),
    ("gun = 9:30", "the time 9:30 is not complete", "write gun = 09:30:00"),
    ("gun = 25:30:00", "25:30:00 is no time of day", "write hours, minutes and seconds, such as gun = 09:30:00"),
    ("n = 007", "the number 007 begins with 0", 'write n = 7, or "007" if it is a text'),
    ('5 km = "a"', "words with a blank stand before the = without quotation marks", 'write "5 km" = "a"'),
    ('zone: "UTC"', "a colon stands where = is needed", 'write zone = "UTC"'),
    ("[[course]", "a square bracket is missing", "write [[course]]"),
    ('files = "exports\\xa\\b.csv"', "a backslash cannot stand in a text like this", 'write "exports/xa/b.csv"'),
    ("x =", "nothing stands after x =", "write a value, or delete the line"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "problem", "todo"), WRONG, ids=[case[0] for case in WRONG])
def test_a_wrong_line_is_named_with_what_to_write(line: str, problem: str, todo: str) -> None:
    text = f"# a remark that isn't wrong\n{line}\n"
    with pytest.raises(tomllib.TOMLDecodeError) as caught:
        tomllib.loads(text)
    found = find_mistake(text, str(caught.value))
    assert (found.problem, found.todo, found.row) == (problem, todo, 2)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ('[entries.columns]\ntag = "A"\ntag = "B"\n', 'row 3: "tag" stands here again, first in row 2; name the column of the second tag tag_2 = "…".'),
        ("[event]\n[event]\n", "row 2: [event] stands here again, first in row 1; put its lines together."),
        ('visits = [\n  { point = "a", at_m = 0 }\n  { point = "b", at_m = 1 },\n]\n', "row 2: a comma is missing at the end of this row; put a comma after }."),
        ('visits = [\n  { point = "a", at_m = 0 },\n', "a list is not closed; write ] after its last row, and a comma after every other."),
    ],
)  # fmt: skip
def test_mistakes_over_several_rows(text: str, sentence: str, tmp_path: Path) -> None:
    (tmp_path / "event.toml").write_text(text, encoding="utf-8")
    with pytest.raises(EventError) as caught:
        load_event(tmp_path)
    assert str(caught.value).endswith(sentence)
    assert str(caught.value).startswith("event.toml")


def test_two_columns_for_one_tag(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "event", reads_csv="Tag,Time,Line\n")
    path = folder / "event.toml"
    path.write_text(
        path.read_text().replace(
            'files = "entries.csv"\n',
            'files = "entries.csv"\n[entries.columns]\ntag = ["Bib tag", "Shoe tag"]\n',
        )
    )
    with pytest.raises(
        EventError, match=r'write tag = "Bib tag" and in a line of its own tag_2 = "Shoe tag"'
    ):
        load_event(folder)


def test_names_that_no_row_uses_are_said(tmp_path: Path) -> None:
    rows = "1,Start,2026-05-17 09:30:00\n1,Finish,2026-05-17 10:10:00\n"
    folder = write_folder(tmp_path / "event", MERGED, times_csv="Bib,Place,Time\n" + rows)
    remarks = load(folder).account["remarks"].to_list()
    assert remarks[0] is None  # the entries
    assert 'point_names has "Half way", which no row names: misspelt, or nothing was read there' in remarks[1]
