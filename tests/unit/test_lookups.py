"""Whom to look for, and in which window, on fields small enough to check by eye."""

from __future__ import annotations

import dataclasses

import polars as pl

from lineproof.detection.proofs import to_proofs
from lineproof.lookups import to_lookups
from lineproof.tables import LOOKUPS
from unit.small_event import at, entries, small_event
from unit.test_proofs import crossings

EVENT = small_event((("start", 0), ("mill", 5000), ("lake", 10000), ("finish", 15000)))


def lookups(*rows: tuple[str, int, str], event=EVENT) -> pl.DataFrame:
    people = entries(*sorted({row[0] for row in rows}))
    return to_lookups(to_proofs(crossings(event, *rows), people, event), people, event)


def field(n: int, lake_shift: int = 0) -> list[tuple[str, int, str]]:
    """``n`` runners at 25, 50 and 75 minutes, a second apart, who lose up to ``lake_shift`` seconds by lake."""
    return [
        row
        for i in range(n)
        for row in (
            (f"f{i:03}", 0, "09:00:00"),
            (f"f{i:03}", 1, f"09:25:{i % 60:02}"),
            (f"f{i:03}", 2, f"09:50:{(i * 7) % (lake_shift + 1):02}"),
            (f"f{i:03}", 3, f"10:15:{i % 60:02}"),
        )
    ]


def test_a_proven_miss_has_one_row_with_its_evidence_in_clock_times() -> None:
    found = lookups(*field(50), ("x", 0, "09:00:00"), ("x", 2, "09:52:00"), ("x", 3, "10:15:00"))
    row = found.row(0, named=True)
    assert found.height == 1
    assert (row["runner"], row["bib"], row["point"], row["proof"]) == ("x", "x", "mill", "proven")
    assert row["evidence"] == "Before: read at start at 09:00:00. After: read at lake at 09:52:00."
    assert row["look_from"] <= row["likely"] <= row["look_to"]


def test_the_window_is_where_similar_runners_crossed() -> None:
    found = lookups(*field(60, 40), ("x", 0, "09:00:00"), ("x", 1, "09:25:30"), ("x", 3, "10:15:30"))
    row = found.row(0, named=True)
    # All sixty passed lake within 09:50:00 to 09:50:40; the bracket of x is theirs to within a minute.
    assert at("09:49:00") < row["look_from"] < at("09:50:05")
    assert at("09:50:35") < row["look_to"] < at("09:51:30")


def test_a_small_field_gives_the_window_that_pace_allows() -> None:
    row = lookups(("x", 0, "09:00:00"), ("x", 2, "09:50:00"), ("x", 3, "10:15:00")).row(0, named=True)
    # 5 km take at least 12 minutes, from the start and to lake.
    assert at("09:11:00") < row["look_from"] < at("09:13:00")
    assert at("09:37:00") < row["look_to"] < at("09:39:00")
    assert abs((row["likely"] - at("09:25:00")).total_seconds()) < 1


def test_a_runner_not_read_again_is_looked_for_at_the_next_visit_and_at_the_finish() -> None:
    found = lookups(*field(50), ("x", 0, "09:00:00"), ("x", 1, "09:25:10"))
    # The window at lake is the shorter one, so an hour at the camera begins there.
    assert found.select("runner", "point", "proof", "rank").rows() == [
        ("x", "lake", "unproven", 1),
        ("x", "finish", "unproven", 2),
    ]
    assert found["evidence"][0].startswith("Last: read at mill at 09:25:10. Stopped, or crossed unseen")
    lake = found.row(0, named=True)
    # The others took 0.92 to 1.0 times as long from mill to lake as from the start to mill.
    assert at("09:48:00") < lake["look_from"] < lake["look_to"] < at("09:51:00")


def test_last_read_before_the_finish_gives_one_row_and_no_show_none() -> None:
    found = lookups(*field(50), ("x", 0, "09:00:00"), ("x", 1, "09:25:10"), ("x", 2, "09:50:20"))
    assert found["point"].to_list() == ["finish"]
    people = entries("1", "2")
    assert to_lookups(to_proofs(crossings(EVENT), people, EVENT), people, EVENT).equals(LOOKUPS.empty())


def test_a_doubtful_runner_is_looked_for_in_the_whole_bracket() -> None:
    found = lookups(*field(50), ("x", 0, "09:00:00"), ("x", 2, "09:09:00"), ("x", 3, "10:15:00"))
    row = found.filter(pl.col("runner") == "x").row(0, named=True)
    assert (row["proof"], row["look_from"], row["look_to"]) == ("doubtful", at("09:00:00"), at("09:09:00"))
    assert row["evidence"].endswith("Too short a time for the full distance between.")


def test_a_looped_point_says_which_visit_and_the_clock_is_local() -> None:
    event = dataclasses.replace(
        small_event((("start", 0), ("mill", 4000), ("mill", 8000), ("finish", 12000))), zone="Europe/London"
    )
    found = lookups(("x", 0, "09:00:00"), ("x", 1, "09:20:00"), ("x", 3, "10:00:00"), event=event)
    assert found["evidence"][0] == (
        "Before: read at mill (visit 1) at 10:20:00. After: read at finish at 11:00:00."
    )


def test_missing_the_start_the_gun_is_the_evidence() -> None:
    found = lookups(*field(50), ("x", 1, "09:25:00"), ("x", 2, "09:50:00"), ("x", 3, "10:15:00"))
    assert found["evidence"][0] == "Before: start signal at 09:00:00. After: read at mill at 09:25:00."


def test_row_order_changes_nothing() -> None:
    rows = [*field(50, 30), ("x", 0, "09:00:00"), ("x", 2, "09:52:00"), ("y", 1, "09:30:00")]
    assert lookups(*rows).equals(lookups(*reversed(rows)))
