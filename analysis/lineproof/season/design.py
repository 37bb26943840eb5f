"""From cells of the season to what the item model is fitted to: which cells count, and what stands beside an item.

A line that has slots is counted by its slots, else as a whole (mat and cable not known).  Interruptions of a line
are left out: they are not the work of a mat.  Beside the items stand only conditions that come from outside: role,
kind of point, weather, surface, flow; and as random effects the event, the point, the single place across
the road, and each line on each day.  The hand test and an item's age are consequences of its state; a model that
adjusts for them would excuse bad items.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineproof.season.crossed_model import Cells, Factor
from lineproof.vocabulary import ItemKind

Floats = NDArray[np.float64]

ITEM_KINDS = (ItemKind.MAT.value, ItemKind.CABLE.value, ItemKind.READER.value)
CONDITIONS = ("role", "kind", "weather", "surface")
PLACES = ("event", "point", "place")
NOT_RECORDED = "not recorded"
USUAL_SD = 10.0  # of the intercept's prior: keeps it finite in a season without a miss, and says nothing else
FIXED_SD = 2.5  # of the prior of a condition's effect: a factor of 12 in the odds is as far as one would go


@dataclass(frozen=True, slots=True)
class Design:
    """``used``: the cells that count, one row each, in the order of ``cells``."""

    used: pl.DataFrame
    cells: Cells


def to_item_cells(cells: pl.DataFrame) -> pl.DataFrame:
    """Rows of CELLS that count, with ``place`` and ``line_day``, in the order of the season.

    A line's own row (slot 0) stays only where the line has no slots that day; rows without crossings go.
    """
    slots = cells.filter(pl.col("slot") > 0, pl.col("tried_at_work") > 0)
    whole = cells.filter(pl.col("slot") == 0, pl.col("tried_at_work") > 0)
    alone = whole.join(slots, on=["event", "line"], how="anti")
    place = pl.concat_str("line", pl.col("slot").cast(pl.String), separator=" slot ")
    return (
        pl.concat([slots, alone])
        .with_columns(
            place=pl.when(pl.col("slot") == 0).then(pl.col("line")).otherwise(place),
            line_day=pl.concat_str("event", "line", separator="/"),
        )
        .sort("date", "event", "line", "slot")
    )


def to_factor(name: str, levels: pl.Series, scale: Floats | None = None) -> Factor:
    """Levels in alphabetical order; null has none."""
    words = levels.cast(pl.String)
    labels = tuple(sorted(words.drop_nulls().unique().to_list()))
    numbers = {label: number for number, label in enumerate(labels)}
    index = np.array([-1 if word is None else numbers[word] for word in words.to_list()], dtype=np.int64)
    return Factor(name, labels, index, scale)


def to_conditions(used: pl.DataFrame) -> tuple[Floats, tuple[str, ...]]:
    """Columns of the external conditions beside an intercept; the commonest level of each is the base.

    What was not recorded is a level of its own; so is a flow that is not known.
    """
    columns, names = [np.ones(used.height)], ["usual"]
    for condition in CONDITIONS:
        words = used[condition].cast(pl.String).fill_null(NOT_RECORDED)
        counts = words.value_counts(sort=True).sort(["count", condition], descending=[True, False])
        for level in counts[condition].to_list()[1:]:
            columns.append((words == level).to_numpy().astype(float))
            names.append(f"{condition}: {level}")
    flow = used["flow"].to_numpy().astype(float)
    known = np.isfinite(flow) & (flow > 0)
    if known.any():
        log = np.log2(np.where(known, flow, 1.0))
        columns.append(np.where(known, log - log[known].mean(), 0.0))
        names.append("flow, doubled")
    if known.any() and not known.all():
        columns.append((~known).astype(float))
        names.append("flow: " + NOT_RECORDED)
    return np.column_stack(columns), tuple(names)


def to_design(
    used: pl.DataFrame,
    kinds: tuple[str, ...] = ITEM_KINDS,
    extra: dict[str, Floats] | None = None,
    slopes: tuple[Factor, ...] = (),
) -> Design:
    """``kinds``: of items to give effects; ``extra``: further fixed columns by name; ``slopes``: further factors.

    A factor with one level only cannot be compared with anything and is left out.
    """
    fixed, names = to_conditions(used)
    added = extra or {}
    if added:
        fixed = np.column_stack([fixed, *added.values()])
        names = (*names, *added)
    factors = [to_factor(name, used[name]) for name in (*kinds, *PLACES)]
    kept = tuple(factor for factor in factors if factor.levels > 1)
    precision = np.full(fixed.shape[1], FIXED_SD**-2)
    precision[0] = USUAL_SD**-2
    cells = Cells(
        used["missed_at_work"].to_numpy(),
        used["tried_at_work"].to_numpy(),
        fixed,
        names,
        precision,
        (*kept, *slopes),
        to_factor("line_day", used["line_day"]),
    )
    return Design(used, cells)
