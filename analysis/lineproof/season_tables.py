"""The contracts of the season: what one event leaves in the ledger, and what is said of an item."""

from __future__ import annotations

import polars as pl

from lineproof.camera_tables import AUDIT_RESULTS
from lineproof.contracts import Column, Table
from lineproof.setup_tables import (
    CLOCK_FAULTS,
    COMPLAINTS,
    DIAGNOSIS,
    EQUIPMENT,
    LAID_LINES,
    LAID_MATS,
    MISSES,
    SMALL,
    YES_NO,
)
from lineproof.tables import (
    ACCOUNT,
    COUNT,
    CROSSINGS,
    FINDINGS,
    FLOAT,
    INSTANT,
    INTERRUPTIONS,
    MATS,
    RATES,
    TEXT,
)
from lineproof.unseen_tables import LINE_PAIRS, UNSEEN, WEAK_SHARES, WEAK_TAGS
from lineproof.vocabulary import DecisionKind, ItemKind, PointKind, Role

EVENT_ID = Column(TEXT, "event id")

CELLS = Table(
    "cells",
    "one line, or one slot of a line, at one event: who tried, who was missed, and what lay there",
    ("event", "line", "slot"),
    {
        "event": Column(TEXT, "event id"),
        "date": Column(pl.Date(), "day of the event"),
        "point": Column(TEXT, "timing point id"),
        "kind": Column(TEXT, "kind of point: start, split, finish"),
        "line": Column(TEXT, "line id"),
        "role": Column(pl.Enum([role.value for role in Role]), "main or backup"),
        "slot": Column(SMALL, "place across the road, 1 at the near side; 0: the whole line"),
        "mat": Column(TEXT, "mat id; null: not recorded, or the whole line", nullable=True),
        "cable": Column(TEXT, "cable id", nullable=True),
        "reader": Column(TEXT, "reader id", nullable=True),
        "tried": Column(FLOAT, "crossings proven without this line (of a slot: estimated)"),
        "missed": Column(FLOAT, "of these, not read (of a slot: estimated)"),
        "tried_at_work": Column(FLOAT, "tried, without the line's interruptions"),
        "missed_at_work": Column(FLOAT, "missed, without the line's interruptions"),
        "flow": Column(FLOAT, "median runners per minute at the point", nullable=True),
        "weather": Column(TEXT, "weather, by the record", nullable=True),
        "surface": Column(TEXT, "surface, by the record", nullable=True),
        "spacing_m": Column(FLOAT, "to the other line, m", nullable=True),
        "covers": Column(YES_NO, "mats taped or covered", nullable=True),
        "hand_ceiling_cm": Column(FLOAT, "greatest height of the hand test, cm", nullable=True),
        "crew_minutes": Column(FLOAT, "crew minutes on the line", nullable=True),
        "two_tags": Column(YES_NO, "runners carried two tags", nullable=True),
        "laid": Column(INSTANT, "laid and tested", nullable=True),
    },
)

ITEM_RATES = Table(
    "item rates",
    "one item over the season: the rate it would reach in common conditions, and whether it changes",
    ("item",),
    {
        "item": Column(TEXT, "item id"),
        "kind": Column(pl.Enum([kind.value for kind in ItemKind]), "what it is"),
        "events": Column(COUNT, "events at which it lay"),
        "tried": Column(FLOAT, "crossings it was tried on"),
        "missed": Column(FLOAT, "of these, missed"),
        "effect": Column(FLOAT, "its own part of the logit of a miss; above 0 is worse", nullable=True),
        "effect_sd": Column(FLOAT, "its standard deviation, given the season", nullable=True),
        "rate": Column(FLOAT, "share read in common conditions, shrunken", nullable=True),
        "rate_low": Column(FLOAT, "its lower end (95 %)", nullable=True),
        "rate_high": Column(FLOAT, "its upper end", nullable=True),
        "among_worst": Column(FLOAT, "chance of being among the worst few of its kind", nullable=True),
        "trend": Column(FLOAT, "change of the logit of a miss per event used", nullable=True),
        "trend_sd": Column(FLOAT, "its standard deviation", nullable=True),
        "verdict": Column(
            pl.Enum(["sound", "watch", "test", "repair or retire", "cannot tell"]), "what to do"
        ),
        "bound_to": Column(TEXT, "places or items it cannot be told apart from", nullable=True),
        "reason": Column(TEXT, "why there is no number, or what limits it", nullable=True),
    },
)

EVENTS = Table(
    "events",
    "one event of the ledger, in one row",
    ("event",),
    {
        "event": EVENT_ID,
        "name": Column(TEXT, "name of the event"),
        "date": Column(pl.Date(), "day of the event"),
        "zone": Column(TEXT, "time zone"),
        "entries": Column(COUNT, "entries of the start list"),
        "seen": Column(COUNT, "of these, read anywhere"),
        "tags_each": Column(FLOAT, "tags given to a runner, on average", nullable=True),
        "passed": Column(YES_NO, "the merged data kept their contract"),
        "target": Column(FLOAT, "share that either line of a point was to read"),
        "confidence": Column(FLOAT, "of the stated intervals"),
    },
)

VISITS = Table(
    "visits",
    "one visit of a course, and what its lines told",
    ("event", "course", "order"),
    {
        "event": EVENT_ID,
        "course": Column(TEXT, "course id"),
        "order": Column(SMALL, "place of the visit in the course, 0 first"),
        "point": Column(TEXT, "timing point id"),
        "visit": Column(SMALL, "which visit of this point, 1 first"),
        "kind": Column(pl.Enum([kind.value for kind in PointKind]), "start, split or finish"),
        "at_m": Column(FLOAT, "stated distance from the start, m"),
        "name": Column(TEXT, "name of the visit in HISTORIES", nullable=True),
        "lines": Column(
            pl.List(TEXT), "lines that the histories tell of: main, backup, or either", nullable=True
        ),
        "read": Column(COUNT, "runners read there", nullable=True),
        "missed": Column(COUNT, "proven there and read by no line", nullable=True),
    },
)

HISTORIES = Table(
    "histories",
    "one distinct record of a runner's whole day on a course, and how many runners had it",
    ("event", "course", "history"),
    {
        "event": EVENT_ID,
        "course": Column(TEXT, "course id"),
        "history": Column(COUNT, "number of the history"),
        "outcome": Column(pl.List(pl.Int8()), "per visit, what its lines said: 3 x main + backup, 9 either"),
        "unread": Column(pl.List(pl.Int8()), "per visit, what they would have said of a runner unread"),
        "stratum": Column(pl.List(pl.Int8()), "per visit, stratum by flow"),
        "entry": Column(SMALL, "place of the visit that the record is conditional on; -1: none"),
        "known": Column(SMALL, "place of the last visit that the runners are known to have reached"),
        "until": Column(SMALL, "place of the last visit at which they could have been read"),
        "given": Column(YES_NO, "the record stands whether they were ever read or not"),
        "count": Column(COUNT, "runners with this history"),
    },
)

FINDING_COUNTS = Table(
    "finding counts",
    "the findings of one check at one place, counted",
    ("event", "check", "severity", "course", "point", "line", "order"),
    {
        "event": EVENT_ID,
        **{
            name: FINDINGS.columns[name] for name in ("check", "severity", "course", "point", "line", "order")
        },
        "findings": Column(COUNT, "findings"),
        "rows": Column(COUNT, "rows that they stand for"),
        "decided": Column(COUNT, "of the findings, decided by the reviewer"),
    },
)

KEPT_DECISIONS = Table(
    "decisions",
    "one decision of the reviewer, without names: on a row, or on the clock of a line",
    ("event", "row"),
    {
        "event": EVENT_ID,
        "row": Column(TEXT, "pseudonym of the row that it speaks of"),
        "about": Column(pl.Enum(["row", "clock"]), "what it speaks of"),
        "place": Column(TEXT, "line id, or point id; null: the event has none of that name", nullable=True),
        "decision": Column(pl.Enum([kind.value for kind in DecisionKind]), "keep, void or correct"),
        "rows": Column(COUNT, "passings that it was applied to"),
        "shift_us": Column(pl.Int64(), "added to the times of a line, us", nullable=True),
    },
)

GATE_LINES = Table(
    "gate",
    "one promise of the merged data, and the share of the rows that kept it",
    ("event", "promise"),
    {
        "event": EVENT_ID,
        "promise": Column(TEXT, "name of the promise"),
        "required": Column(FLOAT, "share of the rows that must keep it"),
        "found": Column(FLOAT, "share that kept it; null: no row could be judged", nullable=True),
        "rows": Column(COUNT, "rows that could be judged"),
        "failing": Column(COUNT, "of these, breaking it"),
        "passed": Column(YES_NO, "the promise was kept"),
    },
)

MISS_COUNTS = Table(
    "miss counts",
    "the misses of one line with one explanation, counted",
    ("event", "line", "course", "order", "cause", "finding", "both"),
    {
        "event": EVENT_ID,
        **{
            name: MISSES.columns[name]
            for name in ("point", "line", "role", "course", "order", "cause", "finding", "both")
        },
        "misses": Column(COUNT, "misses"),
    },
)

KEPT_TAGS = Table(
    "tags",
    "one tag at one event under its pseudonym of the series, and how it answered",
    ("event", "tag", "holder"),
    {
        "event": EVENT_ID,
        "tag": Column(TEXT, "pseudonym of the tag, the same at all events of the series"),
        "holder": Column(COUNT, "1, or 2 and so on where a tag was given on to another runner"),
        "kind": WEAK_TAGS.columns["kind"],
        "batch": WEAK_TAGS.columns["batch"],
        "tags": Column(COUNT, "tags that its runner carried"),
        "tried": Column(COUNT, "lines that its runner crossed for sure"),
        "missed": Column(COUNT, "of these, lines that read none of the runner's tags"),
        "weak": WEAK_TAGS.columns["weak"],
        "late": WEAK_TAGS.columns["late"],
        "retire": Column(YES_NO, "on the event's list of tags to retire"),
    },
)

PROVENANCE = Table(
    "provenance",
    "one thing that the event's numbers rest on",
    ("event", "kind", "name"),
    {
        "event": EVENT_ID,
        "kind": Column(pl.Enum(["input", "setting", "version", "part"]), "what it is"),
        "name": Column(TEXT, "path of an input, or name of a setting, a program or a fact of the part"),
        "value": Column(TEXT, "SHA-256 of an input; value of a setting; version"),
    },
)

RUNNER_LEVEL = ("runner", "bib", "key")
KEPT_CROSSINGS = Table(
    "crossings",
    "one runner at one visit, the runner under a pseudonym of this event; kept only if asked for",
    ("event", "runner", "order"),
    {
        "event": EVENT_ID,
        "runner": Column(TEXT, "pseudonym, of this event only"),
        **{name: column for name, column in CROSSINGS.columns.items() if name not in RUNNER_LEVEL},
    },
)


def _of_event(table: Table) -> Table:
    """The same table for many events: the event's id in front, also of the key."""
    columns = {name: column for name, column in table.columns.items() if name != "event"}
    key = ("event", *table.key) if table.key else ()
    return Table(table.name, table.one_row_is, key, {"event": EVENT_ID, **columns})


KEPT: dict[str, Table] = {
    "events": EVENTS,
    "visits": VISITS,
    "cells": CELLS,
    "rates": _of_event(RATES),
    "rates_at_work": _of_event(RATES),
    "histories": HISTORIES,
    "unseen": _of_event(UNSEEN),
    "interruptions": _of_event(INTERRUPTIONS),
    "mats": _of_event(MATS),
    "line_pairs": _of_event(LINE_PAIRS),
    "weak_shares": _of_event(WEAK_SHARES),
    "laid_lines": _of_event(LAID_LINES),
    "laid_mats": _of_event(LAID_MATS),
    "equipment": _of_event(EQUIPMENT),
    "complaints": _of_event(COMPLAINTS),
    "clock_faults": _of_event(CLOCK_FAULTS),
    "audit_results": _of_event(AUDIT_RESULTS),
    "diagnosis": _of_event(DIAGNOSIS),
    "miss_counts": MISS_COUNTS,
    "finding_counts": FINDING_COUNTS,
    "gate": GATE_LINES,
    "account": _of_event(ACCOUNT),
    "decisions": KEPT_DECISIONS,
    "tags": KEPT_TAGS,
    "provenance": PROVENANCE,
    "crossings": KEPT_CROSSINGS,
}

SEASON_TAGS = Table(
    "season tags",
    "one tag over the season, under its pseudonym",
    ("tag",),
    {
        "tag": Column(TEXT, "pseudonym of the tag"),
        "kind": WEAK_TAGS.columns["kind"],
        "batch": WEAK_TAGS.columns["batch"],
        "events": Column(COUNT, "events at which its runner was seen and the course could tell"),
        "tried": Column(COUNT, "lines that its runners crossed for sure"),
        "missed": Column(COUNT, "of these, lines that did not read it"),
        "weak": Column(FLOAT, "chance that it is weak, by all its events"),
        "retire": Column(YES_NO, "on the list of tags to retire"),
    },
)

TAG_BATCHES = Table(
    "tag batches",
    "one batch or kind of tags over the season",
    ("kind", "batch"),
    {
        "kind": WEAK_TAGS.columns["kind"],
        "batch": WEAK_TAGS.columns["batch"],
        "tags": Column(COUNT, "tags of it that could be judged; one carried at two events counts twice"),
        "weak": Column(FLOAT, "of these, weak (expected number)"),
        "share": Column(FLOAT, "share that is weak"),
        "share_low": Column(FLOAT, "its lower end (95 %)"),
        "share_high": Column(FLOAT, "its upper end"),
        "others": Column(FLOAT, "share that is weak in the other batches of the same events", nullable=True),
        "ask": Column(YES_NO, "more weak tags than the others, beyond doubt"),
    },
)

TAG_AGES = Table(
    "tag ages",
    "tags of one kind that had been carried about as often before, over the season",
    ("kind", "carried"),
    {
        "kind": WEAK_TAGS.columns["kind"],
        "carried": Column(TEXT, "how often the ledger knows them to have been carried before"),
        **{name: TAG_BATCHES.columns[name] for name in ("tags", "weak", "share", "share_low", "share_high")},
        "others": Column(FLOAT, "share that is weak in the other ages at the same events", nullable=True),
        "ask": TAG_BATCHES.columns["ask"],
    },
)
