"""The season event by event: what was proven, what every line missed, and how that stands to the target."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.charts import EITHER, RATE_ROWS
from lineproof.detection.intervals import estimate_share
from lineproof.season.clustering import event_effects
from lineproof.vocabulary import Evidence, Quantity

if TYPE_CHECKING:
    from lineproof.season_report.flow import SeasonReview


def event_labels(season: SeasonReview) -> dict[str, str]:
    """Names of the events by id, in the order of their dates; the date is added where two have one name."""
    names = season.events["name"]
    twice = set(names.filter(names.is_duplicated()).to_list())
    return {
        row["event"]: f"{row['name']} ({row['date']:%d %b %Y})" if row["name"] in twice else row["name"]
        for row in season.events.iter_rows(named=True)
    }


def labelled(frame: pl.DataFrame, season: SeasonReview) -> pl.DataFrame:
    """Adds ``label``, the event's name, and ``place``, its place in the season; sorted by it."""
    labels = event_labels(season)
    places = {event: place for place, event in enumerate(labels)}
    return frame.with_columns(
        pl.col("event").replace_strict(labels, return_dtype=pl.String).alias("label"),
        pl.col("event").replace_strict(places, return_dtype=pl.Int32).alias("place"),
    ).sort("place", maintain_order=True)


def to_event_totals(season: SeasonReview) -> pl.DataFrame:
    """One row per event: ``proven`` and ``missed`` by every line where later reads prove who passed, ``share`` read.

    ``hidden``, ``hidden_low``, ``hidden_high``: further crossings that nothing proves, of the visits that tell;
    ``untold``: visits that do not.  The ends of the visits are added up, so the range is wide rather than narrow.
    """
    whole = pl.col("course").is_null() & pl.col("order").is_null()
    later = season.kept["rates"].filter(
        pl.col("level").cast(pl.String) == "point",
        pl.col("quantity").cast(pl.String) == Quantity.ACHIEVED.value,
        pl.col("evidence").cast(pl.String) == Evidence.SEEN_LATER.value,
        whole,
    )
    counts = later.group_by("event").agg(
        pl.col("proven").sum(), (pl.col("proven") - pl.col("detected")).sum().alias("missed")
    )
    hidden = (
        season.kept["unseen"]
        .group_by("event")
        .agg(
            pl.col("hidden", "hidden_low", "hidden_high").sum(),
            pl.col("hidden").is_null().sum().alias("untold"),
            pl.col("hidden").count().alias("told"),
        )
        .with_columns(
            pl.when(pl.col("told") > 0).then(pl.col("hidden", "hidden_low", "hidden_high")).name.keep()
        )
    )
    facts = season.events.select("event", "date", "entries", "seen", "target", "passed")
    rows = facts.join(counts, on="event", how="left", validate="1:1").join(
        hidden, on="event", how="left", validate="1:1"
    )
    return labelled(
        rows.with_columns((1 - pl.col("missed") / pl.col("proven")).alias("share")),
        season,
    )


def to_event_rows(season: SeasonReview) -> pl.DataFrame:
    """RATE_ROWS: per event, the share read by either line at the points where later reads prove who passed."""
    return RATE_ROWS.conform(_with_intervals(season).with_columns(pl.lit(EITHER).alias("kind")))


def count_standing(season: SeasonReview) -> tuple[int, int, int]:
    """Events surely above their target, surely below it, and those of which the interval holds it."""
    rows = _with_intervals(season)
    above = rows.filter(pl.col("conf_low") >= pl.col("target")).height
    below = rows.filter(pl.col("conf_high") < pl.col("target")).height
    return above, below, rows.height - above - below


def _with_intervals(season: SeasonReview) -> pl.DataFrame:
    """Event totals with ``estimate``, ``conf_low``, ``conf_high`` of the share read.

    The interval allows for misses that come together: in a minute, and of one runner at point after point.
    """
    effects = event_effects(season.kept["rates"])
    told = to_event_totals(season).filter(pl.col("proven") > 0)
    told = told.join(effects, on="event", how="left", validate="1:1", maintain_order="left").with_columns(
        pl.col("deff").fill_null(1.0)
    )
    share = estimate_share(told["proven"] - told["missed"], told["proven"], deff=told["deff"])
    return told.with_columns(
        pl.Series("estimate", share.estimate, dtype=pl.Float64),
        pl.Series("conf_low", share.low, dtype=pl.Float64),
        pl.Series("conf_high", share.high, dtype=pl.Float64),
    )
