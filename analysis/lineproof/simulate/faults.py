"""Plants what goes wrong with people and their tags, and writes down each case.

A planter changes bodies or tags, or adds passes and standing tags, before anything is read: the reads
follow from it like all others.  No runner is given two faults.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from lineproof.simulate.carriers import add_stray
from lineproof.simulate.cases import Case, ExtraPass, Stand
from lineproof.simulate.ground import Ground
from lineproof.simulate.plan import FaultKind, Planted
from lineproof.simulate.runners import Bools, Ints

CUT_S_PER_M = 0.12  # a runner who cuts seems to go at 2 min/km, faster than anybody runs
CAR_M_PER_S = 12.0
SURE = 8.0  # pose, logit: an extra pass that is meant to be in the data is read


def _swap(ground: Ground, planted: Planted) -> None:
    bodies = ground.bodies
    for _ in range(planted.count):
        fits = ground.finished(planted)
        quick = ground.pick(fits & (bodies.sex == "m") & _faster(ground, 0.4), 1, planted.kind)[0]
        same = (bodies.wave == bodies.wave[quick]) & (bodies.sex == "f") & ~_faster(ground, 0.6)
        slow = ground.pick(fits & same, 1, planted.kind)[0]
        first, second = ground.tags_of(quick), ground.tags_of(slow)
        ground.tags.body[first], ground.tags.body[second] = slow, quick
        ground.cases.append(
            Case(
                planted.kind,
                runner=ground.bib(quick),
                tag=ground.first_tag(quick),
                other_runner=ground.bib(slow),
                other_tag=ground.first_tag(slow),
                detail="each carries the other's tag all day",
            )
        )


def _faster(ground: Ground, share: float) -> Bools:
    """Bodies among the fastest ``share`` of their course by time from the start."""
    bodies = ground.bodies
    fast = np.zeros(bodies.bodies, dtype=np.bool_)
    last = ground.last_order()
    took = bodies.times[np.arange(bodies.bodies), last] - bodies.times[:, 0]
    for course in np.unique(bodies.course):
        mine = (bodies.course == course) & ~np.isnan(took)
        if mine.any():
            fast |= mine & (took <= np.quantile(took[mine], share))
    return fast


def _together(ground: Ground, planted: Planted) -> None:
    bodies = ground.bodies
    for carrier in ground.pick(ground.finished(planted), planted.count, planted.kind):
        fits = ground.finished(Planted(planted.kind)) & (bodies.wave == bodies.wave[carrier])
        absent = ground.pick(fits, 1, planted.kind)[0]
        bodies.times[absent] = np.nan
        ground.tags.body[ground.tags_of(absent)] = carrier
        ground.cases.append(
            Case(
                planted.kind,
                runner=ground.bib(carrier),
                tag=ground.first_tag(carrier),
                other_runner=ground.bib(absent),
                other_tag=ground.first_tag(absent),
                detail="the second runner is not there; the first carries both tags",
            )
        )


def _cut(ground: Ground, planted: Planted) -> None:
    times = ground.bodies.times
    for body in ground.pick(ground.finished(planted, visits=4), planted.count, planted.kind):
        visits = ground.visits(body)
        order = _order(ground, planted, body, 1 + np.arange(len(visits) - 2))
        metres = visits[order + 1][1] - visits[order - 1][1]
        took = times[body, order + 1] - times[body, order - 1]
        saved = took - min(CUT_S_PER_M * metres, 0.4 * took)
        times[body, order + 1 :] -= saved
        times[body, order] = np.nan
        ground.cases.append(_place_case(ground, planted.kind, body, order, saved, "seconds saved by the cut"))


def _order(ground: Ground, planted: Planted, body: int, choices: Ints) -> int:
    """One of the orders, at random; with a point given, the first visit of it."""
    if planted.point is None:
        return int(ground.rng.choice(choices))
    return next(i for i, (name, _) in enumerate(ground.visits(body)) if name == planted.point)


def _car(ground: Ground, planted: Planted) -> None:
    times = ground.bodies.times
    for body in ground.pick(ground.finished(planted, visits=3), planted.count, planted.kind):
        visits = ground.visits(body)
        lengths = np.diff([at for _, at in visits])
        order = _order(ground, planted, body, 1 + np.flatnonzero(lengths >= np.median(lengths)))
        saved = (times[body, order] - times[body, order - 1]) - lengths[order - 1] / CAR_M_PER_S
        times[body, order:] -= saved
        ground.bodies.speeds[body, order] = 1.5
        ground.cases.append(
            _place_case(ground, planted.kind, body, order, CAR_M_PER_S, "metres per second to this point")
        )


def _place_case(
    ground: Ground, kind: FaultKind, body: int, order: int, value: float | None, detail: str
) -> Case:
    point = ground.visits(body)[order][0]
    time = ground.bodies.times[body, order]
    return Case(
        kind,
        runner=ground.bib(body),
        tag=ground.first_tag(body),
        point=point,
        course=ground.plan.courses[ground.bodies.course[body]].id,
        order=order,
        begin_s=None if np.isnan(time) else float(time),
        value=value,
        detail=detail,
    )


def _stand(ground: Ground, planted: Planted) -> None:
    """A finisher comes back and waits beside a line."""
    line = planted.line or ground.finish_line()
    seconds = planted.seconds or 300.0
    for body in ground.pick(ground.finished(planted), planted.count, planted.kind):
        order = ground.last_order()[body]
        begin = float(ground.bodies.times[body, order]) + 150.0
        _add_stand(ground, planted.kind, body, line, begin, seconds, "a finisher waits beside the line")


def _volunteer(ground: Ground, planted: Planted) -> None:
    """Somebody entered, does not run, and helps at a line with the tag in a pocket."""
    line = planted.line or ground.finish_line()
    for body in ground.pick(ground.finished(planted), planted.count, planted.kind):
        ground.bodies.times[body] = np.nan
        begin = float(600 + 1200 * ground.rng.random())
        _add_stand(
            ground, planted.kind, body, line, begin, planted.seconds or 1500.0, "the entry does not run"
        )


def _add_stand(
    ground: Ground, kind: FaultKind, body: int, line: str, begin: float, seconds: float, detail: str
) -> None:
    tag = int(ground.tags_of(body)[0])
    ground.stands.append(Stand(tag, line, begin, seconds))
    ground.cases.append(
        Case(
            kind,
            runner=ground.bib(body),
            tag=str(ground.tags.tag[tag]),
            line=line,
            begin_s=begin,
            end_s=begin + seconds,
            value=seconds,
            detail=detail,
        )
    )


def _back(ground: Ground, planted: Planted) -> None:
    """Somebody turns round after the line (a dropped glove) and goes over it again."""
    for body in ground.pick(ground.finished(planted, visits=3), planted.count, planted.kind):
        order = int(ground.rng.integers(1, ground.last_order()[body] + 1))
        if planted.line is not None:
            point = next(p.id for p in ground.plan.points if planted.line in [line.id for line in p.lines])
            order = next(i for i, visit in enumerate(ground.visits(body)) if visit[0] == point)
        line = planted.line or ground.main_line(ground.visits(body)[order][0])
        if line is None:
            continue
        seconds = planted.seconds or float(18 + 32 * ground.rng.random())
        again = float(ground.bodies.times[body, order]) + seconds
        ground.passes.append(ExtraPass(int(ground.tags_of(body)[0]), line, again))
        case = _place_case(ground, planted.kind, body, order, seconds, "seconds until the tag comes again")
        ground.cases.append(replace(case, line=line, end_s=again))


def _unknown(ground: Ground, planted: Planted) -> None:
    """A tag of another race, still on the shoe."""
    for body in ground.pick(ground.finished(planted), planted.count, planted.kind):
        name = f"X{int(ground.rng.integers(10**6, 10**7))}"
        add_stray(ground.tags, name, body)
        ground.cases.append(
            Case(
                planted.kind, runner=ground.bib(body), tag=name, detail="carried besides the runner's own tag"
            )
        )


def _outside(ground: Ground, planted: Planted) -> None:
    """Tags that the crew walks over a line long before the gun, or that ride home past it."""
    early = planted.kind is FaultKind.BEFORE_EVENT
    last_gun = max(wave.after_s for wave in ground.plan.waves)
    line = planted.line or ground.finish_line()
    for body in ground.pick(ground.finished(planted), planted.count, planted.kind):
        far = planted.seconds or (7200.0 if early else 17.5 * 3600)
        time = -far + 600 * ground.rng.random() if early else last_gun + far + 600 * ground.rng.random()
        tag = int(ground.tags_of(body)[0])
        ground.passes.append(ExtraPass(tag, line, float(time)))
        ground.cases.append(
            Case(
                planted.kind,
                runner=ground.bib(body),
                tag=str(ground.tags.tag[tag]),
                line=line,
                begin_s=float(time),
            )
        )


def _false_start(ground: Ground, planted: Planted) -> None:
    bodies = ground.bodies
    front = ground.finished(planted) & (bodies.delay < 25)
    for body in ground.pick(front, planted.count, planted.kind):
        ahead = planted.seconds or float(1.5 + 2.5 * ground.rng.random())
        gun = ground.plan.waves[bodies.wave[body]].after_s
        bodies.times[body, 0] = gun - ahead
        bodies.speeds[body, 0] = 3.0
        ground.cases.append(_place_case(ground, planted.kind, body, 0, ahead, "seconds before the gun"))


def _sleeper(ground: Ground, planted: Planted) -> None:
    late = planted.kind is FaultKind.LATE_TAG
    for body in ground.pick(ground.finished(planted, visits=4), planted.count, planted.kind):
        last = int(ground.last_order()[body])
        order = int(ground.rng.integers(2, last)) if late else int(ground.rng.integers(1, last))
        mine = ground.tags_of(body)
        if late:
            ground.tags.wakes[mine] = order
        else:
            ground.tags.dies[mine] = order
        detail = "first visit at which it answers" if late else "first visit at which it is dead"
        ground.cases.append(_place_case(ground, planted.kind, body, order, None, detail))


PLANTERS: dict[FaultKind, Callable[[Ground, Planted], None]] = {
    FaultKind.SWAPPED: _swap,
    FaultKind.TOGETHER: _together,
    FaultKind.COURSE_CUT: _cut,
    FaultKind.IMPOSSIBLE_PACE: _car,
    FaultKind.STANDING: _stand,
    FaultKind.VOLUNTEER: _volunteer,
    FaultKind.TOO_CLOSE: _back,
    FaultKind.UNKNOWN_TAG: _unknown,
    FaultKind.BEFORE_EVENT: _outside,
    FaultKind.AFTER_EVENT: _outside,
    FaultKind.FALSE_START: _false_start,
    FaultKind.LATE_TAG: _sleeper,
    FaultKind.DYING_TAG: _sleeper,
}


def plant(ground: Ground) -> None:
    """Plant the plan's faults among the people; duplicated rows are made when the reads are there."""
    for planted in ground.plan.faults:
        if planted.kind is not FaultKind.DUPLICATE_ROWS:
            PLANTERS[planted.kind](ground, planted)
