"""One line as it was laid, with its mats and its place in the plan: what the rules of the trade look at."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from lineproof.event import Event, Line, Point
from lineproof.setup.loading import Setup


@dataclass(frozen=True, slots=True)
class LaidMat:
    slot: int
    mat: str | None
    port: int | None
    floor_cm: float | None
    ceiling_cm: float | None

    @property
    def name(self) -> str:
        return f"slot {self.slot}" + (f" ({self.mat})" if self.mat else "")

    @property
    def is_recorded(self) -> bool:
        return any(fact is not None for fact in (self.mat, self.port, self.floor_cm, self.ceiling_cm))


@dataclass(frozen=True, slots=True)
class LaidLine:
    """``facts`` are the columns of LAID_LINES, empty where the line has no row."""

    event: Event
    line: Line
    point: Point
    facts: Mapping[str, object]
    mats: tuple[LaidMat, ...]

    def number(self, name: str) -> float | None:
        value = self.facts.get(name)
        return float(value) if isinstance(value, int | float) else None

    def yes(self, name: str) -> bool | None:
        value = self.facts.get(name)
        return value if isinstance(value, bool) else None

    def text(self, name: str) -> str | None:
        value = self.facts.get(name)
        return value if isinstance(value, str) else None

    def instant(self, name: str) -> dt.datetime | None:
        value = self.facts.get(name)
        return value if isinstance(value, dt.datetime) else None

    def clock(self, instant: dt.datetime) -> str:
        """The clock time of the event's zone."""
        return instant.astimezone(ZoneInfo(self.event.zone)).strftime("%H:%M")


def to_laid_lines(event: Event, setup: Setup) -> tuple[LaidLine, ...]:
    """Every line of the plan, recorded or not, in the order of the plan."""
    facts = {str(row["line"]): row for row in setup.lines.iter_rows(named=True)}
    mats: dict[str, list[LaidMat]] = {}
    for row in setup.mats.iter_rows(named=True):
        mat = LaidMat(row["slot"], row["mat"], row["port"], row["hand_floor_cm"], row["hand_ceiling_cm"])
        mats.setdefault(str(row["line"]), []).append(mat)
    return tuple(
        LaidLine(event, line, event.point(line.point), facts.get(line.id, {}), tuple(mats.get(line.id, ())))
        for line in event.lines
    )
