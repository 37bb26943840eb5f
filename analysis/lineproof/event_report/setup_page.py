"""The set-up section of the event review: what lay where, how it was laid, and what is wrong in the record.

Notes and photos stay in the record: they may name people, and the page may be sent on.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import polars as pl

from lineproof.event_report.shown.labels import label_of, line_labels
from lineproof.figures import Fragment, Head, Row, number, show_table
from lineproof.wording import say_count, say_list

if TYPE_CHECKING:
    from lineproof.pipeline import Review

MOST_COMPLAINTS = 40
_NONE = "–"
NO_RECORD = (
    "There is no set-up record, so misses cannot be held against what was laid. "
    "The command lineproof sheet makes a blank one from the event description."
)


def say_setup(review: Review) -> list[str]:
    """How much of the set-up is recorded, what it took, and how much of the record is in doubt."""
    setup = review.setup
    if not setup.sources:
        return [NO_RECORD]
    planned, recorded = len(review.event.lines), setup.lines.height
    said = [
        f"The record has {recorded} of {say_count(planned, 'line')} and {say_count(setup.mats.height, 'slot')}."
    ]
    minutes = setup.lines["crew_minutes"].drop_nulls()
    if minutes.len():
        said.append(
            f"Laying and testing took {minutes.sum():.0f} crew minutes on {say_count(minutes.len(), 'line')} "
            f"that say so: {minutes.sum() / minutes.len():.0f} for each."
        )
    return [*said, *_say_complaints(setup.complaints)]


def _say_complaints(complaints: pl.DataFrame) -> list[str]:
    if complaints.is_empty():
        return ["Nothing in it contradicts itself, the plan or the register."]
    out = complaints.filter(~pl.col("counts")).height
    plan = complaints.filter(pl.col("about").cast(pl.String) == "plan").height
    parts = [
        f"{say_count(out, 'entry does', 'entries do')} not count until put right" if out else "",
        f"{say_count(plan, 'entry differs', 'entries differ')} from the plan" if plan else "",
    ]
    found = [part for part in parts if part]
    return [
        f"{say_count(complaints.height, 'remark')} on the record{': ' + say_list(found) if found else ''}."
    ]


def to_setup_rows(review: Review) -> pl.DataFrame:
    """One row for each recorded line, in the order of the plan, with its slots' items and heights together."""
    slots = review.setup.mats.group_by("line", maintain_order=True).agg(
        pl.concat_str(pl.col("mat", "cable").fill_null("?"), separator=" on ").alias("items"),
        pl.col("hand_ceiling_cm").min().alias("lowest_cm"),
        pl.col("hand_ceiling_cm").max().alias("highest_cm"),
        pl.col("hand_ceiling_cm").is_null().sum().alias("untested"),
        pl.len().alias("slots"),
    )
    rows = review.setup.lines.join(slots, on="line", how="left", validate="1:1", maintain_order="left")
    return rows.with_columns(label_of(line_labels(review.event), "line"))


def line_table(review: Review) -> Fragment:
    """What lay where: reader, ports, and mat and cable of every slot from the near side."""
    heads = (
        Head("Line", lambda row: row["line"], "place"),
        Head("Reader", lambda row: _text(row["reader"])),
        Head("Mat on cable, from the near side", _items, "wide"),
        number("Ports told", lambda row: _text(row["ports_told"])),
        number("Hand test up to", _heights),
        number("Crew minutes", lambda row: _digits(row["crew_minutes"])),
    )
    return show_table(
        to_setup_rows(review), heads, "What lay where, by the set-up record", "No line is recorded."
    )


def morning_table(review: Review) -> Fragment:
    """How each line was laid: widths, distance, clock, times, power, weather."""
    zone = ZoneInfo(review.event.zone)
    heads = (
        Head("Line", lambda row: row["line"], "place"),
        number("Road, spanned", _widths),
        number("To the other line", lambda row: _metres(row["spacing_m"])),
        Head("Clock set", lambda row: _with(_clock(row["clock_set"], zone), row["clock_source"])),
        Head("Laid to lifted", lambda row: _span(row, zone), "brief"),
        Head("Power", lambda row: _power(row, zone)),
        Head("Weather, ground", lambda row: _with(_text(row["weather"]), row["surface"])),
    )
    return show_table(
        to_setup_rows(review), heads, "How it was laid, by the set-up record", "No line is recorded."
    )


def complaint_table(review: Review) -> Fragment:
    """What is wrong in the record, where, and whether the entry counts; all are in the record's own check."""
    rows = review.setup.complaints
    heads = (
        Head("Where", _where, "place"),
        Head(
            "What", lambda row: f"{row['problem']}; {row['todo']}" if row["todo"] else row["problem"], "wide"
        ),
        Head("Counts", lambda row: "yes" if row["counts"] else "no"),
    )
    caption = "To put right in the set-up record"
    if rows.height > MOST_COMPLAINTS:
        caption += f": the first {MOST_COMPLAINTS} of {rows.height}; lineproof ready lists all"
    return show_table(
        rows.head(MOST_COMPLAINTS), heads, caption, "Nothing in the set-up record is to be put right."
    )


def _where(row: Row) -> str:
    parts = [
        row["file"],
        row["sheet"],
        f"row {row['row']}" if row["row"] is not None else "",
        row["column"] or "",
    ]
    return ", ".join(part for part in parts if part)


def _text(value: Any) -> str:
    return _NONE if value is None else str(value)


def _digits(value: float | None) -> str:
    return _NONE if value is None else f"{value:.0f}"


def _metres(value: float | None) -> str:
    return _NONE if value is None else f"{value:g} m"


def _items(row: Row) -> str:
    return _NONE if not row["items"] else ", ".join(row["items"])


def _heights(row: Row) -> str:
    low, high = row["lowest_cm"], row["highest_cm"]
    if low is None:
        return _NONE
    text = f"{low:g} cm" if low == high else f"{low:g} to {high:g} cm"
    return f"{text}; {row['untested']} of {row['slots']} not recorded" if row["untested"] else text


def _widths(row: Row) -> str:
    road, covered = _metres(row["road_width_m"]), _metres(row["covered_width_m"])
    return _NONE if road == covered == _NONE else f"{road}, {covered}"


def _clock(moment: dt.datetime | None, zone: ZoneInfo) -> str:
    return _NONE if moment is None else moment.astimezone(zone).strftime("%H:%M")


def _span(row: Row, zone: ZoneInfo) -> str:
    text = f"{_clock(row['laid'], zone)} to {_clock(row['lifted'], zone)}"
    return f"{text}, again {_clock(row['relaid'], zone)}" if row["relaid"] is not None else text


def _power(row: Row, zone: ZoneInfo) -> str:
    second = {None: "", True: "second source", False: "no second source"}[row["backup_power"]]
    change = row["change_over"]
    parts = [row["power"] or "", second, "" if change is None else f"changed over {_clock(change, zone)}"]
    return ", ".join(part for part in parts if part) or _NONE


def _with(first: str, second: str | None) -> str:
    return first if second is None else f"{first}, {second}"
