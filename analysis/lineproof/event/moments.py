"""What a person means by a time: with date and offset, with the letters of its zone, or a bare clock time of the event."""

from __future__ import annotations

import datetime as dt
import re
from zoneinfo import ZoneInfo

from lineproof.event.model import Event

_LETTERS = re.compile(r"^(.*\d) ?([A-Za-z]{3,5})$")


def read_moment(text: str, event: Event) -> dt.datetime | None:
    """The instant in UTC, or None where a wall clock does not say which of two, or shows a time that never was.

    Read are an ISO date-time, with or without an offset, and a clock time, which is the first such after the event
    opens; behind either may stand the letters of its zone (``01:12:20 GMT``).  Raises ``ValueError`` for any other text.
    """
    told = _LETTERS.match(text)
    letters = told[2].upper() if told and told[2].upper() in _letters(event) else ""
    plain = told[1].rstrip() if told and letters else text
    if "-" in plain[:10]:
        value = dt.datetime.fromisoformat(plain)
        return value.astimezone(dt.UTC) if value.tzinfo else _on_wall(value, event, letters)
    clock = dt.time.fromisoformat(plain if plain[1:2] != ":" else f"0{plain}")
    first = event.opens.astimezone(clock.tzinfo or ZoneInfo(event.zone)).replace(tzinfo=None)
    value = dt.datetime.combine(first.date(), clock.replace(tzinfo=None))
    value = value if value >= first else value + dt.timedelta(days=1)
    if clock.tzinfo:
        return value.replace(tzinfo=clock.tzinfo).astimezone(dt.UTC)
    return _on_wall(value, event, letters)


def _letters(event: Event) -> set[str]:
    """Those of the event's zone while it is open: two where the clocks are changed."""
    zone = ZoneInfo(event.zone)
    return {str(at.astimezone(zone).tzname()).upper() for at in (event.opens, event.closes)}


def _on_wall(value: dt.datetime, event: Event, letters: str) -> dt.datetime | None:
    zone = ZoneInfo(event.zone)
    folds = [value.replace(tzinfo=zone, fold=fold) for fold in (0, 1)]
    there = {
        at.astimezone(dt.UTC): str(at.tzname()).upper()
        for at in folds
        if at.astimezone(dt.UTC).astimezone(zone).replace(tzinfo=None) == value
    }
    fitting = [instant for instant, own in there.items() if letters in ("", own)]
    return fitting[0] if len(fitting) == 1 else None


def clock_layout(event: Event) -> str:
    """How clock times are written for people: with the letters of the zone where the clocks are changed meanwhile."""
    zone = ZoneInfo(event.zone)
    changed = event.opens.astimezone(zone).utcoffset() != event.closes.astimezone(zone).utcoffset()
    return "%H:%M:%S %Z" if changed else "%H:%M:%S"
