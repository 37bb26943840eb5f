"""Large event folders: a wide results table with invented times, and raw reads of a simulated event."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl

from lineproof.simulate import clean_plan, simulate_event

POINTS = 10
MARATHON_M = 42_195.0

EVENT = """
[event]
name = "{name}"
date = 2026-05-17
zone = "UTC"

[[course]]
id = "{course}"
visits = [{visits}]

{waves}
{points}
{lines}
{entries}
[[input]]
files = "exports/{file}"
{input}
"""


def write_wide_event(folder: Path, runners: int, miss_share: float = 0.002, seed: int = 3) -> dict[str, int]:
    """A results table of ``runners`` by ten points with elapsed times; returns the misses planted per point."""
    rng = np.random.default_rng(seed)
    names = [f"P{i}" for i in range(POINTS)]
    at_m = np.linspace(0, MARATHON_M, POINTS)
    finish_s = np.maximum(rng.lognormal(np.log(4.3 * 3600), 0.18, runners), 8000)
    delay_s = np.sort(rng.uniform(1, 1200, runners))
    missed = rng.random((runners, POINTS)) < miss_share
    missed[:, -1] = False
    seconds = np.round(delay_s[:, None] + finish_s[:, None] * at_m / MARATHON_M).astype(np.int64)
    clock = pl.DataFrame({name: seconds[:, i] for i, name in enumerate(names)}).with_columns(
        pl.format(
            "{}:{}:{}",
            pl.col(name) // 3600,
            (pl.col(name) % 3600 // 60).cast(pl.String).str.zfill(2),
            (pl.col(name) % 60).cast(pl.String).str.zfill(2),
        ).alias(name)
        for name in names
    )
    table = clock.with_columns(
        pl.when(pl.Series(missed[:, i])).then(pl.lit("-")).otherwise(name).alias(name)
        for i, name in enumerate(names)
    )
    (folder / "exports").mkdir(parents=True)
    table.insert_column(0, pl.Series("Bib", np.arange(1, runners + 1))).write_csv(
        folder / "exports" / "results.csv"
    )
    kinds = {names[0]: "start", names[-1]: "finish"}
    columns = "\n".join(f'"{name}" = "{name}"' for name in names)
    (folder / "event.toml").write_text(
        EVENT.format(
            name="Wide",
            course="road",
            visits=", ".join(f'{{ point = "{n}", at_m = {m} }}' for n, m in zip(names, at_m, strict=True)),
            waves='[[wave]]\nid = "all"\ngun = 08:00:00',
            points="\n".join(f'[[point]]\nid = "{n}"\nkind = "{kinds.get(n, "split")}"' for n in names),
            lines="",
            entries="",
            file="results.csv",
            input=f'level = "wide"\ntimes = "elapsed"\n[input.columns]\nbib = "Bib"\n[input.point_names]\n{columns}',
        )
    )
    return {name: int(missed[:, i].sum()) for i, name in enumerate(names)}


def write_reads_event(folder: Path, runners: int, seed: int = 11) -> int:
    """Raw reads (CSV, ISO times) of a simulated event of ten points and twenty lines; returns their number."""
    simulated = simulate_event(
        clean_plan(runners, POINTS, distance_m=MARATHON_M, flow_per_s=20, road_m=8), seed
    )
    event = simulated.event
    (folder / "exports").mkdir(parents=True)
    stamp = pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ")
    simulated.reads.sort("time").select("tag", "line", stamp, "antenna", "strength").write_csv(
        folder / "exports" / "reads.csv"
    )
    people = simulated.entries.select("runner", "bib", "wave", "sex", "age")
    simulated.tags.select("tag", "runner").join(people, on="runner").sort("bib", "tag").write_csv(
        folder / "entries.csv"
    )
    course = event.courses[0]
    (folder / "event.toml").write_text(
        EVENT.format(
            name="Reads",
            course=course.id,
            visits=", ".join(f'{{ point = "{v.point}", at_m = {v.at_m} }}' for v in course.visits),
            waves="\n".join(
                f'[[wave]]\nid = "{w.id}"\ngun = "{w.gun:%Y-%m-%dT%H:%M:%SZ}"' for w in event.waves
            ),
            points="\n".join(f'[[point]]\nid = "{p.id}"\nkind = "{p.kind}"' for p in event.points),
            lines="\n".join(
                f'[[line]]\nid = "{x.id}"\npoint = "{x.point}"\nrole = "{x.role}"\nspacing_m = 3'
                for x in event.lines
            ),
            entries='[entries]\nfiles = "entries.csv"\n[entries.columns]\n'
            + "\n".join(f'{name} = "{name}"' for name in ("bib", "tag", "wave", "sex", "age")),
            file="reads.csv",
            input='level = "reads"\ntimes = "iso"\n[input.columns]\n'
            + "\n".join(f'{name} = "{name}"' for name in ("tag", "line", "time", "antenna", "strength")),
        )
    )
    return simulated.reads.height
