"""The physics of a line against values worked out by hand or by plain probability."""

from __future__ import annotations

import math

import numpy as np
import polars as pl
import pytest

from lineproof.simulate import (
    Clock,
    LinePlan,
    MatFault,
    ReadingPhysics,
    Silence,
    clean_plan,
    simulate_event,
    with_line,
)
from lineproof.simulate.reading import Passes, count_rivals, estimate_base, read_line, weak_shift

PLAIN = ReadingPhysics(pose_sd=0.0, attempts_per_s=10.0, zone_m=1.2)


def lone_passes(n: int, lateral: np.ndarray | float, *, shift: float = 0.0, speed: float = 3.0) -> Passes:
    """``n`` passes far apart in time, so that no tag ever meets another."""
    return Passes(
        tag=np.arange(n),
        time=60.0 * np.arange(n),
        lateral=np.broadcast_to(np.asarray(lateral, dtype=np.float64), n).copy(),
        speed=np.full(n, speed),
        shift=np.full(n, shift),
        pose=np.zeros(n),
        answers=np.ones(n, dtype=np.bool_),
    )


def share_read(passes: Passes, line: LinePlan, base: float, physics: ReadingPhysics, seed: int = 1) -> float:
    found = read_line(passes, line, base, physics, np.random.default_rng(seed))
    return len(np.unique(found.source)) / len(passes.tag)


def assert_near(share: float, expected: float, n: int, errors: float = 4.5) -> None:
    assert abs(share - expected) < errors * math.sqrt(expected * (1 - expected) / n)


@pytest.mark.parametrize(("chance", "speed", "attempts"), [(0.3, 3.0, 4), (0.5, 6.0, 2), (0.2, 1.5, 8)])
def test_a_lone_tag_goes_unread_with_one_minus_p_to_the_n(chance: float, speed: float, attempts: int) -> None:
    """10 attempts a second over 1.2 m; one mat and the tag over its middle, so distance costs nothing."""
    n = 20_000
    base = math.log(chance / (1 - chance))
    share = share_read(lone_passes(n, 0.5, speed=speed), LinePlan(id="x", mats=1), base, PLAIN)
    assert_near(1 - share, (1 - chance) ** attempts, n)


def test_between_two_mats_both_antennas_try_with_the_lesser_chance() -> None:
    n = 20_000
    reach = math.exp(-0.5 * (0.5 / PLAIN.reach_m) ** 2)
    line = LinePlan(id="x", mats=2)
    share = share_read(lone_passes(n, 1.0), line, 0.0, PLAIN)
    assert_near(1 - share, (1 - 0.5 * reach) ** 8, n)


@pytest.mark.parametrize("rate", [0.95, 0.985, 0.997])
def test_a_line_reads_lone_runners_at_its_stated_rate(rate: float) -> None:
    n, physics = 60_000, ReadingPhysics()
    lateral = 1 + 3 * np.random.default_rng(5).random(n)  # not over the outer mats
    share = share_read(
        lone_passes(n, lateral), LinePlan(id="x", mats=5), estimate_base(rate, physics), physics
    )
    assert_near(share, rate, n)


def test_a_weak_tag_is_read_at_its_stated_rate_by_the_usual_line() -> None:
    n, physics = 40_000, ReadingPhysics()
    lateral = 1 + 3 * np.random.default_rng(6).random(n)
    passes = lone_passes(n, lateral, shift=weak_shift(0.6, physics))
    assert_near(share_read(passes, LinePlan(id="x"), estimate_base(0.99, physics), physics), 0.6, n)


def test_a_rate_that_no_line_can_have_is_refused() -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        estimate_base(1.0, ReadingPhysics())


def test_rivals_share_the_time_that_they_overlap() -> None:
    """Dwell 1 s: 0.25 s apart share 0.75 of the time, 0.5 s apart half; another mat or later: none."""
    mat = np.array([2, 2, 2, 3, 2])
    time = np.array([10.0, 10.25, 10.75, 10.0, 50.0])
    rivals = count_rivals(mat, time, np.ones(5))
    assert rivals == pytest.approx([0.75 + 0.25, 0.75 + 0.5, 0.25 + 0.5, 0.0, 0.0])


def test_rivals_do_not_depend_on_the_order_of_rows() -> None:
    rng = np.random.default_rng(3)
    mat, time, dwell = rng.integers(0, 4, 300), rng.random(300) * 30, np.full(300, 0.4)
    shuffle = rng.permutation(300)
    expected = count_rivals(mat, time, dwell)[shuffle]
    assert count_rivals(mat[shuffle], time[shuffle], dwell[shuffle]) == pytest.approx(expected)


def test_a_crowd_is_read_less_often_than_lone_runners() -> None:
    n = 4000
    lone = lone_passes(n, 2.5)
    crowd = Passes(
        lone.tag, 0.05 * np.arange(n), lone.lateral, lone.speed, lone.shift, lone.pose, lone.answers
    )
    line = LinePlan(id="x")
    assert share_read(crowd, line, 0.0, PLAIN) < share_read(lone, line, 0.0, PLAIN) - 0.05


def test_over_a_dead_mat_only_the_neighbours_read() -> None:
    line = LinePlan(id="x", mats=5, mat_faults=(MatFault(3, math.inf),))
    found = read_line(lone_passes(5000, 2.5), line, 3.0, PLAIN, np.random.default_rng(1))
    assert set(found.antenna.tolist()) == {2, 4}


def test_a_mat_that_dies_at_noon_reads_before_it() -> None:
    line = LinePlan(id="x", mats=1, mat_faults=(MatFault(1, math.inf, 60.0 * 500),))
    found = read_line(lone_passes(1000, 0.5), line, 3.0, PLAIN, np.random.default_rng(1))
    assert found.source.max() == 499


def test_beside_the_last_mat_nothing_is_read_a_metre_away() -> None:
    found = read_line(lone_passes(500, 4.5), LinePlan(id="x", mats=3), 3.0, PLAIN, np.random.default_rng(1))
    assert len(found.source) == 0


def test_a_silent_line_reads_nothing_in_its_window_and_its_sibling_goes_on() -> None:
    plan = with_line(clean_plan(600), "p2-main", silences=(Silence(1500, 2100),))
    event = simulate_event(plan, 3)
    gun = plan.gun
    inside = event.reads.filter(
        ((pl.col("time") - gun).dt.total_seconds() >= 1501)
        & (pl.col("time") - gun < pl.duration(seconds=2099))
    )
    counts = dict(inside.group_by("line").len().iter_rows())
    assert "p2-main" not in counts
    assert counts["p2-backup"] > 100


def test_a_wrong_clock_shifts_the_times_and_nothing_else() -> None:
    plan = clean_plan(300, 4)
    right = simulate_event(plan, 8)
    wrong = simulate_event(with_line(plan, "p1-main", clock=Clock(offset_s=3600.0)), 8)
    columns = ["tag", "time", "antenna", "strength"]
    before, after = (
        e.reads.filter(pl.col("line") == "p1-main").select(columns).sort(columns) for e in (right, wrong)
    )
    assert after.with_columns(pl.col("time") - pl.duration(hours=1)).equals(before)
    assert right.truth.crossings.equals(wrong.truth.crossings)


def test_a_drifting_clock_gains_in_proportion_to_the_time_since_the_gun() -> None:
    plan = clean_plan(200, 3)
    right = simulate_event(plan, 8).reads.filter(pl.col("line") == "f-main")
    fast = simulate_event(with_line(plan, "f-main", clock=Clock(drift_ppm=1000.0)), 8)
    gained = fast.reads.filter(pl.col("line") == "f-main")["time"].sort() - right["time"].sort()
    since = (right["time"].sort() - plan.gun).dt.total_milliseconds()
    assert (gained.dt.total_milliseconds() - since / 1000).abs().max() <= 1.0  # the stamp is whole ms


def test_an_antenna_never_reads_a_tag_twice_at_once() -> None:
    reads = simulate_event(clean_plan(400, 3), 11).reads
    assert not reads.select("tag", "line", "antenna", "time").is_duplicated().any()
