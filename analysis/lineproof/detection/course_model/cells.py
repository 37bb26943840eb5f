"""Chances of the outcomes at one visit for one kind of tag, and how they change with every logit.

Two lines a and b with logits of reading and a log odds ratio between them: the four cells (both, only a,
only b, neither) have weights exp(a + b + pair), exp(a), exp(b), 1.  With no pair dependence the lines are
unrelated.  An outcome has the chance of the cells that it leaves possible.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineproof.detection.course_model.histories import Occasion
from lineproof.detection.course_model.outcomes import POSSIBLE, was_read

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

NO_LINE = -1e3  # logit of a line that is not there: exp of it is 0
TINY = 1e-290  # of a chance, so that its logarithm stays finite


@dataclass(frozen=True, slots=True)
class Cells:
    """Distinct (occasion, stratum, outcome), with the numbers of the occasion's lines (second: -1 if none)."""

    occasion: Ints
    stratum: Ints
    possible: Floats
    read: NDArray[np.bool_]
    first: Ints
    second: Ints
    lines: int
    occasions: int
    strata: int

    @classmethod
    def of(cls, distinct: Ints, occasions: Sequence[Occasion]) -> Cells:
        ends = np.cumsum([0, *(len(occasion.lines) for occasion in occasions)])
        first = ends[:-1]
        second = np.array([f + 1 if len(o.lines) == 2 else -1 for f, o in zip(first, occasions, strict=True)])
        occasion, stratum, outcome = distinct.T
        return cls(
            occasion,
            stratum,
            POSSIBLE[outcome].T[:, :, None],
            was_read(outcome.astype(np.int8)),
            first[occasion],
            second[occasion],
            int(ends[-1]),
            len(occasions),
            int(stratum.max(initial=0)) + 1,
        )


def _sum(rows: Floats, place: Ints, size: int) -> Floats:
    """Over kinds, and over the cells that share a place."""
    return np.bincount(place, weights=rows.sum(axis=1), minlength=size).astype(np.float64)


@dataclass(frozen=True, slots=True)
class Chances:
    """``log`` (cell, kind) chance of each outcome; the rest serves ``back``."""

    log: Floats
    to_first: Floats
    to_second: Floats
    to_pair: Floats

    def back(self, to_cell: Floats, cells: Cells) -> tuple[Floats, Floats, Floats, Floats]:
        """From slopes towards the logs (cell, kind) to slopes towards lines, strata, pairs and kinds' effects."""
        first, second = to_cell * self.to_first, to_cell * self.to_second
        both = first + second
        has_second = cells.second >= 0
        line = _sum(first, cells.first, cells.lines)
        line += _sum(second[has_second], cells.second[has_second], cells.lines)
        stratum = _sum(both, cells.stratum, cells.strata)
        pair = _sum(to_cell * self.to_pair, cells.occasion, cells.occasions)
        return line, stratum, pair, np.asarray(both.sum(axis=0))


def outcome_chances(
    cells: Cells,
    line: Floats,
    stratum: Floats,
    pair: Floats,
    effect: Floats,
    answers: NDArray[np.bool_],
) -> Chances:
    """``answers`` (kind, occasion): elsewhere the tag is never read."""
    shift = stratum[cells.stratum][:, None] + effect
    a = line[cells.first][:, None] + shift
    b = np.where((cells.second >= 0)[:, None], line[cells.second][:, None] + shift, NO_LINE)
    weight = np.stack([a + b + pair[cells.occasion][:, None], a, b, np.zeros_like(a)])
    weight = np.exp(weight - weight.max(axis=0))
    within = weight * cells.possible
    whole = weight.sum(axis=0)
    part = np.maximum(within.sum(axis=0), TINY)
    log = np.log(part) - np.log(whole)
    both, only_first, only_second, _ = within / part - weight / whole
    slopes = [both + only_first, both + only_second, both]
    dead = ~answers[:, cells.occasion].T
    if dead.any():
        log = np.where(dead, np.where(cells.read[:, None], -1e3, 0.0), log)
        slopes = [np.where(dead, 0.0, slope) for slope in slopes]
    return Chances(log, *slopes)
