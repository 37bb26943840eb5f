"""Interruptions on rows of misses that can be checked by eye, and the bound on false ones."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lineproof.event import Event
from lineproof.interruptions import estimate_interruptions, to_masks, without_interruptions
from lineproof.interruptions.late_loss import estimate_late_loss
from lineproof.interruptions.silence import estimate_silences, maximal_stretches
from lineproof.tables import INTERRUPTIONS, PROOFS
from unit.small_event import GUN, small_event

MISS, READ = True, False
STEP = dt.timedelta(seconds=5)
OPENS = GUN + dt.timedelta(minutes=20)  # the first runner at the mill


def row(*parts: tuple[int, bool]) -> np.ndarray:
    return np.repeat([missed for _, missed in parts], [count for count, _ in parts])


def silences(missed: np.ndarray, least: int = 5) -> list[tuple[int, int]]:
    return [(s.first, s.last) for s in estimate_silences(missed, len(missed), 0.001, least)]


def test_a_dozen_missed_in_a_row_of_a_good_line_is_a_silence() -> None:
    assert silences(row((200, READ), (12, MISS), (200, READ))) == [(200, 211)]


def test_a_stray_read_does_not_end_a_silence() -> None:
    assert silences(row((200, READ), (20, MISS), (1, READ), (20, MISS), (200, READ))) == [(200, 240)]


def test_two_silences_a_few_reads_apart_are_two() -> None:
    missed = row((200, READ), (30, MISS), (40, READ), (30, MISS), (200, READ))
    assert silences(missed) == [(200, 229), (270, 299)]


def test_silences_at_the_ends_of_the_day_are_found() -> None:
    assert silences(row((15, MISS), (300, READ), (15, MISS))) == [(0, 14), (315, 329)]


@pytest.mark.parametrize(
    "missed",
    [
        np.array([], dtype=bool),
        row((50, MISS)),
        row((50, READ)),
        row((300, READ), (4, MISS), (300, READ)),
        np.resize([MISS, READ], 600),
        np.concatenate([row((300, READ)), np.resize([MISS, READ, MISS, MISS, READ], 300)]),
    ],
    ids=[
        "nobody",
        "silent all day",
        "sound",
        "four in a row",
        "half all day",
        "half lost from the middle on",
    ],
)
def test_what_is_no_silence(missed: np.ndarray) -> None:
    assert silences(missed) == []


def test_a_long_row_of_a_weak_line_is_no_silence_but_a_much_longer_one_is() -> None:
    weak = np.random.default_rng(4).random(4000) < 0.5
    assert silences(weak) == []
    weak[2000:2060] = MISS
    assert len(silences(weak)) == 1


def longest_run_tail(n: int, p: float, k: int) -> float:
    """Chance of k misses in a row among n, exactly: the run that grows to k as a Markov chain.

    W. Feller, An Introduction to Probability Theory and Its Applications I, chapter XIII (from memory).
    """
    state = np.zeros(k + 1)
    state[0] = 1.0
    for _ in range(n):
        after = np.zeros_like(state)
        after[0] = (1 - p) * state[:k].sum()
        after[1:k] = p * state[: k - 1]
        after[k] = state[k] + p * state[k - 1]
        state = after
    return float(state[k])


@pytest.mark.parametrize("p", [0.005, 0.02, 0.1, 0.3])
@pytest.mark.parametrize("n", [500, 5000])
def test_the_shortest_row_that_is_reported_is_as_rare_as_promised(n: int, p: float) -> None:
    """Rows of misses laid into a line that misses one in 1/p, as evenly as can be."""
    sound = np.zeros(n, dtype=bool)
    sound[:: round(1 / p)] = MISS
    shortest = next(
        k for k in range(1, n) if silences(np.insert(sound, n // 2 + 1, np.ones(k, dtype=bool)), least=1)
    )
    assert longest_run_tail(n, p, shortest) <= 0.001


@given(st.lists(st.integers(-5, 5).filter(bool), max_size=30))
@settings(deadline=None)
def test_maximal_stretches_are_those_of_the_definition(scores: list[int]) -> None:
    """Divide and conquer (Ruzzo & Tompa 1999): the best stretch, then those left and right of it; ties: the shortest."""

    def split(low: int, high: int) -> list[tuple[int, int]]:
        options = [(sum(scores[a : b + 1]), a - b, -a, b) for a in range(low, high) for b in range(a, high)]
        best = max(options, default=(0, 0, 0, 0))
        if best[0] <= 0:
            return []
        first, last = -best[2], best[3]
        return [*split(low, first), (first, last), *split(last + 1, high)]

    found = maximal_stretches([float(score) for score in scores])
    total = [sum(scores[a : b + 1]) for a, b in found]
    assert sorted(total) == sorted(sum(scores[a : b + 1]) for a, b in split(0, len(scores)))
    assert all(b < c for (_, b), (c, _) in pairwise(found))


def test_late_loss_begins_where_the_share_changes() -> None:
    missed = row((5000, READ), (1, MISS))
    late = np.resize([READ, READ, READ, MISS], 400)
    found = estimate_late_loss(np.concatenate([missed, row((4599, READ)), late]), 1, 0.001)
    assert found is not None
    # The step begins with the first missed of the late field.
    assert (found.first, found.tried, found.missed) == (9603, 397, 100)
    assert found.usual == pytest.approx(1 / 9603)


@pytest.mark.parametrize("times", [1, 3])
def test_a_weak_line_all_day_makes_no_late_loss(times: int) -> None:
    rng = np.random.default_rng(8)
    missed = np.concatenate([rng.random(9000) < 0.04, rng.random(1000) < 0.04 * times])
    assert estimate_late_loss(missed, 1, 0.001) is None


# --- from PROOFS to INTERRUPTIONS ---


def proofs(main: str, backup: str | None, later: str | None = None) -> pl.DataFrame:
    """Runners five seconds apart at the mill, one character each: ``x`` read, ``.`` not.

    All are read at the start and, but for those marked ``.`` in ``later``, at the finish half an hour on.
    ``backup`` None: the export does not tell lines apart, and ``main`` says who was read at all.
    """
    rows: list[dict[str, object]] = []
    later = later or "x" * len(main)
    for i, (here, there) in enumerate(zip(main, later, strict=True)):
        at = OPENS + i * STEP
        second = None if backup is None else backup[i]
        seen, came = "x" in (here, second), there == "x"
        start, finish = at - dt.timedelta(minutes=20), at + dt.timedelta(minutes=20)
        base = {"runner": f"{i:04d}", "course": "road", "wave": "A", "visit": 1}
        ends = {"seen_main": backup and True, "seen_backup": backup and True}
        rows += [
            {
                **base, **ends, "point": "start", "order": 0, "at_m": 0.0, "proof": "seen", "seen_later": True,
                "time": start, "about": start, "before_time": GUN, "after_order": 1, "after_time": at,
            },
            {
                **base, "point": "mill", "order": 1, "at_m": 5000.0,
                "proof": "seen" if seen else "proven" if came else "unproven",
                "seen_later": came,
                "seen_main": None if backup is None else here == "x",
                "seen_backup": None if backup is None else second == "x",
                "time": at if seen else None, "about": at,
                "before_order": 0, "before_time": start,
                "after_order": 2 if came else None, "after_time": finish if came else None,
            },
            {
                **base, "point": "finish", "order": 2, "at_m": 10_000.0,
                "proof": "seen" if came else "unproven", "seen_later": False,
                "seen_main": None if backup is None else came, "seen_backup": None if backup is None else came,
                "time": finish if came else None, "about": finish,
                "before_order": 1 if seen else 0, "before_time": at if seen else start,
            },
        ]  # fmt: skip
    return PROOFS.shape_rows(rows)


def found(table: pl.DataFrame, event: Event | None = None) -> list[tuple[object, ...]]:
    """Point, line, kind, first and last missed (as places in the row), tried and missed."""
    frame = estimate_interruptions(table, event or small_event())
    place = [
        ((pl.col(name) - pl.lit(OPENS)).dt.total_seconds() / 5).cast(pl.Int64) for name in ("begin", "end")
    ]
    return frame.select("point", "line", "kind", *place, "tried", "missed").rows()


ALL = "x" * 300
GAP = "x" * 100 + "." * 30 + "x" * 170


@pytest.mark.parametrize(
    ("main", "backup", "expected"),
    [
        (GAP, ALL, [("mill", "mill-main", "outage", 100, 129, 30, 30)]),
        (ALL, GAP, [("mill", "mill-backup", "outage", 100, 129, 30, 30)]),
        (GAP, GAP, [("mill", None, "both lines", 100, 129, 30, 30)]),
        (GAP, None, [("mill", None, "outage", 100, 129, 30, 30)]),
        ("." * 30 + "x" * 270, ALL, [("mill", "mill-main", "laid late", 0, 29, 30, 30)]),
        ("x" * 270 + "." * 30, ALL, [("mill", "mill-main", "lifted early", 270, 299, 30, 30)]),
        ("." * 300, ALL, []),
        (ALL, ALL, []),
        ("x." * 150, ALL, []),
    ],
)  # fmt: skip
def test_kinds_and_windows(main: str, backup: str | None, expected: list[tuple[object, ...]]) -> None:
    assert found(proofs(main, backup)) == expected


def test_a_line_out_longer_than_its_sibling_gives_the_common_part_and_the_rest() -> None:
    longer = "x" * 100 + "." * 60 + "x" * 140
    assert found(proofs(longer, GAP)) == [
        ("mill", None, "both lines", 100, 129, 30, 30),
        ("mill", "mill-main", "outage", 130, 159, 30, 30),
    ]


def test_both_lines_silent_at_the_finish_are_found_by_those_awaited_from_the_point_before() -> None:
    (row,) = estimate_interruptions(proofs(ALL, ALL, GAP), small_event()).rows(named=True)
    assert (row["point"], row["kind"], row["tried"]) == ("finish", "both lines", 30)
    assert "awaited by the point before" in row["evidence"]


def test_a_field_that_is_stopped_before_the_finish_is_no_silence_there() -> None:
    assert found(proofs(ALL, ALL, "x" * 270 + "." * 30)) == []


def test_a_line_is_never_judged_by_its_own_reads_or_misses_alone() -> None:
    """Thirty who were seen at the start, then at no line: they may all have stopped."""
    assert found(proofs(GAP, GAP, GAP)) == []


def test_last_read_before_and_first_after_say_how_well_begin_and_end_are_known() -> None:
    (row,) = estimate_interruptions(proofs(GAP, ALL), small_event()).rows(named=True)
    assert row["read_before"] == OPENS + 99 * STEP
    assert row["read_after"] == OPENS + 130 * STEP
    assert row["usual"] == 0.0
    assert row["chance"] < 1e-12
    assert row["evidence"] == (
        "From 09:28:20 to 09:30:45 the line read none of 30 runners known from the backup line or later points, "
        "against 0\u00a0% missed in the rest of the day. Last read before it at 09:28:15, first read after it at 09:30:50."
    )


def test_order_of_rows_is_of_no_account() -> None:
    table = proofs(GAP, ALL)
    shuffled = table.sample(fraction=1.0, shuffle=True, seed=5)
    event = small_event()
    assert estimate_interruptions(shuffled, event).equals(estimate_interruptions(table, event))


def test_nobody_at_all() -> None:
    empty = estimate_interruptions(PROOFS.empty(), small_event())
    assert empty.equals(INTERRUPTIONS.empty())
    assert to_masks(PROOFS.empty(), empty, small_event()).height == 0


def test_masks_hold_the_runners_of_the_window_at_that_line_only() -> None:
    table, event = proofs(GAP, ALL), small_event()
    masks = to_masks(table, estimate_interruptions(table, event), event)
    out = masks.filter(~pl.col("main_available"))
    assert out["runner"].to_list() == [f"{i:04d}" for i in range(100, 130)]
    assert out["order"].unique().to_list() == [1]
    assert masks["backup_available"].all()
    assert masks.height == table.height


def test_rates_without_interruptions_leave_out_their_crossings_and_no_other() -> None:
    table, event = proofs(GAP, GAP), small_event()
    kept = without_interruptions(table, estimate_interruptions(table, event), event)
    gone = table.join(kept, on=["runner", "order"], how="anti").sort("runner")
    assert gone["runner"].to_list() == [f"{i:04d}" for i in range(100, 130)]
    assert gone["point"].unique().to_list() == ["mill"]
    assert kept.schema == table.schema


def test_a_clock_that_contradicts_its_neighbours_makes_no_silence() -> None:
    """The line reads an hour late: its runners keep their place in the row by the reads on either side."""
    sound = proofs("x." * 5 + "x" * 290, "x" * 300)
    wrong = sound.with_columns(
        pl.when((pl.col("point") == "mill") & pl.col("seen_main"))
        .then(pl.col("time") + dt.timedelta(hours=1))
        .otherwise("time")
        .alias("time")
    )
    assert found(wrong) == []
