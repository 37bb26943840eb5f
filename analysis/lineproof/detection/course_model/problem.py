"""Histories made ready for one structure: everything that does not change from one parameter value to the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from lineproof.detection.course_model.cells import Cells
from lineproof.detection.course_model.histories import CourseHistories
from lineproof.detection.course_model.outcomes import NOTHING_TOLD
from lineproof.detection.course_model.structure import Condition, State, Structure

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Problem:
    """``cells`` are the distinct (occasion, stratum, outcome); ``uses`` (history, cell) which of them a history
    is made of, ``used_by`` the same turned.  ``ahead`` is the row of each history in ``unread_cell`` (way, occasion), the distinct ways
    of crossing unread; ``open_until`` and ``way_count`` belong to ways.  ``reached`` is the place of each history in
    (way, 1 + last occasion known), flat.  ``went_on`` (history, segment).
    ``answers`` (kind, occasion) is the part of the course on which a kind of tag answers.
    """

    structure: Structure
    histories: CourseHistories
    cells: Cells
    uses: sparse.csr_array
    used_by: sparse.csr_array
    ahead: Ints
    unread_cell: Ints
    unread_by: sparse.csr_array
    reached: Ints
    reached_by: sparse.csr_array
    open_until: Ints
    way_count: Floats
    went_on: Floats
    answers: NDArray[np.bool_]
    state_shares: Floats


def make_problem(histories: CourseHistories, structure: Structure) -> Problem:
    visits = len(histories.occasions)
    place = np.arange(visits)
    counts = (place > histories.entry[:, None]) & (place <= histories.known[:, None])
    if structure.condition is Condition.SEEN and ((histories.known < 0) & ~histories.given).any():
        raise ValueError("a history without any read cannot be judged given that it was seen")
    told = counts & (histories.outcome != NOTHING_TOLD)
    ways, ahead = np.unique(
        np.column_stack([histories.unread, histories.stratum, histories.until]), axis=0, return_inverse=True
    )
    unread, stratum = ways[:, :visits].astype(np.int64), ways[:, visits : 2 * visits].astype(np.int64)
    rows, columns = np.nonzero(told)
    triples = np.concatenate(
        [
            np.column_stack([columns, histories.stratum[told], histories.outcome[told]]).astype(np.int64),
            np.column_stack([np.tile(place, len(ways)), stratum.ravel(), unread.ravel()]),
        ]
    )
    distinct, cell = np.unique(triples, axis=0, return_inverse=True)
    uses = sparse.csr_array((np.ones(len(rows)), (rows, cell[: len(rows)])), shape=(len(told), len(distinct)))
    unread_cell = cell[len(rows) :].ravel()
    reached = ahead.astype(np.int64).ravel() * (visits + 1) + histories.known + 1
    segments = np.arange(1, visits)
    went_on = (segments > np.maximum(histories.entry, 0)[:, None]) & (segments <= histories.known[:, None])
    answers, shares = _parts(structure.states, visits)
    return Problem(
        structure,
        histories,
        Cells.of(distinct, histories.occasions),
        uses,
        sparse.csr_array(uses.T),
        ahead.astype(np.int64).ravel(),
        unread_cell.reshape(len(ways), visits),
        _pick(unread_cell, len(distinct)),
        reached,
        _pick(reached, len(ways) * (visits + 1)),
        ways[:, -1].astype(np.int64),
        np.bincount(ahead.ravel(), weights=histories.count * ~histories.given, minlength=len(ways)).astype(
            np.float64
        ),
        went_on.astype(float),
        answers,
        shares,
    )


def _pick(place: Ints, size: int) -> sparse.csr_array:
    """(size, row): sums rows by their place."""
    rows = np.arange(len(place))
    return sparse.csr_array((np.ones(len(rows)), (place, rows)), shape=(size, len(rows)))


def _parts(states: tuple[State, ...], visits: int) -> tuple[NDArray[np.bool_], Floats]:
    """Part of the course on which each further kind answers, and its share within its state (kind, state)."""
    answers, owner = [], []
    place = np.arange(visits)
    for number, state in enumerate(states):
        parts = {
            State.LATE: [place >= k for k in range(1, visits)],
            State.DYING: [place < k for k in range(1, visits)],
            State.SILENT: [place < 0],
        }[state]
        answers += parts
        owner += [(number, len(parts))] * len(parts)
    shares = np.zeros((len(answers), len(states)))
    for row, (number, parts_of) in enumerate(owner):
        shares[row, number] = 1 / parts_of
    return np.array(answers, dtype=bool).reshape(-1, visits), shares


@dataclass(frozen=True, slots=True)
class AllKinds:
    """The family's kinds, then those that answer in part; slopes towards the family's and the states' values."""

    effect: Floats
    effect_slope: Floats
    log_weight: Floats
    weight_slope: Floats
    answers: NDArray[np.bool_]

    def back(self, to_log_weight: Floats, to_effect: Floats) -> tuple[Floats, Floats]:
        """From slopes towards weights and effects (by kind) to those towards the family's and the states' values."""
        family = self.effect_slope.shape[1]
        by_value = self.weight_slope.T @ to_log_weight
        return by_value[:family] + self.effect_slope.T @ to_effect, by_value[family:]


def all_kinds(problem: Problem, values: Floats) -> AllKinds:
    """States share the whole with the family by softmax; such tags read like a tag without effect."""
    blocks = problem.structure.blocks
    family, states = problem.structure.family.kinds(values[blocks["family"]]), values[blocks["states"]]
    visits = problem.answers.shape[1]
    kinds, extra, f = len(family.effect), len(problem.answers), family.effect_slope.shape[1]
    odds = np.exp(states)
    whole = 1 + odds.sum()
    share = odds / whole
    with np.errstate(divide="ignore"):
        log_extra = np.log(problem.state_shares @ share) if extra else np.zeros(0)
    weight_slope = np.zeros((kinds + extra, f + len(states)))
    weight_slope[:kinds, :f] = family.weight_slope
    weight_slope[:, f:] -= share
    weight_slope[kinds:, f:] += (problem.state_shares > 0).astype(float)
    effect_slope = np.zeros((kinds + extra, f))
    effect_slope[:kinds] = family.effect_slope
    return AllKinds(
        np.concatenate([family.effect, np.zeros(extra)]),
        effect_slope,
        np.concatenate([family.log_weight - np.log(whole), log_extra]),
        weight_slope,
        np.concatenate([np.ones((kinds, visits), dtype=bool), problem.answers]),
    )
