"""Patterns to rows: DIAGNOSIS, the largest first, and MISSES with the first explanation of each."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from lineproof.diagnosis.explanations import UNEXPLAINED
from lineproof.diagnosis.pattern import Pattern
from lineproof.diagnosis.setup_facts import Facts, LaidSetup
from lineproof.diagnosis.tries import Ints, Tries
from lineproof.diagnosis.windows import to_time
from lineproof.event import Event
from lineproof.setup_tables import DIAGNOSIS, MISSES
from lineproof.tables import INSTANT
from lineproof.vocabulary import Cause

ONE_ANTENNA = (Cause.SILENT_ANTENNA, Cause.WEAK_ANTENNA)
LEAST_CHANCE = 1e-12  # smaller ones say nothing more


def numbered(sure: list[tuple[Pattern, float]], explained: Ints) -> list[tuple[int, int]]:
    """(place among the patterns, misses explained), the largest number first."""
    counts = np.bincount(explained[explained != UNEXPLAINED], minlength=len(sure))
    order = sorted(range(len(sure)), key=lambda i: (-int(counts[i]), sure[i][0].chance, i))
    return [(i, int(counts[i])) for i in order]


def to_diagnosis(
    tries: Tries, sure: list[tuple[Pattern, float]], explained: Ints, setup: LaidSetup, event: Event
) -> pl.DataFrame:
    """DIAGNOSIS, one row for each pattern that is no luck."""
    rows = []
    for number, (place, count) in enumerate(numbered(sure, explained), start=1):
        pattern, adjusted = sure[place]
        facts = setup.facts(pattern, event)
        tried, missed = len(pattern.rows), int(tries.missed[pattern.rows].sum())
        if not tried:
            tried, missed = pattern.awaited
        rows.append(
            {
                "event": event.id,
                "finding": number,
                "cause": pattern.cause.value,
                "point": pattern.point,
                "line": pattern.line,
                "slot": _slot(pattern, setup),
                "antenna": pattern.antenna if pattern.cause in ONE_ANTENNA else None,
                "items": facts.items,
                "begin": to_time(pattern.begin),
                "end": to_time(pattern.end),
                "tried": tried,
                "missed": missed,
                "usual": pattern.usual * tried,
                "explained": count,
                "chance": max(pattern.chance, LEAST_CHANCE),
                "false_share": max(adjusted, LEAST_CHANCE),
                "agree": "; ".join(facts.agree) or None,
                "disagree": "; ".join(facts.disagree) or None,
                "missing": "; ".join(facts.missing) or None,
                "detail": say_pattern(pattern, facts, event),
            }
        )
    return DIAGNOSIS.check(DIAGNOSIS.shape_rows(rows))


def _slot(pattern: Pattern, setup: LaidSetup) -> int | None:
    if pattern.cause not in ONE_ANTENNA:
        return None
    slot = setup.mat(pattern.line, pattern.antenna)["slot"]
    return int(slot) if slot is not None else pattern.antenna


def say_pattern(pattern: Pattern, facts: Facts, event: Event) -> str:
    """One sentence: where, when, what it is consistent with, and what shows it."""
    where = _where(pattern, event)
    when = _when(pattern, ZoneInfo(event.zone))
    meant = MEANINGS[pattern.cause]
    items = f" ({facts.items})" if facts.items and pattern.cause in ONE_ANTENNA else ""
    return f"{where}{items}{when}: consistent with {meant}; {pattern.why}."


MEANINGS: dict[Cause, str] = {
    Cause.SILENT_ANTENNA: "a dead mat, cable, joint or port",
    Cause.WEAK_ANTENNA: "a weak mat, cable or joint",
    Cause.PORTS_NOT_TOLD: "a reader that was told fewer ports than were in use",
    Cause.INTERRUPTION: "a line without power, cut off, laid late or lifted early",
    Cause.BOTH_LINES: "something that stopped both lines at once, such as shared power",
    Cause.ROAD_WIDER: "runners passing beside the mats, on road that the line does not cover",
    Cause.CROWD: "tags that wait for each other in a crowd",
    Cause.WEAK_TAG: "tags that are worn out, bent, badly worn or that woke up late",
    Cause.PRACTICE_ROLE: "a reader left in a practice or registration role",
    Cause.WHOLE_LINE: "something that weakens the whole line: reader, power, water, metal underground, or lines too near",
}


def _where(pattern: Pattern, event: Event) -> str:
    if pattern.point is None:
        return "Whole event"
    name = event.point(pattern.point).name
    if pattern.line is None:
        return f"{name}, {pattern.kind}" if pattern.cause is Cause.ROAD_WIDER else name
    words = f"{name}, {event.line(pattern.line).role.value} line"
    if pattern.cause in ONE_ANTENNA:
        words += f", antenna {pattern.antenna}"
    return words


def _when(pattern: Pattern, zone: ZoneInfo) -> str:
    def clock(us: int) -> str:
        time = to_time(us)
        assert isinstance(time, dt.datetime)
        return f"{time.astimezone(zone):%H:%M}"

    if pattern.begin is not None and pattern.end is not None:
        return f", from {clock(pattern.begin)} to {clock(pattern.end)}"
    if pattern.begin is not None:
        return f", from {clock(pattern.begin)} on"
    if pattern.end is not None:
        return f", until {clock(pattern.end)}"
    return ""


def to_misses(tries: Tries, sure: list[tuple[Pattern, float]], explained: Ints) -> pl.DataFrame:
    """MISSES sorted by line (in the event's order), time and runner."""
    rank = {place: number for number, (place, _) in enumerate(numbered(sure, explained), start=1)}
    causes = [pattern.cause.value for pattern, _ in sure]
    rows = tries.frame.with_columns(
        pl.Series(
            "cause", [None if i == UNEXPLAINED else causes[i] for i in explained.tolist()], dtype=pl.String
        ),
        pl.Series("finding", [rank.get(i) for i in explained.tolist()], dtype=pl.UInt32),
        pl.col("at").cast(INSTANT).alias("about"),
        pl.col("unseen").alias("both"),
        pl.col("sibling").alias("sibling_antenna"),
    ).filter("missed")
    return MISSES.conform(rows.with_columns(pl.col("weak").cast(pl.Float64)))
