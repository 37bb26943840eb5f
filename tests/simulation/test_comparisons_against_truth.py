"""Comparisons of habits, years and models on seasons with known truth; benchmarks/comparisons.py runs hundreds."""

from __future__ import annotations

import pytest

from simulation.compared import COMPARE

SEASONS = range(8100, 8160)
OFF = 2 * (0.95 * 0.05 / len(SEASONS)) ** 0.5  # two Monte Carlo standard errors of a share near 95 %


@pytest.mark.parametrize("name", COMPARE)
def test_what_does_nothing_is_rarely_said_to_matter(name: str) -> None:
    found = [COMPARE[name](1.0, seed) for seed in SEASONS]
    told = [each for each in found if each.told]
    assert len(told) > 0.9 * len(found)
    assert sum(each.held for each in told) >= (0.92 - OFF) * len(told)
    assert sum(each.signalled for each in found) <= (0.08 + OFF) * len(found)  # coverage 92 % at least


@pytest.mark.parametrize("name", COMPARE)
def test_what_saves_three_misses_of_ten_lies_in_its_interval(name: str) -> None:
    told = [each for seed in SEASONS if (each := COMPARE[name](0.7, seed)).told]
    assert sum(each.held for each in told) >= (0.92 - OFF) * len(told)
