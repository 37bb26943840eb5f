"""Reads to passings: all reads of one tag by one line in one go become one row.

A new passing begins where a tag was silent at a line for longer than ``passing_gap_s``.  One line is
worked at a time, so memory follows the busiest line and not the event.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from lineproof.event import Event
from lineproof.tables import PASSINGS
from lineproof.vocabulary import Level


def to_passings(reads: pl.LazyFrame, event: Event) -> pl.DataFrame:
    """Passings of every line, numbered in time order.

    ``reads`` keeps the READS contract in any row order; the same read given twice counts once.
    Of equally strong reads the earliest is the strongest.
    """
    lines = reads.select(pl.col("line").unique().sort()).collect().to_series()
    points = {line.id: line.point for line in event.lines}
    gap = pl.duration(microseconds=event.setting_us("passing_gap_s"))
    parts = [_of_one_line(reads.filter(pl.col("line") == line), line, points[line], gap) for line in lines]
    return number_passings(parts)


def _of_one_line(reads: pl.LazyFrame, line: str, point: str, gap: pl.Expr) -> pl.DataFrame:
    ordered = reads.drop("line").collect().sort("tag", "time", "antenna", "strength", "file", "row")
    same_tag = pl.col("tag").eq_missing(pl.col("tag").shift())
    repeated = (
        same_tag
        & pl.col("time").eq_missing(pl.col("time").shift())
        & pl.col("antenna").eq_missing(pl.col("antenna").shift())
        & pl.col("strength").eq_missing(pl.col("strength").shift())
    )
    begins = ~same_tag | (pl.col("time").diff() > gap)
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
            pl.col("tag").first(),
            pl.col("time").first().alias("first"),
            pl.col("time").filter("is_strongest").first().alias("strongest"),
            pl.col("time").last().alias("last"),
            (~pl.col("repeated")).sum().cast(pl.UInt32).alias("reads"),
            pl.col("antenna").filter("is_strongest").first(),
            pl.col("antenna").drop_nulls().n_unique().cast(pl.UInt16).alias("antennas"),
            pl.col("strength").max(),
            pl.col("file").first(),
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


def number_passings(parts: Sequence[pl.DataFrame]) -> pl.DataFrame:
    """One table of passings from several, numbered anew in time order.

    The order does not depend on the order of the parts or of the rows in them.
    """
    whole = [PASSINGS.conform(_numbered(part)) for part in parts]
    together = pl.concat(whole) if whole else PASSINGS.empty()
    ordered = together.sort("first", "point", "line", "tag", "bib", "file", "row", nulls_last=True)
    return PASSINGS.check(_numbered(ordered).select(PASSINGS.schema.names()))


def _numbered(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.drop("passing", strict=False).with_row_index("passing")
