"""Misses explained, over all events: by reason, by item, and finding by finding with the record behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from lineproof.season_report.charts import CAUSE_ROWS
from lineproof.season_report.events import labelled

if TYPE_CHECKING:
    from lineproof.season_report.flow import SeasonReview

UNEXPLAINED = "no reason found"


def to_cause_rows(season: SeasonReview) -> pl.DataFrame:
    """CAUSE_ROWS with ``both`` (missed by both lines) and ``events``; the rest without a reason last."""
    counts = (
        season.kept["miss_counts"]
        .with_columns(pl.col("cause").cast(pl.String).fill_null(UNEXPLAINED).alias("label"))
        .group_by("label")
        .agg(
            pl.col("misses").sum(),
            pl.col("misses").filter("both").sum().alias("both"),
            pl.col("event").n_unique().alias("events"),
        )
        .with_columns((pl.col("label") != UNEXPLAINED).alias("explained"))
        .sort("explained", "misses", "label", descending=[True, True, False])
    )
    drawn = CAUSE_ROWS.conform(counts)
    return drawn.with_columns(counts["both"], counts["events"])


def expected_misses(season: SeasonReview) -> tuple[float, float] | None:
    """What the lines of the season would have missed if each were as good as the middle one: (its share missed, misses).

    The middle is that of the shares drawn towards each line's other events.  None where no line's rate is known.
    """
    lines = season.line_history.filter(
        pl.col("level").cast(pl.String) == "line", pl.col("shrunken").is_not_null()
    )
    if lines.is_empty():
        return None
    usual = 1 - float(np.median(lines["shrunken"].to_numpy()))
    return usual, usual * float(lines["proven"].sum())


def to_explained_rows(season: SeasonReview) -> pl.DataFrame:
    """One row per finding of all events, most misses first: what it explains, and where the record stands.

    ``where`` names the line or point, ``record`` the file, sheet and row of the set-up record.
    """
    found = season.kept["diagnosis"].filter(pl.col("explained") > 0)
    lines = season.kept["laid_lines"].select("event", "line", _record("record_of_line"), "reader")
    mats = season.kept["laid_mats"].select("event", "line", "slot", _record("record_of_mat"), "mat", "cable")
    joined = (
        found.join(lines, on=["event", "line"], how="left", validate="m:1")
        .join(mats, on=["event", "line", "slot"], how="left", validate="m:1")
        .join(_records_of_points(season), on=["event", "point"], how="left", validate="m:1")
    )
    where = pl.coalesce("line", "point", pl.lit("the whole event"))
    slot = (
        pl.when(pl.col("slot").is_not_null()).then(pl.format("{}, slot {}", where, "slot")).otherwise(where)
    )
    return labelled(
        joined.with_columns(
            slot.alias("where"),
            pl.coalesce("record_of_mat", "record_of_line", "record_of_point", pl.lit("not recorded")).alias(
                "record"
            ),
            pl.col("cause").cast(pl.String),
        ),
        season,
    ).sort("explained", "place", "finding", descending=[True, False, False])


def _records_of_points(season: SeasonReview) -> pl.DataFrame:
    """Where the lines of each point stand in the record, for findings of a whole point."""
    placed = season.kept["cells"].filter(pl.col("slot") == 0).select("event", "line", "point")
    return (
        season.kept["laid_lines"]
        .join(placed, on=["event", "line"], how="inner", validate="1:1")
        .sort("event", "point", "row")
        .group_by("event", "point", "file", "sheet", maintain_order=True)
        .agg(pl.col("row").cast(pl.String).str.join(" and "))
        .unique(["event", "point"], keep="first", maintain_order=True)
        .select("event", "point", _record("record_of_point"))
    )


def _record(name: str) -> pl.Expr:
    sheet = pl.when(pl.col("sheet") == "").then(pl.lit("")).otherwise(pl.format(", sheet {}", "sheet"))
    return pl.concat_str("file", sheet, pl.format(", row {}", "row")).alias(name)


def to_item_causes(season: SeasonReview) -> pl.DataFrame:
    """``item``, ``cause``, ``misses``, ``events``: misses at a mat's slot by mat and cable, a line's by its reader."""
    rows = to_explained_rows(season)
    at_slot = [
        rows.filter(pl.col(name).is_not_null()).select(
            "event",
            "cause",
            pl.format(f"{name} {{}}", name).alias("item"),
            pl.col("explained").alias("misses"),
        )
        for name in ("mat", "cable")
    ]
    of_line = rows.filter(pl.col("slot").is_null(), pl.col("reader").is_not_null()).select(
        "event", "cause", pl.format("reader {}", "reader").alias("item"), pl.col("explained").alias("misses")
    )
    return (
        pl.concat([*at_slot, of_line])
        .group_by("item", "cause")
        .agg(pl.col("misses").sum(), pl.col("event").n_unique().alias("events"))
        .sort("misses", "item", "cause", descending=[True, False, False])
    )
