"""The chance of having crossed unread, on fields small enough to work out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from lineproof.camera_tables import STATED
from lineproof.detection.going_on import _Field, _of_course, estimate_going_on
from lineproof.detection.proofs import to_proofs
from lineproof.interruptions import to_masks
from lineproof.lookups import to_lookups
from lineproof.tables import INTERRUPTIONS
from unit.small_event import at, entries, small_event
from unit.test_proofs import crossings

EVENT = small_event((("start", 0), ("mill", 5000), ("lake", 10000), ("finish", 15000)))
CLOCKS = ("09:00", "09:25", "09:50", "10:15")


def runner(name: str, *orders: int, second: int = 0) -> list[tuple[str, int, str]]:
    return [(name, k, f"{CLOCKS[k]}:{second:02}") for k in orders]


def field(n: int) -> list[tuple[str, int, str]]:
    return [row for i in range(n) for row in runner(f"f{i:03}", 0, 1, 2, 3, second=i % 60)]


def chances(
    rows: list[tuple[str, int, str]], interruptions: pl.DataFrame | None = None
) -> dict[tuple[str, int], float]:
    people = entries(*sorted({row[0] for row in rows}))
    proofs = to_proofs(crossings(EVENT, *rows), people, EVENT)
    masks = to_masks(proofs, INTERRUPTIONS.empty() if interruptions is None else interruptions, EVENT)
    found = estimate_going_on(proofs, masks, EVENT)
    return {(r, k): chance for r, k, chance in found.iter_rows()}


def test_only_visits_after_the_last_known_one_are_asked_of() -> None:
    found = chances([*field(60), *runner("x", 0, 1), *runner("y", 0, 2), *runner("z", 0, 1, 2, 3)])
    assert sorted(found) == [("x", 2), ("x", 3), ("y", 3)]
    assert all(0 <= chance < 1 for chance in found.values())


def test_with_sound_lines_who_is_not_read_again_has_stopped() -> None:
    """60 runners read everywhere by both lines: to be missed by both is far rarer than to stop."""
    found = chances([*field(60), *runner("x", 0, 1, 2)])
    assert found["x", 3] < 0.01


def test_one_who_is_missed_at_two_visits_is_rarer_than_one_who_is_missed_at_one() -> None:
    rows = [*field(60), *(row for i in range(10) for row in runner(f"m{i}", 0, 1, 3)), *runner("x", 0, 1)]
    found = chances(rows)
    assert found["x", 3] < found["x", 2]


def test_chance_by_hand_at_a_point_that_misses_many() -> None:
    """Three visits; 60 runners read everywhere, 20 by neither line at the second, 5 not again after the first.

    At the second visit 20 of 80 proven were missed by both lines, with 20 more of what the lines alone say; nobody is
    known to have stopped before the third, for which 0.3 runners stand.
    """
    course = small_event().courses[0]
    last = np.repeat([2, 2, 0], [60, 20, 5])
    read = np.ones((85, 3), dtype=bool)
    read[60:80, 1] = False
    read[80:, 1:] = False
    known = np.arange(3)[None, :] <= last[:, None]
    nothing = np.zeros_like(read)
    field = _Field(
        course=course,
        runners=[f"r{i:02}" for i in range(85)],
        weak=np.zeros(85),
        known=known,
        kind=["later", "later", "sibling"],
        read={"main": read, "backup": read, "either": nothing},
        told={"main": ~nothing, "backup": ~nothing, "either": nothing},
        later=known & (np.arange(3) < last[:, None]),
        available=dict.fromkeys(("main", "backup", "either"), ~nothing),
        passed=np.zeros((85, 3), dtype=np.int64),
    )
    alone = (1 - (60 + 0.99) / 81) ** 2
    missed = (20 + 20 * alone) / (80 + 20)
    at_end = (1 - (80 + 0.99) / 81) ** 2
    stop_second = 0.3 / (80 - 80 * at_end)
    unread_second = stop_second + (1 - stop_second) * at_end
    by_chance = 85 * missed * unread_second
    stop_first = (5 - by_chance) / (85 - by_chance)
    unread_first = stop_first + (1 - stop_first) * missed * unread_second
    expected = (1 - stop_first) * missed * unread_second / unread_first
    found = _of_course(field).filter(pl.col("runner") == "r80")
    assert found["order"].to_list() == [1, 2]
    assert found["chance"][0] == pytest.approx(expected, rel=1e-9)
    assert 0.01 < expected < 0.02


def outage(point: str, begin: str, end: str) -> pl.DataFrame:
    row = {
        "event": "small", "point": point, "line": None, "kind": "both lines", "begin": at(begin), "end": at(end), "tried": 9,
        "missed": 9, "usual": 0.0, "chance": 1e-9, "doubt_us": 0, "evidence": "-",
    }  # fmt: skip
    return INTERRUPTIONS.shape_rows([row])


def test_an_interruption_at_the_time_raises_the_chance() -> None:
    # x came to lake at 09:50:30 and would have finished at about 10:15:30.
    rows = [*field(60), *runner("x", 0, 1, 2, second=30)]
    calm = chances(rows)["x", 3]
    dark = chances(rows, outage("finish", "10:15:20", "10:15:40"))["x", 3]
    assert calm < 0.01
    assert dark > 0.9


def test_a_stated_stop_lowers_the_chance_by_its_odds_and_is_said() -> None:
    rows = [*field(60), *runner("x", 0, 1, 2, second=30)]
    people = entries(*sorted({row[0] for row in rows}))
    proofs = to_proofs(crossings(EVENT, *rows), people, EVENT)
    dark = outage("finish", "10:15:20", "10:15:40")
    stated = STATED.shape_rows([{"runner": "x", "stated": "did not finish"}])
    plain = to_lookups(proofs, people, EVENT, dark).row(0, named=True)
    said = to_lookups(proofs, people, EVENT, dark, stated).row(0, named=True)
    odds = plain["chance"] / (1 - plain["chance"]) / 10
    assert said["chance"] == pytest.approx(odds / (1 + odds))
    assert said["evidence"].endswith("By the results the runner stopped.")


def single_line(rows: list[tuple[str, int, str]]) -> dict[tuple[str, int], float]:
    """The same with a main line only at every point: nobody witnesses what the finish missed."""
    event = replace(EVENT, lines=tuple(line for line in EVENT.lines if line.role == "main"))
    people = entries(*sorted({row[0] for row in rows}))
    read = crossings(event, *rows).with_columns(pl.lit(None, dtype=pl.Boolean).alias("seen_backup"))
    proofs = to_proofs(read, people, event)
    found = estimate_going_on(proofs, to_masks(proofs, INTERRUPTIONS.empty(), event), event)
    return {(r, k): chance for r, k, chance in found.iter_rows()}


def test_where_nobody_witnesses_for_the_finish_a_gap_in_the_field_tells() -> None:
    """Thirty in a row lack the finish, and one alone: the row of thirty was missed, of the one it is open."""
    rows = []
    for i in range(300):
        orders = (0, 1, 2) if 100 <= i < 130 or i == 250 else (0, 1, 2, 3)
        rows += [
            (f"f{i:03}", k, f"{9 + (25 * k + i // 60) // 60:02}:{(25 * k + i // 60) % 60:02}:{i % 60:02}")
            for k in orders
        ]
    found = single_line(rows)
    assert found["f115", 3] > 0.95
    assert found["f250", 3] < found["f115", 3]
