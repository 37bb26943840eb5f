"""The contracts of what the camera showed: outcomes of look-ups, counted minutes, and what the audit says."""

from __future__ import annotations

import polars as pl

from lineproof.contracts import Column, Table
from lineproof.tables import COUNT, FLOAT, INSTANT, TEXT
from lineproof.vocabulary import Outcome, Proof, Stated

SIGHTINGS = Table(
    "sightings",
    "one runner looked for on the camera of one timing point, and what came of it; private",
    ("runner", "order"),
    {
        "runner": Column(TEXT, "runner of entries"),
        "course": Column(TEXT, "course id"),
        "point": Column(TEXT, "timing point id"),
        "order": Column(pl.Int16(), "place of the visit in the course"),
        "outcome": Column(pl.Enum([word.value for word in Outcome]), "seen, not there or unclear"),
        "time": Column(INSTANT, "when the camera shows the runner; null unless seen", nullable=True),
        "who": Column(TEXT, "who looked"),
        "when": Column(TEXT, "when it was looked for"),
        "note": Column(TEXT, "in the looker's own words", nullable=True),
        "file": Column(TEXT, "file, relative to the event folder"),
        "row": Column(pl.Int64(), "row as a spreadsheet counts it"),
    },
)

SIGHTED = Table(
    "sighted",
    "one outcome of a look-up, and what it means beside the reads",
    ("runner", "order"),
    {
        **SIGHTINGS.columns,
        "by_reads": Column(pl.Enum([word.value for word in Proof]), "what the reads alone say"),
        "proof": Column(pl.Enum([word.value for word in Proof]), "what counts now"),
        "remark": Column(TEXT, "where camera and reads contradict each other", nullable=True),
    },
)

AUDIT_RESULTS = Table(
    "audit results",
    "one audited point: the share missed by the counted minutes, or the reason for none",
    ("point",),
    {
        "point": Column(TEXT, "timing point id"),
        "drawn": Column(COUNT, "minutes drawn"),
        "minutes": Column(COUNT, "of these, counted"),
        "window_minutes": Column(COUNT, "minutes that they were drawn from"),
        "crossed": Column(COUNT, "runners counted"),
        "missed": Column(COUNT, "of these, read by no line"),
        "share": Column(FLOAT, "share missed by all lines", nullable=True),
        "std_error": Column(FLOAT, "its standard error", nullable=True),
        "low": Column(FLOAT, "lower end of its interval (setting confidence)", nullable=True),
        "high": Column(FLOAT, "upper end", nullable=True),
        "needed": Column(COUNT, "minutes in all that would settle the target", nullable=True),
        "word": Column(pl.Enum(["shows", "falls short", "cannot tell"]), "the target, by the audit"),
        "seed": Column(pl.Int64(), "seed that the minutes were drawn with"),
        "method": Column(TEXT, "how it was estimated"),
        "reason": Column(TEXT, "why there is no estimate, or what limits it", nullable=True),
    },
)

STATED = Table(
    "stated",
    "one runner of whom the results say that they stopped or did not start",
    ("runner",),
    {
        "runner": Column(TEXT, "runner of entries"),
        "stated": Column(pl.Enum([word.value for word in Stated]), "what the results say"),
    },
)

MINUTES = Table(
    "minutes",
    "one minute of the audit as the filled-in copy of audit.csv gives it back",
    ("point", "begin"),
    {
        "point": Column(TEXT, "timing point id"),
        "begin": Column(INSTANT, "begin of the minute"),
        "crossed": Column(COUNT, "runners counted on the camera; null: not looked at yet", nullable=True),
        "missed": Column(COUNT, "of these, read by no line", nullable=True),
        "stratum": Column(pl.Int16(), "stratum by flow that it was drawn in", nullable=True),
        "stratum_minutes": Column(COUNT, "minutes of the window in that stratum", nullable=True),
        "flow": Column(COUNT, "crossings read in it when it was drawn", nullable=True),
        "seed": Column(pl.Int64(), "seed that it was drawn with", nullable=True),
        "file": Column(TEXT, "file, relative to the event folder"),
        "row": Column(pl.Int64(), "row as a spreadsheet counts it"),
    },
)
