"""Where each item lay at an event, from when to when, and what was read there."""

from __future__ import annotations

import polars as pl

from lineproof.setup_tables import ITEM_PLACES
from lineproof.vocabulary import ItemKind

_TIMES = ("laid", "lifted", "relaid")


def to_item_places(lines: pl.DataFrame, slots: pl.DataFrame, mats: pl.DataFrame) -> pl.DataFrame:
    """ITEM_PLACES from LAID_LINES and LAID_MATS; what was read at each slot's port comes from MATS.

    Cables are shown with the reads of the mat that they serve, readers and power units with the whole line.
    """
    read = mats.filter(pl.col("place").cast(pl.String) == "mat").select(
        "line",
        pl.col("antenna").cast(pl.Int16).alias("port"),
        "tried",
        "missed",
        "estimate",
        pl.col("verdict").cast(pl.String),
    )
    by_slot = slots.join(lines.select("line", *_TIMES), on="line", how="left", validate="m:1").join(
        read, on=["line", "port"], how="left", validate="m:1"
    )
    parts = [
        by_slot.filter(pl.col(kind.value).is_not_null()).select(
            pl.col(kind.value).alias("item"), _kind(kind), *_shared(by_slot)
        )
        for kind in (ItemKind.MAT, ItemKind.CABLE)
    ]
    for kind, name in ((ItemKind.READER, "reader"), (ItemKind.POWER_UNIT, "power")):
        parts.append(
            lines.filter(pl.col(name).is_not_null()).select(
                pl.col(name).alias("item"), _kind(kind), "line", pl.lit(0, pl.Int16).alias("slot"), *_TIMES
            )
        )
    places = pl.concat(parts, how="diagonal")
    return ITEM_PLACES.conform(places.sort("kind", "item", "line", "slot"))


def _kind(kind: ItemKind) -> pl.Expr:
    return pl.lit(kind.value, ITEM_PLACES.schema["kind"]).alias("kind")


def _shared(frame: pl.DataFrame) -> list[str]:
    return [name for name in ITEM_PLACES.columns if name in frame.columns and name not in ("item", "kind")]
