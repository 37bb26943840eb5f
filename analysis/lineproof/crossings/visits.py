"""Bouts to visits: before the start, too early, one of the course's visits, or extra.

A point that the course passes once takes the first bout that is not too early for its distance.
A point that it passes several times has its bouts matched to the visits by evenness of pace.
"""

from __future__ import annotations

import polars as pl

from lineproof.crossings.lap_matching import Anchor, match_visits
from lineproof.event import Event
from lineproof.records import shortest_segments
from lineproof.vocabulary import Unused


def number_visits(bouts: pl.DataFrame, visits: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Adds ``visit`` to the bouts that are crossings and ``why`` to those that are not."""
    closes = pl.lit(event.closes).cast(pl.Datetime("us", "UTC"))
    first_visit = visits.filter(pl.col("visit") == 1).select("course", "point", "at_m", "of")
    judged = bouts.join(first_visit, on=["course", "point"], how="left", validate="m:1").with_columns(
        pl.when(pl.col("time").is_null())
        .then(pl.lit(Unused.BEFORE_START.value))
        .when(pl.col("kept") & (pl.col("time") > closes))
        .then(pl.lit(Unused.AFTER_CLOSE.value))
        .otherwise(None)
        .alias("why")
    )
    judged = judged.with_columns(shortest_segments(judged, "at_m", event).alias("soonest")).sort("bout")
    open_bouts = judged.filter(pl.col("why").is_null()).drop("why")
    single = _number_single(open_bouts.filter((pl.col("of") == 1) & pl.col("stated_visit").is_null()))
    looped = _number_looped(
        open_bouts.filter((pl.col("of") > 1) & pl.col("stated_visit").is_null()), single, visits
    )
    stated = _number_stated(open_bouts.filter(pl.col("stated_visit").is_not_null()))
    closed = judged.filter(pl.col("why").is_not_null()).with_columns(
        pl.lit(None, dtype=pl.Int16).alias("visit")
    )
    columns = [*judged.columns, "visit"]
    return pl.concat([part.select(columns) for part in (single, looped, stated, closed)])


def _number_single(bouts: pl.DataFrame) -> pl.DataFrame:
    """One visit: the first bout that is not too early for the distance is the crossing."""
    here = ["runner", "point"]
    lead = pl.duration(microseconds="soonest")
    possible = (
        ~pl.col("kept")
        | pl.col("gun").is_null()
        | (pl.col("at_m") == 0)
        | (pl.col("time") - pl.col("gun") >= lead)
    ).alias("possible")
    # Where no bout is possible the first stands as the crossing: checks.py then says it is too fast.
    chosen = pl.when(pl.col("possible").any().over(here)).then(pl.col("possible")).otherwise(True)
    return (
        bouts.with_columns(possible)
        .with_columns(chosen.alias("chosen"))
        .with_columns(pl.col("chosen").cast(pl.UInt32).cum_sum().over(here).alias("nth"))
        .with_columns(
            pl.when(~pl.col("chosen") & (pl.col("nth") == 0))
            .then(pl.lit(Unused.TOO_EARLY.value))
            .when(~(pl.col("chosen") & (pl.col("nth") == 1)))
            .then(pl.lit(Unused.EXTRA.value))
            .otherwise(None)
            .alias("why"),
            pl.lit(1, dtype=pl.Int16).alias("visit"),
        )
    )


def _number_stated(bouts: pl.DataFrame) -> pl.DataFrame:
    """A wide table states its visits; a visit stated twice keeps its first time."""
    nth = pl.int_range(pl.len()).over("runner", "point", "stated_visit")
    return bouts.with_columns(
        pl.when(nth > 0).then(pl.lit(Unused.EXTRA.value)).otherwise(None).alias("why"),
        pl.col("stated_visit").alias("visit"),
    )


def _number_looped(bouts: pl.DataFrame, single: pl.DataFrame, visits: pl.DataFrame) -> pl.DataFrame:
    """Several visits: matched for the evenest pace, the points read most completely first."""
    places = {key: group["at_m"].to_list() for key, group in visits.sort("order").group_by("course", "point")}
    anchors = _anchors(bouts, single)
    numbered: dict[int, int | None] = {}
    groups = bouts.group_by("runner", "point", "course").agg(
        pl.col("bout").sort_by("time"), pl.col("time").sort().dt.epoch("us"), pl.col("of").first()
    )
    lacking = (pl.col("time").list.len().cast(pl.Int64) - pl.col("of").cast(pl.Int64)).abs()
    for runner, point, course, numbers, times, _of in groups.sort(lacking, "runner", "point").iter_rows():
        at_m = places[(course, point)]
        known = anchors.setdefault(runner, [])
        matched = match_visits(at_m, times, known)
        for bout, time, index in zip(numbers, times, matched, strict=True):
            numbered[bout] = None if index is None else index + 1
            if index is not None:
                known.append(Anchor(at_m[index], time))
    visit = [numbered[bout] for bout in bouts["bout"]]
    return bouts.with_columns(pl.Series("visit", visit, dtype=pl.Int16)).with_columns(
        pl.when(pl.col("visit").is_null()).then(pl.lit(Unused.EXTRA.value)).otherwise(None).alias("why")
    )


def _anchors(bouts: pl.DataFrame, single: pl.DataFrame) -> dict[str, list[Anchor]]:
    """What is known of the runners of looped courses: crossings of single-visit points, else the gun."""
    runners = bouts.select("runner").unique()
    seen = single.filter(pl.col("why").is_null()).join(runners, on="runner", how="semi")
    anchors: dict[str, list[Anchor]] = {}
    for runner, at_m, time in seen.select("runner", "at_m", pl.col("time").dt.epoch("us")).iter_rows():
        anchors.setdefault(runner, []).append(Anchor(at_m, time))
    guns = (
        bouts.filter(pl.col("gun").is_not_null())
        .group_by("runner")
        .agg(pl.col("gun").first().dt.epoch("us"), (pl.col("at_m") == 0).any().alias("starts_here"))
    )
    for runner, gun, starts_here in guns.iter_rows():
        if not starts_here and all(anchor.at_m > 0 for anchor in anchors.get(runner, [])):
            anchors.setdefault(runner, []).append(Anchor(0.0, gun))
    return anchors
