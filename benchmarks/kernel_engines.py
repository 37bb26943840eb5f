"""The engines that ``kernels.py`` compares, and the file of reads that they are given."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

POINTS = 10
PER_PASSING = 9
GAP_S, MERGE_S = 10, 30
Counts = list[list[Any]]


def write_reads(file: Path, millions: float, seed: int = 7) -> int:
    """READS in order of time (Parquet): about ``millions`` by runners in proportion, ten points with two lines each."""
    rng = np.random.default_rng(seed)
    runners = round(millions * 1e6 / (2 * POINTS * PER_PASSING))
    point = np.tile(np.arange(POINTS), runners)
    runner = np.repeat(np.arange(runners), POINTS)
    # One runner every 20 ms at the start; 20 minutes from point to point; one in thirty turns back for a moment.
    cross_ms = runner * 20 + np.rint(point * 1_200_000 * rng.lognormal(0, 0.1, runners)[runner]).astype(
        np.int64
    )
    back = rng.random(len(cross_ms)) < 1 / 30
    point, runner = np.r_[point, point[back]], np.r_[runner, runner[back]]
    cross_ms = np.r_[cross_ms, cross_ms[back] + 15_000]
    order = np.argsort(cross_ms, kind="stable")
    parts = file.with_suffix(".parts")
    parts.mkdir(parents=True, exist_ok=True)
    rows = 0
    for number, chosen in enumerate(np.array_split(order, max(1, round(millions * 2)))):
        frame = _reads_of(point[chosen], runner[chosen], cross_ms[chosen], rng, rows)
        frame.write_parquet(parts / f"{number:05}.parquet")
        rows += frame.height
    pl.scan_parquet(parts).sink_parquet(file, row_group_size=1 << 18)
    for part in parts.iterdir():
        part.unlink()
    parts.rmdir()
    return rows


def _reads_of(
    point: np.ndarray, runner: np.ndarray, cross_ms: np.ndarray, rng: np.random.Generator, before: int
) -> pl.DataFrame:
    """Reads of both lines of some crossings, one in fifty of each line missed, in order of time."""
    line = np.r_[point * 2, point * 2 + 1]
    who, start = np.r_[runner, runner], np.r_[cross_ms, cross_ms + 1500]
    times = rng.poisson(PER_PASSING - 1, len(who)) + 1
    times[rng.random(len(who)) < 0.02] = 0
    of = np.repeat(np.arange(len(who)), times)
    nth = np.arange(len(of)) - np.repeat(np.cumsum(times) - times, times)
    ms = start[of] + nth * 90 + rng.integers(0, 60, len(of))
    order = np.argsort(ms, kind="stable")
    of, ms = of[order], ms[order]
    names = pl.Series([f"p{i // 2}-{'main' if i % 2 == 0 else 'backup'}" for i in range(2 * POINTS)])
    frame = pl.DataFrame(
        {
            "tag": who[of].astype(np.uint32),
            "line": line[of].astype(np.uint32),
            "time": ms * 1000,
            "antenna": rng.integers(1, 9, len(of)).astype(np.int32),
            "strength": (np.rint(rng.normal(-55, 6, len(of)) * 2) / 2).astype(np.float32),
            "row": np.arange(before + 2, before + 2 + len(of)),
        }
    )
    tags = pl.format("K{}", pl.col("tag").cast(pl.String).str.zfill(7))
    day = pl.lit("2026-05-17T08:00:00Z").str.to_datetime(time_unit="us", time_zone="UTC")
    return frame.select(
        tags.cast(pl.Categorical),
        pl.Series("line", names.gather(frame["line"])).cast(pl.Categorical),
        (day + pl.duration(microseconds="time")).cast(pl.Datetime("us", "UTC")).alias("time"),
        "antenna",
        "strength",
        pl.lit("reads.csv").cast(pl.Categorical).alias("file"),
        "row",
    )


def prepared(engine: str) -> Callable[[str], Counts]:
    """The work of an engine, its library imported (and ours compiled) beforehand."""
    found: Callable[[str], Counts] = {
        "scan": _scan, "ours": _ours, "polars": _polars, "duckdb": _duckdb, "pandas": _pandas
    }[engine]()  # fmt: skip
    return found


def _scan() -> Callable[[str], Counts]:
    def work(file: str) -> Counts:
        return [[sum(chunk.height for chunk in pl.scan_parquet(file).collect_batches(chunk_size=1 << 18))]]

    return work


def _ours() -> Callable[[str], Counts]:
    from lineproof.passings import to_passings
    from lineproof.passings.flowing import join_flowing
    from lineproof.simulate import clean_plan, simulate_event
    from lineproof.tables import READS

    sim = simulate_event(clean_plan(20, POINTS, distance_m=42_195.0, flow_per_s=20, road_m=8), 1)
    lines = {
        old.id: f"p{i // 2}-{'main' if i % 2 == 0 else 'backup'}" for i, old in enumerate(sim.event.lines)
    }
    event = _renamed(sim.event, lines)
    join_flowing(READS.empty().lazy(), event)
    join_flowing(sim.reads.head(50).with_columns(_renamed_lines(lines)).lazy(), event)

    def work(file: str) -> Counts:
        passings = to_passings(pl.scan_parquet(file), event).select("tag", "line", "point", "first", "last")
        # Passings come in order of time: one number for place and tag, and a sort that keeps their order.
        coded = passings.with_columns(pl.col("tag", "point").cast(pl.Categorical))
        place = pl.col("point").to_physical().cast(pl.UInt64) * 2**32 + pl.col("tag").to_physical()
        return _to_counts(coded.sort(place, maintain_order=True).lazy())

    return work


def _renamed(event: Any, lines: dict[str, str]) -> Any:
    from dataclasses import replace

    points = tuple(replace(p, id=f"p{i}") for i, p in enumerate(event.points))
    renamed = tuple(replace(x, id=lines[x.id], point=lines[x.id].split("-")[0]) for x in event.lines)
    return replace(event, points=points, lines=renamed)


def _renamed_lines(lines: dict[str, str]) -> pl.Expr:
    return pl.col("line").cast(pl.String).replace_strict(lines).cast(pl.Categorical).alias("line")


def _to_counts(passings: pl.LazyFrame) -> Counts:
    """Crossings of each point from passings in order of point, tag and time, and of these, those that each line read."""
    here = (pl.col("tag") == pl.col("tag").shift()) & (pl.col("point") == pl.col("point").shift())
    near = pl.col("first") - pl.col("last").shift() <= pl.duration(seconds=MERGE_S)
    main = pl.col("line").cast(pl.String).str.ends_with("main")
    return [
        list(row)
        for row in passings.with_columns(go=(~(here & near)).fill_null(True).cum_sum(), main=main)
        .group_by("go")
        .agg(pl.col("point").first(), main=pl.col("main").any(), backup=(~pl.col("main")).any())
        .group_by(pl.col("point").cast(pl.String))
        .agg(pl.len(), pl.col("main").sum(), pl.col("backup").sum())
        .sort("point")
        .collect()
        .iter_rows()
    ]


def _polars() -> Callable[[str], Counts]:
    """As one would write it: sort, compare with the row before, group."""

    def work(file: str) -> Counts:
        here = (pl.col("tag") == pl.col("tag").shift()) & (pl.col("line") == pl.col("line").shift())
        near = pl.col("time").diff() <= pl.duration(seconds=GAP_S)
        passings = (
            pl.scan_parquet(file)
            .sort("line", "tag", "time")
            .with_columns(go=(~(here & near)).fill_null(True).cum_sum())
            .group_by("go")
            .agg(
                pl.col("tag", "line").first(),
                pl.col("time").min().alias("first"),
                pl.col("time").max().alias("last"),
                pl.col("time").max_by("strength").alias("strongest"),
                pl.col("antenna").max_by("strength"),
                pl.col("strength").max(),
                pl.col("antenna").n_unique().alias("antennas"),
                pl.len().alias("reads"),
            )
            .with_columns(pl.col("line").cast(pl.String).str.split("-").list.first().alias("point"))
            .collect()
        )
        return _to_counts(passings.sort("point", "tag", "first").lazy())

    return work


SQL = """
create table passings as
with marked as (
  select *, case when time - lag(time) over w <= interval {gap} second then 0 else 1 end as fresh
  from read_parquet('{file}') window w as (partition by line, tag order by time)
), numbered as (
  select *, sum(fresh) over (partition by line, tag order by time rows unbounded preceding) as go from marked
)
select line, split_part(line, '-', 1) as point, tag, min(time) as first, max(time) as last,
  arg_max(time, strength) as strongest, arg_max(antenna, strength) as antenna, max(strength) as strength,
  count(distinct antenna) as antennas, count(*) as reads
from numbered group by line, tag, go;
with marked as (
  select *, case when first - lag(last) over w <= interval {merge} second then 0 else 1 end as fresh
  from passings window w as (partition by point, tag order by first)
), numbered as (
  select *, sum(fresh) over (partition by point, tag order by first rows unbounded preceding) as go from marked
), crossings as (
  select point, bool_or(line like '%main') as main, bool_or(line like '%backup') as backup
  from numbered group by point, tag, go
)
select point, count(*), count(*) filter (main), count(*) filter (backup) from crossings group by point order by point
"""


def _duckdb() -> Callable[[str], Counts]:
    import duckdb

    def work(file: str) -> Counts:
        with duckdb.connect() as base:
            base.execute("set TimeZone = 'UTC'")
            rows = base.execute(SQL.format(file=file, gap=GAP_S, merge=MERGE_S)).fetchall()
        return [list(row) for row in rows]

    return work


def _pandas() -> Callable[[str], Counts]:
    import pandas as pd

    def work(file: str) -> Counts:
        read = pl.read_parquet(file)
        frame = pd.DataFrame(
            {name: pd.Categorical(read[name].cast(pl.String).to_numpy()) for name in ("tag", "line")}
            | {"time": read["time"].dt.replace_time_zone(None).to_numpy()}
            | {name: read[name].to_numpy() for name in ("antenna", "strength")}
        )
        del read
        frame = frame.sort_values(["line", "tag", "time"], ignore_index=True)
        fresh = (
            frame["line"].cat.codes.diff().ne(0)
            | frame["tag"].cat.codes.diff().ne(0)
            | (frame["time"].diff() > pd.Timedelta(seconds=GAP_S))
        )
        frame["go"] = fresh.cumsum()
        by_go = frame.groupby("go", sort=False)
        top = frame.loc[by_go["strength"].idxmax(), ["go", "time", "antenna", "strength"]]
        passings = by_go.agg(
            tag=("tag", "first"), line=("line", "first"), first=("time", "first"), last=("time", "last"),
            reads=("time", "size"), antennas=("antenna", "nunique"),
        ).reset_index()  # fmt: skip
        passings = passings.merge(top.rename(columns={"time": "strongest"}), on="go", validate="1:1")
        passings["point"] = passings["line"].astype(str).str.split("-").str[0]
        passings = passings.sort_values(["point", "tag", "first"], ignore_index=True)
        near = (
            (passings["point"] == passings["point"].shift())
            & (passings["tag"].cat.codes == passings["tag"].cat.codes.shift())
            & (passings["first"] - passings["last"].shift() <= pd.Timedelta(seconds=MERGE_S))
        )
        passings["go"] = (~near).cumsum()
        passings["main"] = passings["line"].astype(str).str.endswith("main")
        passings["backup"] = ~passings["main"]
        crossings = passings.groupby("go", sort=False).agg(
            point=("point", "first"), main=("main", "any"), backup=("backup", "any")
        )
        counts = crossings.groupby("point").agg(
            n=("main", "size"), main=("main", "sum"), backup=("backup", "sum")
        )
        return [
            [str(point), *map(int, row)] for point, row in zip(counts.index, counts.to_numpy(), strict=True)
        ]

    return work


if __name__ == "__main__":
    print(write_reads(Path(sys.argv[1]), float(sys.argv[2])))
