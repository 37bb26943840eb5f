"""Events with faults of the set-up, drawn by lot.

``draw_clean`` gives a sound event of any size, ``draw_faulty`` one with one to four faults at different points.
``simulate.oracle`` says which of them are large enough to be asked of a diagnosis.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from lineproof.setup_tables import LAID_LINES, LAID_MATS
from lineproof.simulate.plan import (
    FOREVER,
    EventPlan,
    LinePlan,
    MatFault,
    PointPlan,
    Silence,
    TagPlan,
    WavePlan,
)
from lineproof.simulate.scenarios import clean_plan, with_line
from lineproof.vocabulary import Cause, PointKind

DEAD = 1e3
LIKELY = {  # how often each fault is drawn
    Cause.SILENT_ANTENNA: 5,
    Cause.WEAK_ANTENNA: 5,
    Cause.PORTS_NOT_TOLD: 3,
    Cause.INTERRUPTION: 4,
    Cause.BOTH_LINES: 2,
    Cause.ROAD_WIDER: 3,
    Cause.PRACTICE_ROLE: 2,
    Cause.WHOLE_LINE: 3,
    Cause.CROWD: 2,
    Cause.WEAK_TAG: 2,
}


@dataclass(frozen=True, slots=True)
class SetupFault:
    """``antenna``: the (lowest) antenna; ``size``: logit, metres, share or runners a second and metre, by cause."""

    cause: Cause
    point: str | None = None
    line: str | None = None
    antenna: int | None = None
    begin_s: float = -FOREVER
    end_s: float = FOREVER
    size: float = 0.0


@dataclass(frozen=True, slots=True)
class FaultyPlan:
    """``recorded``: the crew kept a set-up record of it."""

    plan: EventPlan
    faults: tuple[SetupFault, ...]
    recorded: bool


def draw_clean(rng: np.random.Generator) -> EventPlan:
    """A sound event: 400 to 2,500 runners, three to six points, lines and roads that differ, few weak tags or none."""
    points = int(rng.integers(4, 7))
    road = int(rng.integers(3, 7))
    plan = clean_plan(
        int(rng.integers(400, 2501)),
        points,
        distance_m=float(rng.choice([5_000, 10_000, 16_000, 21_100])),
        weak_share=float(rng.choice([0.0, 0.0, 0.0008, 0.0015])),
        waves=int(rng.integers(1, 4)),
        flow_per_s=0.9 * road * float(rng.uniform(0.5, 1.2)),
        road_m=road,
    )
    return replace(plan, points=tuple(_varied(point, rng) for point in plan.points))


def _varied(point: PointPlan, rng: np.random.Generator) -> PointPlan:
    """Rates from 0.984 to 0.996; a split may have one line only."""
    lines = tuple(replace(line, rate=float(rng.uniform(0.984, 0.996))) for line in point.lines)
    alone = point.kind is PointKind.SPLIT and rng.random() < 0.2
    return replace(point, lines=lines[:1] if alone else lines)


def draw_faulty(rng: np.random.Generator, most: int = 4) -> FaultyPlan:
    """One to ``most`` faults, each at a point of its own, on a sound event of 1,000 runners or more."""
    plan = draw_clean(rng)
    runners = int(rng.integers(1000, 2501))
    shares = np.diff(np.linspace(0, runners, len(plan.waves) + 1).astype(int))
    waves = tuple(replace(wave, runners=int(n)) for wave, n in zip(plan.waves, shares, strict=True))
    plan = replace(plan, waves=waves)
    recorded = bool(rng.random() < 0.5)
    free = [point.id for point in plan.points]
    faults: list[SetupFault] = []
    for _ in range(int(rng.integers(1, most + 1))):
        causes = list(LIKELY)
        weight = np.array([LIKELY[cause] for cause in causes], dtype=float)
        cause = causes[int(rng.choice(len(causes), p=weight / weight.sum()))]
        planted = _plant(plan, cause, free, recorded, rng)
        if planted is not None and all(planted[1].cause is not f.cause or f.point for f in faults):
            plan, fault = planted
            faults.append(fault)
            free = [point for point in free if point != fault.point]
    if not faults:
        return draw_faulty(rng, most)
    return FaultyPlan(plan, tuple(faults), recorded)


def _plant(
    plan: EventPlan, cause: Cause, free: list[str], recorded: bool, rng: np.random.Generator
) -> tuple[EventPlan, SetupFault] | None:
    if cause is Cause.WEAK_TAG:
        share = float(rng.uniform(0.008, 0.03))
        tags = TagPlan(weak_share=share, weak_rate=float(rng.uniform(0.45, 0.65)))
        return replace(plan, tags=tags), SetupFault(cause, size=share)
    if cause is Cause.CROWD:
        return _plant_crowd(plan, free, rng)
    two_lines = {point.id for point in plan.points if len(point.lines) == 2}
    needs_two = cause in (Cause.WEAK_ANTENNA, Cause.PORTS_NOT_TOLD, Cause.BOTH_LINES, Cause.ROAD_WIDER)
    places = [point for point in free if point in two_lines or not needs_two]
    if cause in (Cause.BOTH_LINES, Cause.INTERRUPTION):
        places = [point for point in places if point != plan.points[-1].id]
    if not places:
        return None
    drawn = places[int(rng.integers(len(places)))]
    point = next(p for p in plan.points if p.id == drawn)
    if len(point.lines) == 1 and point is plan.points[-1]:
        return None
    line = point.lines[int(rng.integers(len(point.lines)))]
    return _PLANTERS[cause](plan, point, line, recorded, rng)


def _plant_crowd(
    plan: EventPlan, free: list[str], rng: np.random.Generator
) -> tuple[EventPlan, SetupFault] | None:
    start = plan.points[0]
    if start.id not in free:
        return None
    density = float(rng.uniform(3.5, 6.0))
    runners = sum(wave.runners for wave in plan.waves)
    wave = WavePlan(id="A", course=plan.courses[0].id, runners=runners, flow_per_s=density * start.road_m)
    return replace(plan, waves=(wave,)), SetupFault(Cause.CROWD, start.id, size=density)


Planted = tuple[EventPlan, SetupFault]


def _silent(
    plan: EventPlan, point: PointPlan, line: LinePlan, recorded: bool, rng: np.random.Generator
) -> Planted:
    mat = int(rng.integers(1, line.mats + 1))
    if mat == line.mats and recorded:
        mat = max(1, mat - 1)
    begin = -FOREVER if rng.random() < 0.5 else _moment(plan, point, rng, 0.2, 0.6)
    faulty = with_line(plan, line.id, mat_faults=(MatFault(mat, DEAD, begin),))
    return faulty, SetupFault(Cause.SILENT_ANTENNA, point.id, line.id, mat, begin)


def _weak(
    plan: EventPlan, point: PointPlan, line: LinePlan, _recorded: bool, rng: np.random.Generator
) -> Planted:
    mat, loss = int(rng.integers(1, line.mats + 1)), float(rng.uniform(1.2, 4.0))
    faulty = with_line(plan, line.id, mat_faults=(MatFault(mat, loss),))
    return faulty, SetupFault(Cause.WEAK_ANTENNA, point.id, line.id, mat, size=loss)


def _ports(
    plan: EventPlan, point: PointPlan, line: LinePlan, recorded: bool, rng: np.random.Generator
) -> Planted:
    """One port too few is told from a dead mat by the record only: without it two are missing at least."""
    lost = 2 if not recorded else int(rng.integers(1, 3))
    lost = min(lost, line.mats - 1)
    dead = tuple(MatFault(mat, DEAD) for mat in range(line.mats - lost + 1, line.mats + 1))
    faulty = with_line(plan, line.id, mat_faults=dead)
    return faulty, SetupFault(Cause.PORTS_NOT_TOLD, point.id, line.id, line.mats - lost + 1, size=float(lost))


def _window(
    plan: EventPlan, point: PointPlan, line: LinePlan, _recorded: bool, rng: np.random.Generator
) -> Planted:
    kind = rng.integers(3)
    begin = _moment(plan, point, rng, 0.1, 0.8)
    end = begin + float(rng.uniform(45, 480))
    if kind == 1:
        begin, end = -FOREVER, _moment(plan, point, rng, 0.05, 0.3)
    elif kind == 2:
        begin, end = _moment(plan, point, rng, 0.7, 0.95), FOREVER
    faulty = with_line(plan, line.id, silences=(Silence(begin, end),))
    return faulty, SetupFault(Cause.INTERRUPTION, point.id, line.id, begin_s=begin, end_s=end)


def _both(
    plan: EventPlan, point: PointPlan, _line: LinePlan, _recorded: bool, rng: np.random.Generator
) -> Planted:
    begin = _moment(plan, point, rng, 0.1, 0.8)
    end = begin + float(rng.uniform(30, 300))
    for each in point.lines:
        plan = with_line(plan, each.id, silences=(Silence(begin, end),))
    return plan, SetupFault(Cause.BOTH_LINES, point.id, begin_s=begin, end_s=end)


def _road(
    plan: EventPlan, point: PointPlan, _line: LinePlan, _recorded: bool, rng: np.random.Generator
) -> Planted:
    bare = float(rng.uniform(0.6, 2.0))
    points = tuple(replace(p, road_m=p.road_m + bare) if p.id == point.id else p for p in plan.points)
    return replace(plan, points=points), SetupFault(Cause.ROAD_WIDER, point.id, size=bare)


def _practice(
    plan: EventPlan, point: PointPlan, line: LinePlan, _recorded: bool, _rng: np.random.Generator
) -> Planted:
    return with_line(plan, line.id, practice=True), SetupFault(Cause.PRACTICE_ROLE, point.id, line.id)


def _line(
    plan: EventPlan, point: PointPlan, line: LinePlan, _recorded: bool, rng: np.random.Generator
) -> Planted:
    rate = float(rng.uniform(0.75, 0.97))
    return with_line(plan, line.id, rate=rate), SetupFault(Cause.WHOLE_LINE, point.id, line.id, size=rate)


_PLANTERS = {
    Cause.SILENT_ANTENNA: _silent,
    Cause.WEAK_ANTENNA: _weak,
    Cause.PORTS_NOT_TOLD: _ports,
    Cause.INTERRUPTION: _window,
    Cause.BOTH_LINES: _both,
    Cause.ROAD_WIDER: _road,
    Cause.PRACTICE_ROLE: _practice,
    Cause.WHOLE_LINE: _line,
}


def _moment(plan: EventPlan, point: PointPlan, rng: np.random.Generator, low: float, high: float) -> float:
    """Seconds after the gun at which between ``low`` and ``high`` of the field will have passed the point."""
    course = plan.courses[0]
    at_m = dict(course.visits)[point.id]
    after = np.concatenate(
        [
            w.after_s
            + np.arange(w.runners) / w.flow_per_s
            + at_m / 1000 * course.pace_s_km * 1.06 * np.exp(0.19 * rng.standard_normal(w.runners))
            for w in plan.waves
        ]
    )
    return float(np.quantile(after, rng.uniform(low, high)))


def to_record(faulty: FaultyPlan) -> tuple[pl.DataFrame, pl.DataFrame]:
    """LAID_LINES and LAID_MATS as an honest crew would have written them; empty where none was kept."""
    if not faulty.recorded:
        return LAID_LINES.empty(), LAID_MATS.empty()
    lost = {f.line: round(f.size) for f in faulty.faults if f.cause is Cause.PORTS_NOT_TOLD}
    place = {"file": "setup.csv", "sheet": ""}
    lines: list[dict[str, object]] = []
    mats: list[dict[str, object]] = []
    for point in faulty.plan.points:
        for line in point.lines:
            lines.append(
                {
                    "line": line.id,
                    "reader": f"R-{line.id}",
                    "reader_role": "practice" if line.practice else "race",
                    "ports_told": line.mats - lost.get(line.id, 0),
                    "road_width_m": point.road_m,
                    "covered_width_m": float(line.mats),
                    **place,
                    "row": 2 + len(lines),
                }
            )
            for slot in range(1, line.mats + 1):
                mat = {"mat": f"M-{line.id}-{slot}", "cable": f"C-{line.id}-{slot}", "port": slot}
                mats.append({"line": line.id, "slot": slot, **mat, **place, "row": 2 + len(mats)})
    return LAID_LINES.shape_rows(lines), LAID_MATS.shape_rows(mats)
