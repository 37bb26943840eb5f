"""The forms that a person at the camera fills in: look-ups and the audit, with empty columns for what was seen.

A filled-in copy, saved in the event folder under a name that begins with ``sightings``, is read at the next review.
Forms name runners: they are the timer's own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.event import clock_layout

if TYPE_CHECKING:
    from lineproof.pipeline import Review

EDGE_S = 15  # a runner at the edge of a minute may have been read this long before or after it
LOOKED_UP = ("outcome", "time_seen", "who", "when", "note")
COUNTED = ("crossed", "missed", "who", "when", "note")


def to_lookup_form(review: Review) -> pl.DataFrame:
    """LOOKUPS with the plain local clock times that one types into a camera's search, and empty outcome columns."""
    local = pl.col("look_from", "look_to").dt.convert_time_zone(review.event.zone)
    clock = local.dt.strftime(clock_layout(review.event))
    empty = [pl.lit(None, dtype=pl.String).alias(name) for name in LOOKED_UP]
    return review.lookups.with_columns(clock.name.replace("look_", "clock_"), *empty).select(
        "rank", "bib", "runner", "course", "point", "visit", "clock_from", "clock_to", "chance", "evidence", *LOOKED_UP,
        "look_from", "look_to", "likely", "proof", "order",
    )  # fmt: skip


def to_audit_form(review: Review) -> pl.DataFrame:
    """AUDIT with the bibs that the lines read in or near each minute, to be ticked off while watching."""
    audit = review.audit.with_row_index("minute")
    crossed = review.crossings.select("point", "time", pl.coalesce("bib", "runner").alias("bib"))
    near = pl.duration(seconds=EDGE_S)
    read = (
        audit.select("minute", "point", "begin", "end")
        .join(crossed, on="point", how="inner")
        .filter(pl.col("time") >= pl.col("begin") - near, pl.col("time") < pl.col("end") + near)
        .sort("minute", "time", "bib")
        .group_by("minute", maintain_order=True)
        .agg(pl.col("bib").str.join(" ").alias("bibs_read"))
    )
    local = (
        pl.col("begin")
        .dt.convert_time_zone(review.event.zone)
        .dt.strftime(clock_layout(review.event).replace(":%S", ""))
        .alias("clock")
    )
    empty = [pl.lit(None, dtype=pl.String).alias(name) for name in COUNTED if name not in audit.columns]
    form = audit.join(read, on="minute", how="left", validate="1:1", maintain_order="left")
    return form.with_columns(local, *empty).select(
        "point", "clock", "begin", "flow", "bibs_read", *COUNTED, "stratum", "stratum_minutes", "seed"
    )
