"""Both lines and all tags of one runner at one visit become one crossing; nothing is lost on the way."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from lineproof.crossings import merge_passings, to_whole_units_us
from lineproof.event import Wave
from lineproof.passings import number_passings
from lineproof.tables import ENTRIES, TAGS
from lineproof.vocabulary import Level
from unit.small_event import GUN, at, entries, passings, small_event, tags

EVENT = small_event()
ONE = entries("1")
ONE_TAG = tags(t1="1")


def cross(rows, event=EVENT, who=ONE, held=ONE_TAG, level=Level.PASSINGS):
    frame = number_passings([passings(*rows, level=level)])
    return merged(frame, who, held, event)


def merged(frame, who, held, event):
    merge = merge_passings(frame, who, held, event)
    return merge.crossings, merge.unused


def test_main_and_backup_become_one_crossing_with_the_main_time() -> None:
    crossings, unused = cross(
        [
            ("t1", "start-main", "09:00:05"),
            ("t1", "start-backup", "09:00:06"),
            ("t1", "mill-main", "09:20:00"),
            ("t1", "mill-backup", "09:20:01"),
            ("t1", "finish-main", "09:42:10.3"),
        ]
    )
    assert unused.is_empty()
    assert crossings.select("point", "time", "time_source", "seen_main", "seen_backup").rows() == [
        ("start", at("09:00:05"), "main", True, True),
        ("mill", at("09:20:00"), "main", True, True),
        ("finish", at("09:42:10.3"), "main", True, False),
    ]
    assert crossings.select("gun_us", "net_us", "segment_us", "segment_m", "segment_from").rows() == [
        (5_000_000, 0, None, None, None),
        (1_200_000_000, 1_195_000_000, 1_195_000_000, 5000.0, 0),
        (2_530_300_000, 2_525_300_000, 1_330_300_000, 5000.0, 1),
    ]


FIVE = ["1", "2", "3", "4", "5"]


def five_at_both_lines(backup_hour: str) -> list[tuple[str, str, str]]:
    """Runners 1 to 5 by main at 09:21 to 09:25 and by backup two seconds (and some hours) later."""
    return [
        row
        for i in FIVE
        for row in (
            (f"t{i}", "mill-main", f"09:2{i}:00"),
            (f"t{i}", "mill-backup", f"{backup_hour}:2{i}:02"),
        )
    ]


def test_official_times_are_rounded_up_once_by_the_unit_of_the_course() -> None:
    rows = [("t1", "start-main", "09:00:05.9"), ("t1", "finish-main", "09:42:10.3")]
    crossings, _ = cross(rows)
    # Gun 2530.3 s, net 2524.4 s; rounded ends would give 2531 - 6 = 2525 by luck, so tenths are asked too.
    assert crossings.select("gun_rounded_us", "net_rounded_us").row(1) == (2_531_000_000, 2_525_000_000)
    tenths = replace(EVENT, courses=(replace(EVENT.courses[0], rounding_us=100_000),))
    crossings, _ = cross(rows, event=tenths)
    assert crossings.select("gun_rounded_us", "net_rounded_us").row(1) == (2_530_300_000, 2_524_400_000)


def test_a_backup_time_stands_in_less_the_lag_of_its_line() -> None:
    crossings, _ = cross(
        [*five_at_both_lines("09"), ("t9", "mill-backup", "09:30:10")],
        who=entries(*FIVE, "9"),
        held=tags(**{f"t{i}": i for i in (*FIVE, "9")}),
    )
    last = crossings.filter(pl.col("runner") == "9").row(0, named=True)
    assert (last["time"], last["time_source"], last["line"]) == (at("09:30:08"), "backup", "mill-backup")
    assert last["backup_time"] == at("09:30:10")
    assert last["key"] == "mill-backup/t9/2026-05-17T09:30:10.000000Z"


def test_a_backup_line_that_is_an_hour_off_still_merges() -> None:
    crossings, unused = cross(
        five_at_both_lines("10"), who=entries(*FIVE), held=tags(**{f"t{i}": i for i in FIVE})
    )
    assert (crossings.height, unused.height) == (5, 0)
    assert crossings["passings"].to_list() == [2] * 5


def test_at_a_start_the_last_read_counts_and_waiting_on_the_mats_does_not() -> None:
    frame = passings(("t1", "start-main", "08:57:00")).with_columns(pl.lit(at("09:00:20")).alias("last"))
    crossings, _ = merged(number_passings([frame]), ONE, ONE_TAG, EVENT)
    assert crossings["time"].to_list() == [at("09:00:20")]


def test_a_warm_up_over_the_start_line_is_before_the_start() -> None:
    crossings, unused = cross([("t1", "start-main", "08:40:00"), ("t1", "start-main", "09:00:04")])
    assert crossings["time"].to_list() == [at("09:00:04")]
    assert unused["why"].to_list() == ["before the start"]


def test_every_reason_for_being_in_no_crossing() -> None:
    crossings, unused = cross(
        [
            ("ghost", "mill-main", "09:20:00"),
            ("t1", "finish-main", "08:00:00"),
            ("t1", "finish-main", "09:02:00"),  # 10 km in two minutes: in a bag beside the line
            ("t1", "finish-main", "09:41:00"),
            ("t1", "finish-main", "09:55:00"),
            ("t1", "mill-main", "09:20:00"),
        ],
    )
    assert crossings.select("point", "time").rows() == [("mill", at("09:20:00")), ("finish", at("09:41:00"))]
    assert unused.select(pl.col("first").dt.strftime("%H:%M"), "why").rows() == [
        ("08:00", "before the start"),
        ("09:02", "too early to be the crossing"),
        ("09:20", "unknown tag"),
        ("09:55", "read again after the crossing"),
    ]


def test_reads_after_the_close_and_points_off_the_course() -> None:
    # The event closes 16 hours after the last gun; the day is over then, so place the gun a day back.
    early = dt.datetime(2026, 5, 16, 9, 0, tzinfo=dt.UTC)
    event = small_event()
    late = replace(event, waves=(Wave("A", "road", early),))
    _, unused = cross([("t1", "mill-main", "09:20:00")], event=late)
    assert unused["why"].to_list() == ["after the close"]
    other = small_event((("start", 0), ("finish", 10000), ("mill", 15000)))
    short = replace(other, courses=(replace(other.courses[0], visits=other.courses[0].visits[:2]),))
    _, unused = cross([("t1", "mill-main", "09:20:00")], event=short)
    assert unused["why"].to_list() == ["point not on the runner's course"]


def test_where_no_time_is_possible_the_first_stands_for_the_checks_to_catch() -> None:
    crossings, unused = cross([("t1", "finish-main", "09:02:00"), ("t1", "finish-main", "09:04:00")])
    assert crossings["time"].to_list() == [at("09:02:00")]
    assert unused["why"].to_list() == ["read again after the crossing"]


def test_two_tags_of_one_runner_are_one_crossing() -> None:
    crossings, _ = cross(
        [("t1", "mill-main", "09:20:01"), ("t2", "mill-main", "09:20:00"), ("t2", "mill-backup", "09:20:02")],
        held=tags(t1="1", t2="1"),
    )
    assert crossings.select("time", "tags", "passings").rows() == [(at("09:20:00"), 2, 3)]


def test_a_reissued_tag_belongs_to_its_holder_at_the_time() -> None:
    held = TAGS.shape_rows(
        [{"tag": "t1", "runner": "1"}, {"tag": "t1", "runner": "2", "since": at("09:30:00")}]
    )
    crossings, _ = cross(
        [("t1", "mill-main", "09:20:00"), ("t1", "mill-main", "09:40:00")], who=entries("1", "2"), held=held
    )
    assert crossings.select("runner", "time").rows() == [("1", at("09:20:00")), ("2", at("09:40:00"))]


def test_laps_are_numbered_and_a_missed_lap_leaves_its_number_free() -> None:
    event = small_event((("start", 0), ("mill", 2500), ("mill", 5000), ("mill", 7500), ("finish", 10000)))
    crossings, unused = cross(
        [
            ("t1", "start-main", "09:00:05"),
            ("t1", "mill-main", "09:12:00"),
            ("t1", "mill-backup", "09:36:00"),
            ("t1", "finish-main", "09:48:00"),
        ],
        event=event,
    )
    assert unused.is_empty()
    assert crossings.select("order", "point", "visit").rows() == [
        (0, "start", 1),
        (1, "mill", 1),
        (3, "mill", 3),
        (4, "finish", 1),
    ]


@pytest.mark.parametrize(
    ("place", "expected"),
    [("mill", (None, None)), ("mill-main", (True, None)), ("mill-backup", (False, True))],
)
def test_merged_times_tell_of_the_lines_only_what_they_can(place: str, expected: tuple) -> None:
    crossings, _ = cross([("t1", place, "09:20:00")], level=Level.MERGED)
    assert crossings.select("seen_main", "seen_backup").row(0) == expected


def test_row_order_of_the_passings_is_irrelevant() -> None:
    rows = [
        ("t1", "mill-main", "09:20:00"),
        ("t1", "mill-backup", "09:20:01"),
        ("t1", "finish-main", "09:41:00"),
    ]
    for given_rows in (rows, rows[::-1]):
        crossings, _ = cross(given_rows)
        assert crossings["time"].to_list() == [at("09:20:00"), at("09:41:00")]


PLACES = ["start-main", "start-backup", "mill-main", "mill-backup", "finish-main", "finish-backup"]
ROWS = st.lists(
    st.tuples(st.sampled_from(["t1", "t2", "t3", "ghost"]), st.sampled_from(PLACES), st.integers(-900, 5000)),
    max_size=40,
)


@settings(max_examples=60, deadline=None)
@given(ROWS, st.booleans())
def test_every_passing_is_in_one_crossing_or_unused(rows, looped: bool) -> None:
    stops = (("start", 0), ("mill", 2500), ("mill", 5000), ("finish", 7500)) if looped else None
    event = small_event(stops) if stops else EVENT
    clocked = [(t, p, (GUN + dt.timedelta(seconds=s)).strftime("%H:%M:%S")) for t, p, s in rows]
    who, held = entries("1", "2"), tags(t1="1", t2="2", t3="1")
    crossings, unused = cross(clocked, event=event, who=who, held=held)
    assert crossings["passings"].sum() + unused.height == len(rows)
    again, unused_again = cross(clocked[::-1], event=event, who=who, held=held)
    assert_frame_equal(crossings, again)
    assert unused["why"].sort().to_list() == unused_again["why"].sort().to_list()


def test_entries_without_a_bib_or_a_gun_still_cross() -> None:
    who = ENTRIES.shape_rows([{"runner": "t1", "course": "road", "wave": "B", "runner_class": "foot"}])
    event = replace(EVENT, waves=(*EVENT.waves, Wave("B", "road", None)))
    crossings, _ = cross([("t1", "mill-main", "08:20:00")], event=event, who=who, held=tags(t1="t1"))
    assert crossings.select("gun_us", "net_us", "bib").rows() == [(None, None, None)]


def whole(us: int, unit_us: int = 1_000_000) -> int:
    return pl.select(to_whole_units_us(pl.lit(us, dtype=pl.Int64), unit_us)).item()


def test_times_are_rounded_up_once_from_the_raw_difference() -> None:
    assert whole(2_530_300_000) == 2_531_000_000
    assert whole(2_530_000_000) == 2_530_000_000


def test_a_relay_team_is_one_entry_with_a_tag_for_each_leg() -> None:
    # Both tags are read where they change hands; the team crosses once, with the first of the two.
    crossings, unused = cross(
        [
            ("leg1", "start-main", "09:00:05"),
            ("leg1", "mill-main", "09:20:00"),
            ("leg2", "mill-main", "09:20:12"),
            ("leg2", "finish-main", "09:41:00"),
        ],
        who=entries("team"),
        held=tags(leg1="team", leg2="team"),
    )
    assert unused.is_empty()
    assert crossings.select("point", "time", "tags").rows() == [
        ("start", at("09:00:05"), 1),
        ("mill", at("09:20:00"), 2),
        ("finish", at("09:41:00"), 1),
    ]
