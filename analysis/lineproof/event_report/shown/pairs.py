"""Main against backup in rows, what a common cause of their misses would hide at the finish, and weak tags by group."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.detection.two_lines import Cells, hidden_by_odds_ratio
from lineproof.event_report.shown.labels import label_of, place_of, point_labels

if TYPE_CHECKING:
    from lineproof.pipeline import Review

TIMES = (
    1.0,
    2.0,
    5.0,
    10.0,
    20.0,
    50.0,
    100.0,
)  # how many times the odds of a miss, after a miss of the other line


def to_pair_rows(review: Review) -> pl.DataFrame:
    """LINE_PAIRS of the points with ``label``, in course order."""
    labels = point_labels(review.event)
    points = review.line_pairs.filter(pl.col("point").is_not_null())
    return points.with_columns(label_of(labels, "point").alias("label")).sort(place_of(labels, "point"))


def to_together_rows(review: Review) -> pl.DataFrame:
    """For every finish that a course passes once: crossings hidden from both lines, by how far their misses go together.

    ``label``, ``times``, ``hidden``; ``model``, ``model_low`` and ``model_high`` as the whole records tell, over all
    courses that end there; null where they do not.
    """
    rows = []
    for pair in to_pair_rows(review).filter(pl.col("reason").is_null()).iter_rows(named=True):
        model = _model(review, pair["point"])
        if model is not None:
            cells = Cells(pair["both"], pair["main_only"], pair["backup_only"])
            rows += [
                {
                    "label": pair["label"],
                    "times": times,
                    "hidden": hidden_by_odds_ratio(cells, times),
                    **model,
                }
                for times in TIMES
            ]
    names = ("times", "hidden", "model", "model_low", "model_high")
    return pl.DataFrame(rows, schema={"label": pl.String} | dict.fromkeys(names, pl.Float64))


def _model(review: Review, point: str) -> dict[str, float | None] | None:
    """The hidden crossings of the courses that end at the point; None if it is no finish, or passed several times."""
    here = review.unseen.filter(pl.col("point") == point)
    last = {course.id: len(course.visits) - 1 for course in review.event.courses}
    at_end = pl.col("order") == pl.col("course").replace_strict(last, return_dtype=pl.Int16)
    if here.is_empty() or not here.select(at_end.all()).item():
        return None
    names = {"model": "hidden", "model_low": "hidden_low", "model_high": "hidden_high"}
    told = here["hidden"].null_count() == 0
    return {name: float(here[column].sum()) if told else None for name, column in names.items()}


def to_weak_rows(review: Review) -> pl.DataFrame:
    """WEAK_SHARES of the groupings that have two groups or more: one alone compares with nothing."""
    return review.weak_shares.filter(pl.len().over("by") > 1)
