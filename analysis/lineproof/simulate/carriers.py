"""Tags: which exist, how well they answer, and which body carries them."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from lineproof.simulate.plan import EventPlan
from lineproof.simulate.reading import weak_shift
from lineproof.simulate.runners import Bools, Field, Floats, Ints

STOCK_TAGS = 1200
CLASSES = ("good", "weak", "silent")


@dataclass(slots=True)
class TagSet:
    """Tags by row.  ``entry`` is the row of the entry it was given to, ``body`` of the body that carries it.

    ``wakes`` and ``dies`` bound the orders at which it answers (dies: first order at which it does not).
    ``listed`` is false for a tag on no list; its ``entry`` is then only the body that carries it.
    """

    tag: npt.NDArray[np.str_]
    entry: Ints
    body: Ints
    kind: npt.NDArray[np.str_]
    batch: npt.NDArray[np.str_]
    quality: npt.NDArray[np.str_]
    shift: Floats
    wakes: Ints
    dies: Ints
    listed: Bools


def make_tags(plan: EventPlan, field: Field, rng: np.random.Generator) -> TagSet:
    """One tag of each kind for every entry, with its class and batch."""
    kinds = plan.tags.kinds
    n = field.bodies * len(kinds)
    draw, effect, scatter = rng.random(n), rng.standard_normal(n), rng.uniform(-1, 1, n)
    stock = n * 3 if plan.tags.stock is None else max(STOCK_TAGS, n)
    numbers = rng.permutation(stock)[:n]
    if plan.tags.stock is not None:
        # A tag that is given out again is as good or bad as it was.
        own = np.random.default_rng(plan.tags.stock)
        draw, scatter = own.random(stock)[numbers], own.uniform(-1, 1, stock)[numbers]
    weak = draw < plan.tags.weak_share
    silent = (draw >= plan.tags.weak_share) & (draw < plan.tags.weak_share + plan.tags.silent_share)
    # A weak tag's own rate scatters about the stated one.
    weakness = weak_shift(plan.tags.weak_rate, plan.physics) * (1 + 0.15 * scatter)
    shift = plan.tags.tag_sd * effect + np.where(weak, weakness, 0)
    entry = np.repeat(np.arange(field.bodies), len(kinds))
    return TagSet(
        tag=np.array([f"{plan.tags.prefix}{number:0{plan.tags.digits}d}" for number in numbers]),
        entry=entry,
        body=entry.copy(),
        kind=np.tile(np.array(kinds), field.bodies),
        batch=np.array([f"B{1 + number * plan.tags.batches // stock:02d}" for number in numbers]),
        quality=np.where(weak, "weak", np.where(silent, "silent", "good")),
        shift=shift,
        wakes=np.zeros(n, dtype=np.int64),
        dies=np.full(n, np.iinfo(np.int64).max),
        listed=np.ones(n, dtype=np.bool_),
    )


def add_stray(tags: TagSet, name: str, body: int) -> int:
    """Append a good tag that is on no list; returns its row."""
    row = {
        "tag": name,
        "entry": body,
        "body": body,
        "kind": "bib",
        "batch": "",
        "quality": "good",
        "shift": 0.0,
        "wakes": 0,
        "dies": np.iinfo(np.int64).max,
        "listed": False,
    }
    for column in fields(TagSet):
        old = getattr(tags, column.name)
        new = np.array([row[column.name]])
        setattr(
            tags, column.name, np.concatenate((old, new if old.dtype.kind == "U" else new.astype(old.dtype)))
        )
    return len(tags.tag) - 1
