"""The random audit of camera minutes: which are drawn, and what they show."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lineproof.detection.audit import (
    MINUTE,
    _allocate,
    _strata,
    draw_audit,
    estimate_audit,
    minutes_to_settle,
)
from lineproof.errors import InputError
from lineproof.tables import AUDIT
from unit.small_event import GUN

END = GUN + 90 * MINUTE


def crossings(flow: list[int]) -> pl.Series:
    """So many crossings in each minute from the gun on, evenly spread."""
    times = [GUN + m * MINUTE + k * MINUTE / n for m, n in enumerate(flow) for k in range(n)]
    return pl.Series(times, dtype=pl.Datetime("us", "UTC"))


BELL = [round(60 * np.exp(-(((m - 45) / 18) ** 2))) for m in range(90)]


def test_minutes_lie_in_the_window_and_carry_their_flow() -> None:
    audit = draw_audit(crossings(BELL), "finish", GUN, END, 12, 1)
    assert audit.height == 12
    assert audit["begin"].is_sorted()
    assert (audit["end"] - audit["begin"]).unique().to_list() == [MINUTE]
    place = ((audit["begin"] - GUN) / MINUTE).cast(pl.Int64)
    assert audit["flow"].to_list() == [BELL[m] for m in place]
    assert audit.select("stratum", "stratum_minutes").unique()["stratum_minutes"].sum() == 90
    assert audit["crossed"].null_count() == audit["missed"].null_count() == 12


def test_busier_strata_get_more_of_their_minutes_watched() -> None:
    audit = draw_audit(crossings(BELL), "finish", GUN, END, 20, 1)
    share = audit.group_by("stratum").agg((pl.len() / pl.col("stratum_minutes").first()).alias("share"))
    assert share.sort("stratum")["share"].is_sorted()
    flow = audit.group_by("stratum").agg(
        pl.col("flow").min().alias("low"), pl.col("flow").max().alias("high")
    )
    rows = flow.sort("stratum").rows()
    assert all(before[2] <= after[1] for before, after in pairwise(rows))


def test_the_seed_draws_the_same_minutes_whatever_the_order_of_the_crossings() -> None:
    times = crossings(BELL)
    one = draw_audit(times, "finish", GUN, END, 10, 7)
    assert one.equals(draw_audit(times.shuffle(seed=3), "finish", GUN, END, 10, 7))
    assert not one.equals(draw_audit(times, "finish", GUN, END, 10, 8))


def test_every_minute_of_a_stratum_is_drawn_as_often_as_the_others() -> None:
    """400 draws of two of six alike minutes: each is expected 133 times, with an SD of 9.4."""
    drawn = pl.concat(
        [draw_audit(crossings([5] * 6), "finish", GUN, GUN + 6 * MINUTE, 2, s, strata=1) for s in range(400)]
    )
    counts = drawn.group_by("begin").len()["len"]
    assert counts.len() == 6
    assert counts.min() > 133 - 4 * 9.4
    assert counts.max() < 133 + 4 * 9.4


@given(
    flow=st.lists(st.integers(0, 300), min_size=2, max_size=60),
    minutes=st.integers(2, 80),
    strata=st.integers(1, 6),
)
@settings(deadline=None)
def test_any_window_is_divided_and_drawn_from_soundly(flow: list[int], minutes: int, strata: int) -> None:
    minutes = min(minutes, len(flow))
    count = max(1, min(strata, minutes // 2, len(flow) // 2))
    numbers = np.array(flow, dtype=np.int64)
    stratum = _strata(numbers, count)
    sizes = np.bincount(stratum, minlength=count)
    assert sizes.min() >= 2
    assert (np.diff(stratum[np.argsort(numbers, kind="stable")]) >= 0).all()
    wanted = _allocate(minutes, sizes, np.array([numbers[stratum == h].mean() for h in range(count)]))
    assert wanted.sum() == minutes
    assert (wanted >= 2).all()
    assert (wanted <= sizes).all()


def test_two_minutes_are_the_least() -> None:
    with pytest.raises(InputError, match="ask for two minutes or more"):
        draw_audit(crossings(BELL), "finish", GUN, END, 1, 1)
    with pytest.raises(InputError, match="out of 1"):
        draw_audit(crossings(BELL), "finish", GUN, GUN + MINUTE, 4, 1)


def watched(*rows: tuple[int, int, int, int], point: str = "finish") -> pl.DataFrame:
    """Rows of (stratum, its minutes in all, crossed, missed)."""
    return AUDIT.shape_rows(
        [
            {
                "point": point, "stratum": s, "stratum_minutes": size, "begin": GUN + i * MINUTE,
                "end": GUN + (i + 1) * MINUTE, "flow": max(x - y, 0), "crossed": x, "missed": y,
            }
            for i, (s, size, x, y) in enumerate(rows)
        ]
    )  # fmt: skip


def test_watching_every_minute_is_a_count_and_no_estimate() -> None:
    found = estimate_audit(watched((1, 3, 40, 0), (1, 3, 60, 1), (1, 3, 100, 0)))
    assert (found.share, found.low, found.high, found.std_error) == (0.005, 0.005, 0.005, 0.0)
    assert (found.word, found.needed) == ("falls short", 3)


def test_no_miss_is_not_no_doubt() -> None:
    """Ten of a hundred even minutes without a miss: at most the exact bound for their 300 crossings, and 10 % less."""
    found = estimate_audit(watched(*[(1, 100, 30, 0)] * 10))
    assert found.share == 0.0
    assert found.std_error is None
    assert found.high is not None
    # 1 - (1 - 0.95)^(1/n) for one tail, 3.69/n for two; few minutes count less, the watched tenth more.
    assert 3.69 / 300 < found.high < 2 * 3.69 / 300
    assert found.word == "cannot tell"
    assert "not 0" in (found.reason or "")


def test_misses_in_one_minute_are_worth_less_than_misses_apart() -> None:
    apart = estimate_audit(watched(*[(1, 200, 50, 1)] * 5, *[(1, 200, 50, 0)] * 15))
    together = estimate_audit(watched((1, 200, 50, 5), *[(1, 200, 50, 0)] * 19))
    assert apart.share == together.share == 0.005
    assert apart.deff is not None
    assert together.deff is not None
    assert together.deff > 2 * apart.deff
    assert together.high is not None
    assert apart.high is not None
    assert together.high > apart.high


def test_minutes_not_looked_at_are_left_out() -> None:
    audit = watched((1, 50, 30, 0), (1, 50, 31, 1), (1, 50, 29, 0), (1, 50, 30, 0))
    last = pl.col("begin") == audit["begin"][3]
    unseen = audit.with_columns(
        pl.when(~last).then("crossed").alias("crossed"), pl.when(~last).then("missed").alias("missed")
    )
    assert estimate_audit(unseen) == estimate_audit(audit.head(3))


@pytest.mark.parametrize(
    ("audit", "reason"),
    [
        (
            watched((1, 50, 30, 0), (2, 9, 30, 0), (2, 9, 30, 0)),
            "fewer than two minutes watched in stratum 1",
        ),
        (watched((1, 50, 0, 0), (1, 50, 0, 0)), "nobody crossed"),
        (AUDIT.empty(), "nobody crossed"),
    ],
)
def test_refusals(audit: pl.DataFrame, reason: str) -> None:
    found = estimate_audit(audit)
    assert found.share is None
    assert found.word == "cannot tell"
    assert reason in (found.reason or "")


def test_more_missed_than_crossed_is_a_slip_of_the_pen() -> None:
    with pytest.raises(InputError, match="09:01 UTC; correct the two counts"):
        estimate_audit(watched((1, 5, 3, 0), (1, 5, 3, 4)))


def test_minutes_that_settle_the_target() -> None:
    """With no miss, few minutes of a long window, and 10 a minute: 1,497 crossings show 99.8 %."""
    assert minutes_to_settle(0.998, 10, 0.0, 1.0, 10_000_000) == 150
    # The minutes watched are no longer in doubt, so that a short window needs fewer; all of it is certain.
    assert minutes_to_settle(0.998, 10, 0.0, 1.0, 300) == 100
    assert minutes_to_settle(0.998, 10, 0.002, 1.0, 120) == 120
    assert minutes_to_settle(0.998, 10, 0.05, 1.0, 10_000) < 20
    twice = minutes_to_settle(0.998, 10, 0.0, 2.0, 10_000_000)
    assert twice == 300


def test_what_is_needed_is_said_with_the_estimate() -> None:
    audit = watched(*[(1, 2000, 30, 0)] * 10)
    found = estimate_audit(audit)
    assert found.needed is not None
    # About 1,497 / 30 = 50 minutes, some more as the sample is small.
    assert 50 <= found.needed <= 80
    assert (found.minutes, found.window_minutes) == (10, 2000)


def test_instants_outside_the_window_are_no_flow() -> None:
    late = pl.concat(
        [
            crossings([3] * 4),
            crossings([1]).dt.offset_by("5h"),
            pl.Series([None], dtype=pl.Datetime("us", "UTC")),
        ]
    )
    audit = draw_audit(late, "finish", GUN, GUN + 4 * MINUTE, 4, 1)
    assert audit["flow"].to_list() == [3, 3, 3, 3]
    assert audit["end"].max() == GUN + dt.timedelta(minutes=4)
