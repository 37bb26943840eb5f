"""Crossings that no line read and nothing later proves: how many, and between which bounds.

The model gives their expected number at its best values.  Its doubt has two parts: other values that fit the
data nearly as well (profile likelihood), and the luck of the day: each runner last read earlier either crossed or
did not, with the chance that the runner's own record gives.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from lineproof.detection.course_model.fit import Fit
from lineproof.detection.course_model.histories import CourseHistories
from lineproof.detection.course_model.likelihood import hidden_chances
from lineproof.detection.course_model.outcomes import CELLS
from lineproof.detection.course_model.profile import (
    log_hidden,
    profile_ends,
    spread_of,
)
from lineproof.detection.two_lines import Cells, estimate_stratified

Floats = NDArray[np.float64]

NOBODY = 1e-9  # expected: there is no runner of whom it is open
RARE, CERTAIN = 1e-3, 1 - 1e-9  # chances; runners below are many, and drawn as one Poisson number
SHIFTS = np.linspace(-12.0, 12.0, 97)  # of log odds
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


def estimate_hidden(
    fit: Fit, occasion: int, confidence: float = 0.95, *, worth: float = 0.0, also_from: Floats | None = None
) -> Hidden:
    """Hidden crossings at one occasion; by the slope at the top alone where that allows no more than ``worth``.

    ``also_from`` as of ``profile_ends``.
    """
    if fit.value.hidden[occasion] < NOBODY:
        return Hidden(0.0, 0.0, 0.0, 0, 0)
    quantity = log_hidden(fit, occasion)
    log_expected, slope = quantity(fit.values, fit.value)
    factor = float(stats.norm.ppf(0.5 + confidence / 2))
    below = above = factor * spread_of(fit, slope)
    if np.exp(log_expected + above) > worth:
        ends = profile_ends(fit, quantity, confidence, also_from=also_from)
        below, above = log_expected - min(ends.low, log_expected), max(ends.high, log_expected) - log_expected
    # No more can be hidden than there are runners of whom it is open.
    room = np.log(max(_open(fit, occasion), np.exp(log_expected)))
    above = min(above, float(room) - log_expected)
    expected = float(np.exp(log_expected))
    chances = hidden_chances(fit.problem, fit.values, occasion)
    open_ended = _OpenRunners.of(chances, fit.problem.histories.count, expected)
    fewest, most = _counted(open_ended, log_expected, below / factor, above / factor, confidence)
    return Hidden(expected, expected * float(np.exp(-below)), expected * float(np.exp(above)), fewest, most)


def _open(fit: Fit, occasion: int) -> float:
    """Runners who may have crossed here unseen: not known to have come so far, and those never seen at all."""
    histories = fit.problem.histories
    candidates = (histories.known < occasion) & (histories.until >= occasion)
    return float(histories.count[candidates].sum()) + 2 * fit.value.never + 1


@dataclass(frozen=True, slots=True)
class _OpenRunners:
    """Of whom it is open: ``count`` runners of each log odds to have crossed, and an expected number of rare ones."""

    log_odds: Floats
    count: NDArray[np.int64]
    rare: float

    @classmethod
    def of(cls, chances: Floats, count: NDArray[np.int64], expected: float) -> _OpenRunners:
        likely = chances > RARE
        told = float(chances[likely] @ count[likely])
        return cls(
            special.logit(np.minimum(chances[likely], CERTAIN)), count[likely], max(expected - told, 0.0)
        )

    def draw(self, shift: Floats, rng: np.random.Generator) -> NDArray[np.int64]:
        """Numbers who crossed, their odds shifted by each of ``shift`` (log)."""
        chances = special.expit(self.log_odds + shift[:, None])
        return np.asarray(
            rng.binomial(self.count, chances).sum(axis=1) + rng.poisson(self.rare * np.exp(shift))
        )

    def expect(self, shift: Floats) -> Floats:
        chances = special.expit(self.log_odds + shift[:, None])
        return np.asarray(chances @ self.count + self.rare * np.exp(shift))


def _counted(
    runners: _OpenRunners, log_expected: float, below: float, above: float, confidence: float
) -> tuple[int, int]:
    """Quantiles of the number who crossed, where its log mean is normal with a spread for each side."""
    rng = np.random.default_rng(SEED)
    z = rng.standard_normal(DRAWS)
    log_mean = log_expected + np.where(z < 0, below, above) * z
    shift = np.interp(log_mean, np.log(runners.expect(SHIFTS)), SHIFTS)
    numbers = runners.draw(shift, rng)
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
    groups = [
        cells_at(histories, occasion, before == group) for group in range(int(before.max(initial=0)) + 1)
    ]
    return visible + estimate_stratified(groups).hidden


def _misses_before(histories: CourseHistories, occasion: int) -> NDArray[np.int64]:
    outcome = histories.outcome[:, :occasion].astype(np.int64)
    missed = ((outcome // 3 == 0) & (outcome < 9)).sum(axis=1) + ((outcome % 3 == 0) & (outcome < 9)).sum(
        axis=1
    )
    return np.asarray(np.minimum(missed, 2), dtype=np.int64)
