"""The visits of all courses as a frame, to join by."""

from __future__ import annotations

import polars as pl

from lineproof.event import Event


def visits_frame(event: Event) -> pl.DataFrame:
    """One row per course and visit: course, order, point, visit, at_m, of (visits of that point)."""
    rows = [(c.id, v.order, v.point, v.visit, v.at_m) for c in event.courses for v in c.visits]
    return pl.DataFrame(
        rows,
        schema={
            "course": pl.String,
            "order": pl.Int16,
            "point": pl.String,
            "visit": pl.Int16,
            "at_m": pl.Float64,
        },
        orient="row",
    ).with_columns(pl.len().over("course", "point").alias("of"))
