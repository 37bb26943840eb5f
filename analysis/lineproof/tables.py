"""The contract of every table: what one row means, its columns, its key and its null rule.

Instants are ``Datetime("us", "UTC")``; durations are whole microseconds in ``Int64`` columns
whose names end in ``_us``.  Ids are strings exactly as they stood in the export.  A column may
hold nulls only where its contract says so.
"""

from __future__ import annotations

import polars as pl

from lineproof.contracts import Column, Table
from lineproof.vocabulary import (
    DecisionKind,
    Evidence,
    InterruptionKind,
    Level,
    Proof,
    Quantity,
    Role,
    RunnerClass,
    Severity,
    TimeSource,
    Unused,
)

INSTANT = pl.Datetime("us", "UTC")


def _enum(words: type) -> pl.Enum:
    return pl.Enum([word.value for word in words])  # type: ignore[attr-defined]


TEXT = pl.String()
WORD = pl.Categorical()  # a text of which millions of rows hold few different ones: kept once, with a number
COUNT = pl.UInt32()
FLOAT = pl.Float64()

READS = Table(
    "reads",
    "one observation of one tag by one antenna of one line",
    (),  # the same read may be exported twice; checks.py labels that
    {
        "tag": Column(WORD, "tag id as exported"),
        "line": Column(WORD, "line id of event.toml"),
        "time": Column(INSTANT, "when the tag was seen"),
        "antenna": Column(pl.Int32(), "antenna or port number at its reader", nullable=True),
        "strength": Column(pl.Float32(), "received signal strength, dBm", nullable=True),
        "file": Column(WORD, "export, relative to the event folder"),
        "row": Column(pl.Int64(), "row in the export as a spreadsheet counts it"),
    },
)

PASSINGS = Table(
    "passings",
    "all reads of one tag by one line in one go; from merged data, one stated time at a point",
    ("passing",),
    {
        "passing": Column(COUNT, "number of the row, in time order"),
        "tag": Column(TEXT, "tag id; null where the export names runners by bib", nullable=True),
        "bib": Column(TEXT, "bib; null where the export names tags", nullable=True),
        "point": Column(TEXT, "timing point id"),
        "line": Column(TEXT, "line id; null where the export does not tell", nullable=True),
        "visit": Column(pl.Int16(), "visit that the export states (wide tables)", nullable=True),
        "first": Column(INSTANT, "first read"),
        "strongest": Column(INSTANT, "strongest read; equals first where strength is unknown"),
        "last": Column(INSTANT, "last read"),
        "reads": Column(COUNT, "reads in the passing; null in merged data", nullable=True),
        "antenna": Column(pl.Int32(), "antenna of the strongest read", nullable=True),
        "antennas": Column(pl.UInt16(), "how many antennas read the tag", nullable=True),
        "strength": Column(pl.Float32(), "strength of the strongest read, dBm", nullable=True),
        "level": Column(_enum(Level), "what kind of export it came from"),
        "file": Column(TEXT, "export, relative to the event folder"),
        "row": Column(pl.Int64(), "row of its first read in the export"),
    },
)

ENTRIES = Table(
    "entries",
    "one start-list row: a runner, or a relay team, on one course in one wave",
    ("runner",),
    {
        "runner": Column(TEXT, "id of the entry: its bib, or the tag where there is no start list"),
        "bib": Column(TEXT, "bib number", nullable=True),
        "course": Column(TEXT, "course id"),
        "wave": Column(TEXT, "wave id"),
        "runner_class": Column(_enum(RunnerClass), "on foot, in a racing wheelchair, on a handcycle"),
        "sex": Column(pl.Enum(["f", "m"]), "for pace bounds only", nullable=True),
        "age": Column(pl.Int16(), "years on race day", nullable=True),
    },
)

TAGS = Table(
    "tags",
    "one tag given to one entry; a re-issued tag has one row for each holder, with its time",
    ("tag", "runner"),
    {
        "tag": Column(TEXT, "tag id as exported"),
        "runner": Column(TEXT, "runner of entries"),
        "kind": Column(TEXT, "type of tag: shoe, bib …", nullable=True),
        "batch": Column(TEXT, "batch of single-use tags", nullable=True),
        "since": Column(INSTANT, "held from then on; null: the whole event", nullable=True),
    },
)

CROSSINGS = Table(
    "crossings",
    "one runner at one visit, with both lines and all tags merged; the merged passing data",
    ("runner", "order"),
    {
        "runner": Column(TEXT, "runner of entries"),
        "bib": Column(TEXT, "bib number", nullable=True),
        "course": Column(TEXT, "course id"),
        "wave": Column(TEXT, "wave id"),
        "point": Column(TEXT, "timing point id"),
        "order": Column(pl.Int16(), "place of the visit in the course, 0 first"),
        "visit": Column(pl.Int16(), "which visit of this point, 1 first"),
        "at_m": Column(FLOAT, "stated distance from the start, m"),
        "time": Column(INSTANT, "the crossing's time"),
        "time_source": Column(_enum(TimeSource), "which line gave the time"),
        "line": Column(TEXT, "line id that gave the time", nullable=True),
        "main_time": Column(INSTANT, "time by the main line", nullable=True),
        "backup_time": Column(INSTANT, "time by the backup line, as read", nullable=True),
        "seen_main": Column(pl.Boolean(), "read by the main line; null: not known", nullable=True),
        "seen_backup": Column(pl.Boolean(), "read by the backup line; null: not known", nullable=True),
        "passings": Column(COUNT, "passings merged into the crossing"),
        "tags": Column(COUNT, "different tags read"),
        "reads": Column(COUNT, "reads of all its passings", nullable=True),
        "antenna": Column(pl.Int32(), "strongest antenna of the passing that gave the time", nullable=True),
        "main_antenna": Column(pl.Int32(), "strongest antenna of the main line's passing", nullable=True),
        "backup_antenna": Column(pl.Int32(), "strongest antenna of the backup line's passing", nullable=True),
        "gun_us": Column(pl.Int64(), "gun time, us; null: the wave's gun is not known", nullable=True),
        "net_us": Column(pl.Int64(), "net time, us; null: no start crossing", nullable=True),
        "gun_rounded_us": Column(pl.Int64(), "gun time rounded up once, as the course states", nullable=True),
        "net_rounded_us": Column(pl.Int64(), "net time rounded up once", nullable=True),
        "segment_us": Column(pl.Int64(), "since the previous crossing of the runner, us", nullable=True),
        "segment_m": Column(FLOAT, "distance since that crossing, m", nullable=True),
        "segment_from": Column(pl.Int16(), "order of that crossing", nullable=True),
        "level": Column(_enum(Level), "what kind of export the time came from"),
        "key": Column(TEXT, "names the row in decisions.csv; stays the same at every review"),
    },
)

UNUSED = Table(
    "unused",
    "one passing that is part of no crossing, and why",
    ("passing",),
    {
        **PASSINGS.columns,
        "runner": Column(TEXT, "runner of entries, where the tag or bib is known", nullable=True),
        "why": Column(_enum(Unused), "reason"),
        "key": Column(TEXT, "names the row in decisions.csv"),
    },
)

PROOFS = Table(
    "proofs",
    "one entry at one visit of its course, and what is known of its crossing",
    ("runner", "order"),
    {
        "runner": Column(TEXT, "runner of entries"),
        "course": Column(TEXT, "course id"),
        "wave": Column(TEXT, "wave id"),
        "point": Column(TEXT, "timing point id"),
        "order": Column(pl.Int16(), "place of the visit in the course"),
        "visit": Column(pl.Int16(), "which visit of this point"),
        "at_m": Column(FLOAT, "stated distance, m"),
        "proof": Column(_enum(Proof), "seen, proven, doubtful, camera, not there or unproven"),
        "seen_later": Column(pl.Boolean(), "read at a later visit with a plausible time for the distance"),
        "seen_main": Column(pl.Boolean(), "read by main; null: not known or no such line", nullable=True),
        "seen_backup": Column(pl.Boolean(), "read by backup; null: not known or no such line", nullable=True),
        "time": Column(INSTANT, "the crossing's time, where seen", nullable=True),
        "about": Column(
            INSTANT, "when the runner crossed: time, by the camera, or as the field goes", nullable=True
        ),
        "before_order": Column(pl.Int16(), "nearest earlier visit with a sound time", nullable=True),
        "before_time": Column(INSTANT, "time there, else the gun of the wave", nullable=True),
        "after_order": Column(pl.Int16(), "nearest later visit where seen", nullable=True),
        "after_time": Column(INSTANT, "time there", nullable=True),
    },
)

FINDINGS = Table(
    "findings",
    "one thing a check caught: a row, a runner, a line or a segment",
    (),
    {
        "check": Column(TEXT, "name of the check"),
        "severity": Column(_enum(Severity), "error, warning or note"),
        "point": Column(TEXT, "timing point id", nullable=True),
        "line": Column(TEXT, "line id", nullable=True),
        "course": Column(TEXT, "course id", nullable=True),
        "order": Column(pl.Int16(), "place of the visit in the course", nullable=True),
        "runner": Column(TEXT, "runner of entries", nullable=True),
        "bib": Column(TEXT, "bib number", nullable=True),
        "tag": Column(TEXT, "tag id", nullable=True),
        "time": Column(INSTANT, "when", nullable=True),
        "value": Column(FLOAT, "what was found, in unit", nullable=True),
        "limit": Column(FLOAT, "the threshold it broke, in unit", nullable=True),
        "unit": Column(TEXT, "unit of value and limit", nullable=True),
        "rows": Column(COUNT, "how many rows it stands for"),
        "detail": Column(TEXT, "one sentence; names no runner"),
        "key": Column(TEXT, "row it labels, for decisions.csv", nullable=True),
        "decided": Column(_enum(DecisionKind), "the reviewer's decision on that row", nullable=True),
    },
)

RATES = Table(
    "rates",
    "one rate: a quantity at a level, with its denominator, evidence and interval, or the reason for none",
    (),
    {
        "event": Column(TEXT, "event id"),
        "quantity": Column(_enum(Quantity), "achieved today, or capability of the set-up"),
        "level": Column(
            pl.Enum(["line", "point", "segment", "course", "wave", "time", "flow"]), "what it is a rate of"
        ),
        "course": Column(TEXT, "course id; null: all courses", nullable=True),
        "point": Column(TEXT, "timing point id; of a segment, its end", nullable=True),
        "from_point": Column(TEXT, "of a segment, its beginning", nullable=True),
        "order": Column(pl.Int16(), "place of the visit in the course", nullable=True),
        "line": Column(TEXT, "line id", nullable=True),
        "role": Column(_enum(Role), "role of the line; null: either line", nullable=True),
        "group": Column(TEXT, "wave id, or label of the time or flow bin", nullable=True),
        "evidence": Column(_enum(Evidence), "what proves the denominator"),
        "proven": Column(
            COUNT, "denominator: crossings proven by that evidence; by a sibling line, those whom it read"
        ),
        "detected": Column(COUNT, "of these, read"),
        "doubtful": Column(COUNT, "left out of the denominator: read later, but too soon"),
        "estimate": Column(
            FLOAT,
            "the rate; not detected / proven where hidden crossings are allowed for (achieved; capability by a sibling line)",
            nullable=True,
        ),
        "std_error": Column(FLOAT, "its standard error", nullable=True),
        "conf_low": Column(FLOAT, "lower end of the interval (setting confidence)", nullable=True),
        "conf_high": Column(FLOAT, "upper end", nullable=True),
        "method": Column(TEXT, "interval method and assumption"),
        "reason": Column(TEXT, "why there is no estimate, or what limits it", nullable=True),
    },
)

INTERRUPTIONS = Table(
    "interruptions",
    "one window in which a line, or a whole point, did not work",
    ("point", "line", "begin"),
    {
        "event": Column(TEXT, "event id"),
        "point": Column(TEXT, "timing point id"),
        "line": Column(TEXT, "line id; null: the whole point", nullable=True),
        "kind": Column(_enum(InterruptionKind), "outage, laid late, lifted early, both lines, late loss"),
        "begin": Column(INSTANT, "first runner of the window known to have been missed"),
        "end": Column(INSTANT, "last runner of the window known to have been missed"),
        "read_before": Column(INSTANT, "last read before it; null: none that day", nullable=True),
        "read_after": Column(INSTANT, "first read after it; null: none that day", nullable=True),
        "tried": Column(COUNT, "runners in the window who were there by evidence from elsewhere"),
        "missed": Column(COUNT, "of these, not read"),
        "usual": Column(FLOAT, "share missed in the rest of the day"),
        "chance": Column(FLOAT, "most that luck would give such a window in a sound event"),
        "doubt_us": Column(pl.Int64(), "how far the time of a runner whom nobody read may be off, us"),
        "evidence": Column(TEXT, "one sentence; names no runner"),
    },
)

MATS = Table(
    "mats",
    "one mat of a line and the rate at which it answers, or the reason for none",
    ("line", "place", "antenna"),
    {
        "event": Column(TEXT, "event id"),
        "point": Column(TEXT, "timing point id"),
        "line": Column(TEXT, "line id"),
        "place": Column(pl.Enum(["line", "mat", "near side", "far side"]), "mat, road beside it or all"),
        "antenna": Column(pl.Int32(), "antenna number of the mat, 1 at the near side", nullable=True),
        "tried": Column(COUNT, "runners there, estimated", nullable=True),
        "read": Column(COUNT, "runners whose strongest read was this antenna's", nullable=True),
        "missed": Column(COUNT, "runners there whom the line missed, estimated", nullable=True),
        "estimate": Column(FLOAT, "share of the runners over the mat for whom it answers", nullable=True),
        "conf_low": Column(FLOAT, "lower end of the interval (setting confidence)", nullable=True),
        "conf_high": Column(FLOAT, "upper end", nullable=True),
        "verdict": Column(pl.Enum(["sound", "weak", "dead", "bare road", "cannot tell"]), "in one word"),
        "method": Column(TEXT, "how the estimate was made and what it assumes"),
        "reason": Column(TEXT, "why there is no estimate, or what limits it", nullable=True),
    },
)

LOOKUPS = Table(
    "lookups",
    "one runner to look for on the camera of one timing point",
    ("runner", "order"),
    {
        "runner": Column(TEXT, "runner of entries"),
        "bib": Column(TEXT, "bib number", nullable=True),
        "course": Column(TEXT, "course id"),
        "point": Column(TEXT, "timing point id"),
        "order": Column(pl.Int16(), "place of the visit in the course"),
        "visit": Column(pl.Int16(), "which visit of this point, 1 first"),
        "look_from": Column(INSTANT, "begin of the window that holds the crossing with 95 %"),
        "look_to": Column(INSTANT, "end of the window"),
        "likely": Column(INSTANT, "most likely time"),
        "proof": Column(_enum(Proof), "proven, doubtful or unproven"),
        "chance": Column(FLOAT, "chance that the runner crossed; null: cannot be told", nullable=True),
        "rank": Column(COUNT, "in this order an hour at the camera finds the most; 1 first"),
        "evidence": Column(TEXT, "one sentence: seen where and when"),
    },
)

AUDIT = Table(
    "audit",
    "one minute of a timing point's camera, drawn at random, and what was counted in it",
    ("point", "begin"),
    {
        "point": Column(TEXT, "timing point id"),
        "stratum": Column(pl.Int16(), "stratum by flow, 1 the quietest"),
        "stratum_minutes": Column(COUNT, "minutes of the window in that stratum"),
        "begin": Column(INSTANT, "begin of the minute"),
        "end": Column(INSTANT, "its end, not part of it"),
        "flow": Column(COUNT, "crossings read in the minute"),
        "crossed": Column(COUNT, "runners counted on the camera; null: not looked at yet", nullable=True),
        "missed": Column(COUNT, "of these, read by no line", nullable=True),
        "seed": Column(pl.Int64(), "seed that the minutes were drawn with"),
    },
)

REJECTS = Table(
    "rejects",
    "one row of an export that could not be read",
    (),
    {
        "file": Column(TEXT, "export, relative to the event folder"),
        "row": Column(pl.Int64(), "row as a spreadsheet counts it"),
        "column": Column(TEXT, "the header's own words", nullable=True),
        "value": Column(TEXT, "what stood there", nullable=True),
        "reason": Column(TEXT, "one sentence"),
    },
)

ACCOUNT = Table(
    "account",
    "one export file and what became of its rows: read = kept + blank + rejected",
    ("file", "sheet"),
    {
        "file": Column(TEXT, "export, relative to the event folder"),
        "sheet": Column(TEXT, "sheet of a workbook, else empty"),
        "level": Column(_enum(Level), "kind of export; null for entries", nullable=True),
        "rows_read": Column(COUNT, "data rows below the header"),
        "kept": Column(COUNT, "rows kept"),
        "blank": Column(COUNT, "rows with nothing in them"),
        "rejected": Column(COUNT, "rows in rejects"),
        "times": Column(COUNT, "times taken from the kept rows (a wide row gives several)"),
        "encoding": Column(TEXT, "encoding the file was read in", nullable=True),
        "sha256": Column(TEXT, "hash of the file as it came"),
        "remarks": Column(TEXT, "what was assumed in reading it, one sentence each", nullable=True),
    },
)

DECISIONS = Table(
    "decisions",
    "one word of the reviewer on one row, applied to the analysis copy only",
    ("key",),
    {
        "key": Column(TEXT, "row it speaks of"),
        "decision": Column(_enum(DecisionKind), "keep, void or correct"),
        "time": Column(INSTANT, "the right time, for correct", nullable=True),
        "shift_us": Column(pl.Int64(), "of a line's clock: add this to its times, us", nullable=True),
        "who": Column(TEXT, "reviewer"),
        "when": Column(TEXT, "when it was decided"),
        "why": Column(TEXT, "reason"),
    },
)

APPLIED = Table(
    "applied",
    "one decision and what became of it at this review",
    ("key",),
    {
        **DECISIONS.columns,
        "rows": Column(COUNT, "passings that it was applied to; 0: its key names no row any more"),
        "key_now": Column(TEXT, "key of the row after the decision (a corrected time is part of the key)"),
        "remark": Column(TEXT, "why it was not applied", nullable=True),
    },
)


def row_key() -> pl.Expr:
    """Names a passing for good: ``<line or point>/<tag or bib>/<time of first read>``."""
    return pl.concat_str(
        [
            pl.coalesce("line", "point"),
            pl.coalesce("tag", "bib"),
            pl.col("first").dt.strftime("%Y-%m-%dT%H:%M:%S%.6fZ"),
        ],
        separator="/",
    )
