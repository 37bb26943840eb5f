"""Whether bare times are times of day or elapsed times: the reading under which people run at a human pace.

Only used under ``times = "auto"`` in merged and wide tables, where each time belongs to a stated
distance.  One reading must fit nearly all values and the other must not; otherwise nobody decides.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import polars as pl

from lineproof.event import Event
from lineproof.intake.layouts import Bare
from lineproof.intake.times import DAY, PATTERNS, SECOND, Kind, local_us

FASTEST = 13.0  # m/s; no timed segment of a road or trail race is faster, wheels downhill included on average
SLOWEST = 0.5  # m/s; a hiker uphill, rests included
LONGEST_START = 2 * 3600.0  # s from the first gun to the last runner over the start
EARLY_START = 600.0  # s; clock times at a start may lead the gun by this
FITS, FAILS = 0.9, 0.5

_PARTS = r"^(?:(\d{1,4}):)?(\d{1,4}):(\d{1,2})(?:[.,]\d+)?(?: ?[AaPp]\.?[Mm]\.?)?$"
_CLOCK_WORDS = ("clock", "time of day", "day time", "daytime")
_ELAPSED_WORDS = ("elapsed", "net", "gun", "split", "duration")


def distances(event: Event, point: str, visit: int | None) -> tuple[float, float] | None:
    """Shortest and longest stated distance of a point (at this visit) over the courses."""
    at = [
        v.at_m
        for course in event.courses
        for v in course.visits
        if v.point == point and visit in (None, v.visit)
    ]
    return (min(at), max(at)) if at else None


@dataclass(frozen=True, slots=True)
class PaceJudge:
    """Answers what bare times mean.  ``frame``: ``text``, ``near_m``, ``far_m`` (stated distance)."""

    frame: pl.DataFrame
    event: Event
    zone: str
    headers: tuple[str, ...]
    _answers: dict[Kind, Bare | None] = field(default_factory=dict)

    def __call__(self, kind: Kind) -> Bare | None:
        """The same answer for every column asked about; worked out once."""
        if kind not in self._answers:
            self._answers[kind] = self._judge(kind)
        return self._answers[kind]

    def _judge(self, kind: Kind) -> Bare | None:
        rows = self.frame.filter(pl.col("text").str.contains(PATTERNS[kind]))
        if not rows.height or self.event.first_gun is None:
            return self._by_words()
        if kind is Kind.NUMBER:
            elapsed, clock = self._share(rows, _decimal_seconds()), 0.0
        else:
            elapsed, clock = self._share(rows, _colon_seconds(as_clock=False)), self._clock_share(rows)
        shown = ", ".join(f'"{header}"' for header in self.headers[:4]) + (
            " …" if len(self.headers) > 4 else ""
        )
        if elapsed >= FITS and clock < FAILS:
            return Bare(
                "elapsed", f"bare times under {shown} were read as elapsed: only so do they give human paces"
            )
        if clock >= FITS and elapsed < FAILS:
            return Bare(
                "clock",
                f"bare times under {shown} were read as times of day: only so do they give human paces",
            )
        return self._by_words() if kind is Kind.COLON else None

    def _share(self, rows: pl.DataFrame, seconds: pl.Expr) -> float:
        fastest, slowest = pl.col("near_m") / FASTEST, pl.col("far_m") / SLOWEST + LONGEST_START
        fits = seconds.is_between(fastest, slowest)
        return float(rows.select(fits.fill_null(False).mean()).item())

    def _clock_share(self, rows: pl.DataFrame) -> float:
        """Placed in the day of the event, counted from the guns; the first gun may be hours before the last."""
        guns = [local_us(wave.gun, self.zone) / SECOND for wave in self.event.waves if wave.gun is not None]
        opens = local_us(self.event.opens, self.zone) / SECOND
        day = DAY / SECOND
        placed = opens // day * day + _colon_seconds(as_clock=True)
        placed = pl.when(placed < opens).then(placed + day).otherwise(placed)
        earliest = (
            min(guns)
            - pl.when(pl.col("near_m") > 0).then(0.0).otherwise(EARLY_START)
            + pl.col("near_m") / FASTEST
        )
        latest = max(guns) + pl.col("far_m") / SLOWEST + LONGEST_START
        fits = placed.is_between(earliest, latest)
        return float(rows.select(fits.fill_null(False).mean()).item())

    def _by_words(self) -> Bare | None:
        """The headers' own words, where all agree."""
        found = set()
        for header in self.headers:
            words = header.casefold()
            clock, elapsed = (
                any(w in words for w in _CLOCK_WORDS),
                any(w in words.split() for w in _ELAPSED_WORDS),
            )
            found.add("clock" if clock and not elapsed else "elapsed" if elapsed and not clock else "")
        meaning = found.pop() if len(found) == 1 else ""
        return (
            Bare(meaning, f'times under "{self.headers[0]}" were read as {meaning}, as the header says')
            if meaning
            else None
        )


def _colon_seconds(as_clock: bool) -> pl.Expr:
    """Seconds of ``h:mm:ss``; of two parts, ``h:mm`` as a time of day and ``mm:ss`` as a duration."""
    part = pl.col("text").str.extract_groups(_PARTS).struct
    first, second, third = (part.field(str(i)).cast(pl.Float64, strict=False) for i in (1, 2, 3))
    three = first * 3600 + second * 60 + third
    two = second * 3600 + third * 60 if as_clock else second * 60 + third
    hour = pl.when(first.is_null()).then(second).otherwise(first)
    value = pl.when(first.is_null()).then(two).otherwise(three)
    return pl.when(hour <= 24).then(value) if as_clock else value


def _decimal_seconds() -> pl.Expr:
    return pl.col("text").str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
