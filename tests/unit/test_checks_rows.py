"""Rows that are there twice, too close together, or no times at all."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from lineproof.checks import to_repeated_reads
from lineproof.passings import number_passings
from unit.checked_event import (
    RUNNERS,
    clean_passings,
    findings_of,
    make_entries,
    material_of,
    names_found,
    passing,
)
from unit.small_event import GUN, reads


def with_more(*parts: pl.DataFrame) -> pl.DataFrame:
    return number_passings([clean_passings(), *parts])


def later(minutes: float = 0, seconds: float = 0) -> dt.datetime:
    return GUN + dt.timedelta(minutes=minutes, seconds=seconds)


def test_a_repeated_row_is_labelled_once() -> None:
    again = clean_passings().filter((pl.col("tag") == "t-A04") & (pl.col("line") == "mill-main"))
    material = material_of(with_more(again))
    assert names_found(material) == {"duplicate row"}
    found = findings_of("duplicate row", material)
    assert found.select("tag", "line", "rows").rows() == [("t-A04", "mill-main", 1)]
    assert found["key"][0] == "mill-main/t-A04/2026-05-17T09:30:33.000000Z"


def test_an_export_given_twice_is_one_finding() -> None:
    again = clean_passings().filter(pl.col("line") == "mill-main")
    found = findings_of("duplicate row", material_of(with_more(again)))
    assert found.select("line", "rows", "tag").rows() == [("mill-main", 12, None)]


@pytest.mark.parametrize(("gap_s", "caught"), [(11, True), (59, True), (60, False), (300, False)])
def test_a_second_passing_of_a_line_within_a_minute(gap_s: float, caught: bool) -> None:
    material = material_of(with_more(passing("t-A12", "mill-main", later(30, 113 + gap_s))))
    found = findings_of("too close together", material)
    assert found["tag"].to_list() == (["t-A12"] if caught else [])
    assert found["value"].to_list() == ([gap_s] if caught else [])


def test_waiting_on_the_start_mats_is_not_too_close() -> None:
    before = [passing("t-A01", "start-main", later(seconds=s), stay_s=5) for s in (-80, -40, -20)]
    assert names_found(material_of(with_more(*before))) <= {"read before the start"}


def test_two_lines_under_one_name_are_one_finding() -> None:
    """A merged export without lines gives every runner twice, 40 s apart."""
    rows = [
        passing(f"t-{runner}", "mill", later(30, 10 * n + add), level="merged")
        for n, runner in enumerate(RUNNERS)
        for add in (0, 40)
    ]
    found = findings_of("too close together", material_of(number_passings(rows)))
    assert found.select("point", "rows", "tag").rows() == [("mill", 12, None)]


@pytest.mark.parametrize(
    "time",
    [
        dt.datetime(1970, 1, 1, tzinfo=dt.UTC),
        dt.datetime(1899, 12, 30, 0, 0, tzinfo=dt.UTC),
        dt.datetime(1900, 1, 1, 5, 0, tzinfo=dt.UTC),
        dt.datetime(2000, 1, 1, 0, 3, tzinfo=dt.UTC),
        dt.datetime(9999, 12, 31, tzinfo=dt.UTC),
        dt.datetime(2026, 5, 17, tzinfo=dt.UTC),  # midnight of the day
    ],
)
def test_times_that_stand_for_not_known(time: dt.datetime) -> None:
    found = findings_of("placeholder time", material_of(with_more(passing("t-A02", "mill-main", time))))
    assert found.select("severity", "tag", "time").rows() == [("warning", "t-A02", time)]


def test_one_time_for_many_runners() -> None:
    crowd = tuple(f"A{n:02}" for n in range(1, 31))
    one = [passing(f"t-{runner}", "mill", later(30), level="merged") for runner in crowd[:10]]
    rest = [
        passing(f"t-{runner}", "mill", later(30, 7 + n), level="merged")
        for n, runner in enumerate(crowd[10:])
    ]
    material = material_of(number_passings([*one, *rest]), entries=make_entries(crowd))
    found = findings_of("placeholder time", material)
    assert found.select("point", "rows", "time").rows() == [("mill", 10, later(30))]


def test_a_busy_second_is_no_pile() -> None:
    """Ten runners in one second, where the seconds around it have five each: whole-second times of a crowd."""
    crowd = tuple(f"A{n:02}" for n in range(1, 51))
    one = [passing(f"t-{runner}", "mill", later(30), level="merged") for runner in crowd[:10]]
    rest = [
        passing(f"t-{runner}", "mill", later(30, 1 + n // 5), level="merged")
        for n, runner in enumerate(crowd[10:])
    ]
    material = material_of(number_passings([*one, *rest]), entries=make_entries(crowd))
    assert findings_of("placeholder time", material).is_empty()


def test_an_unknown_tag_is_one_finding() -> None:
    strange = [
        passing("x-1", f"{point}-main", later(minute)) for point, minute in (("start", 1), ("finish", 70))
    ]
    found = findings_of("unknown tag", material_of(with_more(*strange)))
    assert found.select("tag", "rows", "point", "runner").rows() == [("x-1", 2, "start", None)]


def test_reads_outside_the_event_are_notes_by_line() -> None:
    material = material_of(
        with_more(
            passing("t-A01", "start-main", later(-50)),
            passing("t-A02", "start-main", later(-40)),
            passing("t-A03", "finish-main", later(17 * 60)),
        )
    )
    before, after = (findings_of(n, material) for n in ("read before the start", "read after the close"))
    assert before.select("severity", "line", "rows").rows() == [("note", "start-main", 2)]
    assert after.select("severity", "line", "rows").rows() == [("note", "finish-main", 1)]


def test_a_read_too_early_for_the_distance() -> None:
    found = findings_of(
        "too early for the distance", material_of(with_more(passing("t-A01", "finish-main", later(5))))
    )
    assert found.select("severity", "runner", "line", "rows").rows() == [("warning", "A01", "finish-main", 1)]


def test_a_second_time_at_the_finish_is_a_note() -> None:
    found = findings_of(
        "read again after the crossing", material_of(with_more(passing("t-A01", "finish-main", later(90))))
    )
    assert found.select("severity", "line", "rows").rows() == [("note", "finish-main", 1)]


def test_repeated_raw_reads_are_labelled() -> None:
    """Joining reads to passings counts a repeated read once; the check still tells."""
    once = reads(("t-A01", "mill-main", "09:30:03"), ("t-A01", "mill-main", "09:30:04")).collect()
    other_antenna = once.head(1).with_columns(pl.lit(2, dtype=pl.Int32).alias("antenna"))
    again = once.head(1).with_columns(pl.lit(9, dtype=pl.Int64).alias("row"))
    repeated = to_repeated_reads(pl.concat([once, other_antenna, again]).lazy())
    assert_frame_equal(repeated, again)
    material = replace(material_of(clean_passings()), repeated_reads=repeated)
    found = findings_of("duplicate row", material)
    assert found.select("tag", "point", "line", "rows").rows() == [("t-A01", "mill", "mill-main", 1)]
