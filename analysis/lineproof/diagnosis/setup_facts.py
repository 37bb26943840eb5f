"""What the set-up record says of a pattern: facts that agree, facts that speak against it, facts not recorded.

The record never makes a pattern; it may only decide between two causes that leave the same trace (a road wider than
the line or a weak last mat; a reader told too few ports or a dead last mat; a practice role or a weak line).
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from lineproof.diagnosis.pattern import Pattern
from lineproof.diagnosis.windows import to_time
from lineproof.event import Event
from lineproof.vocabulary import Cause, InterruptionKind

BARE_M = 0.3  # road not covered, from which on runners pass beside the mats
SLACK = dt.timedelta(minutes=2)  # times in a record are written down by hand
WET = ("rain", "wet", "snow", "storm", "shower", "puddle")

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Facts:
    items: str | None
    agree: tuple[str, ...] = ()
    disagree: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


class _Sorted:
    """Collects facts by what they say."""

    def __init__(self) -> None:
        self.agree: list[str] = []
        self.disagree: list[str] = []
        self.missing: list[str] = []

    def say(self, agrees: bool | None, agree: str, disagree: str, missing: str) -> None:
        """Sorts one fact in; ``agrees`` is None where it was not recorded; empty words are left out."""
        words = missing if agrees is None else agree if agrees else disagree
        heap = self.missing if agrees is None else self.agree if agrees else self.disagree
        if words:
            heap.append(words)


@dataclass(frozen=True, slots=True)
class LaidSetup:
    """LAID_LINES and LAID_MATS of the event; empty where nothing was recorded."""

    laid_lines: pl.DataFrame
    laid_mats: pl.DataFrame

    def line(self, line: str | None) -> Row:
        rows = self.laid_lines.filter(pl.col("line") == line) if line is not None else self.laid_lines.head(0)
        empty: Row = dict.fromkeys(self.laid_lines.columns)
        return rows.row(0, named=True) if rows.height else empty

    def mat(self, line: str | None, antenna: int | None) -> Row:
        """The slot whose mat is cabled to the port; by slot where no port was recorded."""
        empty: Row = dict.fromkeys(self.laid_mats.columns)
        if line is None or antenna is None:
            return empty
        rows = self.laid_mats.filter(
            pl.col("line") == line, pl.coalesce("port", "slot").cast(pl.Int64) == antenna
        )
        return rows.row(0, named=True) if rows.height else empty

    def ports_told(self) -> dict[str, int]:
        told = self.laid_lines.filter(pl.col("ports_told").is_not_null())
        return dict(told.select("line", pl.col("ports_told").cast(pl.Int64)).iter_rows())

    def in_practice(self, line: str) -> bool:
        return bool(self.line(line)["reader_role"] == "practice")

    def as_bare_road(self, pattern: Pattern) -> Pattern:
        """A weak last mat where the record says that the road was wider than the line: the road's."""
        laid = self.line(pattern.line)
        mats = self.laid_mats.filter(pl.col("line") == pattern.line).height
        bare = _bare_m(laid)
        if bare is None or bare < BARE_M or not mats or pattern.antenna not in (1, mats):
            return pattern
        gap = laid["near_gap_m"]
        if gap is not None and (gap >= BARE_M) != (pattern.antenna == 1) and bare - gap < BARE_M:
            return pattern  # the bare strip is at the other side
        side = "near side" if pattern.antenna == 1 else "far side"
        return replace(pattern, cause=Cause.ROAD_WIDER, kind=side)

    def facts(self, pattern: Pattern, event: Event) -> Facts:
        found = _Sorted()
        FACTS_BY_CAUSE[pattern.cause](found, self, pattern, event)
        return Facts(_items(self, pattern), tuple(found.agree), tuple(found.disagree), tuple(found.missing))


def _lines(pattern: Pattern, event: Event) -> list[str]:
    if pattern.line is not None:
        return [pattern.line]
    return [line.id for line in event.lines_at(pattern.point)] if pattern.point is not None else []


def _bare_m(laid: Row) -> float | None:
    if laid["road_width_m"] is None or laid["covered_width_m"] is None:
        return None
    return float(laid["road_width_m"]) - float(laid["covered_width_m"])


def _items(setup: LaidSetup, pattern: Pattern) -> str | None:
    """The items that the record puts there: of one antenna its mat and cable, else the line's reader."""
    words = []
    if pattern.cause in (Cause.SILENT_ANTENNA, Cause.WEAK_ANTENNA):
        mat = setup.mat(pattern.line, pattern.antenna)
        words += [f"{name} {mat[name]}" for name in ("mat", "cable") if mat[name] is not None]
    reader = setup.line(pattern.line)["reader"]
    if reader is not None:
        words.append(f"reader {reader}")
    return ", ".join(words) or None


def _of_antenna(found: _Sorted, setup: LaidSetup, pattern: Pattern, event: Event) -> None:
    mat, laid = setup.mat(pattern.line, pattern.antenna), setup.line(pattern.line)
    slot = mat["slot"] if mat["slot"] is not None else pattern.antenna
    ceiling, floor = mat["hand_ceiling_cm"], mat["hand_floor_cm"]
    asked, lowest = event.setting("hand_ceiling_cm"), event.setting("hand_floor_cm")
    later = pattern.begin is not None
    found.say(
        None if ceiling is None else ceiling < asked,
        f"hand test of slot {slot} reached only {ceiling or 0:.0f} cm; {asked:.0f} cm is asked for",
        "" if later else f"hand test of slot {slot} reached {ceiling or 0:.0f} cm, as asked for",
        f"height of the hand test of slot {slot}",
    )
    if floor is not None and floor > lowest:
        found.agree.append(
            f"hand test of slot {slot} began at {floor:.0f} cm only; {lowest:.0f} cm is asked for"
        )
    walked = laid["walk_test"]
    found.say(
        None if walked is None else not walked,
        "no walk test over every mat",
        "" if later or pattern.cause is Cause.WEAK_ANTENNA else "the walk test had an answer from every mat",
        "walk test",
    )
    told = laid["ports_told"]
    if told is not None and pattern.antenna is not None and told < pattern.antenna:
        found.agree.append(f"the reader was told {told} ports, fewer than this antenna's number")
    if mat["mat"] is None:
        found.missing.append(f"which mat and cable lay in slot {slot}")
    if later and _near(laid["relaid"], pattern):
        found.agree.append("the line was laid again at about that time")


def _of_ports(found: _Sorted, setup: LaidSetup, pattern: Pattern, _event: Event) -> None:
    told, mats = (
        setup.line(pattern.line)["ports_told"],
        setup.laid_mats.filter(pl.col("line") == pattern.line),
    )
    silent = pattern.antenna or 0
    found.say(
        None if told is None else told < silent,
        f"the reader was told {told} ports, and {mats.height or 'more'} were in use",
        f"the reader was told {told} ports",
        "how many ports the reader was told",
    )


def _near(when: dt.datetime | None, pattern: Pattern) -> bool:
    begin, end = to_time(pattern.begin), to_time(pattern.end)
    if when is None:
        return False
    return (begin is None or when >= begin - SLACK) and (end is None or when <= end + SLACK)


def _of_window(found: _Sorted, setup: LaidSetup, pattern: Pattern, event: Event) -> None:
    rows = [setup.line(line) for line in _lines(pattern, event)]
    for words, name in (("power changed over", "change_over"), ("line laid again", "relaid")):
        if any(_near(row[name], pattern) for row in rows):
            found.agree.append(f"{words} in the window")
    if pattern.kind == InterruptionKind.LIFTED_EARLY.value:
        _edge(found, rows, "lifted", pattern.begin, "lifted")
    if pattern.kind == InterruptionKind.LAID_LATE.value:
        _edge(found, rows, "laid", pattern.end, "laid and tested")
    if pattern.kind in (InterruptionKind.LIFTED_EARLY.value, InterruptionKind.LAID_LATE.value):
        return
    sure = [row["backup_power"] for row in rows]
    if any(value is not None for value in sure):
        has = any(value is True for value in sure)
        found.say(not has, "no second power source", "a second power source was there to take over", "")
    if all(row["change_over"] is None and row["power"] is None for row in rows):
        found.missing.append("power source and change-overs")
    if pattern.cause is Cause.BOTH_LINES:
        _shared_power(found, rows)


def _edge(found: _Sorted, rows: list[Row], name: str, edge: int | None, words: str) -> None:
    """Whether the recorded time of lifting or laying lies at the edge of the window."""
    moment = to_time(edge)
    times = [row[name] for row in rows if row[name] is not None]
    if moment is None or not times:
        found.missing.append(f"when the line was {words}")
        return
    late = 5 * SLACK
    close = any(abs(time - moment) <= late for time in times)
    clock = "the time recorded"
    found.say(
        close, f"{words} at {clock}, at the edge of the window", f"{words} at another time by the record", ""
    )


def _shared_power(found: _Sorted, rows: list[Row]) -> None:
    power = [row["power"] for row in rows]
    known = [word for word in power if word is not None]
    found.say(
        None if len(known) < 2 else len(set(known)) == 1,
        f"both lines were on the same power ({known[0] if known else ''})",
        "the two lines were on different power",
        "what power each line was on",
    )


def _of_road(found: _Sorted, setup: LaidSetup, pattern: Pattern, event: Event) -> None:
    bare = [
        value for value in (_bare_m(setup.line(line)) for line in _lines(pattern, event)) if value is not None
    ]
    laid = [setup.line(line) for line in _lines(pattern, event)]
    widths = [(row["road_width_m"], row["covered_width_m"]) for row in laid if _bare_m(row) is not None]
    words = f"the road was {widths[0][0]:g} m wide, the mats covered {widths[0][1]:g} m" if widths else ""
    found.say(
        None if not bare else max(bare) >= BARE_M,
        words,
        words,
        "road width and covered width",
    )


def _of_role(found: _Sorted, setup: LaidSetup, pattern: Pattern, _event: Event) -> None:
    role = setup.line(pattern.line)["reader_role"]
    found.say(
        None if role is None else role == "practice",
        "the record says that the reader was in a practice role",
        "the record says that the reader was in its race role",
        "role that the reader was set to",
    )


def _of_line(found: _Sorted, setup: LaidSetup, pattern: Pattern, event: Event) -> None:
    laid = setup.line(pattern.line)
    weather, spacing = laid["weather"], laid["spacing_m"]
    apart, asked = event.setting("line_spacing_m"), event.setting("hand_ceiling_cm")
    found.say(
        None if weather is None else any(word in str(weather).lower() for word in WET),
        f"weather: {weather}",
        "",
        "weather",
    )
    found.say(
        None if spacing is None else spacing < apart,
        f"the two lines lay {spacing or 0:g} m apart; {apart:g} m is asked for",
        "",
        "distance between the two lines",
    )
    tested = setup.laid_mats.filter(pl.col("line") == pattern.line)["hand_ceiling_cm"].drop_nulls()
    low = int((tested < asked).sum())
    found.say(
        None if tested.is_empty() else low > 0,
        f"hand test below {asked:.0f} cm on {low} of {len(tested)} mats",
        f"hand test good on all {len(tested)} mats",
        "heights of the hand test",
    )
    _of_role(found, setup, pattern, event)


def _of_crowd(found: _Sorted, setup: LaidSetup, pattern: Pattern, event: Event) -> None:
    widths = [setup.line(line)["covered_width_m"] for line in _lines(pattern, event)]
    if all(width is None for width in widths):
        found.missing.append("covered width")


def _of_tags(found: _Sorted, setup: LaidSetup, pattern: Pattern, event: Event) -> None:
    """The set-up record says nothing of tags; their batch and type stand in the table of tags."""


FACTS_BY_CAUSE: dict[Cause, Callable[[_Sorted, LaidSetup, Pattern, Event], None]] = {
    Cause.SILENT_ANTENNA: _of_antenna,
    Cause.WEAK_ANTENNA: _of_antenna,
    Cause.PORTS_NOT_TOLD: _of_ports,
    Cause.INTERRUPTION: _of_window,
    Cause.BOTH_LINES: _of_window,
    Cause.ROAD_WIDER: _of_road,
    Cause.CROWD: _of_crowd,
    Cause.WEAK_TAG: _of_tags,
    Cause.PRACTICE_ROLE: _of_role,
    Cause.WHOLE_LINE: _of_line,
}
