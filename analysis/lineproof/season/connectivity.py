"""Which items can be told apart, and from what: asked of the plan of the season before any number is made.

An item that never left its place, and whose place never had another, cannot be separated from it, however many
runners cross; nor can two items that always lay together.  Beyond that, two items of a kind can be compared if the
difference of their effects is estimable from who lay where, with the events, the points and the places that came back
unknown too: a vector c is estimable if it is orthogonal to the null space of the design (C. R. Rao, Linear
Statistical Inference, 1973, section 4a, from memory).  Items that can be compared with one another form an island.

A place that was used at one event only is not among the unknowns: what it did that day is scatter, and an item that
lay at several such places is judged by their mean.  The items of the other kinds are not among them either:
they are taken as drawn from their kind, and what they share with an item widens its interval in the model.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import linalg

from lineproof.season.design import ITEM_KINDS, to_factor
from lineproof.season_result_tables import SWAPS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

EPSILON = 1e-6
PLACES = ("event", "place")  # a point is the sum of its places and adds nothing
NAMED = 3  # partners named in a sentence before "and n more"
LEAST_ISLAND = 3  # fewer items than this have no middle to be compared with


@dataclass(frozen=True, slots=True)
class Standing:
    """How one item stands to the rest.

    ``island``: items of its kind that it can be compared with, itself included.  ``bound_items`` and ``bound_places``:
    what it cannot be told apart from (empty where the island is large enough).  ``swap``: what would
    separate them, else None.
    """

    item: str
    kind: str
    island: tuple[str, ...]
    bound_items: tuple[str, ...]
    bound_places: tuple[str, ...]
    swap: str | None

    @property
    def bound(self) -> bool:
        return bool(self.bound_items or self.bound_places)

    @property
    def bound_to(self) -> str | None:
        """Items and places in words, the first few named."""
        parts = [*self.bound_items, *self.bound_places]
        more = f" and {len(parts) - NAMED} more" if len(parts) > NAMED else ""
        return ", ".join(parts[:NAMED]) + more if parts else None


@dataclass(frozen=True, slots=True)
class _Columns:
    """Labels of the design's columns and the projector onto its null space."""

    names: list[str]
    labels: list[str]
    where: dict[str, slice]
    null: Floats


def _columns(used: pl.DataFrame, kind: str) -> _Columns:
    """One kind of item, the events, and the places that came back at another event."""
    blocks: list[Floats] = []
    labels: list[str] = []
    names: list[str] = []
    where: dict[str, slice] = {}
    at = 0
    for name in (kind, *PLACES):
        back = pl.col("event").n_unique().over(name) > 1 if name == "place" else pl.lit(True)
        factor = to_factor(name, used.select(pl.when(back).then(pl.col(name)).alias(name))[name])
        block = np.zeros((used.height, factor.levels))
        rows = np.flatnonzero(factor.index >= 0)
        block[rows, factor.index[rows]] = 1.0
        blocks.append(block)
        labels += factor.labels
        names += [name] * factor.levels
        where[name] = slice(at, at + factor.levels)
        at += factor.levels
    design = np.hstack(blocks)
    values, vectors = linalg.eigh(design.T @ design)
    empty = vectors[:, values < EPSILON * max(float(values[-1]), 1.0)]
    return _Columns(names, labels, where, empty @ empty.T)


def _islands(columns: _Columns, kind: str) -> list[Ints]:
    """Items of one kind whose differences are estimable: their rows of the projector are equal."""
    block = columns.null[columns.where[kind]]
    left, found = list(range(len(block))), []
    while left:
        near = np.abs(block[left] - block[left[0]]).max(axis=1) < EPSILON
        found.append(np.array(left)[near])
        left = [item for item, taken in zip(left, near, strict=True) if not taken]
    return found


def _partners(columns: _Columns, kind: str, island: Ints) -> tuple[str, ...]:
    """Places that move together with the island's effect without changing any cell."""
    where = columns.where[kind]
    contrast = np.zeros(len(columns.labels))
    contrast[where] = -1.0 / (where.stop - where.start)
    contrast[where.start + island] += 1.0 / len(island)
    moved = columns.null @ contrast
    found = []
    for name, span in columns.where.items():
        if name in ("event", kind) or span.stop == span.start:
            continue
        part = moved[span] - np.median(moved[span])
        labels = (columns.labels[span.start + at] for at in np.flatnonzero(np.abs(part) > EPSILON))
        found += [label if name == "place" else f"{name} {label}" for label in labels]
    return tuple(found)


def _always_with(used: pl.DataFrame, kind: str, factor: str) -> dict[str, str]:
    """By item, the one level of another factor that lay in exactly the same cells."""
    cells = used.with_row_index("cell")
    mine, theirs = (
        cells.filter(pl.col(name).is_not_null())
        .group_by(pl.col(name).cast(pl.String))
        .agg(pl.col("cell").sort().cast(pl.String).str.join(" ").alias("cells"))
        for name in (kind, factor)
    )
    return dict(mine.join(theirs, on="cells", validate="1:1").select(kind, factor).sort(kind).iter_rows())


def _swap(item: str, kind: str, other: str | None, items: tuple[str, ...], places: tuple[str, ...]) -> str:
    if other is None:
        return f"lay another {kind} where {item} lies, for one event"
    if items and not places:
        return f"exchange {item} with {other} for one event, and leave {items[0]} where it is"
    return f"exchange {item} and {other} for one event, each to the other's place"


def _others(used: pl.DataFrame, kind: str) -> list[str]:
    """Items of a kind, the one that lay at most places first: the best to exchange with."""
    ranked = (
        used.filter(pl.col(kind).is_not_null())
        .group_by(kind)
        .agg(pl.col("place").n_unique().alias("places"), pl.len().alias("cells"))
        .sort(["places", "cells", kind], descending=[True, True, False])
    )
    return [str(item) for item in ranked[kind].to_list()]


def estimate_connectivity(used: pl.DataFrame) -> dict[str, Standing]:
    """How each item of the cells that count stands to the others, by item.  Uses the plan only, no counts."""
    found: dict[str, Standing] = {}
    for kind in ITEM_KINDS:
        columns = _columns(used, kind)
        labels = columns.labels[columns.where[kind]]
        others = _others(used, kind)
        mates = {other: _always_with(used, kind, other) for other in ITEM_KINDS if other != kind}
        homes = _always_with(used, kind, "place")
        for island in _islands(columns, kind):
            members = tuple(labels[at] for at in island)
            small = len(members) < min(LEAST_ISLAND, len(labels))
            around = _partners(columns, kind, island) if small else ()
            for item in members:
                items = tuple(f"{other} {mates[other][item]}" for other in mates if item in mates[other])
                places = (homes[item],) if item in homes else around
                other = next((name for name in others if name != item), None)
                swap = _swap(item, kind, other, items, places) if items or places else None
                found[item] = Standing(item, kind, members, items, places, swap)
    return found


def to_swaps(standing: Mapping[str, Standing]) -> pl.DataFrame:
    """SWAPS: every item that is bound to something, by item."""
    rows: list[dict[str, object]] = [
        {"item": one.item, "kind": one.kind, "bound_to": one.bound_to, "swap": one.swap}
        for one in standing.values()
        if one.bound
    ]
    return SWAPS.shape_rows(rows).sort("item")
