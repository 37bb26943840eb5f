"""One cell of a record: what is read, and what is refused with a better entry."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lineproof.event import load_event
from lineproof.setup.cells import Clock, Wrong, read_cell, to_clock
from lineproof.setup.fields import ITEM_FIELDS, LINE_FIELDS, MAT_FIELDS, Field
from setup_folders import write_event

FIELDS = {field.name: field for field in (*ITEM_FIELDS, *LINE_FIELDS, *MAT_FIELDS)}
LONDON = ZoneInfo("Europe/London")


def field(name: str) -> Field:
    return FIELDS[name]


def clock(date: str = "2026-05-17", gun: str = "10:00:00", tmp: Path | None = None) -> Clock:
    assert tmp is not None
    return to_clock(load_event(write_event(tmp, date, gun)))


@pytest.mark.parametrize("text", ["", "  ", "-", "–", "?", "n/a", "not recorded"])
def test_nothing_recorded_is_nothing(text: str) -> None:
    assert read_cell(field("spacing_m"), text) is None


@pytest.mark.parametrize(
    ("name", "text", "value"),
    [
        ("spacing_m", "3", 3.0),
        ("spacing_m", "3,5", 3.5),
        ("spacing_m", "3.5 m", 3.5),
        ("spacing_m", "3.5m", 3.5),
        ("hand_ceiling_cm", "150,5 cm", 150.5),
        ("hand_floor_cm", "0", 0.0),
        ("hand_floor_cm", "3", 3.0),
        ("crew_minutes", "40 min", 40.0),
        ("ports_told", "8.0", 8),
        ("walk_test", "YES", True),
        ("walk_test", "✓", True),
        ("walk_test", "no", False),
        ("reader_role", "Race", "race"),
        ("kind", "Power  unit", "power unit"),
        ("bought", "2024-02-29", dt.date(2024, 2, 29)),
        ("bought", "2024-02-29 00:00:00.000000", dt.date(2024, 2, 29)),
        ("surface", " wet   asphalt ", "wet asphalt"),
    ],
)
def test_what_people_write_is_read(name: str, text: str, value: object) -> None:
    assert read_cell(field(name), text) == value


@pytest.mark.parametrize(
    ("name", "text", "problem", "todo"),
    [
        ("hand_ceiling_cm", "1.6", "looks like metres", "write 160"),
        ("hand_floor_cm", "0.6", "looks like metres", "write 60"),
        ("hand_ceiling_cm", "1500", "cannot be", "millimetres, write 150"),
        ("hand_ceiling_cm", '63"', "not in centimetres", "write 160"),
        ("hand_ceiling_cm", "5 ft", "not in centimetres", "write 152"),
        ("hand_ceiling_cm", "1.5 m", "not in centimetres", "write 150"),
        ("spacing_m", "300 cm", "not in metres", "write 3"),
        ("spacing_m", "300", "cannot be", "centimetres, write 3"),
        ("spacing_m", "3 paces", "is no number", "digits, in metres"),
        ("crew_minutes", "2 h", "not in minutes", "write 120"),
        ("crew_minutes", "-5", "below zero", "minus"),
        ("crew_minutes", "−5", "below zero", "minus"),
        ("spacing_m", "1.234,5", "is no number", "digits"),
        ("spacing_m", "about 3", "is no number", "digits"),
        ("port", "1.5", "no whole number", "whole"),
        ("port", "0", "cannot be", ""),
        ("walk_test", "maybe", "neither yes nor no", "yes or no"),
        ("role", "mian", "not one of the words", 'did you mean "main"?'),
        ("bought", "29/02/2024", "is no date", "2026-05-17"),
        ("bought", "2023-02-29", "is no date", "2026-05-17"),
    ],
)
def test_what_cannot_be_is_refused_with_a_better_entry(name: str, text: str, problem: str, todo: str) -> None:
    found = read_cell(field(name), text)
    assert isinstance(found, Wrong)
    assert problem in found.problem
    assert todo in found.todo


def read_time(text: str, given: Clock) -> object:
    return read_cell(field("laid"), text, given)


@pytest.mark.parametrize(
    ("text", "local"),
    [
        ("05:40", "2026-05-17T05:40"),
        ("5:40", "2026-05-17T05:40"),
        ("05:40:30.5", "2026-05-17T05:40:30.500000"),
        ("5:40 pm", "2026-05-17T17:40"),
        ("12:05 am", "2026-05-17T00:05"),
        ("23:30", "2026-05-17T23:30"),  # gun at 10:00: the 24 hours begin at midnight
        ("2026-05-16 21:30", "2026-05-16T21:30"),
        ("2026-05-17T05:40:00.000000", "2026-05-17T05:40"),
        ("1899-12-31 05:40:00.000000", "2026-05-17T05:40"),
        ("2026-05-17 05:40+02:00", "2026-05-17T04:40"),
    ],
)
def test_a_clock_time_is_placed_on_the_day(tmp_path: Path, text: str, local: str) -> None:
    found = read_time(text, clock(tmp=tmp_path))
    assert found == dt.datetime.fromisoformat(local).replace(tzinfo=LONDON).astimezone(dt.UTC)


def test_an_event_at_night_runs_into_the_next_day(tmp_path: Path) -> None:
    night = clock("2026-10-24", "22:00:00", tmp_path)
    assert read_time("20:15", night) == dt.datetime(2026, 10, 24, 19, 15, tzinfo=dt.UTC)
    assert read_time("00:30", night) == dt.datetime(2026, 10, 24, 23, 30, tzinfo=dt.UTC)
    assert read_time("05:00", night) == dt.datetime(2026, 10, 25, 5, 0, tzinfo=dt.UTC)


def test_an_early_start_has_its_lines_laid_the_evening_before(tmp_path: Path) -> None:
    assert read_time("23:30", clock("2026-05-17", "08:00:00", tmp_path)) == dt.datetime(
        2026, 5, 16, 22, 30, tzinfo=dt.UTC
    )


def test_the_hour_that_comes_twice_needs_its_offset(tmp_path: Path) -> None:
    """Clocks in the United Kingdom went back at 01:00 UTC on 25 October 2026 (IANA time zone database)."""
    night = clock("2026-10-24", "22:00:00", tmp_path)
    found = read_time("01:30", night)
    assert isinstance(found, Wrong)
    assert "comes twice" in found.problem
    assert read_time("2026-10-25 01:30+01:00", night) == dt.datetime(2026, 10, 25, 0, 30, tzinfo=dt.UTC)
    assert read_time("2026-10-25 01:30+00:00", night) == dt.datetime(2026, 10, 25, 1, 30, tzinfo=dt.UTC)


def test_the_hour_that_never_came_is_said(tmp_path: Path) -> None:
    """Clocks in the United Kingdom went forward at 01:00 UTC on 29 March 2026 (IANA time zone database)."""
    found = read_time("01:30", clock("2026-03-29", "08:00:00", tmp_path))
    assert isinstance(found, Wrong)
    assert "does not exist" in found.problem


@pytest.mark.parametrize(
    ("text", "problem", "todo"),
    [
        ("0540", "no clock time", "write 05:40"),
        ("5.40", "no clock time", "write 05:40"),
        ("half past five", "no clock time", "like 05:40"),
        ("25:00", "there is no clock time", "05:40"),
        ("13:00 pm", "there is no clock time", "05:40"),
        ("0.236111", "part of a day", "time format"),
        ("2026-05-10 05:40", "another day", "clock time alone"),
        ("2026-13-40 05:40", "no date and time", "2026-05-17 05:40"),
    ],
)
def test_a_time_that_is_none_is_refused(tmp_path: Path, text: str, problem: str, todo: str) -> None:
    found = read_time(text, clock(tmp=tmp_path))
    assert isinstance(found, Wrong)
    assert problem in found.problem
    assert todo in found.todo


@given(st.text(max_size=40))
def test_any_text_is_a_value_or_a_reason(text: str) -> None:
    given_clock = Clock(
        LONDON,
        dt.datetime(2026, 5, 17, tzinfo=dt.UTC),
        dt.datetime(2026, 5, 16, tzinfo=dt.UTC),
        dt.datetime(2026, 5, 19, tzinfo=dt.UTC),
    )
    for one in FIELDS.values():
        found = read_cell(one, text, given_clock)
        assert found is None or isinstance(found, Wrong | str | int | float | bool | dt.date)


@given(st.floats(0.5, 20), st.sampled_from([".", ","]))
def test_every_number_in_its_limits_is_read_with_either_decimal_sign(value: float, sign: str) -> None:
    assert read_cell(field("spacing_m"), f"{value:.3f}".replace(".", sign)) == pytest.approx(value, abs=5e-4)
