"""What is to be simulated: one event as a frozen plan of causes.

A plan says who runs where, what lies on the road and what goes wrong; never how many are missed.
Times inside a plan are seconds since the first gun.  A line's ``rate`` and the tags' ``weak_rate``
are stated for a runner at ``ReadingPhysics.usual_speed`` who is alone on the line; ``reading``
turns them into a chance for each read attempt, and dwell, crowding and place do the rest.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from zoneinfo import ZoneInfo

from lineproof.event import Course, Event, Line, Point, Visit, Wave
from lineproof.vocabulary import (
    READ_CHOICE_BY_KIND,
    SETTINGS,
    PointKind,
    Role,
    RunnerClass,
)

FOREVER = 1e9
SPACING_M = 3.0  # main to backup line; common practice


class FaultKind(StrEnum):
    """What can be planted; the truth lists every case with who, where and when."""

    DUPLICATE_ROWS = "duplicate rows"
    TOO_CLOSE = "two passings too close"
    TOGETHER = "two tags on one person"
    STANDING = "tag standing by a line"
    VOLUNTEER = "volunteer with a runner's tag"
    IMPOSSIBLE_PACE = "tag carried in a car"
    COURSE_CUT = "course cut"
    SWAPPED = "swapped tags"
    UNKNOWN_TAG = "tag on no list"
    BEFORE_EVENT = "read before the event"
    AFTER_EVENT = "read after the event"
    FALSE_START = "started before the gun"
    LATE_TAG = "tag that wakes late"
    DYING_TAG = "tag that dies early"
    LINE_CLOCK = "line clock wrong"
    LINE_SILENT = "line silent"
    MAT_WEAK = "weak mat"
    MAT_DEAD = "dead mat"
    PRACTICE_ROLE = "reader left in a practice role"
    ROAD_WIDER = "road wider than the line"
    FILLED_START = "start filled in with the gun"
    OUT_OF_ORDER = "time typed in out of order"
    SENTINEL = "sentinel instead of a time"


@dataclass(frozen=True, slots=True)
class Planted:
    """``count`` cases of one fault among the people.

    ``line``, ``point`` (skipped by a cut, reached by a car) and ``course`` narrow where it happens; ``seconds`` is how long a tag stands, how soon it comes
    back, or how far it lies from the gun, by kind (None: drawn).
    """

    kind: FaultKind
    count: int = 1
    line: str | None = None
    point: str | None = None
    course: str | None = None
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class ReadingPhysics:
    """How a line reads.  All of it common practice or chosen to reach rates seen in open results."""

    zone_m: float = 1.2  # length of an antenna's read zone along the road
    reach_m: float = 0.45  # lateral spread of the read chance about the antenna's centre
    attempts_per_s: float = 24.0  # of one antenna, shared by the tags in its zone
    pose_sd: float = 1.6  # logit; foot, body and tag attitude, drawn anew at every line
    shared_sd: float = 0.0  # logit; the part of it that both lines of a point share
    drift_m: float = 0.2  # lateral change over the metres between two lines
    usual_speed: float = 3.0  # m/s at which stated rates hold
    usual_line: float = 0.99  # rate of the line at which a weak tag's stated rate holds


@dataclass(frozen=True, slots=True)
class Clock:
    offset_s: float = 0.0
    drift_ppm: float = 0.0


@dataclass(frozen=True, slots=True)
class Silence:
    """A line reads nothing from ``begin_s`` to ``end_s``: power cut, laid late, lifted early."""

    begin_s: float
    end_s: float
    cause: str = "power cut"


@dataclass(frozen=True, slots=True)
class MatFault:
    """Mat ``mat`` (1 at the near side) loses ``logit`` of its read chance from ``begin_s`` on; inf: dead."""

    mat: int
    logit: float
    begin_s: float = -FOREVER


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePlan:
    id: str
    role: Role = Role.MAIN
    mats: int = 5
    rate: float = 0.99
    offset_m: float = 0.0  # near edge of the first mat, from the near edge of the road
    clock: Clock = Clock()
    silences: tuple[Silence, ...] = ()
    mat_faults: tuple[MatFault, ...] = ()
    practice: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PointPlan:
    id: str
    kind: PointKind = PointKind.SPLIT
    name: str = ""
    road_m: float = 5.0
    lines: tuple[LinePlan, ...] = ()
    standing_share: float = 0.0  # of the front of each wave stands on the mats before the gun
    strolling_share: float = 0.0  # of all runners walks over the mats in the half hour before


@dataclass(frozen=True, slots=True, kw_only=True)
class CoursePlan:
    """``visits`` are (point, metres from the start); ``climbs_m`` is the climb of each segment."""

    id: str
    visits: tuple[tuple[str, float], ...]
    name: str = ""
    climbs_m: tuple[float, ...] = ()
    pace_s_km: float = 335.0  # median man over 10 flat km
    pace_sd: float = 0.17  # of the logarithm
    fatigue: float = 0.06  # mean rise of pace from start to finish
    dropout: float = 0.003  # chance on each segment
    rounding_s: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WavePlan:
    id: str
    course: str
    runners: int
    after_s: float = 0.0
    flow_per_s: float = 6.0  # over the start line
    runner_class: RunnerClass = RunnerClass.FOOT
    absent_share: float = 0.04  # entered, did not start


@dataclass(frozen=True, slots=True, kw_only=True)
class TagPlan:
    kinds: tuple[str, ...] = ("bib",)  # two kinds: everybody carries two tags
    weak_share: float = 0.0015
    weak_rate: float = 0.6
    silent_share: float = 0.0  # never answer
    tag_sd: float = 0.0  # logit, normal; the second family of tag effects
    batches: int = 4
    prefix: str = "K"
    digits: int = 6
    stock: int | None = None  # tags given out again: the stock's number; None: new tags for every event


@dataclass(frozen=True, slots=True, kw_only=True)
class EventPlan:
    id: str
    name: str
    gun: dt.datetime  # first gun; aware
    zone: str = "Europe/London"
    courses: tuple[CoursePlan, ...]
    waves: tuple[WavePlan, ...]
    points: tuple[PointPlan, ...]
    tags: TagPlan = TagPlan()
    physics: ReadingPhysics = ReadingPhysics()
    faults: tuple[Planted, ...] = ()
    settings: Mapping[str, float] = field(default_factory=dict)
    youngest: int = 16

    def course(self, course_id: str) -> CoursePlan:
        return next(course for course in self.courses if course.id == course_id)


def to_event(plan: EventPlan) -> Event:
    """The event as ``load_event`` would give it, without a folder or inputs."""
    zone = ZoneInfo(plan.zone)
    return Event(
        id=plan.id,
        name=plan.name,
        date=plan.gun.astimezone(zone).date(),
        zone=plan.zone,
        folder=Path(plan.id),
        courses=tuple(_course(course) for course in plan.courses),
        waves=tuple(
            Wave(w.id, w.course, plan.gun.astimezone(dt.UTC) + dt.timedelta(seconds=w.after_s))
            for w in plan.waves
        ),
        points=tuple(Point(p.id, p.name or p.id, p.kind, READ_CHOICE_BY_KIND[p.kind]) for p in plan.points),
        lines=tuple(
            Line(line.id, line.id, point.id, line.role, SPACING_M, float(line.mats))
            for point in plan.points
            for line in point.lines
        ),
        inputs=(),
        entries=None,
        course_names={},
        wave_names={},
        class_names={},
        settings={**{name: setting.value for name, setting in SETTINGS.items()}, **plan.settings},
        gate={},
    )


def _course(plan: CoursePlan) -> Course:
    seen: dict[str, int] = {}
    visits = []
    for order, (point, at_m) in enumerate(plan.visits):
        seen[point] = seen.get(point, 0) + 1
        visits.append(Visit(order, point, seen[point], float(at_m)))
    return Course(plan.id, plan.name or plan.id, tuple(visits), round(plan.rounding_s * 1e6))
