"""The bound between marks, and the tolerances taken off once."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lineproof.records import (
    STANDING_START_S,
    fastest_seconds,
    load_records,
    shortest_segment_us,
    shortest_segments,
)
from unit.small_event import small_event

METRES = st.floats(1, 400_000)


@given(
    METRES, METRES, st.sampled_from(["foot", "wheel", "handcycle", None]), st.sampled_from(["f", "m", None])
)
def test_longer_takes_longer_at_no_higher_speed(a: float, b: float, runner_class, sex) -> None:
    near, far = sorted((a, b))
    quick, slow = fastest_seconds([near, far], runner_class, sex)
    assert quick <= slow + 1e-9
    assert near / quick >= far / slow - 1e-9


@given(METRES)
def test_unknown_is_the_fastest_of_the_known(metres: float) -> None:
    known = [float(fastest_seconds(metres, c, s)) for c in ("foot", "wheel", "handcycle") for s in "fm"]
    assert float(fastest_seconds(metres)) == min(known)
    on_foot = [float(fastest_seconds(metres, "foot", s)) for s in "fm"]
    assert float(fastest_seconds(metres, "foot")) == min(on_foot)


def test_one_label_per_distance() -> None:
    both = fastest_seconds([5000, 5000], ["foot", "wheel"], ["f", "m"])
    assert both.tolist() == [
        float(fastest_seconds(5000, "foot", "f")),
        float(fastest_seconds(5000, "wheel", "m")),
    ]


def test_a_mark_is_met_less_the_standing_start() -> None:
    assert float(fastest_seconds(10_000, "foot", "m")) == pytest.approx(1571.0 - STANDING_START_S)


def test_a_slower_mark_of_a_shorter_stretch_gives_way_to_a_faster_long_one() -> None:
    """30 km on the way of a marathon: the bound follows the marathon's speed, 42195 m in 7170 s."""
    assert float(fastest_seconds(30_000, "foot", "m")) <= 30_000 * 7170 / 42_195


def test_beyond_the_longest_mark_the_speed_stays() -> None:
    one, two = fastest_seconds([319_614, 639_228], "foot", "m")
    assert two == pytest.approx(2 * one)


def test_the_tolerances_are_taken_off_once() -> None:
    """5000 m may be 20 m and 0.1 % shorter, and the clocks 1 s apart (vocabulary.py)."""
    bare = float(fastest_seconds(5000 * 0.999 - 20, "foot", "m"))
    assert shortest_segment_us([5000], "foot", "m", small_event()).tolist() == [int((bare - 1.0) * 1e6)]


def test_a_stretch_within_the_tolerance_has_no_bound() -> None:
    assert shortest_segment_us([0, 15], "foot", None, small_event()).tolist() == [0, 0]


def test_rows_of_a_frame_keep_their_order_and_nulls() -> None:
    frame = pl.DataFrame(
        {"m": [10_000.0, None, 5000.0], "runner_class": ["foot", "foot", None], "sex": ["f", "m", None]}
    )
    event = small_event()
    got = shortest_segments(frame, "m", event)
    assert got[0] == shortest_segment_us(10_000, "foot", "f", event)
    assert got[1] is None
    assert got[2] == shortest_segment_us(5000, None, None, event)
    assert got.dtype == pl.Int64
    assert np.all(got.drop_nulls().to_numpy() > 0)


def test_every_mark_says_when_where_and_how_it_is_known() -> None:
    table = load_records()
    assert table.null_count().sum_horizontal().item() == 0
    assert set(table["state"]) == {"seen", "memory"}
    assert set(table["runner_class"]) == {"foot", "wheel", "handcycle"}
    assert not table.select("distance_m", "runner_class", "sex").is_duplicated().any()
