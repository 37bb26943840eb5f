"""When each line says that each runner came by, side by side: what clocks are compared with."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineproof.clock_trust import GUN, first_times
from lineproof.course_visits import visits_frame
from lineproof.event import Event, Line

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LineTimes:
    """One course: ``times`` (runners, lines) in seconds after the earliest gun, NaN where not read; ``gun`` likewise.

    ``lines`` stand in course order, main before backup; ``at_m`` are their points' first visits.
    """

    course: str
    lines: tuple[Line, ...]
    at_m: Floats
    times: Floats
    gun: Floats

    def column(self, line: str) -> int:
        return [each.id for each in self.lines].index(line)


def to_line_times(held: pl.DataFrame, event: Event) -> list[LineTimes]:
    """By course, the one with the most runners first.  ``held`` are passings with their runner and gun."""
    found = [
        _of_course(held.filter(pl.col("course") == course.id), course.id, event) for course in event.courses
    ]
    return sorted((x for x in found if x is not None), key=lambda x: -len(x.gun))


def _of_course(held: pl.DataFrame, course: str, event: Event) -> LineTimes | None:
    frame = first_times(held, event)
    if frame.is_empty():
        return None
    places = visits_frame(event).filter((pl.col("course") == course) & (pl.col("visit") == 1))
    at_m = dict(places.select("point", "at_m").iter_rows())
    lines = [line for line in event.lines if line.id in frame.columns and line.point in at_m]
    lines.sort(key=lambda line: (at_m[line.point], line.role.value != "main"))
    seconds = frame.select(pl.col([GUN, *(line.id for line in lines)]).dt.epoch("us").cast(pl.Float64) / 1e6)
    matrix = seconds.to_numpy()
    zero = float(matrix[:, 0].min())
    return LineTimes(
        course=course,
        lines=tuple(lines),
        at_m=np.array([float(at_m[line.point]) for line in lines]),
        times=matrix[:, 1:] - zero,
        gun=matrix[:, 0] - zero,
    )
