"""Two tags on one person, and a tag that stays by a line."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import polars as pl

from lineproof.passings import number_passings
from unit.checked_event import RUNNERS, clean_passings, findings_of, make_entries, material_of, passing
from unit.small_event import GUN


def companion(of: str, tag: str, seconds: float, without: tuple[str, ...] = ()) -> pl.DataFrame:
    """Passings of another tag, so many seconds after those of ``of`` at all lines but ``without``."""
    shift = pl.duration(microseconds=round(seconds * 1e6))
    return (
        clean_passings()
        .filter((pl.col("tag") == f"t-{of}") & ~pl.col("line").is_in(without))
        .with_columns(pl.lit(tag).alias("tag"), *(pl.col(c) + shift for c in ("first", "strongest", "last")))
    )


def together(
    *parts: pl.DataFrame, runners: tuple[str, ...] = RUNNERS, only: tuple[str, ...] = RUNNERS
) -> pl.DataFrame:
    tags = [f"t-{runner}" for runner in only]
    passings = number_passings([clean_passings().filter(pl.col("tag").is_in(tags)), *parts])
    return findings_of("two tags together", material_of(passings, entries=make_entries(runners)))


WITH_13 = (*RUNNERS, "A13")


def test_a_tag_that_crosses_every_line_with_another() -> None:
    found = together(companion("A05", "t-A13", 0.2), runners=WITH_13)
    assert found.select("severity", "tag", "runner", "rows", "value").rows() == [
        ("warning", "t-A05", "A05", 6, 1.0),
        ("warning", "t-A13", "A13", 6, 1.0),
    ]


def test_a_line_that_missed_one_of_them_does_not_hide_it() -> None:
    assert together(companion("A05", "t-A13", 0.2, ("mill-backup",)), runners=WITH_13).height == 2


def test_runners_side_by_side_are_not_one_person() -> None:
    assert together(companion("A05", "t-A13", 0.9), runners=WITH_13).is_empty()


def test_friends_who_meet_at_one_point_only() -> None:
    apart = companion("A05", "t-A13", 0.2).with_columns(
        pl.when(pl.col("point") == "mill")
        .then(pl.col(c) + dt.timedelta(minutes=1))
        .otherwise(pl.col(c))
        .alias(c)
        for c in ("first", "strongest", "last")
    )
    assert together(apart, runners=WITH_13).is_empty()


def test_shoe_and_bib_of_one_runner_belong_together() -> None:
    passings = number_passings([clean_passings(), companion("A05", "shoe", 0.1)])
    material = material_of(passings)
    shoe = pl.DataFrame({"tag": ["shoe"], "runner": ["A05"]})
    tags = pl.concat([material.tags, shoe], how="diagonal")
    assert findings_of("two tags together", replace(material, tags=tags)).is_empty()


def test_an_unlisted_tag_in_company_is_told() -> None:
    found = together(companion("A05", "x-9", 0.1))
    assert found.select("tag", "runner").rows() == [("t-A05", "A05"), ("x-9", None)]


def standing(*parts: pl.DataFrame) -> pl.DataFrame:
    return findings_of("tag stays by a line", material_of(number_passings([clean_passings(), *parts])))


def late(minutes: float, seconds: float = 0) -> dt.datetime:
    return GUN + dt.timedelta(minutes=minutes, seconds=seconds)


def test_a_tag_read_for_minutes() -> None:
    found = standing(passing("x-2", "finish-main", late(50), stay_s=300))
    assert found.select("severity", "tag", "line", "value").rows() == [
        ("warning", "x-2", "finish-main", 300.0)
    ]


def test_a_minute_is_not_yet_standing() -> None:
    assert standing(passing("x-2", "finish-main", late(50), stay_s=60)).is_empty()


def test_many_passings_in_a_row() -> None:
    found = standing(*(passing("x-2", "finish-main", late(50, 30 * n)) for n in range(4)))
    assert found.select("tag", "rows", "value").rows() == [("x-2", 4, 90.0)]


def test_laps_of_more_than_a_minute_are_laps() -> None:
    assert standing(*(passing("x-2", "finish-main", late(50, 61 * n)) for n in range(9))).is_empty()


def test_waiting_for_the_gun_is_not_standing() -> None:
    assert standing(passing("x-2", "start-main", late(-10), stay_s=590)).is_empty()


def test_standing_at_the_start_after_the_gun_is() -> None:
    assert standing(passing("x-2", "start-main", late(5), stay_s=300)).height == 1
