"""Which tags pass over a point and when: true crossings, strolls before the gun, people who stand there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lineproof.simulate.carriers import TagSet
from lineproof.simulate.cases import Stand
from lineproof.simulate.plan import SPACING_M, EventPlan, LinePlan, PointPlan, ReadingPhysics
from lineproof.simulate.reading import STRENGTH_DBM, Passes
from lineproof.simulate.runners import Bools, Field, Floats, Ints

STANDS_EVERY_S = 3.0
FRONT_S = 6.0  # who is over the start line this soon after the gun stood on or by the mats
STROLL_S = (120.0, 1800.0)  # before the gun


@dataclass(frozen=True, slots=True)
class PointPasses:
    """Passes over a point's main line, row by row; ``true`` marks the crossings of the course."""

    tag: Ints
    order: Ints
    time: Floats
    lateral: Floats
    speed: Floats
    shift: Floats
    pose: Floats
    answers: Bools
    true: Bools
    road_m: float
    standing: list[Stand]

    def over_line(self, place: int, physics: ReadingPhysics, rng: np.random.Generator) -> Passes:
        """The passes as the main (0) or backup (1) line meets them, a few metres on and a little to the side."""
        lateral, time = self.lateral, self.time
        if place:
            lateral = _reflect(lateral + physics.drift_m * rng.standard_normal(len(lateral)), self.road_m)
            time = time + SPACING_M / self.speed
        return Passes(self.tag, time, lateral, self.speed, self.shift, self.pose, self.answers)


def pass_over_point(
    plan: EventPlan, point: PointPlan, field: Field, tags: TagSet, rng: np.random.Generator
) -> PointPasses:
    """All passes of all tags over ``point``."""
    bodies, orders = _crossing_bodies(plan, point, field)
    strollers = _strollers(point, bodies[orders == 0], rng)
    stroll_at = _gun(plan, field, strollers) - rng.uniform(*STROLL_S, len(strollers))
    body = np.concatenate((bodies, strollers))
    order = np.concatenate((orders, np.zeros(len(strollers), dtype=np.int64)))
    time = np.concatenate((field.times[bodies, orders], stroll_at))
    speed = np.concatenate((field.speeds[bodies, orders], np.full(len(strollers), 1.3)))
    true = np.arange(len(body)) < len(bodies)
    # The middle of three even draws: most people keep off the edges of the road.
    lateral = np.sort(rng.random((len(body), 3)), axis=1)[:, 1] * point.road_m
    pose = plan.physics.shared_sd * rng.standard_normal(len(body))
    row, tag = _carried(body, tags)
    standing = _standers(plan, point, field, tags, bodies[orders == 0], rng)
    answers = (
        (tags.quality[tag] != "silent") & (order[row] >= tags.wakes[tag]) & (order[row] < tags.dies[tag])
    )
    return PointPasses(
        tag=tag,
        order=order[row],
        time=time[row],
        lateral=lateral[row],
        speed=speed[row],
        shift=tags.shift[tag],
        pose=pose[row],
        answers=answers,
        true=true[row],
        road_m=point.road_m,
        standing=standing,
    )


def _crossing_bodies(plan: EventPlan, point: PointPlan, field: Field) -> tuple[Ints, Ints]:
    bodies, orders = [np.empty(0, dtype=np.int64)], [np.empty(0, dtype=np.int64)]
    for index, course in enumerate(plan.courses):
        for order, (name, _) in enumerate(course.visits):
            if name == point.id:
                here = np.flatnonzero((field.course == index) & ~np.isnan(field.times[:, order]))
                bodies.append(here)
                orders.append(np.full(len(here), order, dtype=np.int64))
    return np.concatenate(bodies), np.concatenate(orders)


def _carried(body: Ints, tags: TagSet) -> tuple[Ints, Ints]:
    """Every pair of a pass (its row) and a tag that its body carries."""
    by_body = np.argsort(tags.body, kind="stable")
    sorted_body = tags.body[by_body]
    low = np.searchsorted(sorted_body, body)
    count = np.searchsorted(sorted_body, body, side="right") - low
    row = np.repeat(np.arange(len(body)), count)
    nth = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    return row, by_body[low[row] + nth]


def _gun(plan: EventPlan, field: Field, body: Ints) -> Floats:
    return np.array([wave.after_s for wave in plan.waves])[field.wave[body]]


def _strollers(point: PointPlan, starters: Ints, rng: np.random.Generator) -> Ints:
    return starters[rng.random(len(starters)) < point.strolling_share]


def _standers(
    plan: EventPlan, point: PointPlan, field: Field, tags: TagSet, starters: Ints, rng: np.random.Generator
) -> list[Stand]:
    """The front of each wave, on the mats for up to two minutes until they go."""
    front = starters[field.delay[starters] < FRONT_S]
    front = front[rng.random(len(front)) < point.standing_share]
    row, tag = _carried(front, tags)
    gun = _gun(plan, field, front)
    begin = gun - rng.uniform(20, 120, len(front))
    until = np.minimum(gun, field.times[front, 0]) if len(front) else gun
    line = point.lines[0].id if point.lines else ""
    return [
        Stand(int(t), line, float(begin[r]), float(until[r] - begin[r]))
        for r, t in zip(row, tag, strict=True)
        if tags.quality[t] == "good" and tags.wakes[t] == 0 and until[r] > begin[r]
    ]


def stand_reads(
    stands: list[Stand], line: LinePlan, rng: np.random.Generator
) -> tuple[Floats, npt.NDArray[np.int32], Floats, Ints]:
    """Times, antennas, strengths and tag rows of reads of tags that stay near ``line``: one every few seconds."""
    times, antennas, rows = [np.empty(0)], [np.empty(0, dtype=np.int32)], [np.empty(0, dtype=np.int64)]
    for stand in stands:
        n = max(2, round(stand.seconds / STANDS_EVERY_S))
        grid = stand.begin_s + (np.arange(n) + 0.8 * rng.random(n)) * stand.seconds / n
        times.append(grid)
        antennas.append(np.full(n, 1 + int(rng.integers(0, line.mats)), dtype=np.int32))
        rows.append(np.full(n, stand.tag, dtype=np.int64))
    time, antenna, row = np.concatenate(times), np.concatenate(antennas), np.concatenate(rows)
    strength = np.round(2 * (STRENGTH_DBM - 9 + 2 * rng.standard_normal(len(time)))) / 2
    heard = np.ones(len(time), dtype=np.bool_)
    for silence in line.silences:
        heard &= (time < silence.begin_s) | (time >= silence.end_s)
    return time[heard], antenna[heard], strength[heard], row[heard]


def _reflect(lateral: Floats, width: float) -> Floats:
    inside = np.abs(lateral)
    return np.clip(np.where(inside > width, 2 * width - inside, inside), 0, width - 1e-9)
