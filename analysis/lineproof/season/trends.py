"""Does an item get worse with use?  A model of its own, with a slope for each item beside the season's effects.

Uses are counted from an item's first event on; its slope is the change of the logit of a miss per use, drawn from a
normal distribution of its kind.  A drift that all items share is not seen here: it is part of the events.  Which
trends count as found is decided on the data's own evidence (the prior taken off again), by the false-discovery rate over
all items (Benjamini & Hochberg 1995, J R Stat Soc B 57:289-300, from memory): sound items do not change at
all, so a normal prior would understate how sure one must be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from lineproof.season.crossed_model import CrossedFit, Factor, Floats, Ints, estimate_crossed
from lineproof.season.design import ITEM_KINDS, to_design, to_factor

Bools = NDArray[np.bool_]

LEAST_USES = 3  # two uses always lie on a line
SUFFIX = " per use"


@dataclass(frozen=True, slots=True)
class ItemTrend:
    """Slope of one item per use; ``chance`` that data without any trend would show one as bad, one-sided.

    ``late``: uses from the middle of its season to its last.  ``column``: of its slope in the fit, ``step`` uses for one
    unit of it.
    """

    item: str
    kind: str
    uses: int
    slope: float
    std_error: float
    chance: float
    found: bool
    late: float
    column: int
    step: float


def to_uses(used: pl.DataFrame, kind: str) -> pl.DataFrame:
    """Number of the use of each cell's item, 1 for its first event; null where the item is not known."""
    days = used.select(kind, "date", "event").drop_nulls(kind).unique().sort(kind, "date", "event")
    numbered = days.with_columns(use=pl.int_range(1, pl.len() + 1).over(kind))
    return used.select(kind, "event").join(
        numbered.select(kind, "event", "use"), on=[kind, "event"], how="left", maintain_order="left"
    )


def _slope_factor(used: pl.DataFrame, kind: str) -> tuple[Factor, Ints, Floats, float]:
    """The factor, uses of each level, mean use of each level, and uses for one unit of slope."""
    factor = to_factor(kind, used[kind])
    use = to_uses(used, kind)["use"].fill_null(0).to_numpy().astype(float)
    known = factor.index >= 0
    cells = np.bincount(factor.index[known], minlength=factor.levels)
    mean = np.bincount(factor.index[known], use[known], factor.levels) / cells
    uses = np.zeros(factor.levels)
    np.maximum.at(uses, factor.index[known], use[known])
    step = max(float(uses.max()) - 1, 1.0)
    scale = np.where(known, (use - mean[factor.index]) / step, 0.0)
    return Factor(kind + SUFFIX, factor.labels, factor.index, scale), uses.astype(np.int64), mean, step


def false_discovery(chances: Floats, share: float) -> Bools:
    """Which of the tests stand when at most ``share`` of those that stand are to be false (Benjamini & Hochberg)."""
    order = np.argsort(chances, kind="stable")
    limit = share * np.arange(1, len(chances) + 1) / max(len(chances), 1)
    passed = np.flatnonzero(chances[order] <= limit)
    stands = np.zeros(len(chances), dtype=bool)
    if len(passed):
        stands[order[: passed[-1] + 1]] = True
    return stands


def own_evidence(mean: Floats, variance: Floats, spread: float) -> tuple[Floats, Floats]:
    """Estimate and standard error that the data alone give: the normal prior of that spread taken off again.

    Infinite standard error where the data say nothing.
    """
    shrunk = np.clip(1 - variance / spread**2, 0.0, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        error = np.where(shrunk > 1e-9, np.sqrt(variance / shrunk), np.inf)
        estimate = np.where(shrunk > 1e-9, mean / shrunk, 0.0)
    return estimate, error


def estimate_trends(
    used: pl.DataFrame, fit: CrossedFit, false_share: float
) -> tuple[list[ItemTrend], CrossedFit | None]:
    """Trends of all items with three or more uses, and the fit that they come from; none where no item has.

    ``used``: rows of ``to_item_cells``.  ``fit``: the model without slopes, to begin at.
    """
    made = {
        kind: _slope_factor(used, kind)
        for kind in ITEM_KINDS
        if kind in fit.span and used[kind].drop_nulls().n_unique() > 1
    }
    kinds = [kind for kind, (_, uses, _, _) in made.items() if (uses >= LEAST_USES).sum() > 1]
    if not kinds:
        return [], None
    design = to_design(used, slopes=tuple(made[kind][0] for kind in kinds))
    found = estimate_crossed(design.cells, fit.spreads)
    rows = []
    for kind in kinds:
        factor, uses, mean_use, step = made[kind]
        effects, covariance = found.of(factor.name)
        estimate, error = own_evidence(effects, np.diag(covariance), found.spreads.factors[factor.name])
        begin = found.span[factor.name].start
        for level in np.flatnonzero(uses >= LEAST_USES):
            chance = (
                float(special.ndtr(-estimate[level] / error[level])) if np.isfinite(error[level]) else 1.0
            )
            rows.append(
                ItemTrend(
                    factor.labels[level],
                    kind,
                    int(uses[level]),
                    float(effects[level]) / step,
                    float(np.sqrt(covariance[level, level])) / step,
                    chance,
                    False,
                    float(uses[level] - mean_use[level]),
                    int(begin + level),
                    step,
                )
            )
    return _mark_found(rows, false_share), found


def _mark_found(rows: list[ItemTrend], false_share: float) -> list[ItemTrend]:
    stands = false_discovery(np.array([row.chance for row in rows]), false_share)
    return [replace(row, found=bool(stand)) for row, stand in zip(rows, stands, strict=True)]
