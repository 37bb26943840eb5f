"""What a race's own program would make of the reads: passings, merged times, a results table.

Plain grouping for the exports of the demo season.  The analysis has its own, built apart from this one,
so that neither can hide a fault of the other.
"""

from __future__ import annotations

import polars as pl

from lineproof.event import Event
from lineproof.simulate.running import SimulatedEvent
from lineproof.vocabulary import PointKind, Role

PASSING_GAP = pl.duration(seconds=10)
MERGE_GAP = pl.duration(seconds=30)
BEFORE_GUN = pl.duration(seconds=5)


def to_line_passings(reads: pl.DataFrame) -> pl.DataFrame:
    """``tag``, ``line``, ``first``, ``strongest``, ``last``, ``reads``, ``antenna``, ``antennas``, ``strength``."""
    same = (pl.col("tag") == pl.col("tag").shift()) & (pl.col("line") == pl.col("line").shift())
    fresh = ~(same & (pl.col("time") - pl.col("time").shift() <= PASSING_GAP)).fill_null(False)
    loudest = pl.col("strength").arg_max()
    return (
        reads.with_columns(pl.col("tag", "line").cast(pl.String))
        .sort("tag", "line", "time", "antenna")
        .with_columns(go=fresh.cum_sum())
        .group_by("go", maintain_order=True)
        .agg(
            pl.col("tag").first(),
            pl.col("line").first(),
            pl.col("time").first().alias("first"),
            pl.col("time").get(loudest).alias("strongest"),
            pl.col("time").last().alias("last"),
            pl.len().alias("reads"),
            pl.col("antenna").get(loudest),
            pl.col("antenna").n_unique().alias("antennas"),
            pl.col("strength").max(),
        )
        .drop("go")
        .sort("first", "line", "tag")
    )


def to_merged_times(sim: SimulatedEvent) -> pl.DataFrame:
    """``bib``, ``point``, ``line``, ``time``: one row for each time that a runner was at a point after the gun.

    The time is the main line's, else the backup line's as it stands: last read at a start, else the first.
    """
    passings = (
        to_line_passings(sim.reads)
        .join(_lines(sim.event), on="line", validate="m:1")
        .join(sim.tags.select("tag", "runner"), on="tag", validate="m:1")
        .join(_guns(sim), on="runner", validate="m:1")
    )
    at_start = pl.col("kind") == PointKind.START.value
    times = (
        passings.with_columns(time=pl.when(at_start).then("last").otherwise("first"))
        .filter(pl.col("time") >= pl.col("gun") - BEFORE_GUN)
        .sort("runner", "point", "time", "line")
    )
    same = (pl.col("runner") == pl.col("runner").shift()) & (pl.col("point") == pl.col("point").shift())
    fresh = ~(same & (pl.col("time") - pl.col("time").shift() <= MERGE_GAP)).fill_null(False)
    merged = (
        times.with_columns(go=fresh.cum_sum())
        .sort("go", "backup", "time")
        .group_by("go", maintain_order=True)
        .first()
        .select("runner", "point", "kind", "line", "time")
    )
    again = pl.col("point").cum_count().over("runner", "point")
    later_at_start = (pl.col("kind") == PointKind.START.value) & (again > 1)
    return (
        merged.sort("runner", "point", "time")
        .filter(~later_at_start)
        .select(pl.col("runner").alias("bib"), "point", "line", "time")
        .sort("time", "point", "bib")
    )


def to_results_table(merged: pl.DataFrame, event: Event) -> pl.DataFrame:
    """``bib`` and one column for each point with the runner's first time there; runners with any time."""
    first = merged.group_by("bib", "point").agg(pl.col("time").min())
    points = [point.id for point in event.points]
    table = first.pivot(on="point", on_columns=points, index="bib", values="time")
    return table.sort(points[-1], "bib", nulls_last=True).select("bib", *points)


def _lines(event: Event) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "line": line.id,
                "point": line.point,
                "backup": line.role is Role.BACKUP,
                "kind": event.point(line.point).kind.value,
            }
            for line in event.lines
        ]
    )


def _guns(sim: SimulatedEvent) -> pl.DataFrame:
    guns = pl.DataFrame([{"wave": wave.id, "gun": wave.gun} for wave in sim.event.waves])
    return sim.entries.select("runner", "wave").join(
        guns.with_columns(pl.col("gun").cast(pl.Datetime("us", "UTC"))), on="wave", validate="m:1"
    )
