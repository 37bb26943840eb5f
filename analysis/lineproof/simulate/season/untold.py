"""An event that nobody described: a night run while the clocks go back, exported as badly as happens.

No ``event.toml``; foreign headers, semicolons, decimal commas, the local clock without its offset, and two files for
each line, one from before the hour that comes twice and one from after.  What ``lineproof new`` is for.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import polars as pl

from lineproof.simulate.merging import to_line_passings
from lineproof.simulate.plan import CoursePlan, EventPlan, FaultKind, Planted, PointPlan, TagPlan, WavePlan
from lineproof.simulate.running import SimulatedEvent, simulate_event
from lineproof.simulate.season.parts import TRAIL_DROPOUT, ZONE, local, site
from lineproof.vocabulary import PointKind

FOLDER = (
    "unfamiliar/owl-night"  # a level deeper than the described events, which are found by their event.toml
)
STREAM = 77
# In 2026 summer time ends in the United Kingdom on 25 October at 01:00 UTC (the Summer Time Order 2002).
BACK = dt.datetime(2026, 10, 25, 1, tzinfo=dt.UTC)
PLACES = {"start": "Start", "hut": "Hut", "dam": "Dam", "finish": "Finish"}
BOXES = {"main": "A", "backup": "B"}


def owl_night() -> EventPlan:
    """21 km by torchlight, four places, main and backup everywhere."""
    return EventPlan(
        id="owl-night",
        name="Owl night of Brackenhythe",
        gun=local(10, 24, 23, 30),
        courses=(
            CoursePlan(
                id="owl",
                name="Owl night, 21 km",
                visits=(("start", 0), ("hut", 7500), ("dam", 14_000), ("finish", 21_000)),
                climbs_m=(140.0, 160.0, 60.0),
                pace_s_km=345,
                dropout=TRAIL_DROPOUT,
                fatigue=0.09,
            ),
        ),
        waves=(WavePlan(id="Owl", course="owl", runners=160, flow_per_s=3),),
        points=_points(),
        tags=TagPlan(prefix="E", digits=4, weak_share=0.02),
        faults=(Planted(FaultKind.IMPOSSIBLE_PACE, 1), Planted(FaultKind.STANDING, 1, line="hut-main")),
    )


def _points() -> tuple[PointPlan, ...]:
    return (
        site("start", "Start", 4, 0.985, 0.98, kind=PointKind.START),
        site("hut", "Hut", 3, 0.93, 0.95),
        site("dam", "Dam", 3, 0.96, 0.95),
        site("finish", "Finish", 4, 0.95, 0.94, kind=PointKind.FINISH),
    )


def write_untold(folder: Path, seed: int) -> SimulatedEvent:
    """Write the exports and the start list into ``folder``; returns the event as it was."""
    sim = simulate_event(owl_night(), int(np.random.SeedSequence([seed, STREAM]).generate_state(1)[0]))
    exports = folder / "exports"
    exports.mkdir(parents=True, exist_ok=True)
    passings = to_line_passings(sim.reads).sort("line", "first", "tag")
    for (line,), rows in passings.group_by("line", maintain_order=True):
        point, _, role = str(line).rpartition("-")
        before, after = rows.filter(pl.col("first") < BACK), rows.filter(pl.col("first") >= BACK)
        for number, part in enumerate((before, after), start=1):
            if part.height:
                _write(exports / f"{PLACES[point]} {BOXES[role]} part {number}.csv", part)
    _write_people(folder / "Teilnehmer.csv", sim)
    return sim


def _write(path: Path, passings: pl.DataFrame) -> None:
    """One row for each passing, as a program of another country writes it."""

    def clock(name: str) -> pl.Expr:
        here = pl.col(name).dt.convert_time_zone(ZONE)
        whole, tenths = here.dt.strftime("%d.%m.%Y %H:%M:%S"), here.dt.millisecond() // 100
        return pl.concat_str(whole, pl.lit(","), tenths.cast(pl.String))

    level = pl.col("strength").cast(pl.Float64).round(1).cast(pl.String).str.replace(".", ",", literal=True)
    shown = passings.select(
        pl.col("tag").alias("Kennung"),
        clock("first").alias("Anfang"),
        clock("last").alias("Ende"),
        pl.col("reads").alias("Anzahl"),
        level.alias("Pegel"),
    )
    path.write_text(shown.write_csv(separator=";"), encoding="utf-8", newline="\n")


def _write_people(path: Path, sim: SimulatedEvent) -> None:
    people = sim.entries.join(sim.tags.select("runner", "tag"), on="runner", validate="1:m").sort(
        "bib", "tag"
    )
    sex = pl.col("sex").cast(pl.String).replace({"f": "w"})
    shown = people.select(
        pl.col("bib").alias("Startnummer"),
        pl.col("tag").alias("Kennung"),
        sex.alias("Geschlecht"),
        pl.col("age").alias("Alter"),
    )
    path.write_text(shown.write_csv(separator=";"), encoding="utf-8", newline="\n")
