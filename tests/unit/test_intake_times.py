"""Texts to instants: exactness, sizes of epoch numbers, clock times around midnight."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from event_folders import load, write_folder
from lineproof.intake.times import Kind, TimePlan, local_us, to_instants

EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


def read(texts: list[str], base_us: int | None = None, **plan: object) -> list[dt.datetime | None]:
    settled = TimePlan(frozenset(Kind), "UTC", **plan)  # type: ignore[arg-type]
    frame = pl.LazyFrame({"text": texts}).with_columns(pl.lit(base_us, dtype=pl.Int64).alias("base_us"))
    return to_instants(frame, "text", settled).collect()["time"].to_list()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # ISO 8601-1:2019 forms; RFC 3339 section 5.8 gives the first two as examples.
        ("1985-04-12T23:20:50.52Z", dt.datetime(1985, 4, 12, 23, 20, 50, 520000, dt.UTC)),
        ("1996-12-19T16:39:57-08:00", dt.datetime(1996, 12, 20, 0, 39, 57, 0, dt.UTC)),
        ("1937-01-01T12:00:27.87+00:20", dt.datetime(1937, 1, 1, 11, 40, 27, 870000, dt.UTC)),
        ("2026-05-17 09:30", dt.datetime(2026, 5, 17, 9, 30, tzinfo=dt.UTC)),
        ("20260517T093001,5+0100", dt.datetime(2026, 5, 17, 8, 30, 1, 500000, dt.UTC)),
        ("2026/5/17 9:30:01.1234569", dt.datetime(2026, 5, 17, 9, 30, 1, 123456, dt.UTC)),
        ("2026-05-17 24:00:00", dt.datetime(2026, 5, 18, tzinfo=dt.UTC)),
        ("17.05.2026 12:00:00 AM", dt.datetime(2026, 5, 17, tzinfo=dt.UTC)),
        ("17/5/26, 12:00:00 pm", dt.datetime(2026, 5, 17, 12, tzinfo=dt.UTC)),
    ],
)
def test_dated_times(text: str, expected: dt.datetime) -> None:
    assert read([text], date_order="dmy") == [expected]


def test_leap_second_of_1990_is_refused() -> None:
    # RFC 3339 section 5.8: "1990-12-31T23:59:60Z represents the leap second inserted at the end of 1990".
    frame = pl.LazyFrame({"text": ["1990-12-31T23:59:60Z"]})
    row = to_instants(frame, "text", TimePlan(frozenset({Kind.ISO}), "UTC")).collect().row(0, named=True)
    assert row["time"] is None
    assert "leap second" in row["why"]


@settings(deadline=None, max_examples=40)
@given(st.lists(st.datetimes(dt.datetime(1, 1, 2), dt.datetime(9999, 12, 30)), min_size=1))  # noqa: DTZ001
def test_calendar_agrees_with_the_standard_library(moments: list[dt.datetime]) -> None:
    assert read([m.isoformat(sep=" ") for m in moments]) == [m.replace(tzinfo=dt.UTC) for m in moments]


@settings(deadline=None, max_examples=40)
@given(st.integers(10**8 * 1_000_000, 4 * 10**9 * 1_000_000))
def test_epoch_numbers_are_exact_to_the_microsecond(micros: int) -> None:
    whole, rest = divmod(micros, 1_000_000)
    milli, micro = divmod(micros, 1000)
    expected = [EPOCH + dt.timedelta(microseconds=micros)]
    assert read([f"{whole}.{rest:06}"], number="epoch", per_second=1) == expected
    assert read([f"{milli},{micro:03}"], number="epoch", per_second=1000) == expected
    assert read([str(micros)], number="epoch", per_second=1_000_000) == expected
    assert read([f"{micros}789"], number="epoch", per_second=1_000_000_000) == expected


def test_the_unit_of_an_epoch_number_by_its_size() -> None:
    moment = dt.datetime(2026, 5, 17, 9, 0, tzinfo=dt.UTC)  # 1779008400 by date -u +%s
    texts = ["1779008400", "1779008400000", "1779008400000000", "1779008400000000000"]
    assert read(texts, number="epoch") == [moment] * 4


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 400), st.integers(0, 59), st.integers(0, 59), st.integers(0, 999_999))
def test_elapsed_times_are_exact(hours: int, minutes: int, seconds: int, micros: int) -> None:
    length = dt.timedelta(hours=hours, minutes=minutes, seconds=seconds, microseconds=micros)
    fraction = f"{micros:06}"
    texts = [
        f"{hours}:{minutes:02}:{seconds:02}.{fraction}",
        f"{hours * 60 + minutes}:{seconds:02},{fraction}",
        f"{hours * 3600 + minutes * 60 + seconds}.{fraction}",
    ]
    if hours * 60 + minutes > 9999:
        texts.pop(1)
    assert read(texts, base_us=0, number="elapsed", colon="elapsed") == [EPOCH + length] * len(texts)


def test_clock_times_lie_in_the_day_that_the_event_opens() -> None:
    opens = local_us(dt.datetime(2026, 5, 17, 20, 0, tzinfo=dt.UTC), "UTC")
    texts = ["20:00:00", "23:59:59.9", "00:00:00", "24:00:00", "19:59:59", "8:00 pm"]
    days = [17, 17, 18, 18, 18, 17]
    clocks = [(20, 0, 0), (23, 59, 59, 900000), (0, 0, 0), (0, 0, 0), (19, 59, 59), (20, 0, 0)]
    expected = [
        dt.datetime(2026, 5, day, *clock, tzinfo=dt.UTC) for day, clock in zip(days, clocks, strict=True)
    ]
    assert read(texts, colon="clock", opens=opens) == expected


def test_a_zone_of_the_input_goes_before_that_of_the_event(tmp_path: Path) -> None:
    text = "Tag,Time,Line\nA1,2026-05-17 09:00:00,M1\nA1,2026-05-17 09:00:00+02:00,M1\n"
    reads = (
        load(write_folder(tmp_path / "e", more='zone = "UTC"', reads_csv=text)).reads.collect().sort("row")
    )
    assert [time.hour for time in reads["time"]] == [9, 7]


def test_times_of_day_on_a_race_over_midnight(tmp_path: Path) -> None:
    text = "Tag,Time,Line\nA1,23:30:00,M1\nA1,00:40:00.5,F1\n"
    folder = write_folder(tmp_path / "e", gun="22:30:00", more='times = "clock"', reads_csv=text)
    reads = load(folder).reads.collect().sort("row")
    assert reads["time"].to_list() == [
        dt.datetime(2026, 5, 17, 22, 30, tzinfo=dt.UTC),
        dt.datetime(2026, 5, 17, 23, 40, 0, 500000, dt.UTC),
    ]


def test_an_ambiguous_date_is_settled_by_the_day_of_the_event(tmp_path: Path) -> None:
    text = "Tag,Time,Line\nA1,06/05/2026 10:00:00,M1\nA1,07/05/2026 00:10:00,M1\n"
    for date, day, order in (("2026-05-06", "2026-05-06", "dmy"), ("2026-06-05", "2026-06-05", "mdy")):
        texts = text if order == "dmy" else text.replace("07/05", "06/06")
        intake = load(write_folder(tmp_path / order, date=date, reads_csv=texts))
        assert str(intake.reads.collect()["time"].min())[:10] == day
        assert f"in the order {order}" in intake.account["remarks"][1]
