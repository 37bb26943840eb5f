"""Offsets that a wrong setting makes, told by their size."""

from __future__ import annotations

from dataclasses import dataclass

DAY, HALF_DAY, HOUR, QUARTER = 86_400, 43_200, 3_600, 900
MOST_DAYS, MOST_HOURS = 7, 14
# Satellite time runs 18 s ahead of civil time, atomic time 37 s (since 2017; tz database, leap-seconds list).
SATELLITE_S = (18, 37)
WIDE_S, WIDE_ERRORS = 2.0, 3.0
SATELLITE_WIDE_S, SATELLITE_ERROR_S = 0.5, 0.6  # an 18 known to half a minute is no fingerprint


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """``looks_like`` in the words of CLOCK_FAULTS, and the exact size in seconds, signed as the offset."""

    looks_like: str
    seconds: float


def name_offset(offset: float, error: float) -> Fingerprint:
    """The setting that an offset has the size of, else a plain offset.

    >>> name_offset(-3599.7, 0.2)
    Fingerprint(looks_like='zone', seconds=-3600.0)
    >>> name_offset(3.1, 0.2).looks_like
    'offset'
    """
    sign, size = (-1.0 if offset < 0 else 1.0), abs(offset)
    near = max(WIDE_S, WIDE_ERRORS * error)
    if error < HOUR / 8:
        for days in range(1, MOST_DAYS + 1):
            if abs(size - days * DAY) <= near:
                return Fingerprint("date", sign * days * DAY)
        if abs(size - HALF_DAY) <= near:
            return Fingerprint("half day", sign * HALF_DAY)
        step = HOUR if error > QUARTER / 20 else QUARTER
        whole = round(size / step)
        if 0 < whole * step <= MOST_HOURS * HOUR and abs(size - whole * step) <= near:
            return Fingerprint("zone", sign * whole * step)
    for seconds in SATELLITE_S:
        if error <= SATELLITE_ERROR_S and abs(size - seconds) <= max(SATELLITE_WIDE_S, 2.5 * error):
            return Fingerprint("satellite seconds", sign * seconds)
    return Fingerprint("offset", offset)
