"""Instants around the changes of clocks in 2026, against the tz database.

Source: IANA time zone database (as in Python's ``zoneinfo``, package ``tzdata``), zones Europe/London
(rules EU: last Sundays of March and October, 01:00 UTC) and America/New_York (rules US: second Sunday
of March, first Sunday of November, 02:00 local).  The offsets below are written out, and checked
against ``zoneinfo`` first, so that our reading and the library are held to the same published rules:
recomputed by ``zoneinfo``, or by hand from these rules.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from event_folders import load, write_folder
from lineproof.errors import EventError
from lineproof.event import load_event
from lineproof.intake.times import Kind, TimePlan, to_instants

# zone, instant, wall clock with offset
CHANGES = [
    ("Europe/London", "2026-03-29T00:59:59Z", "2026-03-29T00:59:59+00:00"),
    ("Europe/London", "2026-03-29T01:00:00Z", "2026-03-29T02:00:00+01:00"),
    ("Europe/London", "2026-10-25T00:59:59Z", "2026-10-25T01:59:59+01:00"),
    ("Europe/London", "2026-10-25T01:00:00Z", "2026-10-25T01:00:00+00:00"),
    ("America/New_York", "2026-11-01T05:59:59Z", "2026-11-01T01:59:59-04:00"),
    ("America/New_York", "2026-11-01T06:00:00Z", "2026-11-01T01:00:00-05:00"),
]


def read(text: str, zone: str, repeated_hour: str | None = None) -> tuple[dt.datetime | None, str | None]:
    plan = TimePlan(frozenset({Kind.ISO}), zone, repeated_hour=repeated_hour)
    row = to_instants(pl.LazyFrame({"text": [text]}), "text", plan).collect().row(0, named=True)
    return row["time"], row["why"]


@pytest.mark.parametrize(("zone", "instant", "wall"), CHANGES)
def test_recomputed_stated_offsets_agree_with_the_tz_database(zone: str, instant: str, wall: str) -> None:
    moment = dt.datetime.fromisoformat(instant)
    assert moment.astimezone(ZoneInfo(zone)).isoformat() == wall
    assert read(wall, "UTC") == (moment, None)
    assert read(instant, zone) == (moment, None)


@pytest.mark.parametrize(("zone", "instant", "wall"), CHANGES)
def test_recomputed_wall_clocks_without_offset(zone: str, instant: str, wall: str) -> None:
    moment, naive = dt.datetime.fromisoformat(instant), wall[:19]
    if "T01:" not in naive:  # not in the hour that comes twice
        assert read(naive, zone) == (moment, None)
        return
    time, why = read(naive, zone)
    assert time is None
    assert "comes twice" in (why or "")
    which = "earlier" if wall.endswith(("+01:00", "-04:00")) else "later"
    assert read(naive, zone, which) == (moment, None)


def test_recomputed_an_hour_that_does_not_exist() -> None:
    for choice in (None, "earlier", "later"):
        time, why = read("2026-03-29 01:30:00", "Europe/London", choice)
        assert time is None
        assert "does not exist in Europe/London" in (why or "")


@settings(deadline=None, max_examples=40)
@given(
    st.datetimes(dt.datetime(2026, 1, 1), dt.datetime(2026, 12, 31)),  # noqa: DTZ001
    st.sampled_from(["Europe/London", "America/New_York", "Asia/Kolkata", "Australia/Lord_Howe", "UTC"]),
)
def test_recomputed_every_wall_clock_that_exists_once_by_zoneinfo(wall: dt.datetime, zone: str) -> None:
    here = wall.replace(tzinfo=ZoneInfo(zone))
    early, late = here.astimezone(dt.UTC), here.replace(fold=1).astimezone(dt.UTC)
    time, why = read(wall.isoformat(sep=" "), zone)
    exists = early.astimezone(ZoneInfo(zone)).replace(tzinfo=None) == wall
    if early == late:
        assert (time, why) == (early, None)
    else:
        assert time is None
        assert ("comes twice" if exists else "does not exist") in (why or "")


def test_recomputed_a_race_through_the_night_of_the_change(tmp_path: Path) -> None:
    text = "Tag,Time,Line\nA1,2026-10-25 00:59:59,M1\nA1,2026-10-25 01:30:00,M1\nA1,2026-10-25 02:00:00,F1\n"
    folder = write_folder(tmp_path / "e", date="2026-10-24", gun="22:00:00", reads_csv=text)
    intake = load(folder)
    assert intake.rejects.select("row", "column", "value").rows() == [(3, "Time", "2026-10-25 01:30:00")]
    assert intake.reads.collect().sort("time")["time"].to_list() == [
        dt.datetime(2026, 10, 24, 23, 59, 59, tzinfo=dt.UTC),
        dt.datetime(2026, 10, 25, 2, 0, 0, tzinfo=dt.UTC),
    ]
    later = load(
        write_folder(
            tmp_path / "l", date="2026-10-24", gun="22:00:00", more='repeated_hour = "later"', reads_csv=text
        )
    )
    assert dt.datetime(2026, 10, 25, 1, 30, tzinfo=dt.UTC) in later.reads.collect()["time"].to_list()


@pytest.mark.parametrize(
    ("date", "gun", "says"),
    [("2026-03-29", "01:30:00", "does not exist"), ("2026-10-25", "01:30:00", "comes twice")],
)
def test_recomputed_a_gun_in_the_change(tmp_path: Path, date: str, gun: str, says: str) -> None:
    folder = write_folder(tmp_path / "e", date=date, gun=gun, reads_csv="Tag,Time,Line\n")
    with pytest.raises(EventError, match=says):
        load_event(folder)
