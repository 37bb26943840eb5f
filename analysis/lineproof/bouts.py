"""Bouts: passings of one runner at one point that lie close together, whichever line and tag read them.

The lag between the two lines is taken off first, so that a backup line an hour wrong still joins its
main line.  Both lines are divided together: one backup passing can never serve two main passings.
"""

from __future__ import annotations

import polars as pl

from lineproof.clocks import chosen_time
from lineproof.event import Event
from lineproof.vocabulary import Level, ReadChoice, Role

TIME_PREFERENCE = {Role.MAIN.value: 0, Role.BACKUP.value: 2}  # a time of no stated line ranks between


def with_own_time(held: pl.DataFrame, event: Event, lags: pl.DataFrame) -> pl.DataFrame:
    """Adds role, the passing's own time, and begin/end/even time with the line's lag taken off."""
    roles = pl.DataFrame(
        {"line": [x.id for x in event.lines], "role": [x.role.value for x in event.lines]},
        schema={"line": pl.String, "role": pl.String},
    )
    lag = lags.select(line="backup", lag=pl.duration(microseconds="lag_us"))
    none = pl.duration(microseconds=0)
    return (
        held.join(roles, on="line", how="left", validate="m:1")
        .join(lag, on="line", how="left", validate="m:1")
        .with_columns(pl.coalesce("lag", none).alias("lag"), chosen_time(event).alias("own"))
        .with_columns(
            (pl.col("first") - pl.col("lag")).alias("begin"),
            (pl.col("last") - pl.col("lag")).alias("end"),
            (pl.col("own") - pl.col("lag")).alias("even"),
        )
        .sort("passing")
    )


def to_bouts(held: pl.DataFrame, event: Event) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Bouts (one row each, numbered by ``bout``) and members (passing -> bout).

    ``held`` are passings of known runners at points of their course, with their own times.
    """
    gap = pl.duration(microseconds=event.setting_us("crossing_gap_s"))
    ordered = held.sort("runner", "point", "begin", "passing")
    elsewhere = _changes("runner") | _changes("point")
    place = elsewhere.cum_sum().alias("place")
    silent = pl.col("begin") - pl.col("end").cum_max().shift().over("place")
    new_visit = _changes("visit") & pl.col("visit").is_not_null() & pl.col("visit").shift().is_not_null()
    members = ordered.with_columns(place, elsewhere.alias("elsewhere")).with_columns(
        (pl.col("elsewhere") | (silent > gap).fill_null(False) | new_visit).cum_sum().alias("bout")
    )
    return _sum_up(members, event), members.select("passing", "bout")


def _changes(column: str) -> pl.Expr:
    return pl.col(column).ne_missing(pl.col(column).shift())


def _sum_up(members: pl.DataFrame, event: Event) -> pl.DataFrame:
    """The passing that gives the time stands first in its bout; the rest is counted."""
    late = [point.id for point in event.points if point.time_from is ReadChoice.LAST]
    main, backup = pl.col("role") == Role.MAIN.value, pl.col("role") == Role.BACKUP.value
    even_us = pl.col("even").dt.epoch("us")
    ranked = members.with_columns(
        pl.col("role").replace_strict(TIME_PREFERENCE, default=1, return_dtype=pl.Int8).alias("rank"),
        pl.when(pl.col("point").is_in(late)).then(-even_us).otherwise(even_us).alias("turn"),
        _leads_gun(event).alias("leads_gun"),
    ).sort("bout", "leads_gun", "rank", "turn", "passing")
    in_time = ~pl.col("leads_gun")
    return ranked.group_by("bout", maintain_order=True).agg(
        pl.col("runner", "point", "bib", "course", "wave", "gun", "runner_class", "sex").first(),
        pl.col("passing", "level", "line", "role", "antenna").first(),
        pl.col("visit").drop_nulls().first().alias("stated_visit"),
        pl.col("even").filter(in_time).first().alias("time"),
        pl.col("even").filter(in_time & main).first().alias("main_time"),
        pl.col("own").filter(in_time & backup).first().alias("backup_time"),
        main.any().alias("has_main"),
        backup.any().alias("has_backup"),
        ((pl.col("level") == Level.MERGED.value) & pl.col("role").is_not_null())
        .all()
        .alias("one_line_given"),
        pl.col("role").is_null().all().alias("no_line_given"),
        pl.len().cast(pl.UInt32).alias("passings"),
        pl.coalesce("tag", "bib").n_unique().cast(pl.UInt32).alias("tags"),
        pl.when(pl.col("reads").is_not_null().any()).then(pl.col("reads").sum()).alias("reads"),
    )


def _leads_gun(event: Event) -> pl.Expr:
    early = pl.duration(microseconds=event.setting_us("early_start_s"))
    return (pl.col("even") < pl.col("gun") - early).fill_null(False)
