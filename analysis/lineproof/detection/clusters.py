"""Design effects of many groups at once: how much more a share varies because misses come together.

An outage or a crowd makes many runners miss in the same minute, so a hundred misses may be worth a
handful.  ``intervals.rao_scott`` is the same estimator for one group.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl


def design_effects(
    rows: pl.DataFrame, keys: Sequence[str], cluster: Sequence[str], missed: pl.Expr, name: str = "deff"
) -> pl.DataFrame:
    """One row per group of ``keys`` with its design effect, at least 1, by Rao & Scott 1992.

    ``rows`` are crossings, ``missed`` is boolean, ``cluster`` the columns that name what shares a cause.
    A group with one cluster, no miss or nothing but misses shows no clustering: 1.
    """
    clusters = (
        rows.group_by(*keys, *cluster)
        .agg(pl.len().cast(pl.Float64).alias("n"), missed.sum().cast(pl.Float64).alias("y"))
        .sort(*keys, *cluster)
    )
    sums = clusters.group_by(keys, maintain_order=True).agg(
        pl.len().cast(pl.Float64).alias("m"),
        pl.col("n").sum().alias("trials"),
        pl.col("y").sum().alias("misses"),
        (pl.col("y") ** 2).sum().alias("yy"),
        (pl.col("y") * pl.col("n")).sum().alias("yn"),
        (pl.col("n") ** 2).sum().alias("nn"),
    )
    m, trials, rate = pl.col("m"), pl.col("trials"), pl.col("misses") / pl.col("trials")
    spread = pl.col("yy") - 2 * rate * pl.col("yn") + rate**2 * pl.col("nn")
    ratio = m / (m - 1) * spread / trials / (rate * (1 - rate))
    tells = (m > 1) & (rate > 0) & (rate < 1)
    return sums.select(*keys, pl.when(tells & (ratio > 1)).then(ratio).otherwise(1.0).alias(name))
