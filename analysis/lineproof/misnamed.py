"""Says beside a rate that a point or line seems to have read nobody because its name was not understood.

A row of an export that names an unknown place is a reject; the place that it meant then looks as if all its
runners had been missed.  Which place was meant cannot be known, so the rate stands, with the reason to doubt it.
"""

from __future__ import annotations

import polars as pl

from lineproof.event import Event
from lineproof.tables import RATES

_UNKNOWN = r'^there is no (point|line) "'
_NEVER = "no row of the exports names"
MOST_NAMES = 6


def say_misnamed(
    rates: pl.DataFrame, rejects: pl.DataFrame, passings: pl.DataFrame, event: Event
) -> pl.DataFrame:
    """RATES with a reason at every point and line that no row names, where REJECTS hold unknown names."""
    lost = rejects.filter(pl.col("reason").str.contains(_UNKNOWN))
    if rates.is_empty() or lost.is_empty():
        return rates
    points = {visit.point for course in event.courses for visit in course.visits} - set(passings["point"])
    told = set(passings["line"].drop_nulls())
    lines = {line.id for line in event.lines if line.point in points or (told and line.id not in told)}
    names = lost.group_by("value").len().sort(["len", "value"], descending=[True, False])
    # Many different words are no places: a wrong column, perhaps one of people's names.
    quoted = ", ".join(f'"{name}"' for name in names["value"].to_list())
    shown = quoted if names.height <= MOST_NAMES else f"{names.height:,} other words"
    what = (
        f"{_NEVER} this place; {lost.height:,} rejected rows name {shown}, which {event.name} does not know: if that "
        "is this place, name it in point_names or line_names and review again"
    )
    here = pl.col("point").is_in(sorted(points)) | pl.col("from_point").is_in(sorted(points))
    by_line = pl.col("line").is_in(sorted(lines)).fill_null(False)
    doubted = pl.when(pl.col("line").is_null()).then(here.fill_null(False)).otherwise(by_line)
    both = pl.concat_str([pl.lit(what), pl.col("reason")], separator="; ", ignore_nulls=True)
    return RATES.check(rates.with_columns(pl.when(doubted).then(both).otherwise("reason").alias("reason")))
