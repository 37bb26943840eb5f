"""The contracts of what is said of a season beside the rates of its items: watching, comparing, testing."""

from __future__ import annotations

import polars as pl

from lineproof.contracts import Column, Table
from lineproof.setup_tables import SMALL, YES_NO
from lineproof.tables import COUNT, FLOAT, TEXT

SUBJECT = Column(pl.Enum(["mat", "cable", "reader", "line"]), "what is watched")
LEVEL = Column(pl.Enum(["line", "point", "segment"]), "what it is a rate of")

SWAPS = Table(
    "swaps",
    "one item that cannot be told apart from something, and what would separate them",
    ("item",),
    {
        "item": Column(TEXT, "item id"),
        "kind": Column(TEXT, "mat, cable or reader"),
        "bound_to": Column(TEXT, "what it cannot be told apart from"),
        "swap": Column(TEXT, "what to do at one event to separate them"),
    },
)

MONITORING = Table(
    "monitoring",
    "one item or line at one event, against what the season leads one to expect of it there",
    ("subject", "name", "event"),
    {
        "subject": SUBJECT,
        "name": Column(TEXT, "item id or line id"),
        "event": Column(TEXT, "event id"),
        "date": Column(pl.Date(), "day of the event"),
        "tried": Column(FLOAT, "crossings it was tried on, interruptions left out"),
        "missed": Column(FLOAT, "of these, missed"),
        "share": Column(FLOAT, "share missed"),
        "centre": Column(FLOAT, "share missed over the season"),
        "low": Column(FLOAT, "lower limit, scatter between events allowed for"),
        "high": Column(FLOAT, "upper limit"),
        "expected": Column(FLOAT, "misses expected in these conditions of it as it is on average"),
        "score": Column(FLOAT, "missed against expected, in standard deviations; above 0 is worse"),
        "smoothed": Column(FLOAT, "exponentially weighted mean of the scores"),
        "smoothed_limit": Column(FLOAT, "beyond this, or below minus this, something has moved"),
        "summed": Column(FLOAT, "cumulative sum of the scores upwards"),
        "summed_limit": Column(FLOAT, "beyond this something has become worse"),
        "signal": Column(TEXT, "which charts speak at this event, in words", nullable=True),
    },
)

CHANGE_POINTS = Table(
    "change points",
    "one lasting change of an item or line: when, how large, and what changed in the set-up then",
    ("subject", "name"),
    {
        "subject": SUBJECT,
        "name": Column(TEXT, "item id or line id"),
        "last_before": Column(TEXT, "last event before the change"),
        "event": Column(TEXT, "first event after it"),
        "date": Column(pl.Date(), "its day"),
        "events_before": Column(COUNT, "events before the change"),
        "events_after": Column(COUNT, "events after it"),
        "factor": Column(FLOAT, "misses per expected miss after, as a multiple of before"),
        "chance": Column(FLOAT, "chance of so clear a change where nothing changes"),
        "false_share": Column(FLOAT, "chance, adjusted for all items and lines that were looked at"),
        "found": Column(YES_NO, "clear enough to be looked into"),
        "changed": Column(TEXT, "what the set-up records say changed then; null: nothing", nullable=True),
    },
)

TRENDS = Table(
    "trends",
    "one item or line and whether it misses more with each use",
    ("subject", "name"),
    {
        "subject": SUBJECT,
        "name": Column(TEXT, "item id or line id"),
        "uses": Column(COUNT, "events at which it was used"),
        "trend": Column(FLOAT, "change of the logit of a miss per use, shrunken"),
        "trend_sd": Column(FLOAT, "its standard deviation"),
        "low": Column(FLOAT, "lower end of its 95 % interval"),
        "high": Column(FLOAT, "upper end"),
        "chance": Column(FLOAT, "chance of such a rise where nothing changes"),
        "found": Column(YES_NO, "a rise clear enough to act on (false-discovery rate over all)"),
    },
)

FUNNEL = Table(
    "funnel",
    "one item or line among its kind, against the limits for its number of crossings",
    ("subject", "name"),
    {
        "subject": SUBJECT,
        "name": Column(TEXT, "item id or line id"),
        "tried": Column(FLOAT, "crossings it was tried on"),
        "share": Column(FLOAT, "share missed in its own conditions"),
        "adjusted": Column(FLOAT, "share missed, put into common conditions"),
        "centre": Column(FLOAT, "share missed by all of its kind"),
        "low": Column(FLOAT, "lower limit, scatter of the kind allowed for"),
        "high": Column(FLOAT, "upper limit"),
        "side": Column(pl.Enum(["within", "worse", "better"]), "where it lies"),
    },
)

LINE_HISTORY = Table(
    "line history",
    "one line, point or segment at one event, and the share read",
    ("level", "name", "event"),
    {
        "level": LEVEL,
        "name": Column(TEXT, "line or point id; a segment by its course and its two ends"),
        "event": Column(TEXT, "event id"),
        "date": Column(pl.Date(), "day of the event"),
        "proven": Column(COUNT, "denominator: crossings proven by evidence from elsewhere"),
        "detected": Column(COUNT, "of these, read"),
        "rate": Column(FLOAT, "share read", nullable=True),
        "low": Column(FLOAT, "lower end of its 95 % interval", nullable=True),
        "high": Column(FLOAT, "upper end", nullable=True),
        "shrunken": Column(FLOAT, "share read, drawn towards its other events", nullable=True),
        "reason": Column(TEXT, "why there is no number", nullable=True),
    },
)

LINE_SEASON = Table(
    "line season",
    "one line, point or segment over the season",
    ("level", "name"),
    {
        "level": LEVEL,
        "name": Column(TEXT, "line or point id; a segment by its course and its two ends"),
        "events": Column(COUNT, "events at which it was judged"),
        "proven": Column(COUNT, "crossings proven"),
        "detected": Column(COUNT, "of these, read"),
        "rate": Column(FLOAT, "share read at an event like these", nullable=True),
        "low": Column(FLOAT, "lower end of its 95 % interval, scatter between events in it", nullable=True),
        "high": Column(FLOAT, "upper end", nullable=True),
        "spread": Column(FLOAT, "standard deviation between events, on the logit", nullable=True),
        "worst_event": Column(TEXT, "event with the lowest shrunken share", nullable=True),
        "reason": Column(TEXT, "why there is no number, or what limits it", nullable=True),
    },
)

COMPARISONS = Table(
    "comparisons",
    "one habit, season or model against another, matched, and what it does to the misses",
    ("question", "a", "b"),
    {
        "question": Column(TEXT, "what is compared"),
        "a": Column(TEXT, "the one"),
        "b": Column(TEXT, "the other"),
        "matched": Column(TEXT, "within what both were compared"),
        "strata": Column(COUNT, "of these, how many had both"),
        "tried_a": Column(FLOAT, "crossings of the one, matched"),
        "tried_b": Column(FLOAT, "crossings of the other"),
        "missed_a": Column(FLOAT, "misses of the one"),
        "missed_b": Column(FLOAT, "misses of the other"),
        "factor": Column(FLOAT, "odds of a miss with the one, as a multiple of the other", nullable=True),
        "low": Column(FLOAT, "lower end of its 95 % interval", nullable=True),
        "high": Column(FLOAT, "upper end", nullable=True),
        "witnesses": Column(COUNT, "independent events (or items) that the interval rests on"),
        "chance": Column(FLOAT, "chance of such a difference where there is none", nullable=True),
        "verdict": Column(pl.Enum(["fewer misses", "more misses", "cannot tell"]), "of the one, in words"),
        "reason": Column(TEXT, "why there is no number, or what limits it", nullable=True),
    },
)

MORNING_RULES = Table(
    "morning rules",
    "one rule of the morning over the season: lines that kept it, lines that broke it, and what they missed",
    ("rule",),
    {
        "rule": Column(TEXT, "what a line is to keep"),
        "lines_kept": Column(COUNT, "lines (of all events) that kept it, by the set-up record"),
        "tried_kept": Column(FLOAT, "their crossings"),
        "missed_kept": Column(FLOAT, "of these, missed"),
        "lines_broken": Column(COUNT, "lines that broke it"),
        "tried_broken": Column(FLOAT, "their crossings"),
        "missed_broken": Column(FLOAT, "of these, missed"),
        "lines_unknown": Column(COUNT, "lines of which the record does not tell"),
        "factor": Column(
            FLOAT, "odds of a miss where it was broken, as a multiple, matched within events", nullable=True
        ),
        "low": Column(FLOAT, "lower end of its 95 % interval", nullable=True),
        "high": Column(FLOAT, "upper end", nullable=True),
        "reason": Column(TEXT, "why there is no number, or what limits it", nullable=True),
    },
)

HAND_TEST_LIMITS = Table(
    "hand test limits",
    "one height at which the hand test could be failed, and what that would have caught",
    ("limit_cm",),
    {
        "limit_cm": Column(FLOAT, "slots read to less than this height fail"),
        "failed": Column(SMALL, "slots (of all events) that would have failed"),
        "share_failed": Column(FLOAT, "share of all slots tested"),
        "missed_caught": Column(FLOAT, "share of all misses that lay in them"),
        "weak_caught": Column(FLOAT, "share of the excess misses that lay in them", nullable=True),
        "log_likelihood": Column(FLOAT, "of the model in which misses rise below it; the best is 0"),
        "plausible": Column(YES_NO, "within 1.92 of the best: a 95 % interval"),
    },
)
