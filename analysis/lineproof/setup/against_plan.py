"""Where the record and the plan in ``event.toml`` disagree: the record counts, and the disagreement is said."""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from lineproof.event import Event, Line
from lineproof.setup.complaints import Row
from lineproof.setup.record import Record
from lineproof.wording import say_count

_TOLERANCE_M = 0.5  # widths and distances paced out in the morning agree with a plan within this


def compare_with_plan(record: Record) -> None:
    """Say lines without a row, and roles, widths and distances that differ from the plan."""
    there = {row.text("line"): row for row in record.lines}
    for line in record.event.lines:
        row = there.get(line.id)
        if row is None:
            _say_missing(line, record)
            continue
        role = row.text("role")
        if role is not None and role != line.role.value:
            problem = f'"{role}", but event.toml has {line.id} as the {line.role.value} line'
            todo = "put right the one that is wrong; until then event.toml decides which times are used"
            record.complaints.say(row, "role", problem, todo, about="plan", counts=True)
        _compare(row, "spacing_m", row.number("spacing_m"), line.spacing_m, record)
        _compare(row, "covered_width_m", row.number("covered_width_m"), line.width_m, record)
        _compare_slots(row, line, record)


def _say_missing(line: Line, record: Record) -> None:
    slots = record.slots_of(line.id)
    source = (*record.lines, *record.mats)[:1]
    file, sheet = (source[0].file, source[0].sheet) if source else ("the set-up record", "")
    missing = "no row of its own" if slots else "no row in the record"
    record.complaints.say_of_file(
        f'the line "{line.id}" of event.toml has {missing}',
        "add it, or take it out of the plan",
        file,
        "Lines" if sheet else "",
        line=line.id,
        about="plan",
    )


def _compare(row: Row, name: str, found: float | None, planned: float | None, record: Record) -> None:
    if found is None or planned is None or abs(found - planned) <= _TOLERANCE_M:
        return
    problem = f"{found:g} m, where event.toml plans {planned:g} m"
    record.complaints.say(row, name, problem, "the record counts; mend the plan", about="plan", counts=True)


def _compare_slots(row: Row, line: Line, record: Record) -> None:
    """Mats against the width that they are said to span, or were planned to."""
    mats = max((int(row.number("slot") or 0) for row in record.slots_of(line.id)), default=0)
    each = record.event.setting("mat_width_m")
    covered = row.number("covered_width_m")
    if not mats or not each:
        return
    if covered is not None and abs(mats * each - covered) >= each:
        problem = f"{covered:g} m spanned, but {say_count(mats, 'slot')} of about {each:g} m"
        todo = "count the mats and measure again"
        record.complaints.say(row, "covered_width_m", problem, todo, counts=True)
    elif covered is None and line.width_m is not None and abs(mats * each - line.width_m) >= each:
        problem = f"{say_count(mats, 'slot')} of about {each:g} m, where event.toml plans {line.width_m:g} m"
        todo = "the record counts; mend the plan"
        record.complaints.say(row, None, problem, todo, about="plan", counts=True)


def to_laid_event(event: Event, lines: pl.DataFrame) -> Event:
    """The event with the distances and widths of LAID_LINES in place of the plan's, where they are recorded."""
    laid = {str(row["line"]): row for row in lines.iter_rows(named=True)}

    def as_laid(line: Line) -> Line:
        row = laid.get(line.id)
        if row is None:
            return line
        spacing, width = row["spacing_m"], row["covered_width_m"]
        return replace(
            line,
            spacing_m=line.spacing_m if spacing is None else float(spacing),
            width_m=line.width_m if width is None else float(width),
        )

    return replace(event, lines=tuple(as_laid(line) for line in event.lines))
