"""One planted fault as the truth lists it, and what a fault adds to the passes over a line."""

from __future__ import annotations

from dataclasses import dataclass, replace

from lineproof.simulate.plan import EventPlan, FaultKind, LinePlan

DEAD_LOGIT = 20.0  # a mat that loses more than this is dead


@dataclass(frozen=True, slots=True)
class Case:
    """One planted fault.  Times are true seconds since the first gun."""

    kind: FaultKind
    runner: str | None = None
    tag: str | None = None
    other_runner: str | None = None
    other_tag: str | None = None
    point: str | None = None
    line: str | None = None
    course: str | None = None
    order: int | None = None
    begin_s: float | None = None
    end_s: float | None = None
    value: float | None = None
    detail: str = ""
    file: str | None = None  # for a fault made in an export: its file, row and column there
    row: int | None = None
    column: str | None = None


@dataclass(frozen=True, slots=True)
class ExtraPass:
    """A tag that goes over one line outside its course."""

    tag: int
    line: str
    time: float


@dataclass(frozen=True, slots=True)
class Stand:
    """A tag that stays in reach of a line."""

    tag: int
    line: str
    begin_s: float
    seconds: float


def line_cases(plan: EventPlan) -> list[Case]:
    """What is wrong with the lines themselves, as the plan states it."""
    return [
        replace(case, point=point.id, line=line.id)
        for point in plan.points
        for line in point.lines
        for case in _line_cases(line, point.road_m)
    ]


def _line_cases(line: LinePlan, road_m: float) -> list[Case]:
    cases = [
        Case(FaultKind.LINE_SILENT, begin_s=s.begin_s, end_s=s.end_s, detail=s.cause) for s in line.silences
    ]
    for mat in line.mat_faults:
        kind = FaultKind.MAT_DEAD if mat.logit > DEAD_LOGIT else FaultKind.MAT_WEAK
        cases.append(
            Case(
                kind, begin_s=mat.begin_s, value=float(mat.mat), detail="number of the mat from the near side"
            )
        )
    if abs(line.clock.offset_s) >= 1:
        cases.append(Case(FaultKind.LINE_CLOCK, value=line.clock.offset_s, detail="seconds ahead"))
    if line.practice:
        cases.append(Case(FaultKind.PRACTICE_ROLE))
    bare = road_m - line.offset_m - line.mats
    if bare > 0:
        cases.append(Case(FaultKind.ROAD_WIDER, value=bare, detail="metres without a mat"))
    return cases
