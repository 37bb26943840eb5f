"""Times at a point that a course passes several times, matched to its visits."""

from __future__ import annotations

import math

import pytest

from lineproof.crossings.lap_matching import Anchor, evenness, match_visits

LAPS = [2500.0, 5000.0, 7500.0, 10000.0]
MINUTE = 60_000_000


def minutes(*values: float) -> list[int]:
    return [round(v * MINUTE) for v in values]


GUN = [Anchor(0.0, 0)]


@pytest.mark.parametrize(
    ("times", "expected"),
    [
        (minutes(12, 24, 36, 48), [0, 1, 2, 3]),
        (minutes(12, 24, 48), [0, 1, 3]),  # the third lap was missed
        (minutes(24, 36, 48), [1, 2, 3]),  # the first lap was missed
        (minutes(12, 24, 36), [0, 1, 2]),  # stopped after three laps
        (minutes(12, 24, 36, 48, 75), [0, 1, 2, 3, None]),  # walked over the line when all was done
        (minutes(12, 25, 40, 58), [0, 1, 2, 3]),  # slowing is no miss
    ],
)
def test_laps_from_the_gun(times: list[int], expected: list[int | None]) -> None:
    assert match_visits(LAPS, times, GUN) == expected


def test_one_time_after_the_gun_is_taken_for_the_first_lap() -> None:
    # With the gun alone every lap is as even as any other: the first is the careful choice.
    assert match_visits(LAPS, minutes(48), GUN) == [0]


def test_a_known_crossing_elsewhere_settles_a_single_time() -> None:
    finish = Anchor(10500.0, 50 * MINUTE)
    assert match_visits(LAPS, minutes(36), [*GUN, finish]) == [2]


def test_start_and_laps_on_one_line() -> None:
    at_m = [0.0, 2500.0, 5000.0, 7500.0]
    assert match_visits(at_m, minutes(1, 13, 37), []) == [0, 1, 3]


def test_a_contradicting_order_is_infinitely_uneven_and_falls_back_to_counting() -> None:
    assert evenness([5000.0], minutes(10), [Anchor(0.0, 11 * MINUTE)]) == math.inf
    assert match_visits([5000.0, 7500.0], minutes(10, 12), [Anchor(0.0, 13 * MINUTE)]) == [0, 1]


def test_even_pace_costs_nothing() -> None:
    assert evenness(LAPS, minutes(12, 24, 36, 48), GUN) == pytest.approx(0.0, abs=1e-9)
