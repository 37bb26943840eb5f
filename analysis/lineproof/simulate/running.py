"""One event from its plan: draw the people, plant the faults, let every line read what passes.

Each step draws from a stream of its own, so that a fault planted in one place leaves the luck elsewhere alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from lineproof.event import Event
from lineproof.simulate.carriers import TagSet, make_tags
from lineproof.simulate.cases import Case, ExtraPass, line_cases
from lineproof.simulate.faults import SURE, plant
from lineproof.simulate.ground import Ground
from lineproof.simulate.passes import PointPasses, pass_over_point, stand_reads
from lineproof.simulate.plan import EventPlan, FaultKind, LinePlan, to_event
from lineproof.simulate.reading import LineReads, Passes, estimate_base, read_line
from lineproof.simulate.runners import Bools, Field, make_field
from lineproof.simulate.truth import (
    Truth,
    gun_us,
    to_fault_frame,
    to_true_crossings,
    to_true_rates,
    to_true_tags,
)
from lineproof.tables import ENTRIES, READS, TAGS

EXPORT = "simulated"  # stands where the export's name would be in READS


@dataclass(frozen=True, slots=True)
class SimulatedEvent:
    """``reads``, ``entries`` and ``tags`` keep the contracts of tables.py; ``truth`` is for tests only."""

    plan: EventPlan
    event: Event
    reads: pl.DataFrame
    entries: pl.DataFrame
    tags: pl.DataFrame
    truth: Truth


def simulate_event(plan: EventPlan, seed: int) -> SimulatedEvent:
    """Simulate ``plan``; the same plan and seed give the same event."""
    streams = np.random.SeedSequence(seed).spawn(4 + len(plan.points))
    people, tagging, planting, doubling, *reading = (np.random.default_rng(s) for s in streams)
    event = to_event(plan)
    field = make_field(plan, people)
    tags = make_tags(plan, field, tagging)
    ground = Ground(plan, field, tags, planting)
    plant(ground)
    read = {True: np.zeros(field.times.shape, np.bool_), False: np.zeros(field.times.shape, np.bool_)}
    frames = []
    for point, rng in zip(plan.points, reading, strict=True):
        passes = pass_over_point(plan, point, field, tags, rng)
        for place, line in enumerate(point.lines):
            frames.append(_read(ground, line, passes, place, read[place == 0], rng))
    reads, doubled = _duplicate(_to_reads(frames), plan, doubling)
    cases = ground.cases + line_cases(plan) + doubled
    crossings = to_true_crossings(plan, event, field, tags, read[True], read[False])
    truth = Truth(
        crossings,
        to_true_rates(crossings, event),
        to_true_tags(field, tags, field.times.shape[1]),
        to_fault_frame(cases, plan),
    )
    return SimulatedEvent(plan, event, reads, _to_entries(plan, field), _to_tags(field, tags), truth)


def _read(
    ground: Ground, line: LinePlan, point: PointPasses, place: int, read: Bools, rng: np.random.Generator
) -> pl.DataFrame:
    """Reads of one line as exported, after noting in ``read`` whose true crossings it read."""
    plan, tags = ground.plan, ground.tags
    passes = point.over_line(place, plan.physics, rng)
    extra = [p for p in ground.passes if p.line == line.id]
    passes = _with_extras(passes, extra, line, rng)
    found = read_line(passes, line, estimate_base(line.rate, plan.physics), plan.physics, rng)
    of_crossing = found.source[found.source < len(point.tag)]
    counted = of_crossing[point.true[of_crossing] & tags.listed[point.tag[of_crossing]]]
    read[tags.entry[point.tag[counted]], point.order[counted]] = True
    standing = [s for s in ground.stands if s.line == line.id] + (point.standing if place == 0 else [])
    times, antennas, strengths, rows = stand_reads(standing, line, rng)
    return _to_frame(
        plan,
        tags,
        line,
        np.concatenate((passes.tag[found.source], rows)),
        LineReads(
            np.empty(0, dtype=np.int64),
            np.concatenate((found.time, times)),
            np.concatenate((found.antenna, antennas)),
            np.concatenate((found.strength, strengths)),
        ),
    )


def _with_extras(passes: Passes, extra: list[ExtraPass], line: LinePlan, rng: np.random.Generator) -> Passes:
    n = len(extra)
    middle = line.offset_m + line.mats * (0.25 + 0.5 * rng.random(n))
    return Passes(
        np.concatenate((passes.tag, np.array([p.tag for p in extra], dtype=np.int64))),
        np.concatenate((passes.time, np.array([p.time for p in extra]))),
        np.concatenate((passes.lateral, middle)),
        np.concatenate((passes.speed, np.full(n, 1.5))),
        np.concatenate((passes.shift, np.zeros(n))),
        np.concatenate((passes.pose, np.full(n, SURE))),
        np.concatenate((passes.answers, np.ones(n, dtype=np.bool_))),
    )


def _to_frame(
    plan: EventPlan, tags: TagSet, line: LinePlan, tag: np.ndarray, found: LineReads
) -> pl.DataFrame:
    """The line's clock stamps whole milliseconds."""
    clock = line.clock
    shown = found.time + clock.offset_s + clock.drift_ppm * 1e-6 * found.time
    stamp = np.round(shown * 1000).astype(np.int64) * 1000 + gun_us(plan)
    return pl.DataFrame(
        {
            "tag": pl.Series(tags.tag).gather(tag),
            "line": pl.Series([line.id]).new_from_index(0, len(tag)),
            "time": pl.Series(stamp).cast(pl.Datetime("us", "UTC")),
            "antenna": found.antenna.astype(np.int32),
            "strength": found.strength.astype(np.float32),
        }
    )


def _to_reads(frames: list[pl.DataFrame]) -> pl.DataFrame:
    if not frames:
        return READS.empty()
    together = pl.concat(frames).sort("time", "line", "tag", "antenna", "strength")
    return READS.conform(
        together.with_columns(
            pl.lit(EXPORT).alias("file"), pl.int_range(2, pl.len() + 2, dtype=pl.Int64).alias("row")
        )
    )


def _duplicate(
    reads: pl.DataFrame, plan: EventPlan, rng: np.random.Generator
) -> tuple[pl.DataFrame, list[Case]]:
    """Double the rows that DUPLICATE_ROWS asks for, each right behind its original."""
    count = sum(p.count for p in plan.faults if p.kind is FaultKind.DUPLICATE_ROWS)
    if not count or not reads.height:
        return reads, []
    drawn = np.sort(rng.permutation(reads.height)[:count])
    doubled = reads[drawn]
    rows = pl.concat([reads, doubled]).sort("row", maintain_order=True)
    rows = rows.with_columns(pl.int_range(2, pl.len() + 2, dtype=pl.Int64).alias("row"))
    gun = plan.gun
    cases = [
        Case(
            FaultKind.DUPLICATE_ROWS,
            tag=row["tag"],
            line=row["line"],
            begin_s=(row["time"] - gun).total_seconds(),
            detail="the row stands twice; the time is the exported one",
        )
        for row in doubled.iter_rows(named=True)
    ]
    return READS.check(rows), cases


def _to_entries(plan: EventPlan, field: Field) -> pl.DataFrame:
    return ENTRIES.conform(
        pl.DataFrame(
            {
                "runner": field.bib,
                "bib": field.bib,
                "course": np.array([c.id for c in plan.courses])[field.course],
                "wave": np.array([w.id for w in plan.waves])[field.wave],
                "runner_class": field.runner_class,
                "sex": field.sex,
                "age": field.age.astype(np.int16),
            }
        ).sort("runner")
    )


def _to_tags(field: Field, tags: TagSet) -> pl.DataFrame:
    listed = tags.listed
    return TAGS.conform(
        pl.DataFrame(
            {
                "tag": tags.tag[listed],
                "runner": field.bib[tags.entry[listed]],
                "kind": tags.kind[listed],
                "batch": tags.batch[listed],
            }
        ).sort("tag", "runner")
    )
