"""What the times of one column are written as: stated in ``event.toml``, or certain from the data.

``auto`` decides only where the data leave one reading.  A bare ``h:mm:ss`` may be a time of day or an
elapsed time, and 05/04/2026 may be April or May: both are refused with the word to write, unless the
event's date, or the pace that each reading would mean, rules all but one out.  What was decided goes
into the remarks of the account.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import polars as pl

from lineproof.errors import EventError, InputError
from lineproof.event import EVENT_FILE, Event, FileLayout
from lineproof.intake.times import PATTERNS, SECOND, Kind, TimePlan, days_from_civil, local_us, magnitude_unit

PER_SECOND = {"epoch_s": 1, "epoch_ms": 1000, "epoch_us": SECOND}
_NAMES = {1: "epoch_s", 1000: "epoch_ms", SECOND: "epoch_us", 1000 * SECOND: "nanoseconds since 1970"}
_OLDEST_EPOCH = 10**8  # 1973 in seconds; smaller numbers are durations or times of day
_NEAR_DAYS = 2
_DATE_PARTS = r"^(\d{1,2})[-/.](\d{1,2})[-/.](\d{4}|\d{2})[Tt ,]"


@dataclass(frozen=True, slots=True)
class Bare:
    """What a bare time or number means (``clock`` or ``elapsed``), and the remark that says why."""

    meaning: str
    remark: str


Judge = Callable[[Kind], Bare | None]


@dataclass(frozen=True, slots=True)
class TimeColumn:
    """One column of texts (blanks are null) and where it stands, for the complaint."""

    frame: pl.LazyFrame
    text: str
    file: str
    header: str
    section: str = "its [[input]]"


def plan_times(
    column: TimeColumn, layout: FileLayout, event: Event, judge: Judge | None = None
) -> tuple[TimePlan, tuple[str, ...]]:
    """How to read a column, with remarks on what was assumed.

    ``judge`` is asked what bare times and small numbers mean where ``times = "auto"``.
    Raises ``InputError`` where the column can be read in more than one way.
    """
    zone = layout.zone or event.zone
    check_zone(zone)
    counts = _count(column)
    plan = TimePlan(
        frozenset(kind for kind, count in counts.items() if count and kind is not Kind.DATE),
        zone,
        layout.date_order,
        layout.repeated_hour,
        opens=local_us(event.opens, zone),
    )
    remarks: list[str] = []
    if counts[Kind.DATE]:
        order, why = _date_order(column, layout, event)
        plan = replace(plan, kinds=plan.kinds | {Kind.DATE}, date_order=order)
        remarks += why
    if layout.times == "iso":
        return replace(plan, kinds=plan.kinds - {Kind.NUMBER, Kind.COLON}), tuple(remarks)
    if layout.times in PER_SECOND:
        _check_unit(column, layout.times)
        kinds = plan.kinds - {Kind.COLON}
        return replace(plan, kinds=kinds, number="epoch", per_second=PER_SECOND[layout.times]), tuple(remarks)
    if layout.times == "clock":
        return replace(plan, kinds=plan.kinds - {Kind.NUMBER}, colon="clock"), tuple(remarks)
    if layout.times == "elapsed":
        return replace(plan, number="elapsed", colon="elapsed"), tuple(remarks)
    plan, more = _auto(column, plan, counts, judge)
    return plan, (*remarks, *more)


def check_zone(zone: str) -> None:
    """Raise ``EventError`` for a zone that the tables of time zones in use do not hold."""
    try:
        pl.Series([0]).cast(pl.Datetime("us", zone))
    except pl.exceptions.PolarsError:
        raise EventError(
            f'the zone "{zone}" is not known', todo='use a name like "Europe/London"', file=EVENT_FILE
        ) from None


def _count(column: TimeColumn) -> dict[Kind, int]:
    text = pl.col(column.text)
    row = column.frame.select(text.str.contains(p).sum().alias(k) for k, p in PATTERNS.items()).collect()
    return {kind: int(row.item(0, kind)) for kind in Kind}


def _auto(
    column: TimeColumn, plan: TimePlan, counts: dict[Kind, int], judge: Judge | None
) -> tuple[TimePlan, list[str]]:
    small = _small_numbers(column) if counts[Kind.NUMBER] else 0
    dated = counts[Kind.ISO] + counts[Kind.DATE] + counts[Kind.NUMBER] - small
    remarks: list[str] = []
    if counts[Kind.NUMBER] > small:
        plan = replace(plan, number="epoch")
        remarks.append(
            f'numbers under "{column.header}" were read as time since 1970, the unit by their size'
        )
    elif small:
        bare = judge(Kind.NUMBER) if judge else None
        if bare is None and not dated and not counts[Kind.COLON]:
            raise _refuse(column, "bare numbers too small for times since 1970", "elapsed", "clock")
        plan = replace(plan, number="elapsed" if bare else None)
        plan = plan if bare else replace(plan, kinds=plan.kinds - {Kind.NUMBER})
        remarks += [bare.remark] if bare else []
    if counts[Kind.COLON]:
        bare = judge(Kind.COLON) if judge else None
        if bare is None and not dated:
            raise _refuse(column, "times without a date", "clock", "elapsed")
        plan = replace(plan, colon=bare.meaning if bare else None)
        remarks += [bare.remark] if bare else []
    return plan, remarks


def _refuse(column: TimeColumn, what: str, first: str, second: str) -> InputError:
    meaning = {"clock": "times of day", "elapsed": "elapsed times"}
    return InputError(
        f"the column holds {what}",
        todo=f'write times = "{first}" ({meaning[first]}) or times = "{second}" ({meaning[second]}) in {column.section}',
        file=column.file,
        column=column.header,
    )


def _small_numbers(column: TimeColumn) -> int:
    """Numbers that cannot count from 1970; zeros are left out, they stand for no time at all."""
    whole = pl.col(column.text).str.extract(r"^(\d+)(?:[.,]\d+)?$").cast(pl.Int64, strict=False)
    count = column.frame.select((whole < _OLDEST_EPOCH).sum()).collect().item()
    zeros = column.frame.select((whole == 0).sum()).collect().item()
    return int(count) if count > zeros else 0


def _check_unit(column: TimeColumn, times: str) -> None:
    """Refuse a stated epoch unit when most of the numbers are of the size of another."""
    whole = pl.col(column.text).str.extract(r"^(\d+)(?:[.,]\d+)?$").cast(pl.Int64, strict=False)
    units = (
        column.frame.select(whole.alias("n"))
        .filter(pl.col("n") >= _OLDEST_EPOCH)
        .select(magnitude_unit(pl.col("n")).alias("unit"))
        .group_by("unit")
        .len()
        .sort("len", "unit", descending=True)
        .collect()
    )
    if units.height and (unit := units.item(0, "unit")) != PER_SECOND[times]:
        raise InputError(
            f'the numbers are too {"large" if unit > PER_SECOND[times] else "small"} for times = "{times}"',
            todo=f'they look like {_NAMES[unit]}; write times = "{_NAMES.get(unit, "auto") if unit <= SECOND else "auto"}"',
            file=column.file,
            column=column.header,
        )


def _date_order(column: TimeColumn, layout: FileLayout, event: Event) -> tuple[str, list[str]]:
    """The order of day and month: stated, or the only one that fits the data and the event's date."""
    if layout.date_order:
        return layout.date_order, []
    names = ["a", "b", "c"]
    parts = (
        column.frame.select(
            pl.col(column.text).str.extract_groups(_DATE_PARTS).struct.rename_fields(names).struct.unnest()
        )
        .filter(pl.col("a").is_not_null())
        .unique()
        .sort(names)
        .with_columns(pl.col(names).cast(pl.Int64))
        .collect()
    )
    telling = parts.filter(pl.col("a") != pl.col("b"))
    if not telling.height:
        return "dmy", []  # 04/04/2026 and 01/01/1900 are the same day in either order
    parts = telling
    fits = {order: _fit(parts, order, event) for order in ("dmy", "mdy", "ymd")}
    whole = [order for order, (exists, _) in fits.items() if exists == parts.height]
    near = [order for order, (_, close) in fits.items() if close]
    best = [order for order in whole if fits[order][1] == max(close for _, close in fits.values())]
    if len(near) == 1 and near[0] not in whole:
        raise _mixed(column, parts)
    if not whole:
        raise _mixed(column, parts)
    if len(whole) == 1:
        return whole[0], [
            f'dates under "{column.header}" were read in the order {whole[0]}, the only one that exists'
        ]
    all_near = [order for order in best if fits[order][1] == parts.height]
    if len(all_near) == 1 and near == all_near:
        return all_near[0], [
            f'dates under "{column.header}" were read in the order {all_near[0]}, which puts them on the day of the event'
        ]
    shown = parts.row(0)
    raise InputError(
        f"the date {'/'.join(str(n) for n in shown)} can be read in more than one order",
        todo=f'write date_order = "dmy" (day first) or "mdy" (month first) in {column.section}',
        file=column.file,
        column=column.header,
    )


def _mixed(column: TimeColumn, parts: pl.DataFrame) -> InputError:
    """Two orders in one column: no single ``date_order`` reads it."""
    texts = ["/".join(str(n) for n in row) for row in (parts.row(0), parts.row(parts.height - 1))]
    return InputError(
        f"no one order of day and month fits all dates, such as {' and '.join(dict.fromkeys(texts))}",
        todo=f'split the file, or write date_order = "dmy" in {column.section} to reject what does not fit',
        file=column.file,
        column=column.header,
    )


def _fit(parts: pl.DataFrame, order: str, event: Event) -> tuple[int, int]:
    """How many different dates exist in this order, and how many lie by the event's date."""
    y, m, d = (pl.col("abc"[order.index(letter)]) for letter in "ymd")
    if order == "ymd":
        short = pl.col("a") >= 0
        y = pl.col("a") + 2000
        exists = (pl.col("c") <= 31) & short
    else:
        y = pl.when(y < 100).then(y + 2000).otherwise(y)
        exists = pl.lit(True)
    exists = exists & m.is_between(1, 12) & d.is_between(1, 31)
    day = event.date.toordinal() - 719_163
    close = exists & ((days_from_civil(y, m, d) - day).abs() <= _NEAR_DAYS)
    row = parts.select(exists.sum().alias("exists"), close.sum().alias("close")).row(0)
    return int(row[0]), int(row[1])
