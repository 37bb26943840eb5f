"""The normal equations of the crossed model: what is fitted, and one step of Newton's method.

A design of dummy columns has few nonzeros a row, so the equations are summed over the pairs of nonzeros of each cell;
the nested factor's diagonal block is eliminated before the rest is factorised.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from lineproof.season.cell_likelihood import Curve, scattered_curve

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LOOSE, TIGHT = 1e-3, 1e-8  # gain of the penalised log-likelihood at which Newton's method stops
ROUNDS = 40
LONGEST_STEP = 4.0  # on the logit scale: a likelihood that is nearly flat must not throw the search far out


@dataclass(frozen=True, slots=True)
class Factor:
    """``index``: level of each cell, -1 for none.  ``scale``: what the effect is multiplied by (None: 1)."""

    name: str
    labels: tuple[str, ...]
    index: Ints
    scale: Floats | None = None

    @property
    def levels(self) -> int:
        return len(self.labels)


@dataclass(frozen=True, slots=True)
class Cells:
    """What is fitted.  ``fixed``: (cells, columns), an intercept first; ``precision``: of each column's prior."""

    missed: Floats
    tried: Floats
    fixed: Floats
    fixed_names: tuple[str, ...]
    precision: Floats
    factors: tuple[Factor, ...]
    nested: Factor | None = None


@dataclass(frozen=True, slots=True)
class Spreads:
    """Standard deviations on the logit scale: of each factor, of the nested one, and of single cells."""

    factors: dict[str, float]
    nested: float
    cell: float


@dataclass(frozen=True, slots=True)
class Mode:
    """Effects at the maximum of the penalised likelihood; ``root``: Cholesky factor of their information."""

    effects: Floats
    nested: Floats
    eta: Floats
    objective: float
    root: tuple[Floats, bool]
    block: sparse.csr_matrix
    diagonal: Floats


@dataclass(frozen=True, slots=True)
class _Pairs:
    """Every two nonzero columns of every cell: place in the flat normal equations, cell, product of values."""

    at: Ints
    cell: Ints
    value: Floats


@dataclass(frozen=True, slots=True)
class _Shared:
    """Where each nonzero of the design falls in the block (columns of the design) x (nested levels)."""

    slot: Ints
    cell: Ints
    value: Floats
    columns: Ints
    begins: Ints
    shape: tuple[int, int]

    def fill(self, weight: Floats) -> sparse.csr_matrix:
        data = np.bincount(self.slot, weight[self.cell] * self.value, len(self.columns))
        return sparse.csr_matrix((data, self.columns, self.begins), shape=self.shape)


def _pairs(design: sparse.csr_matrix) -> _Pairs:
    size = design.shape[1]
    counts = np.diff(design.indptr)
    left = np.repeat(np.arange(design.nnz), np.repeat(counts, counts))
    cell = np.repeat(np.arange(design.shape[0]), counts**2)
    first = np.repeat(np.cumsum(counts**2) - counts**2, counts**2)
    right = design.indptr[cell] + (np.arange(len(cell)) - first) % counts[cell]
    value = design.data[left] * design.data[right]
    return _Pairs(design.indices[left].astype(np.int64) * size + design.indices[right], cell, value)


def _shared(design: sparse.csr_matrix, nested: Ints, levels: int) -> _Shared:
    cell = np.repeat(np.arange(design.shape[0]), np.diff(design.indptr))
    flat = design.indices.astype(np.int64) * levels + nested[cell]
    known, slot = np.unique(flat, return_inverse=True)
    begins = np.searchsorted(known, np.arange(design.shape[1] + 1) * levels)
    return _Shared(slot, cell, design.data, known % levels, begins, (design.shape[1], levels))


class NormalEquations:
    """The normal equations of one set of cells; holds what does not change between steps."""

    def __init__(self, cells: Cells) -> None:
        self.cells = cells
        self.p = cells.fixed.shape[1]
        self.span: dict[str, slice] = {}
        blocks = [sparse.csr_matrix(cells.fixed)]
        at = self.p
        for factor in cells.factors:
            blocks.append(_indicators(factor))
            self.span[factor.name] = slice(at, at + factor.levels)
            at += factor.levels
        self.design = sparse.csr_matrix(sparse.hstack(blocks, format="csr"))
        self.transposed = sparse.csr_matrix(self.design.T)
        self.size = at
        self.nested = None if cells.nested is None else cells.nested.index
        self.levels = 0 if cells.nested is None else cells.nested.levels
        self.pairs = _pairs(self.design)
        self.shared = None if self.nested is None else _shared(self.design, self.nested, self.levels)

    def penalty(self, spreads: Spreads) -> Floats:
        diagonal = np.zeros(self.size)
        diagonal[: self.p] = self.cells.precision
        for name, where in self.span.items():
            diagonal[where] = spreads.factors[name] ** -2
        return diagonal

    def curve(self, eta: Floats, spreads: Spreads) -> Curve:
        return scattered_curve(eta, self.cells.missed, self.cells.tried, spreads.cell)

    def eta(self, effects: Floats, nested: Floats) -> Floats:
        eta = np.asarray(self.design @ effects)
        return eta if self.nested is None else eta + nested[self.nested]

    def objective(
        self, curve: Curve, effects: Floats, nested: Floats, penalty: Floats, spreads: Spreads
    ) -> float:
        own = float(nested @ nested) / spreads.nested**2 if self.levels else 0.0
        return float(curve.value.sum()) - 0.5 * (float(penalty @ effects**2) + own)

    def equations(
        self, weight: Floats, penalty: Floats, spreads: Spreads
    ) -> tuple[tuple[Floats, bool], sparse.csr_matrix, Floats]:
        pairs = self.pairs
        flat = np.bincount(pairs.at, weight[pairs.cell] * pairs.value, self.size**2)
        full: Floats = np.asarray(flat, dtype=np.float64).reshape(self.size, self.size)
        full[np.diag_indices(self.size)] += penalty
        if self.shared is None or self.nested is None:
            empty = sparse.csr_matrix((self.size, 0))
            return linalg.cho_factor(full, lower=True, check_finite=False), empty, np.zeros(0)
        block = self.shared.fill(weight)
        sums = np.bincount(self.nested, weight, self.levels)
        diagonal: Floats = (sums + spreads.nested**-2).astype(np.float64)
        half = block.multiply(diagonal[None, :] ** -0.5).tocsr()
        full -= (half @ half.T).toarray()
        return linalg.cho_factor(full, lower=True, check_finite=False), block, diagonal

    def find_mode(self, spreads: Spreads, effects: Floats, nested: Floats, gain: float = LOOSE) -> Mode:
        """Newton's method with halved steps; starts at the given effects."""
        penalty = self.penalty(spreads)
        eta = self.eta(effects, nested)
        curve = self.curve(eta, spreads)
        value = self.objective(curve, effects, nested, penalty, spreads)
        for _ in range(ROUNDS):
            root, block, diagonal = self.equations(curve.weight, penalty, spreads)
            step, own_step = self.step(curve, effects, nested, penalty, spreads, root, block, diagonal)
            found = None
            longest = max(float(np.abs(step).max()), float(np.abs(own_step).max(initial=0.0)))
            for halving in range(30):
                part = min(1.0, LONGEST_STEP / max(longest, 1e-300)) * 0.5**halving
                new, own = effects + part * step, nested + part * own_step
                new_eta = self.eta(new, own)
                new_curve = self.curve(new_eta, spreads)
                new_value = self.objective(new_curve, new, own, penalty, spreads)
                if new_value >= value - 1e-10:
                    found = (new, own, new_eta, new_curve, new_value)
                    break
            if found is None:
                break
            last, (effects, nested, eta, curve, value) = value, found
            if value - last < gain:
                break
        return Mode(effects, nested, eta, value, root, block, diagonal)

    def step(
        self,
        curve: Curve,
        effects: Floats,
        nested: Floats,
        penalty: Floats,
        spreads: Spreads,
        root: tuple[Floats, bool],
        block: sparse.csr_matrix,
        diagonal: Floats,
    ) -> tuple[Floats, Floats]:
        slope = np.asarray(self.transposed @ curve.slope) - penalty * effects
        if self.nested is None:
            return linalg.cho_solve(root, slope, check_finite=False), nested
        own = np.bincount(self.nested, curve.slope, self.levels) - nested / spreads.nested**2
        step = linalg.cho_solve(root, slope - block @ (own / diagonal), check_finite=False)
        return step, (own - block.T @ step) / diagonal

    def marginal(self, mode: Mode, spreads: Spreads) -> float:
        """Log-likelihood with fixed and random effects integrated out, by Laplace's method."""
        logs = 2 * float(np.log(np.diag(mode.root[0])).sum()) + float(np.log(mode.diagonal).sum())
        sizes = sum(
            (where.stop - where.start) * np.log(spreads.factors[name]) for name, where in self.span.items()
        )
        own = self.levels * np.log(spreads.nested) if self.levels else 0.0
        return mode.objective - 0.5 * logs - float(sizes) - own


def _indicators(factor: Factor) -> sparse.csr_matrix:
    rows = np.flatnonzero(factor.index >= 0)
    values = np.ones(len(rows)) if factor.scale is None else factor.scale[rows]
    shape = (len(factor.index), factor.levels)
    return sparse.csr_matrix((values, (rows, factor.index[rows])), shape=shape)
