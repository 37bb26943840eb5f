"""Maximum likelihood (or, with leanings, the mode) by its exact slope, and the observed information.

Newton steps with the information, taken once by differences of the exact slope and corrected by what each step
shows of it; a quasi-Newton search where these lose themselves.  All costs go by passes over the distinct
histories, not by runners.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, optimize

from lineproof.detection.course_model.likelihood import Value, bend, evaluate
from lineproof.detection.course_model.outcomes import MISSED, READ_BY_EITHER, SILENT
from lineproof.detection.course_model.problem import Problem

Floats = NDArray[np.float64]

BOUND = 25.0  # of every value; a logit so far out is 0 or 1
NEWTON_STEPS = 30
HALVINGS = 8
MUCH = 1.5  # times less left to gain after a step; else the information is taken anew
LONGEST = 3.0  # of one step in any value
SETTLED = 1e-9  # gain that a step still promises
SKIPPED = 1e-8  # a correction along less than this of its length would be noise


@dataclass(frozen=True, slots=True)
class Fit:
    """``covariance`` from the observed information; entries of parameters that the data say nothing of are NaN.

    ``rank`` of the information; ``objective`` is the log-likelihood less the leaning.
    """

    problem: Problem
    values: Floats
    value: Value
    objective: float
    information: Floats
    covariance: Floats
    rank: int
    settled: bool

    @property
    def log_likelihood(self) -> float:
        return self.value.log_likelihood

    @property
    def aic(self) -> float:
        return 2 * self.problem.structure.size - 2 * self.log_likelihood

    def std_error(self) -> Floats:
        return np.sqrt(np.diag(self.covariance))


def objective(problem: Problem, values: Floats, tilt: Floats | None = None) -> tuple[float, Floats, Value]:
    """Log-likelihood less the leaning, its slope, and the value it comes from."""
    value = evaluate(problem, values, tilt)
    mean, precision = problem.structure.leaning
    pull = precision @ (values - mean)
    return value.log_likelihood - 0.5 * float(pull @ (values - mean)), value.slope - pull, value


def fit(problem: Problem, begin: Floats | None = None) -> Fit:
    """From ``begin``, or from rough rates; ``settled`` tells whether the search came to rest."""
    start = rough_values(problem) if begin is None else begin
    values, settled = _climb(problem, start)
    if not settled:
        values, settled = _climb(problem, _search(problem, values))
    score, _, value = objective(problem, values)
    matrix = information(problem, values, value)
    covariance, rank = invert(matrix)
    return Fit(problem, values, value, score, matrix, covariance, rank, settled)


def _climb(problem: Problem, values: Floats) -> tuple[Floats, bool]:
    """Newton steps, shortened until they gain; where the surface bends the wrong way, uphill all the same.

    The information costs as much as many steps: it is kept, and corrected by each step, as long as that brings the
    end nearer.
    """
    score, slope, value = objective(problem, values)
    matrix = information(problem, values, value)
    before = np.inf
    for _ in range(NEWTON_STEPS):
        step = _uphill(matrix, slope)
        promised = float(slope @ step)
        if promised > before / MUCH:
            matrix = information(problem, values, value)
            step = _uphill(matrix, slope)
            promised = float(slope @ step)
        if promised < SETTLED:
            return np.clip(values + step, -BOUND, BOUND), True
        before = promised
        for _ in range(HALVINGS):
            trial = np.clip(values + step, -BOUND, BOUND)
            new_score, new_slope, new_value = objective(problem, trial)
            if new_score > score:
                break
            step = step / 3
        else:
            return values, promised < 1e-4
        matrix = secant(matrix, trial - values, slope - new_slope)
        values, score, slope, value = trial, new_score, new_slope, new_value
    return values, False


def _uphill(matrix: Floats, slope: Floats) -> Floats:
    scale = np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-8))
    sizes, vectors = linalg.eigh(matrix / np.outer(scale, scale))
    firm = np.abs(sizes) > 1e-7 * np.abs(sizes).max()
    along = vectors[:, firm].T @ (slope / scale) / np.abs(sizes[firm])
    step = vectors[:, firm] @ along / scale
    return np.asarray(step * min(1.0, LONGEST / max(float(np.abs(step).max()), 1e-12)))


def _search(problem: Problem, start: Floats) -> Floats:
    """A slower way, for surfaces on which Newton steps lose themselves."""

    def negative(values: Floats) -> tuple[float, Floats]:
        score, slope, _ = objective(problem, values)
        return -score, -slope

    found = optimize.minimize(
        negative, start, jac=True, method="L-BFGS-B", bounds=[(-BOUND, BOUND)] * len(start),
        options={"maxiter": 1000, "ftol": 1e-13, "gtol": 1e-6, "maxcor": 30},
    )  # fmt: skip
    return np.asarray(found.x)


def rough_values(problem: Problem) -> Floats:
    """Where to begin: shares read among those known to have come by, and shares that went on."""
    structure, histories = problem.structure, problem.histories
    values = structure.begin()
    place = np.arange(len(histories.occasions))
    came = (place > histories.entry[:, None]) & (place <= histories.known[:, None])
    count = histories.count[:, None]
    told, missed = [], []
    for k, occasion in enumerate(histories.occasions):
        for said in ((histories.outcome // 3)[:, k], (histories.outcome % 3)[:, k])[: len(occasion.lines)]:
            plain = came[:, k] & (histories.outcome[:, k] != READ_BY_EITHER) & (said != SILENT)
            told.append(float(histories.count[plain].sum()))
            missed.append(float(histories.count[plain & (said == MISSED)].sum()))
    at_risk = (count * (came[:, :-1] | (histories.entry[:, None] == place[:-1]))).sum(axis=0)
    went_on = problem.went_on.T @ histories.count
    for block, design, of, left in (
        ("lines", structure.line_design, np.array(told), np.array(missed)),
        ("segments", structure.segment_design, at_risk, at_risk - went_on),
    ):
        logit = np.log((of - left + 0.5) / (left + 0.5))
        values[structure.blocks[block]] = np.linalg.lstsq(design, logit, rcond=None)[0]
    return values


def information(problem: Problem, values: Floats, value: Value) -> Floats:
    """Minus the second derivative of the objective; ``value`` is that at ``values``."""
    return bend(problem, values, value.by_kind) + problem.structure.leaning[1]


def secant(matrix: Floats, step: Floats, change: Floats) -> Floats:
    """``matrix`` corrected by rank one, so that it takes ``step`` to the ``change`` that the step has shown.

    Source: symmetric rank-one update, Nocedal & Wright, Numerical Optimization, 2nd ed. 2006, section 6.2.
    """
    lack = change - matrix @ step
    along = float(lack @ step)
    if abs(along) < SKIPPED * float(np.linalg.norm(lack) * np.linalg.norm(step)):
        return matrix
    return np.asarray(matrix + np.outer(lack, lack) / along)


def invert(matrix: Floats) -> tuple[Floats, int]:
    """Covariance and rank; directions without information have none, and NaN marks the parameters in them."""
    if not len(matrix):
        return matrix, 0
    scale = np.sqrt(np.maximum(np.diag(matrix), 1e-12))
    values, vectors = linalg.eigh(matrix / np.outer(scale, scale))
    sound = values > 1e-6 * values.max()
    kept = vectors[:, sound]
    covariance = (kept / values[sound]) @ kept.T / np.outer(scale, scale)
    lost = (vectors[:, ~sound] ** 2).sum(axis=1) > 1e-4
    covariance[lost, :] = covariance[:, lost] = np.nan
    return covariance, int(sound.sum())
