"""A logistic model with crossed random effects, fitted by Laplace's method with sparse normal equations.

Cells i have misses y_i of n_i and expected logit

    eta_i = x_i b + sum over factors f of s_fi u_f[level of i]     u_f[l] ~ Normal(0, spread_f^2)

with a beta-binomial count around it (``cell_likelihood.py``).  Given the spreads, b and u maximise the penalised
likelihood (Newton's method).  The spreads maximise the likelihood with b and u integrated out by Laplace's
method, times a prior spread * exp(-spread) that keeps them off 0, where every item would look alike (Chung,
Rabe-Hesketh, Dorie, Gelman & Liu 2013, Psychometrika 78:685-709, from memory).  The search uses the scores of the EM
algorithm and the information of the linear mixed model at the working weights (Breslow & Clayton 1993, J Am Stat
Assoc 88:9-25, from memory).

One factor may be ``nested``: each cell has one level of it and its effects enter nothing else.  Its block of
the normal equations is diagonal and is eliminated, so thousands of levels cost little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from lineproof.season.normal_equations import (
    ROUNDS,
    TIGHT,
    Cells,
    Factor,
    Floats,
    Ints,
    Mode,
    NormalEquations,
    Spreads,
)

__all__ = [
    "Cells",
    "CrossedFit",
    "Factor",
    "Floats",
    "GivenSpreads",
    "Ints",
    "Spreads",
    "clustered_error",
    "estimate_crossed",
    "estimate_given_spreads",
]

SETTLED = 0.02  # change of a log spread at which the search stops: far below its standard error
SMALLEST, LARGEST = 0.02, 5.0  # spreads on the logit scale
START = 0.3


@dataclass(frozen=True, slots=True)
class CrossedFit:
    """``effects``: fixed, then the factors in order; ``covariance``: theirs, the nested effects integrated out.

    ``span``: where each factor's levels stand in ``effects``.  ``settled``: the search for the spreads came to rest.
    """

    effects: Floats
    covariance: Floats
    span: dict[str, slice]
    spreads: Spreads
    eta: Floats
    nested: Floats
    log_likelihood: float
    rounds: int
    settled: bool

    def of(self, name: str) -> tuple[Floats, Floats]:
        """Effects of one factor and their covariance."""
        where = self.span[name]
        return self.effects[where], self.covariance[where, where]


def _prior(spread: float) -> float:
    """Log of the prior of a spread, Gamma(2, 1), on the scale of its log (for the search only)."""
    return float(np.log(spread) - spread)


def _scores(search: NormalEquations, mode: Mode, spreads: Spreads) -> tuple[list[str], Floats, Floats]:
    """Names, score and information of the logs of the spreads (single cells left out)."""
    inverse = linalg.cho_solve(mode.root, np.eye(search.size), check_finite=False)
    names = list(search.span)
    score, info = np.zeros(len(names)), np.zeros((len(names), len(names)))
    for i, name in enumerate(names):
        mine, s2 = search.span[name], spreads.factors[name] ** 2
        levels = mine.stop - mine.start
        trace = float(np.trace(inverse[mine, mine]))
        score[i] = (float((mode.effects[mine] ** 2).sum()) + trace) / s2 - levels + 1 - spreads.factors[name]
        for j, other in enumerate(names):
            theirs, o2 = search.span[other], spreads.factors[other] ** 2
            info[i, j] = 2 * float((inverse[mine, theirs] ** 2).sum()) / (s2 * o2)
        info[i, i] += 2 * levels - 4 * trace / s2 + spreads.factors[name]
    if not search.levels:
        return names, score, info
    variance, s2 = _nested_variance(mode, inverse), spreads.nested**2
    own = (float((mode.nested**2).sum()) + float(variance.sum())) / s2 - search.levels + 1 - spreads.nested
    seen = 2 * float(((1 - variance / s2) ** 2).sum()) + spreads.nested
    size = len(names)
    wide = np.zeros((size + 1, size + 1))
    wide[:size, :size], wide[size, size] = info, seen
    return [*names, "nested"], np.append(score, own), wide


def _nested_variance(mode: Mode, inverse: Floats) -> Floats:
    back = mode.block.multiply(1 / mode.diagonal[None, :]).tocsc()
    return np.asarray(1 / mode.diagonal + back.multiply(inverse @ back).sum(axis=0)).reshape(-1)


def _moved(spreads: Spreads, names: Sequence[str], change: Floats) -> Spreads:
    def moved(value: float, by: float) -> float:
        return float(np.clip(value * np.exp(by), SMALLEST, LARGEST))

    changes = dict(zip(names, change, strict=True))
    factors = {name: moved(value, changes[name]) for name, value in spreads.factors.items()}
    return Spreads(factors, moved(spreads.nested, changes.get("nested", 0.0)), spreads.cell)


def _cell_step(search: NormalEquations, mode: Mode, spreads: Spreads, width: float) -> tuple[Spreads, float]:
    """One step on the log of the cells' own spread, by a parabola through three marginal likelihoods.

    The effects are held, as in the scores of the other spreads: at their mode the likelihood is level in them.
    """

    def value(by: float) -> float:
        trial = Spreads(spreads.factors, spreads.nested, spreads.cell * float(np.exp(by)))
        curve = search.curve(mode.eta, trial)
        penalty = search.penalty(trial)
        root, block, diagonal = search.equations(curve.weight, penalty, trial)
        objective = search.objective(curve, mode.effects, mode.nested, penalty, trial)
        held = Mode(mode.effects, mode.nested, mode.eta, objective, root, block, diagonal)
        return search.marginal(held, trial) + _prior(trial.cell)

    middle = search.marginal(mode, spreads) + _prior(spreads.cell)
    low, high = value(-width), value(width)
    bend = low - 2 * middle + high
    if bend < 0:
        by = float(np.clip(0.5 * width * (low - high) / bend, -1.0, 1.0))
    else:
        by = 1.0 if high > low else -1.0
    cell = float(np.clip(spreads.cell * np.exp(by), SMALLEST, LARGEST))
    return Spreads(spreads.factors, spreads.nested, cell), abs(float(np.log(cell / spreads.cell)))


def estimate_crossed(cells: Cells, start: Spreads | None = None) -> CrossedFit:
    """Fit the model of the module.  ``start``: spreads to begin the search at.

    Raises ``ValueError`` where a cell was never tried or missed more than tried.
    """
    if (
        np.any(cells.tried <= 0)
        or np.any(cells.missed < 0)
        or np.any(cells.missed > cells.tried * (1 + 1e-9))
    ):
        raise ValueError("each cell needs crossings tried, and misses between none and all of them")
    search = NormalEquations(cells)
    known = {} if start is None else start.factors
    spreads = Spreads(
        {factor.name: known.get(factor.name, START) for factor in cells.factors},
        START if start is None else start.nested,
        START if start is None else start.cell,
    )
    effects, nested = np.zeros(search.size), np.zeros(search.levels)
    share = (cells.missed.sum() + 0.5) / (cells.tried.sum() + 1)
    effects[0] = np.log(share / (1 - share))
    mode = search.find_mode(spreads, effects, nested)
    width, settled, rounds = 0.5, False, 0
    for rounds in range(1, ROUNDS + 1):  # noqa: B007
        names, score, info = _scores(search, mode, spreads)
        change = np.clip(linalg.solve(info, score, assume_a="pos"), -1.5, 1.5)
        spreads = _moved(spreads, names, change)
        mode = search.find_mode(spreads, mode.effects, mode.nested)
        moved = float(np.abs(change[_free(spreads, names, change)]).max(initial=0.0))
        if moved < 0.3:
            spreads, cell_moved = _cell_step(search, mode, spreads, width)
            width = 0.3
            mode = search.find_mode(spreads, mode.effects, mode.nested)
            moved = max(moved, cell_moved)
        if moved < SETTLED:
            settled = True
            break
    mode = search.find_mode(spreads, mode.effects, mode.nested, TIGHT)
    covariance = linalg.cho_solve(mode.root, np.eye(search.size), check_finite=False)
    return CrossedFit(
        mode.effects,
        covariance,
        search.span,
        spreads,
        mode.eta,
        mode.nested,
        search.marginal(mode, spreads),
        rounds,
        settled,
    )


@dataclass(frozen=True, slots=True)
class GivenSpreads:
    """Fixed effects with their standard errors, and the integrated log-likelihood, at spreads that were given."""

    fixed: Floats
    std_error: Floats
    log_likelihood: float


def estimate_given_spreads(cells: Cells, spreads: Spreads) -> GivenSpreads:
    """The model at known spreads: quick, for comparing sets of fixed columns."""
    search = NormalEquations(cells)
    effects = np.zeros(search.size)
    share = (cells.missed.sum() + 0.5) / (cells.tried.sum() + 1)
    effects[0] = np.log(share / (1 - share))
    mode = search.find_mode(spreads, effects, np.zeros(search.levels), TIGHT)
    wanted = np.eye(search.size)[:, : search.p]
    covariance = linalg.cho_solve(mode.root, wanted, check_finite=False)[: search.p]
    return GivenSpreads(
        mode.effects[: search.p], np.sqrt(np.diag(covariance)), search.marginal(mode, spreads)
    )


def clustered_error(cells: Cells, fit: CrossedFit, column: int, cluster: Ints) -> float:
    """Standard error of one fixed effect when cells of a cluster share causes that the model leaves out.

    Sandwich over the clusters' scores, with the factor G / (G - 1) (Liang & Zeger 1986, Biometrika 73:13-22, from
    memory).  ``cluster``: 0 to G - 1 for each cell.
    """
    search = NormalEquations(cells)
    mode = search.find_mode(fit.spreads, fit.effects, fit.nested, TIGHT)
    slope = search.curve(mode.eta, fit.spreads).slope
    groups = int(cluster.max()) + 1
    member = sparse.csr_matrix((slope, (np.arange(len(slope)), cluster)), shape=(len(slope), groups))
    scores = (search.transposed @ member).toarray()
    if search.nested is not None:
        own = sparse.csr_matrix((slope, (search.nested, cluster)), shape=(search.levels, groups)).multiply(
            1 / mode.diagonal[:, None]
        )
        scores = scores - (mode.block @ own.tocsr()).toarray()
    unit = np.zeros(search.size)
    unit[column] = 1.0
    influence = linalg.cho_solve(mode.root, unit, check_finite=False) @ scores
    return float(np.sqrt(groups / max(groups - 1, 1) * (influence**2).sum()))


def _free(spreads: Spreads, names: Sequence[str], change: Floats) -> NDArray[np.bool_]:
    """Spreads that did not run into a bound."""
    values = np.array([spreads.factors.get(name, spreads.nested) for name in names])
    return ~(((values <= SMALLEST) & (change < 0)) | ((values >= LARGEST) & (change > 0)))
