"""Passings to crossings: both lines and all tags of one runner at one visit become one row.

In steps: passings of a runner at a point that lie close together (the lag between the lines taken
off) are one *bout*; a bout is before the start, too early, one of the course's visits, or extra;
a bout that is a visit becomes a crossing whose time is the main line's, else the backup's less the
lag.  Every passing ends in exactly one crossing or, with the reason, in ``unused``.
"""

from __future__ import annotations

import polars as pl

from lineproof.clocks import chosen_time
from lineproof.event import Event
from lineproof.holders import to_held
from lineproof.records import shortest_segments
from lineproof.tables import CROSSINGS, UNUSED, row_key
from lineproof.visits import Anchor, match_visits
from lineproof.vocabulary import Level, PointKind, ReadChoice, Role, TimeSource, Unused

BOUT = ["runner", "point", "bout"]
TIME_PREFERENCE = {Role.MAIN.value: 0, Role.BACKUP.value: 2}  # a time of no stated line ranks between


def to_crossings(
    passings: pl.DataFrame,
    entries: pl.DataFrame,
    tags: pl.DataFrame,
    event: Event,
    lags: pl.DataFrame,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Crossings (sorted by runner and order) and the passings that are part of none.

    All frames keep their contracts in tables.py.  ``passings`` of both return values add up to the
    rows of ``passings`` given.
    """
    held = _with_own_time(to_held(passings, entries, tags, event), event, lags)
    visits = visits_frame(event)
    on_course = visits.select("course", "point").unique()
    held = held.join(
        on_course.with_columns(pl.lit(True).alias("on_course")),
        on=["course", "point"],
        how="left",
        validate="m:1",
    )
    bouts, members = _to_bouts(held.filter("on_course"), event)
    numbered = _number_visits(bouts, visits, event)
    heard = heard_lines(passings, event)
    crossings = _to_rows(numbered.filter(pl.col("why").is_null()), visits, event, heard)
    unused = _to_unused(held, members, numbered)
    return crossings, unused


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


def _with_own_time(held: pl.DataFrame, event: Event, lags: pl.DataFrame) -> pl.DataFrame:
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
            row_key().alias("key"),
        )
        .sort("passing")
    )


def _to_bouts(held: pl.DataFrame, event: Event) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Bouts (one row each) and members (passing -> bout)."""
    gap = pl.duration(microseconds=event.setting_us("crossing_gap_s"))
    here = ["runner", "point"]
    silent = pl.col("begin") - pl.col("end").cum_max().shift().over(here)
    new_visit = (pl.col("visit") != pl.col("visit").shift().over(here)).fill_null(False)
    members = (
        held.sort("runner", "point", "begin", "passing")
        .with_columns(((silent > gap).fill_null(False) | new_visit).alias("is_new"))
        .with_columns(pl.col("is_new").cast(pl.UInt32).cum_sum().over(here).alias("bout"))
    )
    return _sum_up(members, event), members.select("passing", *BOUT)


def _sum_up(members: pl.DataFrame, event: Event) -> pl.DataFrame:
    """The passing that gives the time stands first in its bout; the rest is counted."""
    late = [point.id for point in event.points if point.time_from is ReadChoice.LAST]
    main, backup = pl.col("role") == Role.MAIN.value, pl.col("role") == Role.BACKUP.value
    even_us = pl.col("even").dt.epoch("us")
    ranked = members.with_columns(
        pl.col("role").replace_strict(TIME_PREFERENCE, default=1, return_dtype=pl.Int8).alias("rank"),
        pl.when(pl.col("point").is_in(late)).then(-even_us).otherwise(even_us).alias("turn"),
        _leads_gun(event).alias("leads_gun"),
    ).sort(*BOUT, "leads_gun", "rank", "turn", "passing")
    in_time = ~pl.col("leads_gun")
    return ranked.group_by(BOUT, maintain_order=True).agg(
        pl.col("bib", "course", "wave", "gun", "runner_class", "sex").first(),
        pl.col("key", "level", "line", "role", "antenna").first(),
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


def _number_visits(bouts: pl.DataFrame, visits: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Adds ``visit`` to the bouts that are crossings and ``why`` to those that are not."""
    closes = pl.lit(event.closes).cast(pl.Datetime("us", "UTC"))
    first_visit = visits.filter(pl.col("visit") == 1).select("course", "point", "at_m", "of")
    judged = bouts.join(first_visit, on=["course", "point"], how="left", validate="m:1").with_columns(
        pl.when(pl.col("time").is_null())
        .then(pl.lit(Unused.BEFORE_START.value))
        .when(pl.col("time") > closes)
        .then(pl.lit(Unused.AFTER_CLOSE.value))
        .otherwise(None)
        .alias("why")
    )
    judged = judged.with_columns(shortest_segments(judged, "at_m", event).alias("soonest")).sort(
        "runner", "point", "bout"
    )
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
        pl.col("gun").is_null() | (pl.col("at_m") == 0) | (pl.col("time") - pl.col("gun") >= lead)
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
    numbered: dict[tuple[str, str, int], int | None] = {}
    groups = bouts.group_by("runner", "point", "course").agg(
        pl.col("bout").sort_by("time"), pl.col("time").sort().dt.epoch("us"), pl.col("of").first()
    )
    lacking = (pl.col("time").list.len().cast(pl.Int64) - pl.col("of").cast(pl.Int64)).abs()
    for runner, point, course, numbers, times, _of in groups.sort(lacking, "runner", "point").iter_rows():
        at_m = places[(course, point)]
        known = anchors.setdefault(runner, [])
        matched = match_visits(at_m, times, known)
        for bout, time, index in zip(numbers, times, matched, strict=True):
            numbered[(runner, point, bout)] = None if index is None else index + 1
            if index is not None:
                known.append(Anchor(at_m[index], time))
    keys = [numbered[key] for key in bouts.select(BOUT).iter_rows()]
    return bouts.with_columns(pl.Series("visit", keys, dtype=pl.Int16)).with_columns(
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


def heard_lines(passings: pl.DataFrame, event: Event) -> list[str]:
    """Lines whose reads or passings we have: only these can be said to have missed a runner.

    A line that an input names counts even where it read nothing: a dead line missed everybody.
    """
    worked_up = (Level.READS, Level.PASSINGS)
    named = {
        line
        for source in event.inputs
        if source.level in worked_up
        for line in (*source.line_names.values(), *([source.line] if source.line else []))
    }
    levels = [level.value for level in worked_up]
    present = passings.filter(pl.col("level").is_in(levels))["line"].drop_nulls().unique()
    return sorted(named | set(present))


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
    return rows.sort("runner", "order").with_columns(
        (pl.col("time") - pl.col("gun")).dt.total_microseconds().alias("gun_us"),
        (pl.col("time") - start).dt.total_microseconds().alias("net_us"),
        since.dt.total_microseconds().alias("segment_us"),
        (pl.col("at_m") - pl.col("at_m").shift().over("runner")).alias("segment_m"),
        pl.col("order").shift().over("runner").alias("segment_from"),
    )


def _to_unused(held: pl.DataFrame, members: pl.DataFrame, bouts: pl.DataFrame) -> pl.DataFrame:
    """Every passing that no crossing took, each with one reason."""
    why = members.join(bouts.select(*BOUT, "why"), on=BOUT, how="left", validate="m:1")
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
    return UNUSED.conform(rows.sort("passing"))


def to_whole_units_us(raw_us: pl.Expr, unit_us: int) -> pl.Expr:
    """Official time: the next longer whole unit, rounded once from the raw difference in microseconds.

    Integers throughout, so a time that is exact already stays (no binary fraction can push it up).
    """
    return -((-raw_us) // unit_us) * unit_us
