"""The filled-in forms: read strictly, row by row, whatever program saved them."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import openpyxl
import polars as pl
import pytest

from lineproof.errors import EventError, InputError
from lineproof.event import Event
from lineproof.sightings import Sightings, load_sightings
from unit.small_event import at, entries, small_event

LOOKED = "bib,point,outcome,time_seen,who,when"
COUNTED = "point,begin,crossed,missed"
RUNNERS = ("007", "12", "13")


def event_in(
    folder: Path, text: str | bytes, name: str = "sightings.csv", event: Event | None = None
) -> Event:
    (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return replace(event or small_event(), folder=folder, zone="Europe/Berlin")


def read(event: Event, tmp_path: Path) -> Sightings:
    work = tmp_path / "work"
    work.mkdir(exist_ok=True)
    return load_sightings(event, entries(*RUNNERS), work)


def read_text(tmp_path: Path, text: str) -> Sightings:
    return read(event_in(tmp_path, text), tmp_path)


def problem(tmp_path: Path, text: str, event: Event | None = None) -> str:
    with pytest.raises(EventError) as caught:
        read(event_in(tmp_path, text, event=event), tmp_path)
    return str(caught.value)


def test_no_file_is_nothing_seen(tmp_path: Path) -> None:
    found = read(replace(small_event(), folder=tmp_path), tmp_path)
    assert found.outcomes.is_empty()
    assert found.minutes.is_empty()


def test_outcomes_are_read_in_the_words_of_people(tmp_path: Path) -> None:
    found = read_text(
        tmp_path,
        f"{LOOKED},note\n007,finish,Seen,11:58:07.5,Ada,18 May,red shirt\n12,FINISH,not_there,,Ada,18 May,\n"
        "13,mill,unclear,,Bo,18 May,\n",
    ).outcomes
    assert found.select("runner", "point", "order", "outcome", "time", "note", "row").rows() == [
        ("007", "finish", 2, "seen", at("09:58:07.5"), "red shirt", 2),
        ("12", "finish", 2, "not there", None, None, 3),
        ("13", "mill", 1, "unclear", None, None, 4),
    ]


def test_rows_that_nobody_came_to_are_left_out(tmp_path: Path) -> None:
    found = read_text(tmp_path, f"{LOOKED}\n007,finish,,,,\n12,finish,seen,11:58,Ada,today\n")
    assert found.outcomes["runner"].to_list() == ["12"]


def test_a_spreadsheet_may_save_it_its_own_way(tmp_path: Path) -> None:
    """Semicolons, other order and case, columns of the reviewer's own, a bib without its zeros, a guarded id."""
    text = "﻿When;Who;Time seen;Outcome;Point;Runner;Remark\n18 May;Ada;11:58:00;seen;finish;7;hello\n"
    assert read_text(tmp_path, text).outcomes["runner"].to_list() == ["007"]
    guarded = f"{LOOKED}\n'=12,finish,unclear,,Ada,today\n"
    assert 'nobody is entered under "=12"' in problem(tmp_path, guarded)


def test_a_workbook_is_read_too(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    for row in (
        LOOKED.split(","),
        ["12", "finish", "seen", at("11:58:00").replace(tzinfo=None), "Ada", "18 May"],
    ):
        page.append(row)
    stream = io.BytesIO()
    book.save(stream)
    event = event_in(tmp_path, stream.getvalue(), "sightings 2.xlsx")
    assert read(event, tmp_path).outcomes.select("runner", "time").rows() == [("12", at("09:58:00"))]


def test_times_after_midnight_belong_to_the_next_day(tmp_path: Path) -> None:
    found = read_text(
        tmp_path, f"{LOOKED}\n12,finish,seen,00:30,Ada,today\n13,finish,seen,2026-05-17T10:00:00Z,Ada,today\n"
    )
    assert found.outcomes["time"].to_list() == [at("22:30:00"), at("10:00:00")]


def test_a_looped_point_needs_its_visit(tmp_path: Path) -> None:
    event = small_event((("start", 0), ("mill", 4000), ("mill", 8000), ("finish", 12000)))
    assert "which, from 1 to 2" in problem(tmp_path, f"{LOOKED}\n12,mill,unclear,,Ada,today\n", event)
    assert "no visit 3" in problem(tmp_path, f"{LOOKED},visit\n12,mill,unclear,,Ada,today,3\n", event)
    found = read(event_in(tmp_path, f"{LOOKED},visit\n12,mill,unclear,,Ada,today,2\n", event=event), tmp_path)
    assert found.outcomes["order"].to_list() == [2]


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("99,finish,unclear,,Ada,today", "bib", "nobody is entered under"),
        (",finish,unclear,,Ada,today", "bib", "names no runner"),
        ("12,finnish,unclear,,Ada,today", "point", 'did you mean "finish"?'),
        ("12,,unclear,,Ada,today", "point", "empty"),
        ("12,finish,sen,,Ada,today", "outcome", 'did you mean "seen"?'),
        ("12,finish,perhaps,,Ada,today", "outcome", "seen, not there or unclear"),
        ("12,finish,,11:58,Ada,today", "outcome", "though a time stands beside it"),
        ("12,finish,seen,,Ada,today", "time_seen", "needs the time"),
        ("12,finish,not there,11:58,Ada,today", "time_seen", "takes no time"),
        ("12,finish,seen,noon,Ada,today", "time_seen", '"noon" is no time'),
        ("12,finish,seen,2026-05-16T11:58,Ada,today", "time_seen", "outside of the event"),
        ("12,finish,unclear,,,today", "who", "empty"),
        ("12,finish,unclear,,Ada,", "when", "empty"),
    ],
)
def test_every_bad_cell_is_named(tmp_path: Path, row: str, column: str, words: str) -> None:
    said = problem(tmp_path, f"{LOOKED}\n13,finish,unclear,,Ada,today\n{row}\n")
    assert said.startswith(f'sightings.csv, row 3, column "{column}": ')
    assert words in said


def test_one_runner_is_looked_up_once_over_all_files(tmp_path: Path) -> None:
    event_in(tmp_path, f"{LOOKED}\n12,finish,unclear,,Ada,today\n", "sightings-a.csv")
    said = problem(tmp_path, f"{LOOKED}\n12,finish,not there,,Ada,today\n")
    assert "in row 2 of sightings-a.csv already" in said


def test_runner_and_bib_must_agree(tmp_path: Path) -> None:
    said = problem(tmp_path, "runner,bib,point,outcome,time_seen,who,when\n12,13,finish,unclear,,Ada,today\n")
    assert "two different people" in said


def test_a_clock_time_that_comes_twice_is_refused(tmp_path: Path) -> None:
    """In Berlin the clocks went back at 03:00 on 25 October 2026 (EU directive 2000/84/EC: last Sunday of October)."""
    event = small_event()
    gun = at("09:00:00").replace(month=10, day=24, hour=21)
    late = replace(event, waves=tuple(replace(w, gun=gun) for w in event.waves), date=gun.date())
    assert "comes twice" in problem(tmp_path, f"{LOOKED}\n12,finish,seen,02:30,Ada,today\n", late)


@pytest.mark.parametrize(
    ("header", "words"),
    [
        (
            "bib,point,outcom,time_seen,who,when",
            'column "outcome": the column is missing; did you mean "outcom"?',
        ),
        ("point,outcome,time_seen,who,when", 'column "bib": the column is missing'),
        ("bib,bib,point,outcome,time_seen,who,when", "stands twice"),
        ("point,begin,crossed", 'column "missed": the column is missing'),
    ],
)
def test_a_header_that_lacks_something(tmp_path: Path, header: str, words: str) -> None:
    assert words in problem(tmp_path, f"{header}\n1,2,3,4,5,6\n"[: len(header) + 1])


def test_an_empty_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"sightings\.csv: the file is empty"):
        read(event_in(tmp_path, ""), tmp_path)


def test_counted_minutes(tmp_path: Path) -> None:
    found = read_text(
        tmp_path,
        f"{COUNTED},stratum,stratum_minutes,flow,seed\nfinish,11:31,12,0,1,40,11,5\nfinish,2026-05-17T11:33:00+02:00,,,1,40,9,5\n",
    ).minutes
    assert found.select(
        "begin", "crossed", "missed", "stratum", "stratum_minutes", "flow", "seed"
    ).rows() == [
        (at("09:31:00"), 12, 0, 1, 40, 11, 5),
        (at("09:33:00"), None, None, 1, 40, 9, 5),
    ]


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("finish,11:31,12,", "missed", "one of the two counts"),
        ("finish,11:31,,1", "crossed", "one of the two counts"),
        ("finish,11:31,12,13", "missed", "too many"),
        ("finish,11:31,a dozen,0", "crossed", "no whole number"),
        ("finish,11:31,-1,0", "crossed", "no whole number"),
        ("finish,,12,0", "begin", "name no minute"),
        ("finish,11:30,3,0", "begin", "counted in row 2 already"),
        ("finsh,11:31,3,0", "point", "did you mean"),
    ],
)
def test_every_bad_count_is_named(tmp_path: Path, row: str, column: str, words: str) -> None:
    said = problem(tmp_path, f"{COUNTED}\nfinish,11:30,5,1\n{row}\n")
    assert said.startswith(f'sightings.csv, row 3, column "{column}": ')
    assert words in said


def test_both_forms_in_one_file(tmp_path: Path) -> None:
    text = f"{LOOKED},begin,crossed,missed\n12,finish,unclear,,Ada,today,,,\n,finish,,,,,11:30,5,1\n"
    found = read_text(tmp_path, text)
    assert (found.outcomes.height, found.minutes.height) == (1, 1)
    assert found.minutes.select(pl.col("crossed")).item() == 5
