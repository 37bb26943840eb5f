"""Strata by crowding: crossings at which many others came by within seconds, as lines read fewer of a crowd."""

from __future__ import annotations

import polars as pl

from lineproof.vocabulary import Proof

BIN_US = 10_000_000
EDGES = (10, 25)  # runners within ten seconds at one point
FEWEST = 200  # crossings of a stratum, to be told apart from the one below


def to_flow_strata(proofs: pl.DataFrame, course_id: str) -> pl.DataFrame:
    """``runner``, ``order``, ``stratum`` of the known crossings of a course, for ``to_course_histories``.

    Runners of all courses make the crowd.  A stratum of fewer than 200 crossings joins the one below it.
    """
    known = proofs.filter(
        pl.col("proof").is_in([Proof.SEEN.value, Proof.PROVEN.value]), pl.col("about").is_not_null()
    )
    crowd = pl.len().over("point", pl.col("about").dt.epoch("us") // BIN_US)
    rows = known.select("runner", "course", "order", crowd.alias("crowd")).filter(
        pl.col("course") == course_id
    )
    edges = [edge for edge in EDGES if rows.filter(pl.col("crowd") >= edge).height >= FEWEST]
    stratum = pl.sum_horizontal(
        pl.lit(0, dtype=pl.Int32), *((pl.col("crowd") >= edge).cast(pl.Int32) for edge in edges)
    )
    return rows.select("runner", "order", stratum.alias("stratum")).sort("runner", "order")
