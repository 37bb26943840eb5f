"""Look-ups, their outcomes and the audit in counts: nothing of one runner."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from lineproof.event_report.shown.labels import label_of, place_of, point_labels
from lineproof.tables import COUNT
from lineproof.vocabulary import Outcome

if TYPE_CHECKING:
    from lineproof.pipeline import Review

MOST = 0.9


@dataclass(frozen=True, slots=True)
class Effort:
    """``findable``: expected number of runners found; ``most_minutes`` of film, by rank, show nine in ten of them.

    ``untold`` look-ups have no chance and are in none of the other numbers.
    """

    rows: int
    findable: float
    minutes: float
    most_minutes: float
    untold: int


def to_lookup_effort(review: Review) -> Effort | None:
    """None where nobody is to be looked up."""
    if review.lookups.is_empty():
        return None
    told = review.lookups.filter(pl.col("chance").is_not_null()).sort("rank")
    minutes = (pl.col("look_to") - pl.col("look_from")).dt.total_microseconds() / 60e6
    watched = told.with_columns(minutes.alias("minutes"))
    findable = float(told["chance"].sum())
    before = pl.col("chance").cum_sum() - pl.col("chance")
    needed = watched.filter(before < MOST * findable)
    return Effort(
        told.height,
        findable,
        float(watched["minutes"].sum()),
        float(needed["minutes"].sum()),
        review.lookups.height - told.height,
    )


def to_sighting_rows(review: Review) -> pl.DataFrame:
    """Outcomes by timing point, in course order, and how many contradict the reads."""
    labels = point_labels(review.event)
    word = pl.col("outcome").cast(pl.String)
    counts = [(word == outcome.value).sum().cast(COUNT).alias(outcome.value) for outcome in Outcome]
    against = pl.col("remark").is_not_null().sum().cast(COUNT).alias("against")
    rows = review.sightings.group_by("point").agg(*counts, against).sort(place_of(labels, "point"))
    return rows.with_columns(label_of(labels, "point").alias("label"))


def to_audit_rows(review: Review) -> pl.DataFrame:
    """AUDIT_RESULTS with ``label`` and the share missed at the point by the course model: ``model``, its range, ``model_crossed``.

    Null where the model does not tell of every course that ends there.
    """
    labels = point_labels(review.event)
    last = pl.col("order") == pl.col("order").max().over("course")
    unread = {
        name: pl.col("missed_seen_later") + pl.col(hidden)
        for name, hidden in (("missed", "hidden"), ("least", "hidden_low"), ("most", "hidden_high"))
    }
    sums = (
        review.unseen.filter(last)
        .with_columns(read=pl.col("read").cast(pl.Float64), **unread)
        .group_by("point")
        .agg(pl.col("read", *unread).sum(), pl.col("hidden").is_null().any().alias("untold"))
    )
    told = ~pl.col("untold")
    shares = [
        pl.when(told).then(pl.col(part) / (pl.col("read") + pl.col(part))).alias(name)
        for part, name in (("missed", "model"), ("least", "model_low"), ("most", "model_high"))
    ]
    model = sums.select(
        "point",
        *shares,
        pl.when(told).then(pl.col("read") + pl.col("missed")).round().cast(COUNT).alias("model_crossed"),
    )
    return review.audit_results.join(
        model, on="point", how="left", validate="1:1", maintain_order="left"
    ).with_columns(label_of(labels, "point").alias("label"))
