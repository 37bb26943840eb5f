"""One fitted family as the numbers that a report shows, each with its standard error."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import special

from lineproof.detection.course_model.capability import estimate_miss_chance
from lineproof.detection.course_model.cells import Cells, outcome_chances
from lineproof.detection.course_model.families import NORMAL_EFFECT, TWO_KINDS
from lineproof.detection.course_model.fit import Fit
from lineproof.detection.course_model.goodness import estimate_goodness
from lineproof.detection.course_model.hidden_crossings import estimate_hidden
from lineproof.detection.course_model.outcomes import READ, SILENT
from lineproof.detection.course_model.profile import far_values
from lineproof.detection.course_model.result import Estimate, FamilyResult
from lineproof.detection.course_model.structure import line_names

Floats = NDArray[np.float64]

WORTH_PROFILE = 1.0  # hidden crossings; where fewer are possible an exact interval is not worth its time
NOTHING = float("nan")


def to_family_result(found: Fit, confidence: float, *, last_is_open: bool) -> FamilyResult:
    """``last_is_open``: the last point may be answered, and is worth exact intervals."""
    structure = found.problem.structure
    histories = found.problem.histories
    visits = len(histories.occasions)
    exact = {visits - 1} if last_is_open else set()
    far = far_values(found, confidence)
    worth = [WORTH_PROFILE] * (visits - 1) + [0.0 if last_is_open else np.inf]
    hidden = tuple(
        estimate_hidden(found, k, confidence, worth=worth[k], also_from=far) for k in range(visits)
    )
    # Where something comes later, counts say the same without a model: no need for exact ends.
    chances = tuple(
        estimate_miss_chance(found, k, confidence, profile=k in exact, also_from=far) for k in range(visits)
    )
    two = structure.family is TWO_KINDS
    block = structure.blocks["family"].start
    none = Estimate("", NOTHING, NOTHING)
    return FamilyResult(
        structure.family.name,
        found.log_likelihood,
        found.aic,
        structure.size,
        _share(found, block, "weak share") if two else none,
        _positive(found, block + 1, "weak shift") if two else none,
        _positive(found, block, "spread") if structure.family is NORMAL_EFFECT else none,
        _lines(found),
        _segments(found),
        _pairs(found),
        tuple(
            _share(found, structure.blocks["states"].start + i, state.value)
            for i, state in enumerate(structure.states)
        ),
        hidden,
        chances,
        estimate_goodness(found),
        found,
    )


def _share(found: Fit, place: int, name: str) -> Estimate:
    share = float(special.expit(found.values[place]))
    return Estimate(name, share, share * (1 - share) * float(found.std_error()[place]))


def _positive(found: Fit, place: int, name: str) -> Estimate:
    value = float(np.exp(found.values[place]))
    return Estimate(name, value, value * float(found.std_error()[place]))


def _segments(found: Fit) -> tuple[Estimate, ...]:
    structure = found.problem.structure
    names = [occasion.name for occasion in found.problem.histories.occasions]
    block = structure.blocks["segments"]
    covariance = found.covariance[block, block]
    going = structure.segment_design @ found.values[block]
    on = special.expit(going)
    spread = np.sqrt(np.einsum("ij,jk,ik->i", structure.segment_design, covariance, structure.segment_design))
    return tuple(
        Estimate(
            f"{a} to {b}",
            1.0 if structure.sure[i] else float(on[i]),
            0.0 if structure.sure[i] else float(on[i] * (1 - on[i]) * spread[i]),
        )
        for i, (a, b) in enumerate(pairwise(names))
    )


def _pairs(found: Fit) -> tuple[Estimate, ...]:
    structure = found.problem.structure
    block = structure.blocks["pairs"]
    design, covariance = structure.pair_design, found.covariance[block, block]
    return tuple(
        Estimate(
            occasion.name,
            float(design[k] @ found.values[block]),
            float(np.sqrt(design[k] @ covariance @ design[k])),
        )
        for k, occasion in enumerate(found.problem.histories.occasions)
        if design.shape[1] and len(occasion.lines) == 2
    )


def _lines(found: Fit) -> tuple[Estimate, ...]:
    """Read chance of a usual tag in the first stratum, whatever the other line did."""
    structure, histories = found.problem.structure, found.problem.histories
    slots = [(k, place) for k, o in enumerate(histories.occasions) for place in range(len(o.lines))]
    triples = np.array([(k, 0, 3 * READ + SILENT if place == 0 else 3 * SILENT + READ) for k, place in slots])
    cells = Cells.of(triples, histories.occasions)
    answers = np.ones((1, len(histories.occasions)), dtype=bool)

    def read(values: Floats) -> Floats:
        chances = outcome_chances(cells, *structure.logits(values), np.zeros(1), answers)
        return np.asarray(np.exp(chances.log[:, 0]))

    rate = read(found.values)
    step = 1e-5
    slope = np.array(
        [
            (read(found.values + s) - read(found.values - s)) / (2 * step)
            for s in np.eye(structure.size) * step
        ]
    ).T
    spread = np.sqrt(np.einsum("ij,jk,ik->i", slope, np.nan_to_num(found.covariance), slope))
    return tuple(
        Estimate(name, float(r), float(s))
        for name, r, s in zip(line_names(histories), rate, spread, strict=True)
    )
