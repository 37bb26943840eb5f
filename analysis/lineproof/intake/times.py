"""Texts to instants, exact to the microsecond, with the reason where there is none.

Whole numbers only: digits beyond the microsecond are cut off, never rounded through a float.  What a
text may be is settled for the whole column beforehand (``layouts.py``); here every value either
becomes an instant or gets its reason.  ISO 8601 allows 24:00:00 as the end of a day (ISO 8601-1:2019/Amd 1:2022); a leap
second (RFC 3339, 5.7) is refused, since no clock of a race shows one.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from enum import StrEnum
from zoneinfo import ZoneInfo

import polars as pl

SECOND = 1_000_000
DAY = 86_400 * SECOND
EPOCH_LIMIT = 253_402_300_800  # 10000-01-01 in seconds since 1970

_CLOCK = r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d+))?)?"
_PACKED = r"(\d{1,2}):?(\d{2})(?::?(\d{2})(?:[.,](\d+))?)?"
_HALF = r"(?: ?([AaPp])\.?[Mm]\.?)?"
_ZONE = r"(?: ?([Zz]|[+-]\d{2}(?::?\d{2})?))?"


class Kind(StrEnum):
    """What a time is written as."""

    ISO = "iso"  # year first, with time of day
    DATE = "date"  # day or month first, with time of day
    NUMBER = "number"  # since 1970, or decimal seconds
    COLON = "colon"  # h:mm:ss, a time of day or a duration


PATTERNS: dict[Kind, str] = {
    Kind.ISO: rf"^(\d{{4}})[-/.]?(\d{{1,2}})[-/.]?(\d{{1,2}})[Tt ] *{_PACKED}{_HALF}{_ZONE}$",
    Kind.DATE: rf"^(\d{{1,2}})[-/.](\d{{1,2}})[-/.](\d{{4}}|\d{{2}})[Tt ,] *{_CLOCK}{_HALF}{_ZONE}$",
    Kind.NUMBER: r"^\d+(?:[.,]\d+)?$",
    Kind.COLON: rf"^(?:\d{{1,4}}:)?\d{{1,4}}:\d{{1,2}}(?:[.,]\d+)?{_HALF}$",
}
_ELAPSED = r"^(?:(\d{1,4}):)?(\d{1,4}):(\d{1,2})(?:[.,](\d+))?$"
_CLOCK_ONLY = rf"^{_CLOCK}{_HALF}$"

NO_TIME = "this is no time that we know; expected one such as 2026-05-17 09:30:00.25"


@dataclass(frozen=True, slots=True)
class TimePlan:
    """How one column of texts is read.

    ``kinds`` are the ways of writing that occur and are allowed.  ``number`` is ``epoch`` (unit in
    ``per_second``, None: by magnitude) or ``elapsed``; ``colon`` is ``clock`` or ``elapsed``, None where
    neither is certain.  ``opens`` is the begin of the day of clock times, in local microseconds.
    Elapsed times need a column ``base_us``: the instant they count from.
    """

    kinds: frozenset[Kind]
    zone: str
    date_order: str | None = None
    repeated_hour: str | None = None
    number: str | None = None
    per_second: int | None = None
    colon: str | None = None
    opens: int = 0

    @property
    def elapsed(self) -> bool:
        return (Kind.COLON in self.kinds and self.colon == "elapsed") or (
            Kind.NUMBER in self.kinds and self.number == "elapsed"
        )


def local_us(instant: dt.datetime, zone: str) -> int:
    """Wall clock of an instant in a zone as microseconds since 1970-01-01 00:00 local."""
    wall = instant.astimezone(ZoneInfo(zone)).replace(tzinfo=dt.UTC)
    return round((wall - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)) / dt.timedelta(microseconds=1))


def to_instants(frame: pl.LazyFrame, text: str, plan: TimePlan) -> pl.LazyFrame:
    """Add ``time`` (instant, UTC) and ``why`` (reason, null where there is a time) for a text column.

    An empty text gives neither; the caller knows whether a time may be missing.
    """
    parsers = {
        Kind.ISO: lambda f: _dated(f, text, Kind.ISO, "ymd"),
        Kind.DATE: lambda f: _dated(f, text, Kind.DATE, plan.date_order or "dmy"),
        Kind.NUMBER: lambda f: _numbered(f, text, plan),
        Kind.COLON: lambda f: _colon(f, text, plan),
    }
    kinds = [kind for kind in Kind if kind in plan.kinds]
    for kind in kinds:
        frame = parsers[kind](frame)
    names = [kind.value for kind in kinds]
    frame = _to_utc(frame, names, plan)
    time = _first(names, "us")
    frame = frame.with_columns(
        pl.when(pl.col("_gap").is_null()).then(time).cast(pl.Datetime("us", "UTC")).alias("time"),
        pl.coalesce(
            "_gap",
            _first(names, "why"),
            pl.when(pl.col(text).is_not_null() & time.is_null()).then(_no_time(text, plan)),
        ).alias("why"),
    )
    return frame.drop(pl.selectors.starts_with("_"))


def _first(names: list[str], part: str) -> pl.Expr:
    dtype = pl.String() if part == "why" else pl.Int64()
    return pl.coalesce([*(pl.col(f"_{name}_{part}") for name in names), pl.lit(None, dtype=dtype)])


def _no_time(text: str, plan: TimePlan) -> pl.Expr:
    value = pl.col(text)
    bare = value.str.contains(PATTERNS[Kind.COLON])
    return (
        pl.when(value.str.contains(r"^[-−] ?\d"))
        .then(pl.lit("a time cannot be negative"))
        .when(bare & pl.lit(plan.colon is None))
        .then(pl.lit('a time without a date in a column of dated times; write times = "clock" if all are so'))
        .when(value.str.contains(PATTERNS[Kind.DATE]))
        .then(pl.lit('the order of day and month is not settled; write date_order = "dmy" or "mdy"'))
        .when(value.str.contains(PATTERNS[Kind.NUMBER]))
        .then(pl.lit("a bare number is no time in this column"))
        .otherwise(pl.lit(NO_TIME))
    )


def _whole(name: str) -> pl.Expr:
    return pl.col(name).cast(pl.Int64, strict=False)


def fraction_us(digits: pl.Expr) -> pl.Expr:
    """Decimal digits of a second as whole microseconds, further digits cut off; none is 0."""
    return digits.str.slice(0, 6).str.pad_end(6, "0").cast(pl.Int64, strict=False).fill_null(0)


def _unpack(frame: pl.LazyFrame, text: str, pattern: str, names: list[str]) -> pl.LazyFrame:
    groups = pl.col(text).str.extract_groups(pattern).struct.rename_fields(names)
    return frame.with_columns(groups.struct.unnest())


def _tod(prefix: str) -> tuple[pl.Expr, pl.Expr]:
    """Time of day in microseconds from the unpacked parts, and the reason where it does not exist."""
    h, mi = _whole(f"{prefix}h"), _whole(f"{prefix}mi")
    s = _whole(f"{prefix}s").fill_null(0)
    frac = fraction_us(pl.col(f"{prefix}f"))
    half = pl.col(f"{prefix}half").str.to_lowercase()
    hour = pl.when(half == "p").then(h % 12 + 12).when(half == "a").then(h % 12).otherwise(h)
    tod = ((hour * 60 + mi) * 60 + s) * SECOND + frac
    why = (
        pl.when(s == 60)
        .then(pl.lit("second 60 is a leap second, which no race clock shows"))
        .when((mi > 59) | (s > 59) | (half.is_not_null() & ((h > 12) | (h == 0))))
        .then(pl.lit("there is no such time of day"))
        .when(tod > DAY)
        .then(pl.lit("a day ends at 24:00:00"))
    )
    return tod, why


def _dated(frame: pl.LazyFrame, text: str, kind: Kind, order: str) -> pl.LazyFrame:
    """``_<kind>_local`` (wall clock) or ``_<kind>_us`` (with a stated offset), and ``_<kind>_why``."""
    p = f"_{kind}_"
    parts = {"y": f"{p}y", "m": f"{p}m", "d": f"{p}d"}
    names = [
        *(parts[letter] for letter in order),
        *(f"{p}{n}" for n in ("h", "mi", "s", "f", "half", "zone")),
    ]
    frame = _unpack(frame, text, PATTERNS[kind], names)
    y, m, d = (_whole(parts[letter]) for letter in "ymd")
    y = pl.when(pl.col(parts["y"]).str.len_bytes() <= 2).then(y + 2000).otherwise(y)
    tod, why = _tod(p)
    zone = pl.col(f"{p}zone").str.to_uppercase()
    offset = _offset_us(zone)
    return frame.with_columns(
        (days_from_civil(y, m, d) * DAY + tod).alias(f"{p}wall"),
        pl.when(y.is_null())
        .then(None)
        .when(~_exists(y, m, d))
        .then(pl.lit("there is no such date"))
        .when(zone.is_not_null() & offset.is_null())
        .then(pl.lit("there is no such offset from UTC"))
        .otherwise(why)
        .alias(f"{p}why"),
        offset.alias(f"{p}offset"),
        zone.is_null().alias(f"{p}naive"),
    ).with_columns(
        pl.when(pl.col(f"{p}why").is_null() & pl.col(f"{p}naive")).then(f"{p}wall").alias(f"{p}local"),
        pl.when(pl.col(f"{p}why").is_null()).then(pl.col(f"{p}wall") - pl.col(f"{p}offset")).alias(f"{p}us"),
    )


def _offset_us(zone: pl.Expr) -> pl.Expr:
    hours = zone.str.slice(1, 2).cast(pl.Int64, strict=False)
    minutes = zone.str.tail(2).cast(pl.Int64, strict=False)
    minutes = pl.when(zone.str.len_bytes() == 3).then(0).otherwise(minutes)
    sign = pl.when(zone.str.starts_with("-")).then(-1).otherwise(1)
    value = sign * (hours * 60 + minutes) * 60 * SECOND
    return pl.when(zone == "Z").then(0).when((hours < 24) & (minutes < 60)).then(value)


def days_from_civil(y: pl.Expr, m: pl.Expr, d: pl.Expr) -> pl.Expr:
    """Days since 1970-01-01 of a proleptic Gregorian date: whole numbers, years counted from March."""
    month = (m + 9) % 12
    year = y - month.floordiv(10)
    days = 365 * year + year.floordiv(4) - year.floordiv(100) + year.floordiv(400)
    return days + (month * 306 + 5).floordiv(10) + d - 1 - 719_468


def _exists(y: pl.Expr, m: pl.Expr, d: pl.Expr) -> pl.Expr:
    leap = (y % 4 == 0) & ((y % 100 != 0) | (y % 400 == 0))
    longest = (
        pl.when(m.is_in([4, 6, 9, 11])).then(30).when(m == 2).then(28 + leap.cast(pl.Int64)).otherwise(31)
    )
    return (y >= 1) & m.is_between(1, 12) & (d >= 1) & (d <= longest)


def _numbered(frame: pl.LazyFrame, text: str, plan: TimePlan) -> pl.LazyFrame:
    p = "_number_"
    frame = _unpack(frame, text, r"^(\d+)(?:[.,](\d+))?$", [f"{p}whole", f"{p}f"])
    whole = pl.col(f"{p}whole").cast(pl.Int64, strict=False)
    if plan.number == "elapsed":
        value = whole * SECOND + fraction_us(pl.col(f"{p}f"))
        limit = pl.lit(10_000 * 3600)
        base = pl.col("base_us")
    else:
        per_second = magnitude_unit(whole) if plan.per_second is None else pl.lit(plan.per_second, pl.Int64)
        digits = fraction_us(pl.col(f"{p}f"))
        scale = pl.when(per_second <= SECOND).then(SECOND // per_second).otherwise(1)
        value = (
            pl.when(per_second <= SECOND)
            .then(whole * scale + digits * scale // SECOND)
            .otherwise(whole // (per_second // SECOND).clip(1))
        )
        limit = pl.when(per_second <= SECOND).then(EPOCH_LIMIT * per_second)  # nanoseconds always fit
        base = pl.lit(0)
    fits = whole.is_not_null() & (limit.is_null() | (whole < limit))
    return frame.with_columns(
        pl.when(fits).then(base + value).alias(f"{p}us"),
        pl.when(pl.col(f"{p}whole").is_not_null() & ~fits)
        .then(pl.lit("the number is too large for a time"))
        .when(fits & base.is_null())
        .then(pl.lit(NO_BASE))
        .alias(f"{p}why"),
    )


NO_BASE = (
    "what this elapsed time counts from is not known: the runner's wave has no gun, or no start is given"
)


def magnitude_unit(whole: pl.Expr) -> pl.Expr:
    """Ticks per second of an epoch number, by its size: today's are 1.8e9 s, 1.8e12 ms, 1.8e15 us."""
    return (
        pl.when(whole < 10**11)
        .then(1)
        .when(whole < 10**14)
        .then(1000)
        .when(whole < 10**17)
        .then(SECOND)
        .otherwise(1000 * SECOND)
        .cast(pl.Int64)
    )


def _colon(frame: pl.LazyFrame, text: str, plan: TimePlan) -> pl.LazyFrame:
    p = "_colon_"
    if plan.colon is None:
        null = pl.lit(None, dtype=pl.Int64)
        return frame.with_columns(null.alias(f"{p}us"), pl.lit(None, dtype=pl.String).alias(f"{p}why"))
    if plan.colon == "clock":
        frame = _unpack(frame, text, _CLOCK_ONLY, [f"{p}{n}" for n in ("h", "mi", "s", "f", "half")])
        tod, why = _tod(p)
        wall = pl.lit(plan.opens // DAY * DAY, pl.Int64) + tod
        wall = pl.when(wall < plan.opens).then(wall + DAY).otherwise(wall)
        return frame.with_columns(why.alias(f"{p}why"), wall.alias(f"{p}wall")).with_columns(
            pl.when(pl.col(f"{p}why").is_null()).then(f"{p}wall").alias(f"{p}local"),
            pl.lit(None, dtype=pl.Int64).alias(f"{p}us"),
        )
    frame = _unpack(frame, text, _ELAPSED, [f"{p}{n}" for n in ("h", "mi", "s", "f")])
    h, mi, s = _whole(f"{p}h"), _whole(f"{p}mi"), _whole(f"{p}s")
    value = ((h.fill_null(0) * 60 + mi) * 60 + s) * SECOND + fraction_us(pl.col(f"{p}f"))
    why = (
        pl.when((s > 59) | (h.is_not_null() & (mi > 59)))
        .then(pl.lit("there is no such duration: minutes and seconds end at 59"))
        .when(value.is_not_null() & pl.col("base_us").is_null())
        .then(pl.lit(NO_BASE))
    )
    return frame.with_columns(
        why.alias(f"{p}why"), pl.when(why.is_null()).then(pl.col("base_us") + value).alias(f"{p}us")
    )


def _to_utc(frame: pl.LazyFrame, names: list[str], plan: TimePlan) -> pl.LazyFrame:
    """Wall clocks of the event's zone to instants; gaps and unsettled folds get their reason."""
    locals_ = [
        f"_{name}_local"
        for name in names
        if name != "number" and not (name == "colon" and plan.colon != "clock")
    ]
    if not locals_:
        return frame.with_columns(pl.lit(None, dtype=pl.String).alias("_gap"))
    wall = pl.coalesce(locals_).cast(pl.Datetime("us"))
    frame = frame.with_columns(
        pl.coalesce(locals_).alias("_wall"),
        _localised(wall, plan.zone, "earliest").alias("_early"),
        _localised(wall, plan.zone, "latest").alias("_late"),
    )
    fold = pl.col("_early") != pl.col("_late")
    frame = frame.with_columns(
        pl.when(pl.col("_wall").is_not_null() & pl.col("_early").is_null())
        .then(pl.lit(f"this clock time does not exist in {plan.zone}: the clocks went forward over it"))
        .when(fold & pl.lit(plan.repeated_hour is None))
        .then(
            pl.lit(
                f"this clock time comes twice in {plan.zone}, where the clocks went back; "
                'write repeated_hour = "earlier" or "later"'
            )
        )
        .alias("_gap")
    )
    chosen = pl.col("_late" if plan.repeated_hour == "later" else "_early")
    return frame.with_columns(
        pl.when(pl.col(f"_{name}_local").is_not_null())
        .then(chosen)
        .otherwise(pl.col(f"_{name}_us"))
        .alias(f"_{name}_us")
        for name in names
        if f"_{name}_local" in locals_
    )


def _localised(wall: pl.Expr, zone: str, which: str) -> pl.Expr:
    aware = wall.dt.replace_time_zone(zone, ambiguous=which, non_existent="null")  # type: ignore[arg-type]
    return aware.dt.convert_time_zone("UTC").dt.epoch("us")
