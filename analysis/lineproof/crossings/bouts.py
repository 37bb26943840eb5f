"""Bouts: passings of one runner at one point that lie close together, whichever line and tag read them.

The lag between the two lines is taken off first, so that a backup line an hour wrong still joins its
main line.  Both lines are divided together: one backup passing can never serve two main passings.
"""

from __future__ import annotations

import polars as pl

from lineproof.clocks import chosen_time
from lineproof.event import Event
from lineproof.vocabulary import Level, ReadChoice, Role

SPAN = 2**62  # microseconds; more than lies between any two times of an export
TIME_PREFERENCE = {Role.MAIN.value: 0, Role.BACKUP.value: 2}  # a time of no stated line ranks between


def with_own_time(
    held: pl.DataFrame, event: Event, lags: pl.DataFrame, set_aside: frozenset[str]
) -> pl.DataFrame:
    """Adds role, ``own`` time, and ``begin``, ``end`` and ``even``: the same in the clock of the point.

    The point's clock is the main line's, or the backup's where the main one is set aside.  ``kept``
    says whether that clock is to be trusted, ``aside`` whether the line's own is not.
    """
    clocks = _line_clocks(event, lags, set_aside)
    return (
        held.join(clocks, on="line", how="left", validate="m:1")
        .with_columns(
            pl.duration(microseconds=pl.col("shift_us").fill_null(0)).alias("shift"),
            pl.col("kept").fill_null(True),
            pl.col("aside").fill_null(False),
            chosen_time(event).alias("own"),
        )
        .with_columns(
            (pl.col("first") - pl.col("shift")).alias("begin"),
            (pl.col("last") - pl.col("shift")).alias("end"),
            (pl.col("own") - pl.col("shift")).alias("even"),
        )
        .sort("passing")
    )


def _line_clocks(event: Event, lags: pl.DataFrame, set_aside: frozenset[str]) -> pl.DataFrame:
    """One row per line: role, what to take off its times, and whether the result can be trusted."""
    lag_of = dict(lags.select("point", "lag_us").iter_rows())
    rows = []
    for line in event.lines:
        sibling = next((x for x in event.lines_at(line.point) if x.id != line.id), None)
        lag = lag_of.get(line.point)
        aside = line.id in set_aside
        leads = (
            sibling is None
            or lag is None
            or sibling.id in set_aside
            or (line.role is Role.MAIN and not aside)
        )
        shift = 0 if leads or lag is None else lag if line.role is Role.BACKUP else -lag
        rows.append((line.id, line.role.value, shift, not (aside and leads), aside))
    return pl.DataFrame(
        rows,
        schema={
            "line": pl.String,
            "role": pl.String,
            "shift_us": pl.Int64,
            "kept": pl.Boolean,
            "aside": pl.Boolean,
        },
        orient="row",
    )


def to_bouts(held: pl.DataFrame, event: Event) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Bouts (one row each, numbered by ``bout``) and members (passing -> bout).

    ``held`` are passings of known runners at points of their course, with their own times.
    """
    gap_us = event.setting_us("crossing_gap_s")
    ordered = held.sort("runner", "point", "begin", "passing")
    elsewhere = _changes("runner") | _changes("point")
    place = elsewhere.cum_sum().alias("place")
    # The running last end within a place: places rise, so one running maximum over all serves, where one
    # per place would cost more than all the rest of the merge.
    ranked_end = pl.col("place").cast(pl.Int128) * SPAN + pl.col("end").dt.epoch("us")
    last_end = ranked_end.cum_max().shift() - pl.col("place").cast(pl.Int128) * SPAN
    silent_us = pl.col("begin").dt.epoch("us").cast(pl.Int128) - last_end
    new_visit = _changes("visit") & pl.col("visit").is_not_null() & pl.col("visit").shift().is_not_null()
    members = ordered.with_columns(place, elsewhere.alias("elsewhere")).with_columns(
        (pl.col("elsewhere") | (silent_us > gap_us).fill_null(False) | new_visit).cum_sum().alias("bout")
    )
    return _sum_up(members, event), members.select("passing", "bout")


def _changes(column: str) -> pl.Expr:
    return pl.col(column).ne_missing(pl.col(column).shift())


def _sum_up(members: pl.DataFrame, event: Event) -> pl.DataFrame:
    """The passing that gives the time stands first in its bout; the rest is counted."""
    late = [point.id for point in event.points if point.time_from is ReadChoice.LAST]
    main, backup = pl.col("role") == Role.MAIN.value, pl.col("role") == Role.BACKUP.value
    even_us = pl.col("even").dt.epoch("us")
    # A line whose clock is set aside gives the time only where no other did, and then as it was read.
    rank = pl.col("role").replace_strict(TIME_PREFERENCE, default=1, return_dtype=pl.Int8)
    ranked = members.with_columns(
        (rank + pl.when("aside").then(3).otherwise(0)).alias("rank"),
        pl.when(pl.col("point").is_in(late)).then(-even_us).otherwise(even_us).alias("turn"),
        _leads_gun(event).alias("leads_gun"),
        pl.when("aside").then("own").otherwise("even").alias("stated"),
    ).sort("bout", "leads_gun", "rank", "turn", "passing")
    in_time = ~pl.col("leads_gun")
    return ranked.group_by("bout", maintain_order=True).agg(
        pl.col("runner", "point", "bib", "course", "wave", "gun", "runner_class", "sex").first(),
        pl.col("passing", "level", "line", "role", "antenna").first(),
        pl.col("visit").drop_nulls().first().alias("stated_visit"),
        pl.col("stated").filter(in_time).first().alias("time"),
        pl.col("stated").filter(in_time & main).first().alias("main_time"),
        pl.col("own").filter(in_time & backup).first().alias("backup_time"),
        pl.col("antenna").filter(main).first().alias("main_antenna"),
        pl.col("antenna").filter(backup).first().alias("backup_antenna"),
        pl.col("kept").all(),
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
    """Not a start: too long before the gun, or the last of a wait on the mats that ended before it."""
    early = pl.duration(microseconds=event.setting_us("early_start_s"))
    waited = (pl.col("last") - pl.col("first") > early) & (pl.col("even") < pl.col("gun"))
    return (pl.col("kept") & ((pl.col("even") < pl.col("gun") - early) | waited)).fill_null(False)
