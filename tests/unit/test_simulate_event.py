"""Simulated events: the same for the same seed, complete, and with every planted fault in the reads."""

from __future__ import annotations

import datetime as dt
import math
import time

import polars as pl
import pytest

from lineproof.simulate import (
    MUST_ANSWER,
    MUST_REFUSE,
    EventPlan,
    FaultKind,
    Planted,
    SimulatedEvent,
    clean_plan,
    simulate_event,
)
from lineproof.tables import ENTRIES, READS, TAGS

PLANTED = tuple(
    Planted(kind, 2)
    for kind in (
        FaultKind.TOGETHER,
        FaultKind.SWAPPED,
        FaultKind.COURSE_CUT,
        FaultKind.IMPOSSIBLE_PACE,
        FaultKind.STANDING,
        FaultKind.VOLUNTEER,
        FaultKind.TOO_CLOSE,
        FaultKind.UNKNOWN_TAG,
        FaultKind.BEFORE_EVENT,
        FaultKind.AFTER_EVENT,
        FaultKind.FALSE_START,
        FaultKind.LATE_TAG,
        FaultKind.DYING_TAG,
        FaultKind.DUPLICATE_ROWS,
    )
)


@pytest.fixture(scope="module")
def faulty() -> SimulatedEvent:
    return simulate_event(clean_plan(600, 5, weak_share=0.0, faults=PLANTED), 21)


def cases(event: SimulatedEvent, kind: FaultKind) -> list[dict[str, object]]:
    found = list(event.truth.faults.filter(pl.col("kind") == kind.value).iter_rows(named=True))
    assert len(found) == 2
    return found


def reads_of(event: SimulatedEvent, tag: object) -> pl.DataFrame:
    return event.reads.filter(pl.col("tag") == tag)


def crossings_of(event: SimulatedEvent, runner: object) -> pl.DataFrame:
    return event.truth.crossings.filter(pl.col("runner") == runner).sort("order")


def test_the_same_seed_gives_the_same_event_and_another_seed_another() -> None:
    first, again, other = (simulate_event(clean_plan(200, 4), seed) for seed in (5, 5, 6))
    assert first.reads.equals(again.reads)
    assert first.truth.crossings.equals(again.truth.crossings)
    assert first.tags.equals(again.tags)
    assert not first.reads.equals(other.reads)


def test_the_tables_keep_their_contracts(faulty: SimulatedEvent) -> None:
    READS.check(faulty.reads)
    ENTRIES.check(faulty.entries)
    TAGS.check(faulty.tags)
    assert set(faulty.reads["line"].unique()) <= {line.id for line in faulty.event.lines}
    assert faulty.event.first_gun == faulty.plan.gun


def test_every_entry_has_one_row_for_each_visit(faulty: SimulatedEvent) -> None:
    crossings = faulty.truth.crossings
    assert crossings.height == 600 * 5
    assert not crossings.select("runner", "order").is_duplicated().any()
    assert (crossings["time"].is_null() == ~crossings["crossed"]).all()
    assert not crossings.filter(~pl.col("crossed"))["read_main"].any()


def test_read_in_the_truth_is_read_in_the_reads() -> None:
    """A crossing is marked read where, and only where, its tag has a read within 4 s at that line."""
    event = simulate_event(clean_plan(400, 4, weak_share=0.03, waves=1), 9)
    crossings = event.truth.crossings.filter("crossed", pl.col("order") > 0)
    reads = event.reads.with_columns(pl.col("tag", "line").cast(pl.String))
    for column, suffix in (("read_main", "-main"), ("read_backup", "-backup")):
        here = crossings.with_columns(line=pl.col("point") + suffix).join(event.tags, on="runner")
        near = (
            here.join(reads, on=["tag", "line"], suffix="_read")
            .filter((pl.col("time_read") - pl.col("time")).abs() < pl.duration(seconds=4))
            .select("runner", "order")
            .unique()
        )
        marked = here.filter(pl.col(column)).select("runner", "order")
        assert near.sort("runner", "order").equals(marked.sort("runner", "order"))


def test_the_realised_rates_count_the_true_crossings() -> None:
    event = simulate_event(clean_plan(300, 3, weak_share=0.05), 4)
    crossings = event.truth.crossings.filter("crossed")
    rates = event.truth.rates
    line = rates.filter(pl.col("line") == "p1-backup").row(0, named=True)
    here = crossings.filter(pl.col("point") == "p1")
    assert (line["crossed"], line["read"]) == (here.height, here["read_backup"].sum())
    point = rates.filter(pl.col("level") == "point", pl.col("point") == "p1").row(0, named=True)
    assert point["read"] == (here["read_main"] | here["read_backup"]).sum()


@pytest.mark.parametrize("share", [0.0, 0.2])
def test_drop_outs_come_at_their_stated_share(share: float) -> None:
    n = 4000
    crossings = simulate_event(clean_plan(n, 5, dropout_total=share), 2).truth.crossings.filter("crossed")
    started = crossings.filter(pl.col("order") == 0).height
    finished = crossings.filter(pl.col("order") == 4).height
    spread = math.sqrt(started * share * (1 - share))
    assert abs((started - finished) - started * share) <= 4 * spread


def test_times_go_forward_along_the_course() -> None:
    crossings = simulate_event(MUST_ANSWER["trail"](500), 3).truth.crossings.filter("crossed")
    step = crossings.sort("runner", "order").select(pl.col("time").diff().over("runner")).to_series()
    assert (step.drop_nulls().dt.total_seconds() > 60).all()


def test_nobody_on_foot_is_faster_than_the_record() -> None:
    """Against 26 min 11 s over 10 km (track, men, 2020; from memory): a clean field stays slower."""
    crossings = simulate_event(clean_plan(5000, 3), 12).truth.crossings.filter("crossed")
    took = crossings.group_by("runner").agg(pl.col("time").max() - pl.col("time").min(), pl.len())
    assert took.filter(pl.col("len") == 3)["time"].min().total_seconds() > 26 * 60 + 11  # type: ignore[union-attr]


def test_people_stand_on_the_start_mats_before_the_gun_and_nowhere_else() -> None:
    event = simulate_event(clean_plan(400, 3, waves=1), 7)
    before = event.reads.filter(pl.col("time") < event.plan.gun)
    assert before.height > 50
    assert set(before["line"].unique()) <= {"s-main", "s-backup"}


def test_two_kinds_of_tags_are_carried_together() -> None:
    event = simulate_event(clean_plan(200, 3, tag_kinds=("bib", "shoe")), 1)
    assert event.tags.group_by("runner").len()["len"].to_list() == [2] * 200
    assert event.tags["tag"].n_unique() == 400


def test_the_weak_share_is_met_and_batches_are_named() -> None:
    event = simulate_event(clean_plan(5000, 2, weak_share=0.03), 1)
    weak = (event.truth.tags["quality"] == "weak").sum()
    assert abs(weak - 150) < 4 * math.sqrt(150)
    assert event.tags["batch"].n_unique() == 4


@pytest.mark.parametrize("name", [*MUST_ANSWER, *MUST_REFUSE])
def test_every_scenario_runs_and_reads_most_runners(name: str) -> None:
    plan: EventPlan = {**MUST_ANSWER, **MUST_REFUSE}[name](800)
    rates = simulate_event(plan, 5).truth.rates.filter(pl.col("level") == "point")
    assert rates["rate"].min() > 0.75  # type: ignore[operator]
    assert rates["rate"].max() > 0.97  # type: ignore[operator]


def test_a_clean_event_plants_nothing() -> None:
    assert simulate_event(clean_plan(200), 1).truth.faults.is_empty()


def test_three_thousand_runners_take_seconds() -> None:
    simulate_event(clean_plan(50), 1)
    begin = time.perf_counter()
    event = simulate_event(clean_plan(3000, 5), 1)
    assert event.reads.height > 150_000
    assert time.perf_counter() - begin < 5  # 0.2 s on an idle machine


def test_two_tags_on_one_person_cross_together(faulty: SimulatedEvent) -> None:
    for case in cases(faulty, FaultKind.TOGETHER):
        own = reads_of(faulty, case["tag"]).filter(pl.col("line") == "p2-main")["time"].min()
        other = reads_of(faulty, case["other_tag"]).filter(pl.col("line") == "p2-main")["time"].min()
        assert abs((own - other).total_seconds()) < 1  # type: ignore[operator, union-attr]
        assert set(crossings_of(faulty, case["other_runner"])["carried_by"]) == {case["runner"]}


def test_swapped_tags_take_each_other_s_pace(faulty: SimulatedEvent) -> None:
    for case in cases(faulty, FaultKind.SWAPPED):
        sexes = dict(faulty.entries.select("runner", "sex").iter_rows())
        assert (sexes[case["runner"]], sexes[case["other_runner"]]) == ("m", "f")
        mine, other = (crossings_of(faulty, case[key]) for key in ("runner", "other_runner"))
        assert set(mine["carried_by"]) == {case["other_runner"]}
        assert mine["time"][4] - mine["time"][0] > other["time"][4] - other["time"][0]


def test_a_cut_skips_a_point_and_is_faster_than_anybody_runs(faulty: SimulatedEvent) -> None:
    for case in cases(faulty, FaultKind.COURSE_CUT):
        mine, order = crossings_of(faulty, case["runner"]), int(case["order"])  # type: ignore[call-overload]
        assert mine["crossed"].to_list() == [o != order for o in range(5)]
        took = (mine["time"][order + 1] - mine["time"][order - 1]).total_seconds()
        assert took / 5.0 <= 120.5  # s per km over the two segments of 2.5 km


def test_a_tag_in_a_car_goes_at_the_car_s_speed(faulty: SimulatedEvent) -> None:
    for case in cases(faulty, FaultKind.IMPOSSIBLE_PACE):
        mine, order = crossings_of(faulty, case["runner"]), int(case["order"])  # type: ignore[call-overload]
        took = (mine["time"][order] - mine["time"][order - 1]).total_seconds()
        assert 2500 / took == pytest.approx(12.0, rel=1e-3)


@pytest.mark.parametrize("kind", [FaultKind.STANDING, FaultKind.VOLUNTEER])
def test_a_standing_tag_is_read_without_a_gap(faulty: SimulatedEvent, kind: FaultKind) -> None:
    for case in cases(faulty, kind):
        here = reads_of(faulty, case["tag"]).filter(pl.col("line") == case["line"])
        during = here.filter(pl.col("time").is_between(case["begin"], case["end"]))["time"].sort()
        assert during.diff().max().total_seconds() < 10  # type: ignore[union-attr]
        length = (during.max() - during.min()).total_seconds()  # type: ignore[operator, union-attr]
        assert length > 0.95 * float(case["value"])  # type: ignore[arg-type]


def test_a_tag_that_comes_back_is_read_again(faulty: SimulatedEvent) -> None:
    for case in cases(faulty, FaultKind.TOO_CLOSE):
        here = reads_of(faulty, case["tag"]).filter(pl.col("line") == case["line"])["time"]
        assert 18 <= float(case["value"]) <= 50  # type: ignore[arg-type]
        end = case["end"]
        again = here.is_between(end - dt.timedelta(seconds=2), end + dt.timedelta(seconds=2))  # type: ignore[operator]
        assert again.any()


def test_an_unknown_tag_is_read_and_on_no_list(faulty: SimulatedEvent) -> None:
    for case in cases(faulty, FaultKind.UNKNOWN_TAG):
        assert case["tag"] not in faulty.tags["tag"]
        assert reads_of(faulty, case["tag"])["line"].n_unique() >= 8


def test_reads_outside_the_event_lie_outside(faulty: SimulatedEvent) -> None:
    for case in cases(faulty, FaultKind.BEFORE_EVENT):
        first = reads_of(faulty, case["tag"]).filter(pl.col("line") == case["line"])["time"].min()
        assert (faulty.plan.gun - first).total_seconds() > 6000  # type: ignore[operator, union-attr]
    for case in cases(faulty, FaultKind.AFTER_EVENT):
        last = reads_of(faulty, case["tag"])["time"].max()
        assert last > faulty.event.closes  # type: ignore[operator]


def test_a_false_start_crosses_before_the_gun(faulty: SimulatedEvent) -> None:
    guns = {wave.id: wave.gun for wave in faulty.event.waves}
    for case in cases(faulty, FaultKind.FALSE_START):
        start = crossings_of(faulty, case["runner"]).row(0, named=True)
        assert 1.5 <= (guns[start["wave"]] - start["time"]).total_seconds() <= 4.0  # type: ignore[operator]


def test_tags_wake_late_and_die_early(faulty: SimulatedEvent) -> None:
    for kind in (FaultKind.LATE_TAG, FaultKind.DYING_TAG):
        for case in cases(faulty, kind):
            mine, order = crossings_of(faulty, case["runner"]), int(case["order"])  # type: ignore[call-overload]
            asleep = mine.filter(
                pl.col("order") < order if kind is FaultKind.LATE_TAG else pl.col("order") >= order
            )
            assert asleep["crossed"].all()
            assert not (asleep["read_main"] | asleep["read_backup"]).any()


def test_duplicated_rows_stand_twice(faulty: SimulatedEvent) -> None:
    assert len(cases(faulty, FaultKind.DUPLICATE_ROWS)) == 2
    twice = faulty.reads.select("tag", "line", "time", "antenna", "strength").is_duplicated()
    assert twice.sum() == 4


def test_no_runner_gets_two_faults(faulty: SimulatedEvent) -> None:
    kinds = faulty.truth.faults.filter(pl.col("runner").is_not_null())
    people = pl.concat([kinds["runner"], kinds["other_runner"].drop_nulls()])
    assert not people.is_duplicated().any()


def test_a_fault_that_finds_too_few_runners_says_so() -> None:
    with pytest.raises(ValueError, match="needs 50 runners"):
        simulate_event(clean_plan(20, 4, faults=(Planted(FaultKind.COURSE_CUT, 50),)), 1)
