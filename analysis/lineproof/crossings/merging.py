"""Passings to crossings: both lines and all tags of one runner at one visit become one row.

In steps: passings of a runner at a point that lie close together (the lag between the lines taken
off) are one *bout*; a bout is before the start, too early, one of the course's visits, or extra;
a bout that is a visit becomes a crossing whose time is the main line's, else the backup's less the
lag.  Every passing ends in exactly one crossing or, with the reason, in ``unused``.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineproof.clock_trust import lines_set_aside
from lineproof.clocks import estimate_line_lags
from lineproof.course_visits import visits_frame
from lineproof.crossings.bouts import to_bouts, with_own_time
from lineproof.crossings.holders import to_held
from lineproof.crossings.visits import number_visits
from lineproof.event import Event
from lineproof.tables import CROSSINGS, UNUSED, row_key
from lineproof.vocabulary import Level, PointKind, Role, TimeSource, Unused


@dataclass(frozen=True, slots=True)
class Merge:
    """What the merge of passings found out on its way, and what it made; ``held`` names the runners."""

    held: pl.DataFrame
    lags: pl.DataFrame
    set_aside: frozenset[str]
    crossings: pl.DataFrame
    unused: pl.DataFrame


def merge_passings(passings: pl.DataFrame, entries: pl.DataFrame, tags: pl.DataFrame, event: Event) -> Merge:
    """Passings to crossings in one go: lags, clocks to set aside, runners, crossings and the rest."""
    lags = estimate_line_lags(passings, event)
    held = to_held(passings, entries, tags, event)
    set_aside = lines_set_aside(held, lags, event)
    crossings, unused = to_crossings(held, event, lags, set_aside)
    return Merge(held, lags, set_aside, crossings, unused)


def to_crossings(
    held: pl.DataFrame, event: Event, lags: pl.DataFrame, set_aside: frozenset[str]
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Crossings (sorted by runner and order) and the passings that are part of none.

    ``held`` are passings with their runner (holders.py), ``lags`` those between the lines (clocks.py),
    ``set_aside`` the lines whose clock is not to be trusted (clock_trust.py).  The ``passings`` of both
    return values add up to the rows of ``held``.
    """
    heard = heard_lines(held, event)
    held = with_own_time(held, event, lags, set_aside)
    visits = visits_frame(event)
    on_course = visits.select("course", "point").unique()
    held = held.join(
        on_course.with_columns(pl.lit(True).alias("on_course")),
        on=["course", "point"],
        how="left",
        validate="m:1",
    )
    bouts, members = to_bouts(held.filter("on_course"), event)
    numbered = number_visits(bouts, visits, event)
    keys = held.select("passing", row_key().alias("key"))
    taken = numbered.filter(pl.col("why").is_null()).join(keys, on="passing", how="left", validate="1:1")
    crossings = _to_rows(taken, visits, event, heard)
    unused = _to_unused(held, members, numbered)
    return crossings, unused


def heard_lines(passings: pl.DataFrame, event: Event) -> list[str]:
    """Lines whose reads or passings we have: only these can be said to have missed a runner."""
    levels = [Level.READS.value, Level.PASSINGS.value]
    present = passings.filter(pl.col("level").is_in(levels))["line"].drop_nulls().unique()
    return sorted(event.lines_with_input | set(present))


def _seen(role: Role, event: Event, heard: list[str]) -> pl.Expr:
    """True, False, or null where the input cannot tell what the line did."""
    has = pl.col(f"has_{role.value}")
    can_tell = [x.point for x in event.lines if x.role is role and x.id in heard]
    from_backup = pl.col("one_line_given") & pl.col("has_backup") & ~pl.col("has_main")
    inferred = from_backup if role is Role.MAIN else pl.lit(False)
    return (
        pl.when(has)
        .then(True)
        .when(inferred)
        .then(False)
        .when(pl.col("point").is_in(can_tell) & ~pl.col("one_line_given") & ~pl.col("no_line_given"))
        .then(False)
        .otherwise(None)
    )


def _to_rows(bouts: pl.DataFrame, visits: pl.DataFrame, event: Event, heard: list[str]) -> pl.DataFrame:
    source = {Role.MAIN.value: TimeSource.MAIN.value, Role.BACKUP.value: TimeSource.BACKUP.value}
    rows = (
        bouts.drop("at_m", "of")
        .join(visits.drop("of"), on=["course", "point", "visit"], how="inner", validate="m:1")
        .with_columns(
            pl.col("role")
            .replace_strict(source, default=TimeSource.UNSTATED.value, return_dtype=pl.String)
            .alias("time_source"),
            _seen(Role.MAIN, event, heard).alias("seen_main"),
            _seen(Role.BACKUP, event, heard).alias("seen_backup"),
        )
    )
    return CROSSINGS.conform(_with_durations(rows, event).sort("runner", "order"))


def _with_durations(rows: pl.DataFrame, event: Event) -> pl.DataFrame:
    starts = [point.id for point in event.points if point.kind is PointKind.START]
    is_start = pl.col("point").is_in(starts) & (pl.col("order") == 0)
    start = pl.col("time").filter(is_start).first().over("runner")
    since = pl.col("time") - pl.col("time").shift().over("runner")
    unit = pl.col("course").replace_strict(
        {course.id: course.rounding_us for course in event.courses}, return_dtype=pl.Int64
    )
    timed = rows.sort("runner", "order").with_columns(
        (pl.col("time") - pl.col("gun")).dt.total_microseconds().alias("gun_us"),
        (pl.col("time") - start).dt.total_microseconds().alias("net_us"),
        since.dt.total_microseconds().alias("segment_us"),
        (pl.col("at_m") - pl.col("at_m").shift().over("runner")).alias("segment_m"),
        pl.col("order").shift().over("runner").alias("segment_from"),
    )
    return timed.with_columns(
        to_whole_units_us(pl.col("gun_us"), unit).alias("gun_rounded_us"),
        to_whole_units_us(pl.col("net_us"), unit).alias("net_rounded_us"),
    )


def _to_unused(held: pl.DataFrame, members: pl.DataFrame, bouts: pl.DataFrame) -> pl.DataFrame:
    """Every passing that no crossing took, each with one reason."""
    why = members.join(bouts.select("bout", "why"), on="bout", how="left", validate="m:1")
    off_course = (
        pl.when(pl.col("runner").is_null())
        .then(pl.lit(Unused.UNKNOWN_TAG.value))
        .otherwise(pl.lit(Unused.OFF_COURSE.value))
    )
    rows = (
        held.join(why.select("passing", "why"), on="passing", how="left", validate="1:1")
        .with_columns(pl.when(pl.col("on_course").is_null()).then(off_course).otherwise("why").alias("why"))
        .filter(pl.col("why").is_not_null())
    )
    return UNUSED.conform(rows.with_columns(row_key().alias("key")).sort("passing"))


def to_whole_units_us(raw_us: pl.Expr, unit_us: pl.Expr | int) -> pl.Expr:
    """Official time: the next longer whole unit, rounded once from the raw difference in microseconds.

    Integers throughout, so a time that is exact already stays (no binary fraction can push it up).
    """
    return -((-raw_us) // unit_us) * unit_us
