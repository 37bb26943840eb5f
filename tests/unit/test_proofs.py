"""Who crossed which visit: tables small enough to check by eye."""

from __future__ import annotations

import dataclasses
import datetime as dt

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lineproof.detection.proofs import to_proofs
from lineproof.event import Event, Wave
from lineproof.tables import CROSSINGS
from lineproof.vocabulary import Level
from unit.small_event import GUN, at, entries, small_event

EVENT = small_event((("start", 0), ("mill", 5000), ("lake", 10000), ("finish", 15000)))


def crossings(event: Event, *rows: tuple[str, int, str], **flags: bool | None) -> pl.DataFrame:
    """Rows of (runner, order, clock) on the first course, read by both lines unless ``flags`` say otherwise."""
    course = event.courses[0]
    return CROSSINGS.shape_rows(
        [
            {
                "runner": runner,
                "bib": runner,
                "course": course.id,
                "wave": "A",
                "point": course.visits[order].point,
                "order": order,
                "visit": course.visits[order].visit,
                "at_m": course.visits[order].at_m,
                "time": at(clock),
                "time_source": "main",
                "seen_main": flags.get("seen_main", True),
                "seen_backup": flags.get("seen_backup", True),
                "passings": 1,
                "tags": 1,
                "level": "passings",
                "key": f"{runner}/{order}",
            }
            for runner, order, clock in rows
        ]
    )


def words(frame: pl.DataFrame, runner: str) -> list[str]:
    return frame.filter(pl.col("runner") == runner).sort("order")["proof"].cast(pl.String).to_list()


def later(frame: pl.DataFrame, runner: str) -> list[bool]:
    return frame.filter(pl.col("runner") == runner).sort("order")["seen_later"].to_list()


def proofs(*rows: tuple[str, int, str], event: Event = EVENT) -> pl.DataFrame:
    runners = sorted({row[0] for row in rows})
    return to_proofs(crossings(event, *rows), entries(*runners), event)


def test_a_runner_read_everywhere_is_proven_by_each_later_read_but_not_at_the_finish() -> None:
    found = proofs(("1", 0, "09:00:10"), ("1", 1, "09:25:00"), ("1", 2, "09:50:00"), ("1", 3, "10:15:00"))
    assert words(found, "1") == ["seen"] * 4
    assert later(found, "1") == [True, True, True, False]


def test_a_missed_visit_is_proven_by_a_plausible_later_read_with_its_bracket() -> None:
    found = proofs(("1", 0, "09:00:10"), ("1", 2, "09:50:10"), ("1", 3, "10:15:00"))
    row = found.row(1, named=True)
    assert words(found, "1") == ["seen", "proven", "seen", "seen"]
    assert (row["time"], row["before_order"], row["after_order"]) == (None, 0, 2)
    assert (row["before_time"], row["after_time"]) == (at("09:00:10"), at("09:50:10"))
    assert (row["seen_main"], row["seen_backup"]) == (False, False)


def test_the_gun_is_the_bracket_where_the_start_was_missed() -> None:
    found = proofs(("1", 1, "09:25:00"), ("1", 3, "10:15:00"))
    start = found.row(0, named=True)
    assert words(found, "1") == ["proven", "seen", "proven", "seen"]
    assert (start["before_order"], start["before_time"]) == (None, at("09:00:00"))


def test_a_later_read_sooner_than_the_distance_allows_leaves_the_visit_doubtful() -> None:
    # 10 km from start to lake in 9 minutes; the finish, 15 km after an hour and a quarter, cannot mend that.
    found = proofs(("1", 0, "09:00:10"), ("1", 2, "09:09:00"), ("1", 3, "10:15:00"))
    assert words(found, "1")[1] == "doubtful"
    assert not found.row(1, named=True)["seen_later"]


def test_a_later_read_that_no_runner_could_reach_from_the_gun_proves_nothing() -> None:
    found = proofs(("1", 0, "09:00:10"), ("1", 3, "09:20:00"))
    assert words(found, "1") == ["seen", "doubtful", "doubtful", "seen"]


def test_reads_of_the_visit_itself_change_nothing_for_its_evidence() -> None:
    """Runners read here and runners missed here are judged alike, or the rate would be biased."""
    without = proofs(("1", 0, "09:00:10"), ("1", 2, "09:50:00"))
    with_it = proofs(("1", 0, "09:00:10"), ("1", 1, "09:25:00"), ("1", 2, "09:50:00"))
    columns = ["seen_later", "before_order", "after_order", "before_time", "after_time"]
    assert without.row(1, named=True)["seen_later"]
    assert without.select(columns).row(1) == with_it.select(columns).row(1)


def test_nothing_later_leaves_a_visit_unproven_and_without_a_time() -> None:
    found = proofs(("1", 0, "09:00:10"), ("1", 1, "09:25:00"))
    assert words(found, "1") == ["seen", "seen", "unproven", "unproven"]
    assert found.filter(proof="unproven")["about"].null_count() == 2


def test_a_no_show_has_a_row_for_each_visit_and_no_proof() -> None:
    found = to_proofs(CROSSINGS.empty(), entries("1"), EVENT)
    assert words(found, "1") == ["unproven"] * 4
    assert found["before_time"].to_list() == [at("09:00:00")] * 4


def test_order_that_contradicts_the_course_proves_nothing_in_between() -> None:
    found = proofs(("1", 0, "09:00:10"), ("1", 1, "09:55:00"), ("1", 3, "09:50:00"))
    assert words(found, "1")[2] == "doubtful"


def test_the_likely_time_divides_the_bracket_as_the_field_does() -> None:
    """Five others take twice as long from mill to lake as from start to mill: 09:00:10 + a third of 75 minutes."""
    field = [
        row
        for i in range(5)
        for row in ((f"f{i}", 0, "09:00:00"), (f"f{i}", 1, "09:30:00"), (f"f{i}", 2, "10:30:00"))
    ]
    found = proofs(*field, ("x", 0, "09:00:00"), ("x", 2, "10:15:00"))
    row = found.filter(pl.col("runner") == "x").row(1, named=True)
    assert (row["proof"], row["about"]) == ("proven", at("09:25:00"))


def test_a_point_whose_clock_is_an_hour_ahead_still_proves_but_sets_no_bracket() -> None:
    """Twelve runners; mill's clock is an hour fast, so mill to lake would be faster than light."""
    rows = [
        row
        for i in range(12)
        for row in (
            (f"{i:02}", 0, "09:00:10"),
            (f"{i:02}", 1, "10:25:00"),
            *([] if i == 0 else [(f"{i:02}", 2, f"09:50:{i:02}")]),
            (f"{i:02}", 3, "10:15:00"),
        )
    ]
    found = proofs(*rows)
    assert words(found, "00") == ["seen", "seen", "proven", "seen"]
    assert set(found.filter(pl.col("order") == 2)["before_order"]) == {0}
    assert found.filter(pl.col("proof") == "doubtful").is_empty()
    only = proofs(*rows, ("99", 1, "10:25:00")).filter(pl.col("runner") == "99")
    assert words(only, "99") == ["proven", "seen", "unproven", "unproven"]


def test_without_a_gun_the_first_start_of_the_wave_stands_in() -> None:
    event = dataclasses.replace(EVENT, waves=(Wave("A", "road", None),))
    found = proofs(
        ("1", 0, "09:00:10"), ("1", 1, "09:25:00"), ("2", 1, "09:26:00"), ("3", 1, "09:03:00"), event=event
    )
    assert words(found, "2")[0] == "proven"
    assert words(found, "3")[0] == "doubtful"


def test_a_line_can_be_said_to_have_missed_only_where_the_export_could_tell() -> None:
    wide = dataclasses.replace(
        EVENT, inputs=tuple(dataclasses.replace(i, level=Level.WIDE) for i in EVENT.inputs)
    )
    rows = crossings(wide, ("1", 0, "09:00:10"), ("1", 2, "09:50:00"), seen_main=None, seen_backup=None)
    found = to_proofs(rows, entries("1"), wide)
    assert words(found, "1")[1] == "proven"
    assert found.select("seen_main", "seen_backup").null_count().row(0) == (4, 4)
    merged = crossings(wide, ("1", 0, "09:00:10"), ("1", 1, "09:25:00"), seen_main=True, seen_backup=None)
    found = to_proofs(merged, entries("1"), wide)
    assert found["seen_main"].to_list() == [True, True, None, None]
    two = to_proofs(pl.concat([merged, crossings(wide, ("2", 1, "09:27:00"))]), entries("1", "2"), wide)
    assert two.filter(pl.col("order") == 1)["seen_main"].to_list() == [True, True]


def test_a_line_silent_all_day_missed_everybody() -> None:
    rows = crossings(EVENT, ("1", 0, "09:00:10"), ("1", 3, "10:15:00"), seen_backup=False)
    found = to_proofs(rows, entries("1"), EVENT)
    assert found["seen_backup"].to_list() == [False] * 4
    assert found["seen_main"].to_list() == [True, False, False, True]


def test_a_looped_course_proves_each_visit_by_the_next() -> None:
    event = small_event((("start", 0), ("mill", 4000), ("mill", 8000), ("finish", 12000)))
    found = proofs(("1", 0, "09:00:10"), ("1", 2, "09:40:00"), ("1", 3, "10:00:00"), event=event)
    assert words(found, "1") == ["seen", "proven", "seen", "seen"]
    assert found["visit"].to_list() == [1, 1, 2, 1]


MINUTES = st.lists(st.one_of(st.none(), st.integers(1, 170)), min_size=4, max_size=4)


@settings(max_examples=60, deadline=None)
@given(field=st.lists(MINUTES, min_size=1, max_size=6), seed=st.randoms())
def test_properties_of_any_field(field: list[list[int | None]], seed) -> None:
    rows = [
        (str(i), order, (GUN + dt.timedelta(minutes=minute)).strftime("%H:%M:%S"))
        for i, times in enumerate(field)
        for order, minute in enumerate(times)
        if minute is not None
    ]
    people = entries(*(str(i) for i in range(len(field))))
    frame = crossings(EVENT, *rows)
    found = to_proofs(frame, people, EVENT)
    shuffled = list(range(frame.height))
    seed.shuffle(shuffled)
    assert found.equals(to_proofs(frame[shuffled], people, EVENT))
    assert found.height == 4 * len(field)
    assert found.filter(pl.col("proof") == "seen").height == len(rows)
    assert found.filter("seen_later")["after_order"].null_count() == 0
    assert found.filter(pl.col("proof") == "proven")["seen_later"].all()
    assert not found.filter(pl.col("order") == 3)["seen_later"].any()


def test_forty_thousand_runners_by_ten_points_take_seconds() -> None:
    event = small_event(tuple((name, i * 4219.5) for i, name in enumerate("abcdefghij")))
    n = 40_000
    frame = pl.DataFrame({"i": range(n)}).join(pl.DataFrame({"order": range(10)}), how="cross")
    frame = frame.filter((pl.col("i") * 31 + pl.col("order") * 17) % 50 != 0)
    frame = frame.select(
        runner=pl.col("i").cast(pl.String),
        course=pl.lit("road"),
        wave=pl.lit("A"),
        point=pl.col("order").replace_strict(list(range(10)), list("abcdefghij")),
        order=pl.col("order"),
        visit=pl.lit(1),
        at_m=pl.col("order") * 4219.5,
        time=pl.lit(at("09:00:00")) + pl.duration(seconds=pl.col("i") / 60 + pl.col("order") * 1400),
        time_source=pl.lit("main"),
        seen_main=pl.lit(True),
        seen_backup=pl.lit(True),
        passings=pl.lit(1),
        tags=pl.lit(1),
        level=pl.lit("passings"),
        key=pl.format("{}/{}", "i", "order"),
    )
    began = dt.datetime.now(dt.UTC)
    found = to_proofs(CROSSINGS.conform(frame), entries(*(str(i) for i in range(n))), event)
    assert (dt.datetime.now(dt.UTC) - began).total_seconds() < 20  # about 2 s on an idle machine
    assert found.height == 10 * n
    assert (found["proof"] == "proven").sum() > 5000


@pytest.mark.parametrize("order", [0, 1, 2, 3])
def test_every_row_keeps_the_contract_whatever_is_missing(order: int) -> None:
    assert proofs(("1", order, "09:59:00")).height == 4
