"""One cell of a record: its text to a value, or what is wrong with it and what to write instead.

People fill records in by hand, at five in the morning.  A decimal comma, a unit behind the number and any
letter case are read; a guess is never made, a better entry is proposed.
"""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from lineproof.event import Event, suggest
from lineproof.setup.fields import Field, Kind

Value = str | int | float | bool | dt.datetime | dt.date

NOT_RECORDED = ("", "-", "–", "?", "n/a", "na", "not recorded", "unknown")
_YES = ("yes", "y", "true", "1", "x", "✓", "done", "ok")
_NO = ("no", "n", "false", "0", "none", "not done")

_NUMBER = re.compile(r"^([+\-−]?)(\d+(?:[.,]\d+)?)\s*([^\d\s].*)?$")
_CLOCK = re.compile(r"^(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,6}))?)?\s*([AaPp])?\.?(?:[Mm]\.?)?$")
_DATED = re.compile(r"^(\d{4})-(\d{2})-(\d{2})[T ]+(.+?)\s*(Z|[+\-]\d{2}:?\d{2})?$")
_DATE = re.compile(r"^(\d{4}-\d{2}-\d{2})(?:[T ]0{1,2}:00(?::00(?:\.0+)?)?)?$")
_SHEET_DAYS = 1905  # a spreadsheet shows a bare time of day as a day around 1900

# Centimetres of the units that a tape or a memory may give.
_CM = {
    **dict.fromkeys(("mm",), 0.1),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), 1.0),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), 100.0),
    **dict.fromkeys(("in", "inch", "inches", '"', "″", "''"), 2.54),
    **dict.fromkeys(("ft", "foot", "feet", "'", "′"), 30.48),
}
_MINUTES = {
    **dict.fromkeys(("min", "mins", "minute", "minutes"), 1.0),
    **dict.fromkeys(("h", "hour", "hours"), 60.0),
}


@dataclass(frozen=True, slots=True)
class Wrong:
    """Why a cell cannot be read."""

    problem: str
    todo: str


@dataclass(frozen=True, slots=True)
class Clock:
    """Places the record's clock times: in the 24 hours from ``opens``; a written date must lie in ``earliest`` to ``latest``."""

    zone: ZoneInfo
    opens: dt.datetime
    earliest: dt.datetime
    latest: dt.datetime


def to_clock(event: Event) -> Clock:
    """The clock of an event's record; its 24 hours begin ``record_before_h`` before the first gun."""
    zone = ZoneInfo(event.zone)
    before = dt.timedelta(hours=event.setting("record_before_h"))
    gun = event.first_gun
    opens = dt.datetime.combine(event.date, dt.time(0), zone) if gun is None else gun - before
    day = dt.timedelta(days=1)
    return Clock(zone, opens.astimezone(dt.UTC), opens.astimezone(dt.UTC) - day, event.closes + day)


def read_cell(field: Field, text: str, clock: Clock | None = None) -> Value | Wrong | None:
    """The value of a cell by the kind of its column; None where nothing was recorded."""
    text = " ".join(text.split())
    if text.casefold() in NOT_RECORDED:
        return None
    if field.kind in (Kind.NUMBER, Kind.WHOLE):
        return _read_number(field, text)
    if field.kind is Kind.YES_NO:
        return _read_yes_no(text)
    if field.kind is Kind.CHOICE:
        return _read_choice(field, text)
    if field.kind is Kind.DATE:
        return _read_date(text)
    if field.kind is Kind.TIME and clock is not None:
        return _read_time(text, clock)
    return text


def _read_yes_no(text: str) -> bool | Wrong:
    if text.casefold() in _YES:
        return True
    if text.casefold() in _NO:
        return False
    return Wrong(f'"{text}" is neither yes nor no', "write yes or no, or leave it empty")


def _read_choice(field: Field, text: str) -> str | Wrong:
    word = text.casefold()
    if word in field.words:
        return word
    listed = f"write {', '.join(field.words[:-1])} or {field.words[-1]}"
    return Wrong(f'"{text}" is not one of the words of this column', suggest(word, field.words) or listed)


def _read_number(field: Field, text: str) -> float | int | Wrong:
    match = _NUMBER.match(text)
    if match is None:
        return Wrong(f'"{text}" is no number', f"write digits{_in_unit(field)}")
    sign, digits, unit = match.groups()
    value = float(digits.replace(",", ".")) * (-1 if sign in ("-", "−") else 1)
    if unit is not None:
        scale = _CM if field.unit in ("cm", "m") else _MINUTES if field.unit == "min" else {}
        factor, own = scale.get(unit.casefold()), scale.get(field.unit, 1.0)
        if factor is None:
            return Wrong(f'"{text}" is no number', f"write digits{_in_unit(field)}")
        if factor != own:
            better = say_plain(value * factor / own)
            return Wrong(f'"{text}" is not in {_UNIT_WORDS[field.unit]}', f"write {better}")
    if field.kind is Kind.WHOLE and value != int(value):
        return Wrong(f'"{text}" is no whole number', "write a whole number")
    doubt = _out_of_limits(field, value) or _wrong_scale(field, value)
    if doubt:
        return doubt
    return int(value) if field.kind is Kind.WHOLE else value


_UNIT_WORDS = {"cm": "centimetres", "m": "metres", "min": "minutes", "": "plain digits"}


def _in_unit(field: Field) -> str:
    return f", in {_UNIT_WORDS[field.unit]}" if field.unit else ""


def say_plain(value: float) -> str:
    """A length or time as one writes it into a cell."""
    return f"{value:.0f}" if abs(value) >= 30 or value == int(value) else f"{value:.1f}"


def _out_of_limits(field: Field, value: float) -> Wrong | None:
    low, high = field.low, field.high
    if low is None or high is None or low <= value <= high:
        return None
    shown = f"{value:g} {field.unit}".strip()
    if value < 0 and low >= 0:
        return Wrong(f"{shown} is below zero", "write it without the minus sign if that is what was meant")
    hint = ""
    if field.unit == "m" and value > high and low <= value / 100 <= high:
        hint = f"if it is in centimetres, write {value / 100:g}"
    elif field.unit == "m" and value > high and low <= value / 10 <= high:
        hint = f"look at the decimal point: {value / 10:g}?"
    elif field.unit == "cm" and value > high and low <= value / 10 <= high:
        hint = f"if it is in millimetres, write {value / 10:g}"
    limits = f"between {low:,g} and {high:,g} {field.unit}".strip()
    return Wrong(f"{shown} cannot be: it lies {limits}", hint or "measure again, or leave it empty")


def _wrong_scale(field: Field, value: float) -> Wrong | None:
    """Heights below 4 cm that are no whole number, or are the upper end, were written in metres."""
    upper = field.name == "hand_ceiling_cm"
    if field.unit != "cm" or not 0 < value < 4 or not (upper or value != int(value)):
        return None
    return Wrong(f"{value:g} cm looks like metres", f"write {value * 100:g} if it is {value:g} m")


def _read_date(text: str) -> dt.date | Wrong:
    match = _DATE.match(text)
    try:
        return dt.date.fromisoformat(match[1] if match else text)
    except ValueError:
        return Wrong(f'"{text}" is no date', "write year, month and day like 2026-05-17")


def _read_time(text: str, clock: Clock) -> dt.datetime | Wrong:
    dated = _DATED.match(text)
    if dated and int(dated[1]) >= _SHEET_DAYS:
        return _read_dated(text, dated, clock)
    time = _time_of_day(dated[4] if dated else text)
    if isinstance(time, Wrong):
        return time
    wall = dt.datetime.combine(clock.opens.astimezone(clock.zone).date(), time)
    found = _in_zone(text, wall, clock)
    if not isinstance(found, Wrong) and found < clock.opens:
        found = _in_zone(text, wall + dt.timedelta(days=1), clock)
    return found


def _read_dated(text: str, match: re.Match[str], clock: Clock) -> dt.datetime | Wrong:
    time = _time_of_day(match[4])
    if isinstance(time, Wrong):
        return time
    try:
        wall = dt.datetime.combine(dt.date(int(match[1]), int(match[2]), int(match[3])), time)
        offset = match[5]
        found = (
            _in_zone(text, wall, clock)
            if offset is None
            else dt.datetime.fromisoformat(f"{wall.isoformat()}{offset}").astimezone(dt.UTC)
        )
    except ValueError:
        return Wrong(f'"{text}" is no date and time', "write it like 2026-05-17 05:40")
    if isinstance(found, Wrong):
        return found
    if not clock.earliest <= found <= clock.latest:
        return Wrong(
            f'"{text}" is another day than the event\'s', "write the clock time alone, or the right date"
        )
    return found


def _time_of_day(text: str) -> dt.time | Wrong:
    match = _CLOCK.match(text)
    if match is None:
        if re.fullmatch(r"\d{1,2}[.,h ]\d{2}|\d{3,4}", text):
            digits = re.sub(r"\D", "", text).zfill(4)
            return Wrong(f'"{text}" is no clock time', f"write {digits[:2]}:{digits[2:]} if that is meant")
        if re.fullmatch(r"0?[.,]\d+", text):
            return Wrong(f'"{text}" is a part of a day', "give the cell a time format, or write 05:40")
        return Wrong(f'"{text}" is no clock time', "write it like 05:40")
    hour, half = int(match[1]), (match[5] or "").lower()
    try:
        if half and not 1 <= hour <= 12:
            raise ValueError
        hour = hour % 12 + 12 * (half == "p") if half else hour
        return dt.time(hour, int(match[2]), int(match[3] or 0), int((match[4] or "").ljust(6, "0")))
    except ValueError:
        return Wrong(f'there is no clock time "{text}"', "write it like 05:40")


def _in_zone(text: str, wall: dt.datetime, clock: Clock) -> dt.datetime | Wrong:
    """A wall clock of the event's zone as UTC; one that comes twice or never is not settled."""
    first = wall.replace(tzinfo=clock.zone).astimezone(dt.UTC)
    second = wall.replace(tzinfo=clock.zone, fold=1).astimezone(dt.UTC)
    if first == second:
        return first
    if second < first:
        return Wrong(f'"{text}" does not exist: the clocks went forward over it', "write the right time")
    offset = first.astimezone(clock.zone).isoformat(timespec="minutes")
    return Wrong(f'"{text}" comes twice: the clocks went back over it', f"write its offset, like {offset}")
