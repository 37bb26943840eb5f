"""Order and pace between crossings.  Records by heart: nobody has run 5 km in twelve minutes."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import polars as pl
import pytest

from lineproof.checks.pace import estimate_point_offsets
from lineproof.checks.rules import to_judged
from unit.checked_event import (
    RUNNERS,
    clean_crossings,
    findings_of,
    make_entries,
    names_found,
    of_crossings,
    stated_event,
)
from unit.small_event import small_event

S = 1_000_000


def timed(minutes: dict[str, dict[str, float | None]], runners: tuple[str, ...] = RUNNERS) -> pl.DataFrame:
    """Clean crossings with other minutes after the gun: ``{"A01": {"mill": 9.0}}``; None: not read."""
    frame = clean_crossings().filter(pl.col("runner").is_in(runners))
    for runner, places in minutes.items():
        for point, minute in places.items():
            here = (pl.col("runner") == runner) & (pl.col("point") == point)
            if minute is None:
                frame = frame.filter(~here)
                continue
            gun = pl.col("time") - pl.duration(microseconds="gun_us")
            moved = gun + dt.timedelta(minutes=minute)
            frame = frame.with_columns(time=pl.when(here).then(moved).otherwise("time"))
    gun = clean_crossings()["time"][0] - dt.timedelta(microseconds=clean_crossings()["gun_us"][0])
    since = (pl.col("time") - pl.col("time").shift().over("runner")).dt.total_microseconds()
    return frame.sort("runner", "order").with_columns(
        gun_us=(pl.col("time") - pl.lit(gun)).dt.total_microseconds(),
        net_us=(
            pl.col("time") - pl.col("time").filter(pl.col("order") == 0).first().over("runner")
        ).dt.total_microseconds(),
        segment_us=since,
        segment_m=pl.col("at_m") - pl.col("at_m").shift().over("runner"),
        segment_from=pl.col("order").shift().over("runner"),
    )


def test_five_kilometres_in_twelve_minutes_is_impossible() -> None:
    found = findings_of("impossible pace", of_crossings(timed({"A03": {"mill": 12.0}})))
    assert found.select("severity", "runner", "point", "order").rows() == [("error", "A03", "mill", 1)]
    assert found["limit"][0] == pytest.approx(753.8, abs=7)  # the mark of 755.36 s with all tolerance off
    assert found["key"][0] == clean_crossings().filter(runner="A03", order=1)["key"].item()


def test_five_kilometres_in_thirteen_minutes_is_possible_for_men_only() -> None:
    crossings = timed({"A03": {"mill": 13.6}})
    assert "impossible pace" not in names_found(of_crossings(crossings, entries=make_entries(sex="m")))
    assert "impossible pace" in names_found(of_crossings(crossings, entries=make_entries(sex="f")))


def test_wheels_have_a_bound_of_their_own_and_are_asked_not_accused() -> None:
    on_wheels = make_entries(runner_class="wheel")
    assert names_found(of_crossings(timed({"A03": {"mill": 10.0}}), entries=on_wheels)) == {"sudden pace"}
    found = findings_of(
        "pace of another class", of_crossings(timed({"A03": {"mill": 8.0}}), entries=on_wheels)
    )
    assert found["severity"].to_list() == ["warning"]


def test_a_class_that_the_entries_do_not_tell_may_be_wheels() -> None:
    material = of_crossings(timed({"A03": {"mill": 10.0}}), event=small_event())
    assert "impossible pace" not in names_found(material)
    assert findings_of("pace of another class", material)["runner"].to_list() == ["A03"]
    car = of_crossings(timed({"A03": {"mill": 5.0}}), event=small_event())
    assert findings_of("impossible pace", car)["severity"].to_list() == ["error"]


def test_a_stretch_from_the_gun_counts_where_the_start_was_not_read() -> None:
    found = findings_of("impossible pace", of_crossings(timed({"A03": {"start": None, "mill": 11.0}})))
    assert found.select("runner", "order").rows() == [("A03", 1)]
    assert "since the gun" in found["detail"][0]


def test_the_clock_tolerance_can_be_widened() -> None:
    event = stated_event()
    wide = replace(event, settings={**event.settings, "clock_tolerance_s": 120.0})
    assert "impossible pace" not in names_found(of_crossings(timed({"A03": {"mill": 12.0}}), event=wide))


def test_a_time_before_the_one_before_is_out_of_order() -> None:
    found = findings_of("out of order", of_crossings(timed({"A05": {"finish": 29.0}})))
    assert found.select("severity", "runner", "point").rows() == [("error", "A05", "finish")]
    assert found["value"][0] == pytest.approx(29 * 60 - (30 * 60 + 43))


def test_equal_times_at_two_points_are_out_of_order() -> None:
    assert (
        findings_of("out of order", of_crossings(timed({"A05": {"mill": 20.0, "finish": 20.0}}))).height == 1
    )


def test_too_fast_over_a_missed_point_is_a_course_cut() -> None:
    found = findings_of("course cut", of_crossings(timed({"A07": {"mill": None, "finish": 25.0}})))
    assert found.select("severity", "runner", "order").rows() == [("error", "A07", 2)]
    assert names_found(of_crossings(timed({"A07": {"mill": None, "finish": 25.0}}))) == {"course cut"}


def test_a_missed_point_at_a_usual_pace_is_no_course_cut() -> None:
    assert names_found(of_crossings(timed({"A07": {"mill": None}}))) == {"missed with proof"}


def test_a_possible_but_sudden_pace() -> None:
    """17 minutes for 5 km are possible; after 30 minutes for the first half they are not the same runner."""
    found = findings_of("sudden pace", of_crossings(timed({"A07": {"finish": 48.0}})))
    assert found.select("severity", "runner", "order").rows() == [("warning", "A07", 2)]


def test_a_whole_segment_is_one_finding() -> None:
    """The mill's clock is 20 minutes early: the first half looks run in ten minutes."""
    early = {runner: {"mill": 10.0 + n / 6} for n, runner in enumerate(RUNNERS)}
    material = of_crossings(timed(early))
    assert names_found(material) == {"whole segment too fast"}
    found = findings_of("whole segment too fast", material)
    assert found.select("severity", "point", "order", "rows").rows() == [("error", "mill", 1, 12)]
    # Start at 3 s and finish at 60 min 3 s after the gun: half way lies at 30 min 3 s.
    assert "20 min 3 s early" in found["detail"][0]


def test_the_clock_of_the_earlier_point_is_named_where_it_is_late() -> None:
    late = {runner: {"mill": 52.0 + n / 6} for n, runner in enumerate(RUNNERS)}
    found = findings_of("whole segment too fast", of_crossings(timed(late)))
    assert found.select("point", "order", "rows").rows() == [("mill", 2, 12)]
    assert "21 min 57 s late" in found["detail"][0]


def test_offsets_of_inner_points_are_measured() -> None:
    early = {runner: {"mill": 28.0 + n / 6} for n, runner in enumerate(RUNNERS)}
    judged = to_judged(timed(early), stated_event(), make_entries())
    assert estimate_point_offsets(judged) == {("road", 1): pytest.approx(-120, abs=3)}


def test_a_few_short_cuts_do_not_make_a_segment() -> None:
    few = {runner: {"mill": 11.0 + n / 6} for n, runner in enumerate(RUNNERS[:2])}
    assert findings_of("impossible pace", of_crossings(timed(few)))["runner"].to_list() == ["A01", "A02"]
