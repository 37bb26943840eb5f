"""Purchase decisions against known truth, CI-sized; ``benchmarks/purchase.py`` is the study of two thousand."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from lineproof.replacement.evaluation import Word
from simulation.purchases import SMALL, Decision, buy_for, calibration_slope, decide_each

DRAWS = 300
SEED = 20311101


@cache
def decisions() -> tuple[Decision, ...]:
    return tuple(d for n in range(8) for d in decide_each(SEED + n, SMALL, DRAWS, (5.0, 600.0)))


def test_stated_chances_hold() -> None:
    """Slope 0.9 to 1.1 and two standard errors of so few decisions; and the mean chance is the share that truly saves."""
    slope, error, _ = calibration_slope(decisions(), DRAWS)
    assert 0.9 - 2 * error <= slope <= 1.1 + 2 * error
    stated = np.mean([d.chance for d in decisions()])
    saved = np.mean([d.truth > 0 for d in decisions()])
    assert abs(stated - saved) < 2 * np.sqrt(0.25 / len(decisions())) + 0.03


def test_sure_words_are_right_and_bad_items_are_found() -> None:
    sure = [d for d in decisions() if d.chance > 0.95]
    assert len(sure) >= 10
    assert np.mean([d.truth > 0 for d in sure]) >= 0.9
    cheap_and_bad = [d for d in decisions() if d.group == "bad" and d.price < 200]
    assert np.mean([d.chance > 0.8 for d in cheap_and_bad]) >= 0.8


def test_nothing_is_bought_where_nothing_is_wrong() -> None:
    alike = replace(SMALL, bad=0, decaying=0, item_sd=0.0)
    words = [buy_for(SEED + 100 + n, alike, DRAWS, 6, 1000.0).word for n in range(6)]
    assert Word.BUY not in words


def test_little_is_left_on_the_table() -> None:
    bought = [buy_for(SEED + 200 + n, SMALL, DRAWS, 6, 1000.0) for n in range(4)]
    best = sum(b.best for b in bought)
    assert sum(b.truth for b in bought) >= 0.7 * best
    assert all(b.truth <= b.best + 1e-6 for b in bought)
