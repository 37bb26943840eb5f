"""Crossings that no line read and nothing later proves: how many, and between which bounds.

The model gives their expected number at its best values.  Its doubt has two parts: other values that fit the
data nearly as well (profile likelihood), and the luck of the day, as hidden crossings are whole runners.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from lineproof.detection.course_model.fit import Fit
from lineproof.detection.course_model.histories import CourseHistories
from lineproof.detection.course_model.outcomes import CELLS
from lineproof.detection.course_model.profile import (
    log_hidden,
    of_parameter,
    profile_ends,
    spread_of,
)
from lineproof.detection.two_lines import FEW_BOTH, Cells

Floats = NDArray[np.float64]

NOBODY = 1e-9  # expected: there is no runner of whom it is open
DRAWS = 4000
SEED = 19_650_225  # any; fixed so that a review gives the same numbers each time


@dataclass(frozen=True, slots=True)
class Hidden:
    """``expected`` with its interval ``low`` to ``high``; ``fewest`` to ``most`` is for the number itself."""

    expected: float
    low: float
    high: float
    fewest: int
    most: int


def estimate_hidden(fit: Fit, occasion: int, confidence: float = 0.95, *, profile: bool = True) -> Hidden:
    """Hidden crossings at one occasion; by the slope at the top alone where ``profile`` is False."""
    if fit.value.hidden[occasion] < NOBODY:
        return Hidden(0.0, 0.0, 0.0, 0, 0)
    quantity = log_hidden(fit, occasion)
    log_expected, slope = quantity(fit.values)
    factor = float(stats.norm.ppf(0.5 + confidence / 2))
    below = above = factor * spread_of(fit, slope)
    if profile:
        structure = fit.problem.structure
        differ = structure.blocks["family"].start if structure.family.names else None
        # Rare weak tags, of which a small field may have shown none, are what many hidden crossings come from.
        way = None if differ is None else of_parameter(differ)
        ends = profile_ends(fit, quantity, confidence, by_way_of=way)
        below, above = log_expected - min(ends.low, log_expected), max(ends.high, log_expected) - log_expected
    # No more can be hidden than there are runners of whom it is open.
    room = np.log(max(_open(fit, occasion), np.exp(log_expected)))
    above = min(above, float(room) - log_expected)
    fewest, most = _counted(log_expected, below / factor, above / factor, confidence)
    expected = float(np.exp(log_expected))
    return Hidden(expected, expected * float(np.exp(-below)), expected * float(np.exp(above)), fewest, most)


def _open(fit: Fit, occasion: int) -> float:
    """Runners who may have crossed here unseen: not known to have come so far, and those never seen at all."""
    histories = fit.problem.histories
    candidates = (histories.known < occasion) & (histories.until >= occasion)
    return float(histories.count[candidates].sum()) + 2 * fit.value.never + 1


def _counted(log_expected: float, below: float, above: float, confidence: float) -> tuple[int, int]:
    """Quantiles of a Poisson number whose log mean is normal with a spread for each side."""
    rng = np.random.default_rng(SEED)
    z = rng.standard_normal(DRAWS)
    means = np.exp(np.minimum(log_expected + np.where(z < 0, below, above) * z, 15.0))
    numbers = rng.poisson(means)
    tail = (1 - confidence) / 2
    return int(np.quantile(numbers, tail, method="lower")), int(
        np.quantile(numbers, 1 - tail, method="higher")
    )


def cells_at(histories: CourseHistories, occasion: int, rows: NDArray[np.bool_] | None = None) -> Cells:
    """Runners by the lines that read them, among those of whom both lines tell."""
    count = histories.count if rows is None else np.where(rows, histories.count, 0)
    outcome = histories.outcome[:, occasion]
    both, first, second, _ = (int(count[outcome == 3 * a + b].sum()) for a, b in CELLS)
    return Cells(both, first, second)


def independence_figure(histories: CourseHistories, occasion: int) -> float:
    """Crossings that neither line read if their misses were unrelated (Lincoln-Petersen); NaN with one line."""
    cells = cells_at(histories, occasion)
    if len(histories.occasions[occasion].lines) < 2 or not cells.both:
        return float("nan")
    return cells.main_only * cells.backup_only / cells.both


def lower_bound(histories: CourseHistories, occasion: int) -> float:
    """Unread crossings at least: the proven ones; where nothing is later, by two lines among runners alike.

    Runners are divided by how often they were missed before.  Within a group two lists give a lower bound
    whenever misses go together, whatever the family (Chao 1987, Biometrics 43:783-791, gives the like from
    how often each was seen; with two lists it is this).
    """
    visible = float(histories.missed[occasion])
    later = (histories.known > occasion) & (histories.count > 0)
    if later.any() or len(histories.occasions[occasion].lines) < 2:
        return visible
    before = _misses_before(histories, occasion)
    total = 0.0
    for group in range(int(before.max(initial=0)) + 1):
        cells = cells_at(histories, occasion, before == group)
        alone = cells.main_only * cells.backup_only
        total += alone / (cells.both if cells.both >= FEW_BOTH else cells.both + 1)
    return visible + total


def _misses_before(histories: CourseHistories, occasion: int) -> NDArray[np.int64]:
    outcome = histories.outcome[:, :occasion].astype(np.int64)
    missed = ((outcome // 3 == 0) & (outcome < 9)).sum(axis=1) + ((outcome % 3 == 0) & (outcome < 9)).sum(
        axis=1
    )
    return np.asarray(np.minimum(missed, 2), dtype=np.int64)
