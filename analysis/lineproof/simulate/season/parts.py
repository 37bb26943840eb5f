"""What the events of the season are built from: the dressed event, timing sites, the usual start list."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from lineproof.simulate.description import StartList
from lineproof.simulate.exports import Export
from lineproof.simulate.plan import Clock, EventPlan, LinePlan, PointPlan, Silence
from lineproof.vocabulary import PointKind, Role

ZONE = "Europe/London"
TRAIL_DROPOUT = 0.012  # at each checkpoint, as open results of mountain trails show

ENTRY_COLUMNS = {
    "bib": "Bib",
    "tag": "Tag",
    "wave": "Wave",
    "class": "Class",
    "sex": "Sex",
    "age": "Age",
    "tag_kind": "Tag type",
    "tag_batch": "Batch",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Dressed:
    """An event of the season.  ``exports`` is given the reader's name of each line."""

    plan: EventPlan
    exports: Callable[[Mapping[str, str]], tuple[Export, ...]]
    start_list: StartList
    scene: str
    clean: bool = False
    trailer: bool = False  # a small event: half of the store came along
    worn: float | None = (
        None  # how far the season had gone, in its large events; None: as many as came before
    )


def local(month: int, day: int, hour: int, minute: int) -> dt.datetime:
    return dt.datetime(2026, month, day, hour, minute, tzinfo=ZoneInfo(ZONE))


def site(
    id: str,
    name: str,
    road_m: float,
    main: float,
    backup: float | None = None,
    *,
    kind: PointKind = PointKind.SPLIT,
    silent: tuple[Silence, ...] = (),
    clock_s: float = 0.0,
) -> PointPlan:
    """A point with a main line and, where ``backup`` has a rate, a backup line.

    ``silent`` and ``clock_s`` befall the main line.
    """
    mats = round(road_m)
    lines = [
        LinePlan(id=f"{id}-main", mats=mats, rate=main, silences=silent, clock=Clock(clock_s)),
        *([] if backup is None else [LinePlan(id=f"{id}-backup", role=Role.BACKUP, mats=mats, rate=backup)]),
    ]
    start = kind is PointKind.START
    return PointPlan(
        id=id,
        name=name,
        kind=kind,
        road_m=road_m,
        lines=tuple(lines),
        standing_share=0.8 if start else 0.0,
        strolling_share=0.06 if start else 0.0,
    )


def with_same_silence(plan: EventPlan, line_id: str, like: str) -> EventPlan:
    """Let one line be silent when another is: they share their power."""
    lines = {line.id: line for point in plan.points for line in point.lines}
    shared = {line_id: replace(lines[line_id], silences=lines[like].silences)}
    points = tuple(
        replace(point, lines=tuple(shared.get(line.id, line) for line in point.lines))
        for point in plan.points
    )
    return replace(plan, points=points)
