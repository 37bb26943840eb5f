"""The plain way: the reads of one line sorted by tag and time, cut where the tag was silent.

One line is worked at a time, so memory follows the busiest line and not the event.
"""

from __future__ import annotations

import polars as pl

from lineproof.event import Event
from lineproof.tables import PASSINGS
from lineproof.vocabulary import Level

ORDER = ("tag", "time", "antenna", "strength", "file", "row")


def join_plainly(reads: pl.LazyFrame, event: Event) -> list[pl.DataFrame]:
    """The passings of each line (all columns of PASSINGS but the number), in no particular order."""
    lines = reads.select(pl.col("line").unique()).collect().to_series().cast(pl.String).sort()
    points = {line.id: line.point for line in event.lines}
    gap = pl.duration(microseconds=event.setting_us("passing_gap_s"))
    return [_of_one_line(reads.filter(pl.col("line") == line), line, points[line], gap) for line in lines]


def _of_one_line(reads: pl.LazyFrame, line: str, point: str, gap: pl.Expr) -> pl.DataFrame:
    ordered = reads.drop("line").collect().sort(ORDER)
    same_tag = pl.col("tag").eq_missing(pl.col("tag").shift())
    repeated = (
        same_tag
        & pl.col("time").eq_missing(pl.col("time").shift())
        & pl.col("antenna").eq_missing(pl.col("antenna").shift())
        & pl.col("strength").eq_missing(pl.col("strength").shift())
    )
    silent = pl.col("time").diff()
    # Times of one tag rise, so a negative silence is one too long for 64 bits.
    begins = ~same_tag | (silent > gap) | (silent < pl.duration())
    top = pl.col("strength").max().over("go")
    strongest = (pl.col("strength").eq_missing(top)).alias("is_strongest")
    return (
        ordered.lazy()
        .with_columns(
            begins.fill_null(True).cum_sum().alias("go"), repeated.fill_null(False).alias("repeated")
        )
        .with_columns(strongest)
        .group_by("go", maintain_order=True)
        .agg(
            pl.col("tag").first().cast(pl.String),
            pl.col("time").first().alias("first"),
            pl.col("time").filter("is_strongest").first().alias("strongest"),
            pl.col("time").last().alias("last"),
            (~pl.col("repeated")).sum().cast(pl.UInt32).alias("reads"),
            pl.col("antenna").filter("is_strongest").first(),
            pl.col("antenna").drop_nulls().n_unique().cast(pl.UInt16).alias("antennas"),
            pl.col("strength").max(),
            pl.col("file").first().cast(pl.String),
            pl.col("row").first(),
        )
        .drop("go")
        .with_columns(
            pl.lit(line).alias("line"),
            pl.lit(point).alias("point"),
            pl.lit(Level.READS.value).cast(PASSINGS.schema["level"]).alias("level"),
        )
        .collect()
    )
