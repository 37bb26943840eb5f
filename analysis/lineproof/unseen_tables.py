"""The contracts of what the course model says: crossings that no line read, and tags that are hard to read."""

from __future__ import annotations

import polars as pl

from lineproof.contracts import Column, Table
from lineproof.tables import COUNT, FLOAT, TEXT
from lineproof.vocabulary import SINGLE_USE_KINDS

# Rows of WEAK_TAGS, WEAK_SHARES or KEPT_TAGS whose tag is thrown away after the event.  Where a runner has two kinds, any.
SINGLE_USE = pl.col("kind").str.to_lowercase().str.contains_any(list(SINGLE_USE_KINDS)).fill_null(value=False)

UNSEEN = Table(
    "unseen",
    "one visit of a course, and who crossed there unread: proven and hidden, or why the reads do not tell",
    ("course", "order"),
    {
        "event": Column(TEXT, "event id"),
        "course": Column(TEXT, "course id"),
        "point": Column(TEXT, "timing point id"),
        "order": Column(pl.Int16(), "place of the visit in the course, 0 first"),
        "visit": Column(pl.Int16(), "which visit of this point, 1 first"),
        "read": Column(COUNT, "runners read by at least one line"),
        "missed_seen_later": Column(COUNT, "runners read by no line and proven by a later read: exact"),
        "hidden": Column(FLOAT, "expected number of further crossings that nothing proves", nullable=True),
        "hidden_low": Column(FLOAT, "fewest of them, with the event's confidence", nullable=True),
        "hidden_high": Column(FLOAT, "most of them", nullable=True),
        "lower_bound": Column(FLOAT, "unread crossings at least, however tags differ", nullable=True),
        "independence": Column(FLOAT, "unread crossings, if two lines missed unrelatedly", nullable=True),
        "rate": Column(FLOAT, "share of all crossings read by either line", nullable=True),
        "rate_low": Column(FLOAT, "its lower end", nullable=True),
        "rate_high": Column(FLOAT, "its upper end", nullable=True),
        "reason": Column(TEXT, "why there is no number of hidden crossings", nullable=True),
        "note": Column(TEXT, "what limits all numbers of the course", nullable=True),
    },
)

WEAK_TAGS = Table(
    "weak tags",
    "one runner who was seen, and the chance that the runner's tag is weak; private",
    ("runner",),
    {
        "runner": Column(TEXT, "runner of entries"),
        "bib": Column(TEXT, "bib number", nullable=True),
        "course": Column(TEXT, "course id"),
        "tag": Column(
            TEXT, "tag id; several, with blanks between, where the runner has several", nullable=True
        ),
        "kind": Column(TEXT, "type of tag", nullable=True),
        "batch": Column(TEXT, "batch of single-use tags", nullable=True),
        "weak": Column(
            FLOAT, "chance that the tag is weak; null: the course has too few lines", nullable=True
        ),
        "late": Column(FLOAT, "chance that it only answered from some point on", nullable=True),
        "retire": Column(pl.Boolean(), "on the list of tags to retire"),
    },
)

LINE_PAIRS = Table(
    "line pairs",
    "one point with a main and a backup line: whom each read, and how they compare",
    ("point",),
    {
        "event": Column(TEXT, "event id"),
        "point": Column(TEXT, "timing point id, all its visits together; null: all points", nullable=True),
        "both": Column(COUNT, "crossings read by both lines"),
        "main_only": Column(COUNT, "by the main line only"),
        "backup_only": Column(COUNT, "by the backup line only"),
        "neither": Column(COUNT, "by neither, proven by later reads; none are known where nothing is later"),
        "ratio": Column(FLOAT, "reads of the main line over reads of the backup line", nullable=True),
        "ratio_low": Column(FLOAT, "lower end of its interval (setting confidence)", nullable=True),
        "ratio_high": Column(FLOAT, "upper end", nullable=True),
        "chance": Column(FLOAT, "of a difference as large if both lines read alike (McNemar)", nullable=True),
        "hidden": Column(FLOAT, "crossings read by neither if the lines missed unrelatedly", nullable=True),
        "together": Column(
            FLOAT,
            "times the odds of a miss by one line where the other missed, among runners read later",
            nullable=True,
        ),
        "together_low": Column(FLOAT, "lower end of its interval", nullable=True),
        "together_high": Column(FLOAT, "upper end", nullable=True),
        "reason": Column(TEXT, "why the two cannot be compared", nullable=True),
    },
)

WEAK_SHARES = Table(
    "weak shares",
    "tags of one kind or one batch, and how many of them are expected to be weak",
    ("by", "group"),
    {
        "event": Column(TEXT, "event id"),
        "by": Column(pl.Enum(["kind", "batch"]), "what the tags are grouped by"),
        "group": Column(TEXT, "the kind or batch, as the start list names it"),
        "tags": Column(COUNT, "tags judged: of runners with one tag, on courses with enough lines"),
        "weak": Column(FLOAT, "expected number of weak ones"),
        "share": Column(FLOAT, "their share"),
        "share_low": Column(FLOAT, "lower end of its interval (setting confidence)"),
        "share_high": Column(FLOAT, "upper end"),
    },
)
