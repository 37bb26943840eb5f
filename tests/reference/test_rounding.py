"""Official times: read, then rounded up once to the next longer unit.

Source: World Athletics Technical Rules, rule on transponder timing (19.24.5, formerly IAAF rule
165.24(e)): "2:09:44.3 becomes 2:09:45" (seen as quoted in public documents); photo-finish wording of
a national rule book, 2:09:44.32 -> 2:09:45 (seen); the 0.1 s rule of track races over 10,000 m,
59:26.32 -> 59:26.4 (from memory).  The traps are plain arithmetic of
binary fractions, recomputed with Python's own integers and floats.
"""

from __future__ import annotations

import math

import polars as pl
import pytest

from lineproof.crossings import to_whole_units_us

SECOND = 1_000_000
TENTH = 100_000


def whole(raw_us: int, unit_us: int = SECOND) -> int:
    return pl.select(to_whole_units_us(pl.lit(raw_us, dtype=pl.Int64), unit_us)).item()


@pytest.mark.parametrize("raw_us", [7_784_300_000, 7_784_320_000])  # 2:09:44.3 and 2:09:44.32
def test_published_rule_book_examples(raw_us: int) -> None:
    assert whole(raw_us) == 7_785_000_000  # 2:09:45


@pytest.mark.parametrize(
    ("raw_us", "expected_us"),
    [
        (7_784_000_000, 7_784_000_000),  # an exact whole second stays
        (7_784_001_000, 7_785_000_000),
        (3_599_100_000, 3_600_000_000),  # 59:59.1 -> 1:00:00
        (7_199_010_000, 7_200_000_000),  # 1:59:59.01 -> 2:00:00
    ],
)
def test_recomputed_next_longer_second_by_hand(raw_us: int, expected_us: int) -> None:
    assert whole(raw_us) == expected_us


def test_from_memory_tenths_on_the_track() -> None:
    assert whole(3_566_320_000, TENTH) == 3_566_400_000  # 59:26.32 -> 59:26.4


@pytest.mark.parametrize(
    ("finish_us", "start_us", "unit_us", "expected_us"),
    [
        (36_000_010_000, 32_400_010_000, SECOND, 3_600_000_000),  # in floats 3600.0000000000036
        (40_184_300_000, 32_400_000_000, TENTH, 7_784_300_000),  # in floats 7784.300000000003
    ],
)
def test_recomputed_binary_fractions_push_nothing_up(
    finish_us: int, start_us: int, unit_us: int, expected_us: int
) -> None:
    naive = math.ceil((finish_us / 1e6 - start_us / 1e6) * 1e6 / unit_us) * unit_us
    assert naive != expected_us, "the trap that integers avoid"
    assert whole(finish_us - start_us, unit_us) == expected_us


def test_recomputed_a_grid_of_starts_keeps_exact_durations_exact() -> None:
    starts = [32_400_000_000 + ms * 1000 for ms in range(5000)]
    for duration in (3_600_000_000, 7_784_000_000):
        assert {whole(start + duration - start) for start in starts[::97]} == {duration}


def test_recomputed_net_is_rounded_from_the_raw_difference_not_from_rounded_ends() -> None:
    start, finish = 100_900_000, 3_700_100_000  # 3599.2 s apart; rounded ends would be 3600 s apart
    assert whole(finish - start) == 3_600_000_000
    assert whole(3_700_000_000) - whole(101_000_000) == 3_599_000_000
