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
STEP = 1e-5  # of differences
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


@dataclass(frozen=True, slots=True)
class _Told:
    """Sums over histories of the chances of each kind of tag: by cell, by place reached, and over all."""

    by_cell: Floats
    by_reached: Floats
    by_kind: Floats

    @classmethod
    def of(cls, problem: Problem, posterior: Floats) -> _Told:
        return cls(
            np.asarray(problem.used_by @ posterior),
            np.asarray(problem.reached_by @ posterior),
            posterior.sum(axis=0),
        )


def evaluate(problem: Problem, values: Floats, tilt: Floats | None = None) -> Value:
    """``tilt`` (occasion) is the t of the module's idea; hidden crossings and slopes are then those at t."""
    structure, histories = problem.structure, problem.histories
    tilt = np.zeros(len(histories.occasions)) if tilt is None else tilt
    pieces = _pieces(problem, values, tilt)
    by_history, by_kind = _by_history(problem, pieces)
    count = histories.count.astype(float)
    log_likelihood = float(count @ by_history)
    never = 0.0
    if structure.condition is Condition.SEEN:
        unseen = _unseen(pieces)
        log_likelihood -= float(problem.way_count @ np.log1p(-unseen))
        by_history = by_history - np.where(histories.given, 0.0, np.log1p(-unseen)[problem.ahead])
        never = float(problem.way_count @ (unseen / (1 - unseen)))
    slope, to_log_missed = _slope(problem, pieces, _Told.of(problem, by_kind * count[:, None]))
    hidden = to_log_missed.sum(axis=(0, 2)) / (1 + tilt)
    return Value(log_likelihood, slope, hidden, never, by_history, by_kind)


def _unseen(pieces: _Pieces) -> Floats:
    """Chance of never being read, by way."""
    return np.minimum(pieces.ahead[:, 0] @ np.exp(pieces.kinds.log_weight), MOST_UNSEEN)


def bend(problem: Problem, values: Floats, by_kind: Floats) -> Floats:
    """Minus the second derivative of the log-likelihood at ``values``, where ``by_kind`` is that of ``evaluate``.

    With the kinds of tag known it would be the derivative of the slope at fixed chances of the kinds; what these
    chances leave open takes away the scatter of the kinds' slopes (Louis 1982, J R Stat Soc B 44:226-233).  Both by
    differences of exact values, without another pass over the histories for each parameter.
    """
    count = problem.histories.count.astype(float)
    told = _Told.of(problem, by_kind * count[:, None])
    nothing = np.zeros(len(problem.histories.occasions))
    here = _pieces(problem, values, nothing)
    slope, _ = _slope(problem, here, told)
    moved = [_pieces(problem, values + step, nothing) for step in np.eye(len(values)) * STEP]
    known = np.array([slope - _slope(problem, pieces, told)[0] for pieces in moved]) / STEP
    to_cell, to_reached, to_weight = (
        np.stack([of(pieces) - of(here) for pieces in moved], axis=-1) / STEP
        for of in (_log_cells, _log_reached, _log_weights)
    )
    scatter = np.zeros((len(values), len(values)))
    mean = np.zeros((len(count), len(values)))
    for kind, chance in enumerate(by_kind.T):
        slopes = problem.uses @ to_cell[:, kind] + to_reached[problem.reached, kind] + to_weight[kind]
        weighted = chance[:, None] * slopes
        scatter += slopes.T @ (count[:, None] * weighted)
        mean += weighted
    scatter -= mean.T @ (count[:, None] * mean)
    return np.asarray((known + known.T) / 2 - scatter)


def _log_cells(pieces: _Pieces) -> Floats:
    return pieces.chances.log


def _log_reached(pieces: _Pieces) -> Floats:
    return np.log(np.maximum(pieces.ahead, TINY)).reshape(-1, pieces.ahead.shape[2])


def _log_weights(pieces: _Pieces) -> Floats:
    return pieces.kinds.log_weight


def hidden_chances(problem: Problem, values: Floats, occasion: int) -> Floats:
    """By history: the chance that a runner of this record crossed at the occasion unread, as nothing proves.

    Summed over runners, with those never read anywhere, it is ``hidden`` of the occasion.
    """
    pieces = _pieces(problem, values, np.zeros(len(problem.histories.occasions)))
    _, by_kind = _by_history(problem, pieces)
    crossed = np.zeros_like(pieces.ahead)
    chance = pieces.missed[:, occasion] * pieces.ahead[:, occasion + 1]
    for k in range(occasion - 1, -2, -1):  # the last occasion known
        if k >= 0:
            chance = np.where((problem.open_until > k)[:, None], chance * pieces.on[k], 0.0)
        crossed[:, k + 1] = chance
        if k >= 0:
            chance = chance * pieces.missed[:, k]
    share = crossed / np.maximum(pieces.ahead, TINY)
    return np.asarray((by_kind * share.reshape(-1, share.shape[2])[problem.reached]).sum(axis=1))


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
    joint = _log_reached(pieces)[problem.reached]
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
    problem: Problem, pieces: _Pieces, by_reached: Floats, to_never: Floats
) -> tuple[Floats, Floats]:
    """Back through the recursion: slopes towards the logs of ``missed`` (way, occasion, kind) and towards ``on``."""
    missed, ahead, on = pieces.missed, pieces.ahead, pieces.on
    to_ahead = by_reached.reshape(ahead.shape) / np.maximum(ahead, TINY)
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


def _slope(problem: Problem, pieces: _Pieces, told: _Told) -> tuple[Floats, Floats]:
    """Slope of the log-likelihood at these chances of the kinds, and towards the logs of ``missed``."""
    structure, count = problem.structure, problem.histories.count
    blocks = structure.blocks
    to_never = np.zeros(len(pieces.ahead))
    if structure.condition is Condition.SEEN:
        to_never = problem.way_count / (1 - _unseen(pieces))
    to_log_missed, to_on = _backwards(problem, pieces, told.by_reached, to_never)
    to_cell = told.by_cell + problem.unread_by @ to_log_missed.reshape(-1, to_log_missed.shape[2])
    to_line, to_stratum, to_pair, to_effect = pieces.chances.back(to_cell, problem.cells)
    to_going = to_on * pieces.on * pieces.stop + (problem.went_on.T @ count) * pieces.stop
    # A kind's weight matters through the posterior and through the chance of being seen at all.
    weight = np.exp(pieces.kinds.log_weight)
    to_log_weight = told.by_kind + to_never @ pieces.ahead[:, 0] * weight
    slope = np.zeros(structure.size)
    slope[blocks["lines"]] = structure.line_design.T @ to_line
    slope[blocks["strata"]] = structure.stratum_design.T @ to_stratum
    slope[blocks["pairs"]] = structure.pair_design.T @ to_pair
    slope[blocks["segments"]] = structure.segment_design.T @ np.where(structure.sure, 0.0, to_going)
    slope[blocks["family"]], slope[blocks["states"]] = pieces.kinds.back(to_log_weight, to_effect)
    return slope, to_log_missed
