"""The zone of an event, guessed from the offsets in its exports and from this computer; and hours that come twice."""

from __future__ import annotations

import datetime as dt
import os
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

import polars as pl

from lineproof.draft.looking import Sighting
from lineproof.draft.places import without_part
from lineproof.draft.traces import main_time

# One name for each rule of offsets that is in wide use; where several fit, the computer's own comes first.
USUAL = (
    "Europe/London", "Europe/Paris", "Europe/Athens", "America/New_York", "America/Chicago", "America/Denver",
    "America/Los_Angeles", "America/Halifax", "America/Sao_Paulo", "Australia/Sydney", "Australia/Brisbane",
    "Australia/Adelaide", "Australia/Perth", "Pacific/Auckland", "Africa/Johannesburg", "Africa/Nairobi", "Asia/Tokyo",
    "Asia/Singapore", "Asia/Kolkata", "Asia/Dubai", "UTC",
)  # fmt: skip


def is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return False
    return bool(name)


def home_zone() -> str:
    """The zone that this computer is set to, as far as it tells; else one with the same offsets all year."""
    told = os.environ.get("TZ", "").lstrip(":")
    if is_zone(told):
        return told
    linked = Path("/etc/localtime")
    if linked.is_symlink():
        _, _, name = linked.resolve().as_posix().partition("zoneinfo/")
        if is_zone(name):
            return "UTC" if name in ("Etc/UTC", "Universal", "Zulu") else name
    year = dt.datetime.now(dt.UTC).year
    days = [dt.datetime(year, month, 1, 12, tzinfo=dt.UTC) for month in range(1, 13)]
    here = [day.astimezone().utcoffset() for day in days]
    same = (z for z in ("UTC", *USUAL) if [day.astimezone(ZoneInfo(z)).utcoffset() for day in days] == here)
    return next(same, "UTC")


def offsets_of(exports: Iterable[Sighting]) -> set[dt.timedelta]:
    """The offsets from UTC that the times state, ``Z`` and times since 1970 left out: these say nothing of the place."""
    found: set[dt.timedelta] = set()
    for s in exports:
        parts = (
            s.column(main_time(s))
            .str.extract_groups(r"\d([+-])(\d{2}):?(\d{2})$")
            .struct.unnest()
            .drop_nulls()
        )
        for sign, hours, minutes in parts.unique().iter_rows():
            length = dt.timedelta(hours=int(hours), minutes=int(minutes))
            found.add(-length if sign == "-" else length)
    return found


def guess_zone(offsets: set[dt.timedelta], date: dt.date | None) -> str:
    """The computer's zone where it fits the offsets on the day of the event, else the first usual one that does."""
    home = home_zone()
    if not offsets or date is None:
        return home
    for zone in (home, *USUAL):
        noon = [dt.datetime.combine(date + dt.timedelta(days=d), dt.time(12), ZoneInfo(zone)) for d in (0, 1)]
        if offsets <= {moment.utcoffset() for moment in noon}:
            return zone
    return home


def repeated_hour(zone: str, date: dt.date) -> tuple[dt.datetime, dt.datetime] | None:
    """Begin and end, local, of the hour that comes twice on the day or in the night after it; None where none does."""
    at = dt.datetime.combine(date, dt.time(0))
    step, tz = dt.timedelta(minutes=15), ZoneInfo(zone)
    twice = []
    for i in range(48 * 4):
        local = at + i * step
        if local.replace(tzinfo=tz).utcoffset() != local.replace(tzinfo=tz, fold=1).utcoffset():
            instant = local.replace(tzinfo=tz).astimezone(dt.UTC).astimezone(tz).replace(tzinfo=None)
            twice += [local] if instant == local else []
    return (twice[0], twice[-1] + step) if twice else None


def which_hour(
    instants: Mapping[str, pl.DataFrame], files: Sequence[str], hour: tuple[dt.datetime, dt.datetime]
) -> dict[str, str]:
    """For each file with local times in the repeated hour: most likely the earlier or the later of the two.

    A file that begins in it goes on where another ended, after the clocks went back; one that ends in it ended before.
    Of the parts of one line that begin in it, the first is the one from before.
    """
    found: dict[str, str] = {}
    begun: set[str] = set()
    parts = Counter(_line_of(file) for file in files)
    for file in sorted(files, key=_in_parts):
        times = instants[file]["time"].drop_nulls()
        begin, end = _on_day_of(times, hour)
        line, first = _line_of(file), times.min()
        if times.is_between(begin, end, closed="left").any():
            assert isinstance(first, dt.datetime)
            late = first >= begin and (line in begun or parts[line] == 1)
            found[file] = "later" if late else "earlier"
        begun.add(line)
    return found


def _line_of(file: str) -> str:
    return without_part(Path(file).stem)


def _in_parts(file: str) -> list[tuple[int, str]]:
    """Sorts ``part 10`` behind ``part 9``."""
    return [(int(word), "") if word.isdigit() else (0, word) for word in re.split(r"(\d+)", file)]


def _on_day_of(times: pl.Series, hour: tuple[dt.datetime, dt.datetime]) -> tuple[dt.datetime, dt.datetime]:
    """The hour as ``traces.to_times`` reads it: bare times of day all stand on the first of January 1970."""
    begin, end = (moment.replace(tzinfo=dt.UTC) for moment in hour)
    last = times.max()
    if isinstance(last, dt.datetime) and last.year == 1970:
        return begin.replace(year=1970, month=1, day=1), end.replace(year=1970, month=1, day=1)
    return begin, end


def shows_both(times: pl.Series, hour: tuple[dt.datetime, dt.datetime]) -> bool:
    """Whether the rows of a file step back within the repeated hour: it runs on through both of them."""
    inside = times.drop_nulls()
    begin, end = _on_day_of(inside, hour)
    steps = inside.diff().dt.total_minutes()
    back = (steps < -30) & inside.is_between(begin - dt.timedelta(minutes=5), end, closed="left")
    return bool(back.sum() == 1)
