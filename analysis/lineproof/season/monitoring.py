"""Watching items and lines from event to event: is this event out of the usual, and has something moved for good?

Two questions, two charts.  The p' chart asks of the plain share missed whether an event stands out among the subject's
own events, scatter between events allowed for; rain shows in it.  The scores ask what is left once the season's
model has taken off the day, the weather, the place and the other items: misses against those expected of this
subject as it is on average, as a normal score.  Small lasting shifts show in their EWMA and their cumulative sum.

The score is the normal score of the count's mid-P under a gamma-mixed Poisson count of the same mean and variance,
so that it means the same with one expected miss as with fifty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from lineproof.season.control_charts import cusum_chart, ewma_chart, funnel, laney_chart
from lineproof.season.design import ITEM_KINDS
from lineproof.season.effects import ItemModel
from lineproof.season_result_tables import FUNNEL, MONITORING

Floats = NDArray[np.float64]

EWMA_WEIGHT = 0.2  # common practice: sees a shift of one standard deviation in about ten events
ALLOWANCE, LIMIT = (
    0.5,
    5.0,
)  # in standard deviations: tuned to a shift of one, a false signal in some 930 events
LEAST_EVENTS = 3
MOST_SCORE = 8.0


@dataclass(frozen=True, slots=True)
class Series:
    """One subject over its events, in order.  ``variance``: of ``missed`` around ``expected``."""

    subject: str
    name: str
    events: pl.DataFrame
    tried: Floats
    missed: Floats
    expected: Floats
    variance: Floats

    @property
    def scores(self) -> Floats:
        return to_scores(self.missed, self.expected, self.variance)


def to_scores(missed: Floats, expected: Floats, variance: Floats) -> Floats:
    """Normal score of each count's mid-P; ``variance`` at or below the mean is a plain Poisson count."""
    middle = (_at_most(missed, expected, variance) + _at_most(missed - 1, expected, variance)) / 2
    return np.asarray(np.clip(special.ndtri(middle), -MOST_SCORE, MOST_SCORE))


def _at_most(count: Floats, expected: Floats, variance: Floats) -> Floats:
    """Chance of ``count`` or fewer; a fractional count lies between its neighbours.  0 below a count of 0."""
    extra = variance - expected
    shape = np.where(extra > 1e-9 * expected, expected**2 / np.maximum(extra, 1e-300), np.inf)
    wide = np.isfinite(shape) & (shape < 1e8)
    at, shape = np.maximum(count, 0.0), np.where(wide, shape, 1.0)
    mixed = special.betainc(shape, at + 1, shape / (shape + expected))
    plain = special.gammaincc(at + 1, expected)
    found = np.where(wide, mixed, plain)
    # Counts between -1 and 0 shrink to nothing, so that whole and fractional counts join up.
    return np.asarray(np.where(count >= 0, found, found * np.clip(count + 1, 0.0, 1.0)))


def _with_moments(model: ItemModel) -> pl.DataFrame:
    """Cells with the expected misses and the two parts of their variance: of the cell, and shared over its line."""
    cells = model.cells
    chance = special.expit(cells["steady"].to_numpy())
    tried, s2 = cells["tried_at_work"].to_numpy(), model.spreads.cell**2
    slope = chance * (1 - chance)
    own = tried * slope + np.maximum(tried - 1, 0) * tried * slope**2 * s2 / (1 + slope * s2)
    return cells.with_columns(
        expected_misses=pl.Series(tried * chance),
        own_variance=pl.Series(own),
        shared=pl.Series(tried * slope * model.spreads.nested),
    )


def to_series(model: ItemModel) -> list[Series]:
    """Every item and every line that was used at three or more events, by subject and name."""
    cells = _with_moments(model)
    found = []
    for subject in (*ITEM_KINDS, "line"):
        per_line = (
            cells.filter(pl.col(subject).is_not_null())
            .group_by(subject, "date", "event", by_line=pl.col("line"))
            .agg(
                pl.col("tried_at_work", "missed_at_work", "expected_misses", "own_variance", "shared").sum(),
            )
            .with_columns(variance=pl.col("own_variance") + pl.col("shared") ** 2)
        )
        days = (
            per_line.group_by(subject, "date", "event")
            .agg(pl.col("tried_at_work", "missed_at_work", "expected_misses", "variance").sum())
            .sort(subject, "date", "event")
        )
        for (name,), days_of in days.group_by(subject, maintain_order=True):
            if days_of.height >= LEAST_EVENTS:
                columns = (
                    days_of[column].to_numpy()
                    for column in ("tried_at_work", "missed_at_work", "expected_misses", "variance")
                )
                found.append(Series(subject, str(name), days_of.select("event", "date"), *columns))
    return found


def _signal(high: bool, low: bool, moved: float, summed: bool) -> str | None:
    parts = []
    if high or low:
        parts.append(
            "more missed than at its other events" if high else "fewer missed than at its other events"
        )
    if moved:
        parts.append("lastingly worse" if moved > 0 else "lastingly better")
    if summed:
        parts.append("worse by the sum of its scores")
    return ", ".join(parts) or None


def _watch(series: Series) -> pl.DataFrame:
    chart, scores = laney_chart(series.missed, series.tried), series.scores
    smooth = ewma_chart(scores, 0.0, 1.0, EWMA_WEIGHT)
    summed = cusum_chart(scores, 0.0, ALLOWANCE, LIMIT)
    moved = np.where(smooth.out, np.sign(smooth.mean), 0.0)
    signals = [
        _signal(bool(share > high), bool(share < low), float(way), bool(total > LIMIT))
        for share, low, high, way, total in zip(
            chart.share, chart.low, chart.high, moved, summed.high, strict=True
        )
    ]
    return series.events.with_columns(
        subject=pl.lit(series.subject),
        name=pl.lit(series.name),
        tried=pl.Series(series.tried),
        missed=pl.Series(series.missed),
        share=pl.Series(chart.share),
        centre=pl.lit(chart.centre),
        low=pl.Series(chart.low),
        high=pl.Series(chart.high),
        expected=pl.Series(series.expected),
        score=pl.Series(scores),
        smoothed=pl.Series(smooth.mean),
        smoothed_limit=pl.Series(smooth.high),
        summed=pl.Series(summed.high),
        summed_limit=pl.lit(LIMIT),
        signal=pl.Series(signals, dtype=pl.String),
    )


def monitor_season(model: ItemModel) -> pl.DataFrame:
    """MONITORING of every item and line with three or more events, by subject, name and date."""
    frames = [_watch(series) for series in to_series(model)]
    if not frames:
        return MONITORING.empty()
    return MONITORING.conform(pl.concat(frames)).sort("subject", "name", "date", "event")


def to_funnel(model: ItemModel) -> pl.DataFrame:
    """FUNNEL: each item and line among its kind, in common conditions, by subject and name.

    What an item was expected to miss leaves its own effect out; its share in common conditions is the kind's overall
    share times its misses over those expected (indirect standardisation).
    """
    frames = []
    for subject in (*ITEM_KINDS, "line"):
        counts = _against_kind(model, subject)
        if counts.height < 2:
            continue
        tried, ratio = counts["tried"].to_numpy(), (counts["missed"] / counts["expected"]).to_numpy()
        centre = float(counts["missed"].sum()) / float(counts["tried"].sum())
        adjusted = np.minimum(centre * ratio, 1.0)
        limits = funnel(adjusted * tried, tried)
        side = np.select([adjusted > limits.high, adjusted < limits.low], ["worse", "better"], "within")
        frames.append(
            counts.with_columns(
                subject=pl.lit(subject),
                share=pl.col("missed") / pl.col("tried"),
                adjusted=pl.Series(adjusted),
                centre=pl.lit(float((adjusted * tried).sum() / tried.sum())),
                low=pl.Series(limits.low),
                high=pl.Series(limits.high),
                side=pl.Series(side),
            )
        )
    if not frames:
        return FUNNEL.empty()
    return FUNNEL.conform(pl.concat(frames, how="diagonal")).sort("subject", "name")


def _against_kind(model: ItemModel, subject: str) -> pl.DataFrame:
    """Counts of each subject, and what a typical one of its kind would have missed in its cells."""
    effects = dict(zip(model.names, model.mean, strict=True))
    cells = model.cells.filter(pl.col(subject).is_not_null())
    own = np.array([effects.get(name, 0.0) for name in cells[subject].to_list()])
    typical = special.expit(cells["steady"].to_numpy() - own)
    return (
        cells.with_columns(typical=pl.Series(typical) * pl.col("tried_at_work"))
        .group_by(name=pl.col(subject))
        .agg(
            tried=pl.col("tried_at_work").sum(),
            missed=pl.col("missed_at_work").sum(),
            expected=pl.col("typical").sum(),
        )
        .sort("name")
    )
