"""Items as the report shows them: those that ask for something first."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.season_report.charts import ITEM_ROWS, VERDICT_WORDS

if TYPE_CHECKING:
    from lineproof.season_report.flow import SeasonReview

# What asks for work first; "cannot tell" asks for a swap or more events.
URGENCY = ("repair or retire", "test", "watch", "cannot tell", "sound")


def to_item_table(season: SeasonReview) -> pl.DataFrame:
    """ITEM_RATES with ``label`` (kind and id), most urgent and worst first; empty where no item can be judged."""
    if season.items is None:
        return pl.DataFrame()
    rank = {word: place for place, word in enumerate(URGENCY)}
    verdict = pl.col("verdict").cast(pl.String).replace_strict(rank, return_dtype=pl.Int32)
    return season.items.items.with_columns(
        pl.format("{} {}", pl.col("kind").cast(pl.String), "item").alias("label")
    ).sort(verdict, "rate", "label", nulls_last=True)


def to_item_rows(season: SeasonReview, most: int = 16) -> pl.DataFrame:
    """ITEM_ROWS: all items that ask for something, and the best known sound ones, at most ``most``."""
    rows = to_item_table(season)
    if rows.is_empty():
        return ITEM_ROWS.empty()
    known = rows.filter(pl.col("rate").is_not_null())
    asking = known.filter(~pl.col("verdict").cast(pl.String).is_in(["sound", "cannot tell"]))
    rest = known.join(asking, on="label", how="anti", maintain_order="left").sort("rate", "label")
    shown = pl.concat([asking, rest.head(max(0, most - asking.height))]).head(most)
    return ITEM_ROWS.conform(
        shown.with_columns(
            pl.col("verdict").cast(pl.Enum(VERDICT_WORDS)),
            (1 - pl.col("rate")).alias("rate"),
            (1 - pl.col("rate_high")).alias("rate_low"),
            (1 - pl.col("rate_low")).alias("rate_high"),
        )
    )
