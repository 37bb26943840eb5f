"""Names for timing points and lines as a reader knows them, in course order."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from zoneinfo import ZoneInfo

import polars as pl

from lineproof.event import Event


def point_labels(event: Event) -> dict[str, str]:
    """Names of the points in course order; the id is added where two have one name."""
    reached = {visit.point: visit.at_m for course in event.courses for visit in reversed(course.visits)}
    points = sorted(event.points, key=lambda point: reached.get(point.id, float("inf")))
    named = Counter(point.name for point in points)
    return {
        point.id: point.name if named[point.name] == 1 else f"{point.name} ({point.id})" for point in points
    }


def line_labels(event: Event) -> dict[str, str]:
    """``10 km, backup`` for each line, points in course order and main before backup."""
    return {
        line.id: f"{label}, {line.role.value}"
        for point, label in point_labels(event).items()
        for line in event.lines_at(point)
    }


def label_of(labels: dict[str, str], column: str) -> pl.Expr:
    """The label of an id, as text."""
    return pl.col(column).cast(pl.String).replace(labels)


def place_of(labels: dict[str, str], column: str) -> pl.Expr:
    """The place of an id in the order of its labels."""
    places = {name: place for place, name in enumerate(labels)}
    return pl.col(column).cast(pl.String).replace_strict(places, default=len(places), return_dtype=pl.Int32)


def day_clock(event: Event, instant: str) -> pl.Expr:
    """Instants as clock time of the day's beginning, without a zone: it runs on evenly when clocks change."""
    return pl.col(instant).dt.replace_time_zone(None) + pl.lit(_offset(event))


def clock_words(event: Event, begin: pl.Series, minutes: int) -> pl.Series:
    """``09:40–09:50`` for bins that begin at ``day_clock`` times: true local times.

    The zone's abbreviation is added to all where the clocks change among them.
    """
    local = (begin - _offset(event)).dt.replace_time_zone("UTC").dt.convert_time_zone(event.zone)
    until = local.dt.offset_by(f"{minutes}m")
    changes = (local.dt.replace_time_zone(None) != begin).any()
    return local.dt.strftime("%H:%M") + "–" + until.dt.strftime("%H:%M %Z" if changes else "%H:%M")


def _offset(event: Event) -> dt.timedelta:
    begin = event.first_gun or event.opens
    return begin.astimezone(ZoneInfo(event.zone)).utcoffset() or dt.timedelta(0)
