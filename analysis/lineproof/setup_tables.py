"""The contracts of what was laid, what ails it, and what the misses are consistent with."""

from __future__ import annotations

import polars as pl

from lineproof.contracts import Column, Table
from lineproof.tables import COUNT, FLOAT, INSTANT, TEXT
from lineproof.vocabulary import Cause, ItemKind, Role

SMALL = pl.Int16()
YES_NO = pl.Boolean()

LAID_LINES = Table(
    "laid lines",
    "one line as it was really laid at the event, by the set-up record",
    ("line",),
    {
        "line": Column(TEXT, "line id of event.toml"),
        "role": Column(pl.Enum([role.value for role in Role]), "main or backup, as laid", nullable=True),
        "met": Column(
            pl.Enum(["first", "second"]), "of the lines of its point, as runners meet them", nullable=True
        ),
        "behind_start": Column(
            YES_NO, "at a start: runners cross it before they cross the start line", nullable=True
        ),
        "reader": Column(TEXT, "reader id", nullable=True),
        "reader_role": Column(pl.Enum(["race", "practice"]), "what the reader was told to do", nullable=True),
        "ports_told": Column(SMALL, "how many ports the reader was told", nullable=True),
        "power_on": Column(INSTANT, "reader switched on", nullable=True),
        "clock_set": Column(INSTANT, "clock set, by the right time", nullable=True),
        "clock_source": Column(TEXT, "what the clock was set by", nullable=True),
        "gun_check": Column(YES_NO, "gun time compared with the reader's clock", nullable=True),
        "walk_test": Column(YES_NO, "a tag walked over every mat answered on each", nullable=True),
        "spacing_m": Column(FLOAT, "to the other line of the point, m", nullable=True),
        "road_width_m": Column(FLOAT, "width that runners can use, m", nullable=True),
        "covered_width_m": Column(FLOAT, "of these, spanned by mats, m", nullable=True),
        "near_gap_m": Column(FLOAT, "from the near edge of the road to the first mat, m", nullable=True),
        "direction": Column(TEXT, "which way the mats' cables leave", nullable=True),
        "surface": Column(TEXT, "what the mats lie on", nullable=True),
        "covers": Column(YES_NO, "mats taped or covered", nullable=True),
        "weather": Column(TEXT, "weather while it lay", nullable=True),
        "power": Column(TEXT, "power source, or power unit id", nullable=True),
        "backup_power": Column(YES_NO, "a second source takes over", nullable=True),
        "change_over": Column(INSTANT, "power changed over at", nullable=True),
        "road_closed": Column(INSTANT, "road closed to vehicles", nullable=True),
        "laid": Column(INSTANT, "laid and tested", nullable=True),
        "lifted": Column(INSTANT, "lifted", nullable=True),
        "relaid": Column(INSTANT, "laid again during the race", nullable=True),
        "crew_minutes": Column(FLOAT, "people times minutes to lay and test it", nullable=True),
        "photos": Column(TEXT, "file names of photos, with ; between", nullable=True),
        "notes": Column(TEXT, "notes", nullable=True),
        "file": Column(TEXT, "set-up record, relative to the event folder"),
        "sheet": Column(TEXT, "sheet of a workbook, else empty"),
        "row": Column(pl.Int64(), "row as a spreadsheet counts it"),
    },
)

LAID_MATS = Table(
    "laid mats",
    "one slot of a line, 1 at the near side, and the items in it",
    ("line", "slot"),
    {
        "line": Column(TEXT, "line id of event.toml"),
        "slot": Column(SMALL, "place across the road, 1 at the near side"),
        "mat": Column(TEXT, "mat id", nullable=True),
        "cable": Column(TEXT, "cable id", nullable=True),
        "cable_m": Column(FLOAT, "length of cable used, m", nullable=True),
        "port": Column(SMALL, "port of the line's reader; the antenna number in the reads", nullable=True),
        "hand_floor_cm": Column(FLOAT, "lowest height at which the hand test was read, cm", nullable=True),
        "hand_ceiling_cm": Column(FLOAT, "greatest height, cm", nullable=True),
        "notes": Column(TEXT, "notes", nullable=True),
        "file": Column(TEXT, "set-up record, relative to the event folder"),
        "sheet": Column(TEXT, "sheet of a workbook, else empty"),
        "row": Column(pl.Int64(), "row as a spreadsheet counts it"),
    },
)

COMPLAINTS = Table(
    "complaints",
    "one thing that is wrong or doubtful in the set-up record, or differs from the plan or the register",
    (),
    {
        "file": Column(TEXT, "record or register"),
        "sheet": Column(TEXT, "sheet of a workbook, else empty"),
        "row": Column(pl.Int64(), "row as a spreadsheet counts it", nullable=True),
        "column": Column(TEXT, "header of the column", nullable=True),
        "line": Column(TEXT, "line id", nullable=True),
        "slot": Column(SMALL, "slot of the line", nullable=True),
        "about": Column(pl.Enum(["record", "plan", "register"]), "what the record does not agree with"),
        "counts": Column(YES_NO, "the entry counts all the same"),
        "problem": Column(TEXT, "what was found and what was expected"),
        "todo": Column(TEXT, "what to do"),
        "sentence": Column(TEXT, "all of it in one sentence"),
    },
)

ITEM_PLACES = Table(
    "item places",
    "one item at one place of the event: from when to when it lay there, and what was read there",
    ("item", "line", "slot"),
    {
        "item": Column(TEXT, "item id"),
        "kind": Column(pl.Enum([kind.value for kind in ItemKind]), "what it is"),
        "line": Column(TEXT, "line id"),
        "slot": Column(SMALL, "place across the road, 1 at the near side; 0: the whole line"),
        "port": Column(SMALL, "port of the line's reader", nullable=True),
        "laid": Column(INSTANT, "laid and tested", nullable=True),
        "lifted": Column(INSTANT, "lifted", nullable=True),
        "relaid": Column(INSTANT, "laid again during the race", nullable=True),
        "hand_floor_cm": Column(FLOAT, "lowest height of the hand test, cm", nullable=True),
        "hand_ceiling_cm": Column(FLOAT, "greatest height, cm", nullable=True),
        "tried": Column(COUNT, "runners there, estimated for a mat", nullable=True),
        "missed": Column(COUNT, "of these, missed", nullable=True),
        "estimate": Column(FLOAT, "share of the runners there for whom it answered", nullable=True),
        "verdict": Column(TEXT, "the reads in one word", nullable=True),
    },
)

EQUIPMENT = Table(
    "equipment",
    "one item of the register: what it is, when it was bought and what it cost",
    ("item",),
    {
        "item": Column(TEXT, "id written on the item"),
        "kind": Column(pl.Enum([kind.value for kind in ItemKind]), "what it is"),
        "model": Column(TEXT, "the crew's own word for the model", nullable=True),
        "bought": Column(pl.Date(), "bought on", nullable=True),
        "price": Column(FLOAT, "price paid, in the register's currency", nullable=True),
        "repairs": Column(TEXT, "repairs, with ; between, each led by its date", nullable=True),
        "retired": Column(pl.Date(), "out of use since", nullable=True),
        "length_m": Column(FLOAT, "length of a cable or width of a mat, m", nullable=True),
        "ports": Column(SMALL, "ports of a reader", nullable=True),
        "notes": Column(TEXT, "notes", nullable=True),
        "row": Column(pl.Int64(), "row of the register as a spreadsheet counts it"),
    },
)

CLOCK_FAULTS = Table(
    "clock faults",
    "one line's clock against the lines around it: offset, drift and what they look like",
    ("line",),
    {
        "event": Column(TEXT, "event id"),
        "point": Column(TEXT, "timing point id"),
        "line": Column(TEXT, "line id"),
        "pairs": Column(COUNT, "runners that it rests on"),
        "offset_us": Column(pl.Int64(), "line's clock minus true, us", nullable=True),
        "offset_se_us": Column(pl.Int64(), "its standard error, doubt of spacing included", nullable=True),
        "drift_ppm": Column(FLOAT, "gain of the clock, parts per million", nullable=True),
        "drift_se_ppm": Column(FLOAT, "its standard error", nullable=True),
        "distance_m": Column(FLOAT, "fault of the stated distance, where that fits better", nullable=True),
        "looks_like": Column(
            pl.Enum(
                [
                    "sound",
                    "offset",
                    "drift",
                    "zone",
                    "half day",
                    "date",
                    "satellite seconds",
                    "distance",
                    "cannot tell",
                ]
            ),
            "in one word",
        ),
        "correction_us": Column(pl.Int64(), "proposed: add this to the line's times", nullable=True),
        "accepted": Column(pl.Boolean(), "the reviewer accepted it, and it is applied"),
        "method": Column(TEXT, "how it was found and what it assumes"),
        "reason": Column(TEXT, "why there is no number, or what limits it", nullable=True),
    },
)

MISSES = Table(
    "misses",
    "one line that did not read one runner who was there by evidence from elsewhere; private",
    ("line", "runner", "order"),
    {
        "point": Column(TEXT, "timing point id"),
        "line": Column(TEXT, "line id"),
        "role": Column(pl.Enum([role.value for role in Role]), "main or backup"),
        "runner": Column(TEXT, "runner of entries"),
        "course": Column(TEXT, "course id"),
        "wave": Column(TEXT, "wave id"),
        "order": Column(SMALL, "place of the visit in the course"),
        "about": Column(INSTANT, "when the runner crossed, as well as it is known", nullable=True),
        "both": Column(YES_NO, "the other line of the point did not read the runner either"),
        "sibling_antenna": Column(
            pl.Int32(), "antenna that read the runner at the other line", nullable=True
        ),
        "flow": Column(FLOAT, "runners per minute at the point around then", nullable=True),
        "weak": Column(FLOAT, "chance that the runner's tag is weak", nullable=True),
        "cause": Column(pl.Enum([cause.value for cause in Cause]), "first explanation", nullable=True),
        "finding": Column(COUNT, "number of the diagnosis that explains it", nullable=True),
    },
)

DIAGNOSIS = Table(
    "diagnosis",
    "one pattern in the misses of a line, what it is consistent with, and what the set-up record says of it",
    ("finding",),
    {
        "event": Column(TEXT, "event id"),
        "finding": Column(COUNT, "number, the largest number of misses explained first"),
        "cause": Column(pl.Enum([cause.value for cause in Cause]), "what it is consistent with"),
        "point": Column(TEXT, "timing point id; null: the whole event", nullable=True),
        "line": Column(TEXT, "line id; null: the whole point or event", nullable=True),
        "slot": Column(SMALL, "place across the road, where it is one mat's", nullable=True),
        "antenna": Column(pl.Int32(), "antenna number, where it is one antenna's", nullable=True),
        "items": Column(TEXT, "mat, cable, reader that the record puts there", nullable=True),
        "begin": Column(INSTANT, "from", nullable=True),
        "end": Column(INSTANT, "until", nullable=True),
        "tried": Column(COUNT, "runners there by evidence from elsewhere"),
        "missed": Column(COUNT, "of these, missed"),
        "usual": Column(FLOAT, "misses that the rest of the event would lead one to expect", nullable=True),
        "explained": Column(COUNT, "misses of which it is the first explanation"),
        "chance": Column(FLOAT, "chance of such a pattern where nothing is wrong"),
        "false_share": Column(FLOAT, "chance, adjusted for all patterns that were looked for"),
        "agree": Column(TEXT, "set-up facts that agree", nullable=True),
        "disagree": Column(TEXT, "set-up facts that speak against it", nullable=True),
        "missing": Column(TEXT, "set-up facts that would tell and were not recorded", nullable=True),
        "detail": Column(TEXT, "one sentence; names no runner"),
    },
)
