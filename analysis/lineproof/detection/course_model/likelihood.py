"""The likelihood of all histories under one model, its slope, and the crossings that it takes to be hidden.

For one kind of tag the chance of a history is the product of the outcomes as far as the runner is known to
have come, the chances of having gone on so far, and the chance of not being read after that: stopped, or
missed at every later visit (a recursion from the finish backwards).  Kinds of tag are summed over.  Given
that a runner was seen at all, the whole is divided by the chance of that.

Multiply the chance of a hidden miss at visit k by 1 + t: the slope of the log-likelihood in t at 0 is the
expected number of hidden crossings there, and it comes with the slope of everything else.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from lineproof.detection.course_model.cells import Chances, outcome_chances
from lineproof.detection.course_model.problem import AllKinds, Problem, all_kinds
from lineproof.detection.course_model.structure import Condition

Floats = NDArray[np.float64]

TINY = 1e-300  # of a chance, so that its logarithm stays finite
MOST_UNSEEN = 1 - 1e-9  # chance of never being read; the likelihood given that one was stays finite


@dataclass(frozen=True, slots=True)
class Value:
    """``log_likelihood`` (without the multinomial constant), its ``slope``, and ``hidden`` per occasion.

    ``by_kind`` (history, kind): chance that a tag with this history is of the kind.
    ``never`` is the expected number of runners never read anywhere.
    """

    log_likelihood: float
    slope: Floats
    hidden: Floats
    never: float
    by_history: Floats
    by_kind: Floats


@dataclass(frozen=True, slots=True)
class _Pieces:
    """What the values amount to: per kind of tag, per segment, and per way of crossing unread."""

    kinds: AllKinds
    chances: Chances
    on: Floats
    stop: Floats
    log_on: Floats
    missed: Floats
    ahead: Floats


def evaluate(problem: Problem, values: Floats, tilt: Floats | None = None) -> Value:
    """``tilt`` (occasion) is the t of the module's idea; hidden crossings and slopes are then those at t."""
    structure, histories = problem.structure, problem.histories
    tilt = np.zeros(len(histories.occasions)) if tilt is None else tilt
    pieces = _pieces(problem, values, tilt)
    by_history, by_kind = _by_history(problem, pieces)
    count = histories.count.astype(float)
    posterior = by_kind * count[:, None]
    log_likelihood = float(count @ by_history)
    to_never = np.zeros(len(pieces.ahead))
    never = 0.0
    if structure.condition is Condition.SEEN:
        unseen = np.minimum(pieces.ahead[:, 0] @ np.exp(pieces.kinds.log_weight), MOST_UNSEEN)
        log_likelihood -= float(problem.way_count @ np.log1p(-unseen))
        by_history = by_history - np.where(histories.given, 0.0, np.log1p(-unseen)[problem.ahead])
        to_never = problem.way_count / (1 - unseen)
        never = float(to_never @ unseen)
    to_log_missed, to_on = _backwards(problem, pieces, posterior, to_never)
    slope = _slope(problem, pieces, posterior, to_never, to_log_missed, to_on)
    hidden = to_log_missed.sum(axis=(0, 2)) / (1 + tilt)
    return Value(log_likelihood, slope, hidden, never, by_history, by_kind)


def _pieces(problem: Problem, values: Floats, tilt: Floats) -> _Pieces:
    structure = problem.structure
    blocks = structure.blocks
    kinds = all_kinds(problem, values)
    chances = outcome_chances(problem.cells, *structure.logits(values), kinds.effect, kinds.answers)
    going = structure.segment_design @ values[blocks["segments"]]
    on = np.where(structure.sure, 1.0, special.expit(going))
    stop = np.where(structure.sure, 0.0, special.expit(-going))
    log_on = np.where(structure.sure, 0.0, special.log_expit(going))
    missed = np.exp(chances.log[problem.unread_cell]) * (1 + tilt)[:, None]  # way, occasion, kind
    return _Pieces(kinds, chances, on, stop, log_on, missed, _unread_ahead(problem, missed, on, stop))


def _by_history(problem: Problem, pieces: _Pieces) -> tuple[Floats, Floats]:
    """Log chance of each history, and the chance of each kind of tag given the history."""
    flat = pieces.ahead.reshape(-1, pieces.ahead.shape[2])
    joint = np.log(np.maximum(flat, TINY))[problem.reached]
    joint += problem.uses @ pieces.chances.log
    joint += pieces.kinds.log_weight
    top = joint.max(axis=1, keepdims=True)
    joint -= top
    by_kind = np.exp(joint, out=joint)
    total = by_kind.sum(axis=1, keepdims=True)
    by_kind /= total
    return top[:, 0] + np.log(total[:, 0]) + problem.went_on @ pieces.log_on, by_kind


def _unread_ahead(problem: Problem, missed: Floats, on: Floats, stop: Floats) -> Floats:
    """(way, 1 + occasion, kind): chance of not being read after each occasion, the first for all of the course.

    1 where the record ends.
    """
    ways, visits, kinds = missed.shape
    ahead = np.ones((ways, visits + 1, kinds))
    for k in range(visits - 2, -1, -1):
        goes_on = stop[k] + on[k] * missed[:, k + 1] * ahead[:, k + 2]
        ahead[:, k + 1] = np.where((problem.open_until > k)[:, None], goes_on, 1.0)
    ahead[:, 0] = missed[:, 0] * ahead[:, 1]
    return ahead


def _backwards(
    problem: Problem, pieces: _Pieces, posterior: Floats, to_never: Floats
) -> tuple[Floats, Floats]:
    """Back through the recursion: slopes towards the logs of ``missed`` (way, occasion, kind) and towards ``on``."""
    missed, ahead, on = pieces.missed, pieces.ahead, pieces.on
    flat = ahead.reshape(-1, ahead.shape[2])
    to_ahead = np.asarray(problem.reached_by @ posterior) / np.maximum(flat, TINY)
    to_ahead = to_ahead.reshape(ahead.shape)
    to_ahead[:, 0] += to_never[:, None] * np.exp(pieces.kinds.log_weight)
    visits = missed.shape[1]
    to_log_missed = np.empty_like(missed)
    to_on = np.zeros(visits - 1)
    for k in range(-1, visits - 1):
        flow = to_ahead[:, k + 1]
        unread = missed[:, k + 1] * ahead[:, k + 2]
        if k >= 0:
            flow = np.where((problem.open_until > k)[:, None], flow, 0.0)
            to_on[k] = float((flow * (unread - 1)).sum())
            flow = flow * on[k]
        to_log_missed[:, k + 1] = flow * unread
        to_ahead[:, k + 2] += flow * missed[:, k + 1]
    return to_log_missed, to_on


def _slope(
    problem: Problem,
    pieces: _Pieces,
    posterior: Floats,
    to_never: Floats,
    to_log_missed: Floats,
    to_on: Floats,
) -> Floats:
    structure, count = problem.structure, problem.histories.count
    blocks = structure.blocks
    to_cell = np.asarray(problem.used_by @ posterior)
    to_cell += problem.unread_by @ to_log_missed.reshape(-1, to_log_missed.shape[2])
    to_line, to_stratum, to_pair, to_effect = pieces.chances.back(to_cell, problem.cells)
    to_going = to_on * pieces.on * pieces.stop + (problem.went_on.T @ count) * pieces.stop
    # A kind's weight matters through the posterior and through the chance of being seen at all.
    weight = np.exp(pieces.kinds.log_weight)
    to_log_weight = posterior.sum(axis=0) + to_never @ pieces.ahead[:, 0] * weight
    slope = np.zeros(structure.size)
    slope[blocks["lines"]] = structure.line_design.T @ to_line
    slope[blocks["strata"]] = structure.stratum_design.T @ to_stratum
    slope[blocks["pairs"]] = structure.pair_design.T @ to_pair
    slope[blocks["segments"]] = structure.segment_design.T @ np.where(structure.sure, 0.0, to_going)
    slope[blocks["family"]], slope[blocks["states"]] = pieces.kinds.back(to_log_weight, to_effect)
    return slope
