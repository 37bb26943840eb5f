"""What a set of lines can tell in principle: the rank of the map from parameters to chances of histories.

A model whose rank is lower than its number of parameters has values that no amount of data tells apart.  Full rank
is necessary, not enough: see ``refusal``.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from lineproof.detection.course_model.families import Family
from lineproof.detection.course_model.histories import CourseHistories, Occasion, compress
from lineproof.detection.course_model.likelihood import evaluate
from lineproof.detection.course_model.outcomes import MISSED, READ, SILENT, to_outcome
from lineproof.detection.course_model.problem import make_problem
from lineproof.detection.course_model.structure import Structure, make_structure

Floats = NDArray[np.float64]

STEP = 1e-4
SOUND = 1e-6  # of the largest singular value


@dataclass(frozen=True, slots=True)
class Rank:
    """``weakest`` is the least singular value over the largest: how near to being lost the worst direction is."""

    rank: int
    parameters: int
    cells: int
    weakest: float

    @property
    def identified(self) -> bool:
        return self.rank == self.parameters


def estimate_rank(points: int, lines: int, family: Family, *, survival: bool) -> Rank:
    """Of ``points`` with ``lines`` each (1 or 2), given that a runner was seen at all; runners may stop if ``survival``."""
    histories = all_histories(points, lines)
    structure = make_structure(histories, family, sure=[not survival] * (points - 1))
    slopes = _slopes(histories, structure, _somewhere(structure))
    # Parameters differ in size of effect: each is judged in units of its own.
    size = np.linalg.norm(slopes, axis=0)
    values = np.linalg.svd(slopes / np.where(size > 0, size, 1.0), compute_uv=False)
    weakest = float(values[-1] / values[0]) if len(values) == structure.size else 0.0
    return Rank(int((values > SOUND * values[0]).sum()), structure.size, len(slopes) - 1, weakest)


def all_histories(points: int, lines: int) -> CourseHistories:
    """Every history that a seen runner can have, once."""
    words = np.array([w for w in product((0, 1), repeat=points * lines) if any(w)], dtype=np.int8)
    said = np.where(words == 1, READ, MISSED).astype(np.int8).reshape(len(words), points, lines)
    second = said[:, :, 1] if lines == 2 else np.full(said.shape[:2], SILENT, dtype=np.int8)
    unread = np.full(said.shape[:2], 3 * MISSED + (MISSED if lines == 2 else SILENT), dtype=np.int8)
    names = ("main", "backup")[:lines]
    occasions = tuple(Occasion(f"point {k + 1}", k, names) for k in range(points))
    return compress(occasions, to_outcome(said[:, :, 0], second), unread)


def _somewhere(structure: Structure) -> Floats:
    """Values in general position, near those of a usual event."""
    values = structure.begin()
    blocks = structure.blocks
    lines = blocks["lines"].stop
    values[blocks["lines"]] = 1.5 + 0.9 * np.sin(1 + np.arange(lines))
    values[blocks["segments"]] = 1.2 + 0.5 * np.cos(np.arange(structure.segment_design.shape[1]))
    if len(structure.family.names) == 2:
        values[blocks["family"]] = (-1.0, np.log(2.0))
    return values


def _slopes(histories: CourseHistories, structure: Structure, values: Floats) -> Floats:
    """(history, parameter): change of the square root of each chance, on which all cells weigh alike."""
    problem = make_problem(histories, structure)

    def roots(at: Floats) -> Floats:
        return np.exp(evaluate(problem, at).by_history / 2)

    return np.array(
        [(roots(values + s) - roots(values - s)) / (2 * STEP) for s in np.eye(structure.size) * STEP]
    ).T
