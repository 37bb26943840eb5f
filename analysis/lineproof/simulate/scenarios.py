"""Plans to test estimators against: a plain clean event, and the situations an analysis must answer or refuse."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import replace

from lineproof.simulate.plan import (
    FOREVER,
    CoursePlan,
    EventPlan,
    LinePlan,
    Planted,
    PointPlan,
    ReadingPhysics,
    Silence,
    TagPlan,
    WavePlan,
)
from lineproof.vocabulary import PointKind, Role

GUN = dt.datetime(2026, 5, 17, 8, 30, tzinfo=dt.UTC)


def clean_plan(
    runners: int = 1000,
    points: int = 5,
    *,
    id: str = "clean",
    distance_m: float = 10_000,
    line_rate: tuple[float, ...] = (0.99, 0.985),
    weak_share: float = 0.0015,
    weak_rate: float = 0.6,
    silent_share: float = 0.0,
    tag_sd: float = 0.0,
    tag_kinds: tuple[str, ...] = ("bib",),
    dropout_total: float = 0.008,
    waves: int = 2,
    flow_per_s: float = 6.0,
    road_m: float = 5.0,
    physics: ReadingPhysics | None = None,
    faults: tuple[Planted, ...] = (),
    climb_m: float = 0.0,
    pace_s_km: float = 335.0,
) -> EventPlan:
    """A course of ``points`` equally spaced points, start and finish included: s, p1, p2 …, f.

    ``line_rate`` has one value per line of a point: (main, backup), or (main,) for single lines.
    Lines are named ``<point>-main`` and ``<point>-backup``; waves A, B … start ten minutes apart.
    Nothing is wrong except what the arguments say.
    """
    if points < 2 or not 1 <= len(line_rate) <= 2:
        raise ValueError("a clean plan needs two points or more, and one or two lines at each")
    names = ["s", *(f"p{i}" for i in range(1, points - 1)), "f"]
    course = CoursePlan(
        id="c",
        visits=tuple((name, round(distance_m * i / (points - 1), 1)) for i, name in enumerate(names)),
        climbs_m=(climb_m / (points - 1),) * (points - 1) if climb_m else (),
        pace_s_km=pace_s_km,
        dropout=1 - (1 - dropout_total) ** (1 / (points - 1)),
    )
    shares = [runners // waves + (i < runners % waves) for i in range(waves)]
    return EventPlan(
        id=id,
        name=id,
        gun=GUN,
        courses=(course,),
        waves=tuple(
            WavePlan(id=chr(65 + i), course="c", runners=n, after_s=600.0 * i, flow_per_s=flow_per_s)
            for i, n in enumerate(shares)
        ),
        points=tuple(_point(name, line_rate, road_m) for name in names),
        tags=TagPlan(
            kinds=tag_kinds,
            weak_share=weak_share,
            weak_rate=weak_rate,
            silent_share=silent_share,
            tag_sd=tag_sd,
        ),
        physics=physics or ReadingPhysics(),
        faults=faults,
    )


def _point(name: str, line_rate: tuple[float, ...], road_m: float) -> PointPlan:
    kinds = {"s": PointKind.START, "f": PointKind.FINISH}
    lines = tuple(
        LinePlan(id=f"{name}-{role}", role=role, mats=round(road_m), rate=rate)
        for role, rate in zip(Role, line_rate, strict=False)
    )
    start = name == "s"
    return PointPlan(
        id=name,
        kind=kinds.get(name, PointKind.SPLIT),
        road_m=road_m,
        lines=lines,
        standing_share=0.8 if start else 0.0,
        strolling_share=0.1 if start else 0.0,
    )


def with_line(plan: EventPlan, line_id: str, **changes: object) -> EventPlan:
    """The plan with fields of one line replaced (``rate``, ``clock``, ``silences``, ``mat_faults`` …)."""
    if line_id not in {line.id for point in plan.points for line in point.lines}:
        raise ValueError(f'the plan has no line "{line_id}"')
    points = tuple(
        replace(
            point,
            lines=tuple(
                replace(line, **changes) if line.id == line_id else line  # type: ignore[arg-type]
                for line in point.lines
            ),
        )
        for point in plan.points
    )
    return replace(plan, points=points)


def _outage(runners: int) -> EventPlan:
    return with_line(clean_plan(runners), "p2-main", silences=(Silence(1700, 2100),))


def _lifted(runners: int) -> EventPlan:
    lifted = Silence(4200, FOREVER, "lifted early")
    return with_line(clean_plan(runners), "p3-main", silences=(lifted,))


def _crowding(runners: int) -> EventPlan:
    return clean_plan(runners, waves=1, flow_per_s=25, road_m=6)


def _rain(runners: int) -> EventPlan:
    return clean_plan(runners, line_rate=(0.965, 0.955), weak_share=0.02, weak_rate=0.55)


def _trail(runners: int) -> EventPlan:
    return clean_plan(
        min(runners, 1000),
        8,
        distance_m=32_000,
        climb_m=1500,
        pace_s_km=370,
        dropout_total=1 - (1 - 0.012) ** 7,
        waves=1,
        flow_per_s=4,
        road_m=3,
    )


def _dark(runners: int) -> EventPlan:
    """Both lines of the finish out for eight minutes; nothing later proves anybody."""
    out = (Silence(3000, 3480),)
    return with_line(with_line(clean_plan(runners), "f-main", silences=out), "f-backup", silences=out)


MUST_ANSWER: dict[str, Callable[[int], EventPlan]] = {
    "good lines": lambda n: clean_plan(n),
    "weak tags 0.15 %": lambda n: clean_plan(n, weak_share=0.0015),
    "weak tags 1 %": lambda n: clean_plan(n, weak_share=0.01),
    "weak tags 3 %": lambda n: clean_plan(n, weak_share=0.03),
    "crowding": _crowding,
    "outage of one line": _outage,
    "lifted early": _lifted,
    "no drop-outs": lambda n: clean_plan(n, dropout_total=0.0),
    "drop-outs 20 %": lambda n: clean_plan(n, dropout_total=0.2),
    "rain": _rain,
    "normal effect": lambda n: clean_plan(n, weak_share=0.0, tag_sd=1.0),
    "trail": _trail,
}

MUST_REFUSE: dict[str, Callable[[int], EventPlan]] = {
    "one line per point": lambda n: clean_plan(n, line_rate=(0.985,)),
    "too small to tell": lambda _: clean_plan(200, line_rate=(0.999, 0.999), weak_share=0.0),
    "both lines out, nothing later": _dark,
}
