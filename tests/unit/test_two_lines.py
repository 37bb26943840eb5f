"""Two lines at a point: what counts cannot say, and what needs no unseen runner."""

from __future__ import annotations

import math

import pytest

from lineproof.detection.two_lines import Cells, compare_lines, estimate_two_lines


@pytest.mark.parametrize(
    "cells",
    [Cells(0, 2, 2), Cells(0, 0, 0), Cells(0, 50, 0), Cells(0, 1000, 5), Cells(1, 1000, 40)],
    ids=["no overlap", "nothing", "backup silent", "fill-in", "nearly fill-in"],
)
def test_counts_that_cannot_say_give_no_number_but_a_reason(cells: Cells) -> None:
    found = estimate_two_lines(cells)
    assert math.isnan(found.rate_main)
    assert math.isnan(found.hidden)
    assert found.reason


def test_large_counts_do_not_overflow() -> None:
    n = 3_000_000_000
    assert estimate_two_lines(Cells(n, n, n)).crossed == pytest.approx(4 * n)


def test_the_ratio_of_the_lines_needs_nobody_unseen() -> None:
    few, many = compare_lines(Cells(900, 60, 30, 0)), compare_lines(Cells(900, 60, 30, 500))
    assert few == many
    assert few.ratio == pytest.approx(960 / 930)
    assert few.low < few.ratio < few.high
    assert few.low > 1  # 60 against 30 is a difference
