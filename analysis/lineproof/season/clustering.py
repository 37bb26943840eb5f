"""How many times the binomial variance a kept share has, as misses at an event come together.

An outage takes a whole minute of runners and a weak tag misses at point after point.  The review measured that
crossing by crossing (``detection/clusters.py``) and kept it in the standard error of each capability; from there it is
read back for the counts of the season.  A capability by a sibling line alone has other doubts in its error, and is left out.
"""

from __future__ import annotations

import polars as pl

from lineproof.vocabulary import Evidence, Quantity

PLACE = ("event", "level", "course", "point", "from_point", "order", "line")


def with_effects(counts: pl.DataFrame, rates: pl.DataFrame) -> pl.DataFrame:
    """``counts`` with ``deff``, at least 1, from the capability in ``rates`` (RATES) of the same PLACE; 1 where none is told."""
    counted = pl.col("evidence").cast(pl.String) == Evidence.SEEN_LATER.value
    told = rates.filter(_capable(), counted, pl.col("group").is_null()).select(
        *PLACE, _effect().alias("deff")
    )
    joined = counts.join(told, on=PLACE, how="left", nulls_equal=True, validate="m:1", maintain_order="left")
    return joined.with_columns(pl.col("deff").fill_null(1.0))


def event_effects(rates: pl.DataFrame) -> pl.DataFrame:
    """``event`` and ``deff`` of the share read by either line over all its courses, whose runners are different ones.

    Variances of the courses add up with the squares of their weights; what that is of the binomial variance of the
    pooled share is the effect.
    """
    courses = rates.filter(
        _capable(),
        pl.col("level").cast(pl.String) == "course",
        pl.col("role").is_null(),
        pl.col("group").is_null(),
        pl.col("estimate").is_not_null(),
        pl.col("proven") > 0,
    ).with_columns(
        pl.col("proven").cast(pl.Float64).alias("n"),
        (_effect() * _binomial()).alias("variance"),
    )
    n, whole = pl.col("n"), pl.col("n").sum()
    pooled = (pl.col("estimate") * n).sum() / whole
    variance = (pl.col("variance") * n**2).sum() / whole**2
    ratio = variance / (pooled * (1 - pooled) / whole)
    return (
        courses.group_by("event")
        .agg(pl.when((pooled > 0) & (pooled < 1) & (ratio > 1)).then(ratio).otherwise(1.0).alias("deff"))
        .sort("event")
    )


def _capable() -> pl.Expr:
    return pl.col("quantity").cast(pl.String) == Quantity.CAPABILITY.value


def _binomial() -> pl.Expr:
    return pl.col("estimate") * (1 - pl.col("estimate")) / pl.col("proven")


def _effect() -> pl.Expr:
    ratio = pl.col("std_error") ** 2 / _binomial()
    tells = (
        (pl.col("estimate") > 0) & (pl.col("estimate") < 1) & pl.col("std_error").is_not_null() & (ratio > 1)
    )
    return pl.when(tells).then(ratio).otherwise(1.0)
