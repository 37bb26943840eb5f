"""Start times before the gun, and starts filled in with the gun."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from lineproof.passings import number_passings
from lineproof.tables import CROSSINGS
from unit.checked_event import (
    clean_crossings,
    findings_of,
    make_entries,
    material_of,
    of_crossings,
    passing,
    stated_event,
)
from unit.checked_event import clean_passings as everybody
from unit.small_event import GUN

S = 1_000_000


def start_moved(runner: str, **seconds: float | None) -> pl.DataFrame:
    """Clean passings with the start of one runner at other seconds after the gun, by role; None: unread."""
    rest = everybody().filter(~((pl.col("tag") == f"t-{runner}") & (pl.col("point") == "start")))
    parts = [
        passing(f"t-{runner}", f"start-{role}", GUN + dt.timedelta(seconds=second))
        for role, second in seconds.items()
        if second is not None
    ]
    return number_passings([rest, *parts])


@pytest.mark.parametrize(
    ("seconds", "severity"),
    [
        ({"main": -3.0, "backup": -2.0}, ["error"]),
        ({"main": -3.0, "backup": None}, ["warning"]),
        ({"main": -0.5, "backup": 0.5}, []),  # within the tolerance of the clocks
        ({"main": 0.0, "backup": 1.0}, []),
    ],
)
def test_net_longer_than_gun(seconds, severity) -> None:
    found = findings_of("net longer than gun", material_of(start_moved("A02", **seconds)))
    assert found["severity"].to_list() == severity
    assert set(found["runner"]) <= {"A02"}


def test_the_same_in_merged_data_without_lines_is_an_error() -> None:
    crossings = clean_crossings().with_columns(
        net_us=pl.when(pl.col("runner") == "A02").then(pl.col("gun_us") + 30 * S).otherwise("net_us"),
        main_time=pl.lit(None, dtype=CROSSINGS.schema["time"]),
        backup_time=pl.lit(None, dtype=CROSSINGS.schema["time"]),
    )
    found = findings_of("net longer than gun", of_crossings(crossings))
    assert found.select("severity", "runner", "value").rows() == [("error", "A02", 30.0)]


def test_a_wave_that_started_before_its_gun_is_one_finding() -> None:
    crossings = clean_crossings().with_columns(net_us=pl.col("gun_us") + 30 * S)
    found = findings_of("net longer than gun", of_crossings(crossings))
    assert found.select("severity", "rows", "runner").rows() == [("error", 12, None)]
    assert "wave A" in found["detail"][0]


def wide(delays_s: list[int]) -> pl.DataFrame:
    """Runners with these start delays at a start and a finish, an hour of net time, a second apart."""
    rows = []
    for n, delay in enumerate(delays_s):
        common = {
            "runner": f"B{n:03}",
            "course": "road",
            "wave": "A",
            "visit": 1,
            "time_source": "unstated",
            "passings": 1,
            "tags": 1,
            "level": "wide",
        }
        gun = delay + 3600 + n
        rows += [
            {**common, "point": "start", "order": 0, "at_m": 0.0, "time": GUN + dt.timedelta(seconds=delay),
             "gun_us": delay * S, "net_us": 0 if delay else delay * S, "key": f"start/B{n:03}"},
            {**common, "point": "finish", "order": 2, "at_m": 10000.0, "time": GUN + dt.timedelta(seconds=gun),
             "gun_us": gun * S, "net_us": (gun - delay) * S, "segment_us": (gun - delay) * S, "segment_m": 10000.0,
             "segment_from": 0, "key": f"finish/B{n:03}"},
        ]  # fmt: skip
    return CROSSINGS.conform(
        CROSSINGS.shape_rows(rows).with_columns(
            net_us=pl.when(pl.col("order") == 0).then(0).otherwise("net_us")
        )
    )


def filled_in(delays_s: list[int]) -> list[str]:
    crossings = wide(delays_s)
    runners = tuple(crossings["runner"].unique().sort())
    material = of_crossings(crossings, stated_event(), make_entries(runners))
    return findings_of("filled-in start", material)["runner"].to_list()


def test_a_start_equal_to_the_gun_among_late_starters_was_filled_in() -> None:
    assert filled_in([200 + n for n in range(9)] + [0] + [200 + n for n in range(9)]) == ["B009"]


def test_front_runners_do_start_with_the_gun() -> None:
    assert filled_in([n // 2 for n in range(40)]) == []


def test_a_race_that_takes_the_gun_for_everybody_is_not_filled_in() -> None:
    assert filled_in([0] * 20) == []


def test_a_crowd_at_the_very_gun_was_filled_in_nearer_to_the_front_too() -> None:
    """Twelve starts with the gun among runners who took half a minute, one at each other second."""
    late = [20 + n for n in range(30)]
    mixed = [second for n in range(12) for second in (late[2 * n], 0, late[2 * n + 1])]
    assert len(filled_in(mixed)) == 12
    assert filled_in([late[0], late[1], 0, *late[2:]]) == []
