"""What a person means by a time, on common days and in the night in which an hour comes twice."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from lineproof.event import Event, clock_layout, load_event, read_moment

UTC = dt.UTC
TEXT = """
[event]
date = {date}
zone = "Europe/London"
[[course]]
id = "c"
visits = [{{ point = "start", at_m = 0 }}, {{ point = "finish", at_m = 9000 }}]
[[wave]]
id = "c"
gun = {gun}
[[point]]
id = "start"
[[point]]
id = "finish"
[[input]]
files = "*"
level = "reads"
"""


def an_event(folder: Path, date: str, gun: str) -> Event:
    (folder / "event.toml").write_text(TEXT.format(date=date, gun=gun), encoding="utf-8")
    return load_event(folder)


@pytest.fixture
def night(tmp_path: Path) -> Event:
    """In 2026 summer time ends in the United Kingdom on 25 October at 01:00 UTC (the Summer Time Order 2002)."""
    return an_event(tmp_path, "2026-10-24", "23:30:00")


@pytest.fixture
def day(tmp_path: Path) -> Event:
    return an_event(tmp_path, "2026-05-17", "09:30:00")


@pytest.mark.parametrize(
    ("text", "hour", "minute"),
    [
        ("01:12 BST", 0, 12),
        ("01:12:00 GMT", 1, 12),
        ("01:12gmt", 1, 12),
        ("01:12+01:00", 0, 12),
        ("01:12:00+00:00", 1, 12),
        ("2026-10-25T01:12:00Z", 1, 12),
        ("2026-10-25 01:12 BST", 0, 12),
        ("00:50", 23, 50),  # on the 25th, still summer time
        ("2:05", 2, 5),
    ],
)
def test_the_hour_that_comes_twice(night: Event, text: str, hour: int, minute: int) -> None:
    day = 24 if hour == 23 else 25
    assert read_moment(text, night) == dt.datetime(2026, 10, day, hour, minute, tzinfo=UTC)


def test_a_bare_time_of_that_hour_says_nothing(night: Event, tmp_path: Path) -> None:
    assert read_moment("01:12", night) is None
    # It ends winter time in the same country on 29 March 2026 at 01:00 UTC: 01:30 is on no clock.
    spring = an_event(tmp_path, "2026-03-28", "23:30:00")
    assert read_moment("01:30", spring) is None


def test_a_bare_time_lies_in_the_day_that_begins_when_the_event_opens(day: Event) -> None:
    assert read_moment("10:42:17.5", day) == dt.datetime(2026, 5, 17, 9, 42, 17, 500_000, UTC)
    assert read_moment("00:10", day) == dt.datetime(2026, 5, 17, 23, 10, tzinfo=UTC)


@pytest.mark.parametrize("text", ["noon", "25:00", "10:42 XYZ", "10:42 CET", ""])
def test_what_is_no_time(day: Event, text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        read_moment(text, day)


def test_clock_times_name_their_zone_only_where_the_clocks_are_changed(night: Event, day: Event) -> None:
    assert clock_layout(day) == "%H:%M:%S"
    assert clock_layout(night) == "%H:%M:%S %Z"
