"""Detection rates of lines, points and segments across events, in one table.

A single event's share is a count, its interval allows for misses that come together (``clustering.py``); beside it stands the share drawn towards the same line's other events
(``shrinkage.py``), for a small event says little.  Over the season the share that a line reads at an event like these comes
from a logistic model with the event as random factor (``quadrature.py``): its interval knows that events differ,
where a pooled binomial interval would not.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy import special, stats

from lineproof.detection.intervals import estimate_share
from lineproof.season.clustering import with_effects
from lineproof.season.quadrature import OneFactorFit, estimate_one_factor
from lineproof.season.shrinkage import shrink_shares
from lineproof.season_result_tables import LINE_HISTORY, LINE_SEASON

LEAST_EVENTS = 3
TOLD_APART = 2  # events with a miss, before a scatter between events can be estimated
NODES = 31


def to_line_history(rates: pl.DataFrame, events: pl.DataFrame, quantity: str = "achieved") -> pl.DataFrame:
    """LINE_HISTORY by level, name and date.

    ``rates``: rows of RATES of all events, each with its ``event``.  ``events``: ``event`` and ``date``.
    """
    counted = _pooled(rates, quantity).join(
        events.select("event", "date"), on="event", how="inner", validate="m:1"
    )
    if counted.is_empty():
        return LINE_HISTORY.empty()
    told = counted.filter(pl.col("proven") > 0)
    share = estimate_share(
        told["detected"].to_numpy(), told["proven"].to_numpy(), deff=told["deff"].to_numpy()
    )
    own = told.select("level", "name", "event").with_columns(
        rate=pl.Series(share.estimate),
        low=pl.Series(share.low),
        high=pl.Series(share.high),
        shrunken=pl.Series(_shrunken(told)),
    )
    joined = counted.join(own, on=["level", "name", "event"], how="left", validate="1:1").with_columns(
        reason=pl.when(pl.col("rate").is_null()).then(
            pl.coalesce("reason", pl.lit("no crossing is proven by evidence from elsewhere"))
        )
    )
    return LINE_HISTORY.conform(joined).sort("level", "name", "date", "event")


def _pooled(rates: pl.DataFrame, quantity: str) -> pl.DataFrame:
    """One row for each line, point and segment of each event, all visits of a line or point together."""
    asked = rates.filter(pl.col("quantity").cast(pl.String) == quantity, pl.col("group").is_null())
    level = pl.col("level").cast(pl.String)
    places = asked.filter(
        level.is_in(["line", "point"]), pl.col("order").is_null(), pl.col("course").is_null()
    )
    stretches = asked.filter(level == "segment", pl.col("from_point").is_not_null())
    segment = pl.format("{}: {} to {}", "course", "from_point", "point")
    again = pl.col("order").is_not_null()
    named = [
        places.with_columns(name=pl.when(level == "line").then(pl.col("line")).otherwise(pl.col("point"))),
        stretches.with_columns(
            name=pl.when(again).then(pl.format("{} (visit {})", segment, "order")).otherwise(segment)
        ),
    ]
    return (
        with_effects(pl.concat(named), rates)
        .with_columns(level)
        .filter(pl.col("name").is_not_null())
        .select("level", "name", "event", "proven", "detected", "reason", "deff")
        .unique(subset=["level", "name", "event"], keep="first", maintain_order=True)
        .sort("level", "name", "event")
    )


def _shrunken(told: pl.DataFrame) -> np.ndarray:
    """Share of each row drawn towards the same line's other events; its own where there are none."""
    found = np.full(told.height, np.nan)
    rows = told.with_row_index("row")
    for _, part in rows.group_by("level", "name", maintain_order=True):
        at = part["row"].to_numpy()
        missed = (part["proven"] - part["detected"]).to_numpy().astype(float)
        tried = part["proven"].to_numpy().astype(float)
        found[at] = 1 - missed / tried if part.height < 2 else 1 - shrink_shares(missed, tried).mean
    return found


def to_line_season(history: pl.DataFrame) -> pl.DataFrame:
    """LINE_SEASON by level and name, from LINE_HISTORY."""
    rows = []
    told = history.filter(pl.col("proven") > 0)
    for (level, name), part in told.group_by("level", "name", maintain_order=True):
        rows.append({"level": level, "name": name, **_season_of(part)})
    if not rows:
        return LINE_SEASON.empty()
    return LINE_SEASON.conform(pl.DataFrame(rows, infer_schema_length=None)).sort("level", "name")


def _season_of(part: pl.DataFrame) -> dict[str, object]:
    missed = (part["proven"] - part["detected"]).to_numpy().astype(float)
    tried = part["proven"].to_numpy().astype(float)
    row: dict[str, object] = {
        "events": part.height,
        "proven": int(tried.sum()),
        "detected": int(tried.sum() - missed.sum()),
        "worst_event": part.sort("shrunken", "event")["event"][0],
    }
    if part.height < LEAST_EVENTS:
        return {**row, "reason": f"{part.height} events; {LEAST_EVENTS} are needed to see how events differ"}
    if (missed > 0).sum() < TOLD_APART or (missed < tried).sum() < TOLD_APART:
        share = estimate_share(np.array([tried.sum() - missed.sum()]), np.array([tried.sum()]))
        return {
            **row,
            "rate": float(share.estimate[0]),
            "low": float(share.low[0]),
            "high": float(share.high[0]),
            "reason": "misses at fewer than two events: events are taken as alike",
        }
    fit = estimate_one_factor(missed, tried, np.ones((part.height, 1)), np.arange(part.height))
    rate, low, high = _over_events(fit, part.height)
    return {**row, "rate": rate, "low": low, "high": high, "spread": fit.spread}


def _over_events(fit: OneFactorFit, events: int) -> tuple[float, float, float]:
    """Share read at an event like these: mean over the scatter, and its 95 % interval.

    The error of the mean logit is widened by Student's t for as many events.
    """
    points, weights = np.polynomial.hermite_e.hermegauss(NODES)
    weights = weights / weights.sum()

    def read(logit: float) -> float:
        return 1 - float(special.expit(logit + fit.spread * points) @ weights)

    half = float(stats.t.ppf(0.975, events - 1)) * float(fit.std_error[0])
    centre = float(fit.effects[0])
    return read(centre), read(centre + half), read(centre - half)
