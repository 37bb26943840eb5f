"""What the set-up would miss next time: the chance that neither line of a point reads a runner who crosses.

Hidden crossings are of today: where everybody was read there are none, however few came by.  The chance asks what a
day like this would do to other runners, and a small field leaves it open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from lineproof.detection.course_model.cells import Cells, outcome_chances
from lineproof.detection.course_model.fit import Fit
from lineproof.detection.course_model.likelihood import Value
from lineproof.detection.course_model.outcomes import MISSED, SILENT
from lineproof.detection.course_model.problem import all_kinds
from lineproof.detection.course_model.profile import (
    Quantity,
    profile_ends,
    spread_of,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MissChance:
    expected: float
    low: float
    high: float


def estimate_miss_chance(
    fit: Fit,
    occasion: int,
    confidence: float = 0.95,
    *,
    profile: bool = True,
    also_from: Floats | None = None,
) -> MissChance:
    """In the first stratum, all lines of the point at work; by the slope at the top alone without ``profile``.

    ``also_from`` as of ``profile_ends``.
    """
    quantity = log_miss_chance(fit, occasion)
    log_chance, slope = quantity(fit.values, fit.value)
    half = float(stats.norm.ppf(0.5 + confidence / 2)) * spread_of(fit, slope)
    low, high = log_chance - half, log_chance + half
    if profile:
        ends = profile_ends(fit, quantity, confidence, also_from=also_from)
        low, high = min(ends.low, log_chance), max(ends.high, log_chance)
    return MissChance(float(np.exp(log_chance)), float(np.exp(low)), float(min(np.exp(high), 1.0)))


def log_miss_chance(fit: Fit, occasion: int) -> Quantity:
    """Logarithm of the chance and its slope."""
    problem = fit.problem
    structure, occasions = problem.structure, problem.histories.occasions
    second = MISSED if len(occasions[occasion].lines) == 2 else SILENT
    cells = Cells.of(np.array([[occasion, 0, 3 * MISSED + second]]), occasions)
    blocks = structure.blocks

    def quantity(values: Floats, _value: Value) -> tuple[float, Floats]:
        kinds = all_kinds(problem, values)
        chances = outcome_chances(cells, *structure.logits(values), kinds.effect, kinds.answers)
        part = np.exp(kinds.log_weight + chances.log[0])
        chance = part.sum()
        share = part / chance
        to_line, _, to_pair, to_effect = chances.back(share[None, :], cells)
        slope = np.zeros(structure.size)
        slope[blocks["lines"]] = structure.line_design.T @ to_line
        slope[blocks["pairs"]] = structure.pair_design.T @ to_pair
        slope[blocks["family"]], slope[blocks["states"]] = kinds.back(share, to_effect)
        return float(np.log(chance)), slope

    return quantity
