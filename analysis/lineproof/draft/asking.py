"""Asks what the exports cannot tell, one plain question at a time, each with a default that Enter accepts."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar
from zoneinfo import ZoneInfo

import polars as pl

from lineproof.draft.places import DraftLine, Place, is_telling, spread, without_part
from lineproof.draft.scene import Scene, is_aware
from lineproof.draft.traces import Traces
from lineproof.draft.zones import guess_zone, is_zone, offsets_of, repeated_hour, shows_both, which_hour
from lineproof.errors import EventError
from lineproof.vocabulary import PointKind, Role

T = TypeVar("T")
Ask = Callable[[str, str], str]
"""Put a question with its default; the answer, or the default where the person accepts it."""
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Answers:
    """What was said beforehand, by flags; None: not said."""

    name: str | None = None
    date: dt.date | None = None
    zone: str | None = None

    @classmethod
    def of(cls, name: str | None, date: str | None, zone: str | None) -> Answers:
        """Raises ``EventError`` for a date or zone that is none."""
        if zone is not None and not is_zone(zone):
            raise EventError(f'the zone "{zone}" is not known', todo='use a name like "Europe/London"')
        try:
            day = None if date is None else dt.date.fromisoformat(date)
        except ValueError:
            raise EventError(f'"{date}" is no date', todo="write it as 2026-05-17") from None
        return cls(name, day, zone)


@dataclass(frozen=True, slots=True)
class Head:
    """Name, day and zone of the event, and which of them are sure: seen in the exports or said by a person."""

    name: str
    date: dt.date | None
    zone: str
    sure: frozenset[str]


class Interview:
    """Questions to one person.  Without ``ask`` every default stands and stays unsure."""

    def __init__(self, ask: Ask | None, say: Say) -> None:
        self._ask = ask
        self._say = say

    @property
    def asks(self) -> bool:
        return self._ask is not None

    def put(self, question: str, default: str, read: Callable[[str], T]) -> T:
        """Ask until the answer can be read; ``read`` raises ``ValueError`` with what is wrong."""
        assert self._ask is not None
        while True:
            try:
                return read(self._ask(question, default).strip())
            except ValueError as problem:
                self._say(str(problem))


def read_date(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise ValueError(f'"{text}" is no date; write year-month-day, such as 2026-05-17') from None


def read_zone(text: str) -> str:
    if not is_zone(text):
        raise ValueError(f'the zone "{text}" is not known; write a name like Europe/London')
    return text


def read_km(text: str) -> float:
    found = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(km|m)?", text.casefold())
    if found is None:
        raise ValueError(
            f'"{text}" is no distance; write kilometres, such as 10 or 21.0975, or metres, such as 800 m'
        )
    return round(float(found[1].replace(",", ".")) * (1 if found[2] == "m" else 1000), 1)


def read_clock(text: str) -> dt.time:
    found = re.fullmatch(r"(\d{1,2})[:.](\d{2})(?:[:.](\d{2}))?", text)
    try:
        if found is None:
            raise ValueError
        return dt.time(int(found[1]), int(found[2]), int(found[3] or 0))
    except ValueError:
        raise ValueError(f'"{text}" is no time of day; write such as 09:30:00') from None


def read_word(text: str) -> str:
    if not text:
        raise ValueError("write a word")
    return text


def one_of(words: Sequence[str]) -> Callable[[str], str]:
    def read(text: str) -> str:
        near = [word for word in words if word.casefold() == text.casefold()]
        near = near or [word for word in words if word.casefold().startswith(text.casefold()) and text]
        if len(near) != 1:
            raise ValueError(f"write one of: {', '.join(words)}")
        return near[0]

    return read


def ask_head(interview: Interview, scene: Scene, traces: Traces, said: Answers, folder_name: str) -> Head:
    """Name, day and zone."""
    sure: set[str] = set()
    name, date = said.name or folder_name.replace("-", " ").replace("_", " "), said.date or scene.date
    if date is None and (found := re.search(r"(20\d\d)-?(\d\d)-?(\d\d)", folder_name)):
        date = (
            dt.date(*(int(part) for part in found.groups()))
            if 1 <= int(found[2]) <= 12 and 1 <= int(found[3]) <= 28
            else None
        )
    if said.name is None and interview.asks:
        name = interview.put("Name of the event", name, read_word)
    if said.date is not None or scene.date is not None:
        sure.add("date")
    elif interview.asks:
        date = interview.put(
            "Day of the event (year-month-day)",
            (date or dt.datetime.now().astimezone().date()).isoformat(),
            read_date,
        )
        sure.add("date")
    zone = said.zone or guess_zone(offsets_of(traces.exports), date)
    if said.zone is not None:
        sure.add("zone")
    elif interview.asks:
        zone = interview.put("Zone of the clocks at the event", zone, read_zone)
        sure.add("zone")
    return Head(name, date, zone, frozenset(sure))


def ask_places(interview: Interview, traces: Traces, named: Mapping[str, str]) -> dict[str, str]:
    """Where the lines lie whose names do not tell: word of the line to name of the place."""
    first_seen = dict(traces.by_line.group_by("word").agg(pl.col("time").median()).sort("word").iter_rows())
    partner = {p.first: p.second for p in traces.pairs}
    untold = [g[0] for g in traces.groups if not is_telling(g[0]) and g[0] not in named]
    untold = [w for w in untold if w not in partner.values() or _first_of(partner, w) not in untold]
    ordered = sorted(untold, key=lambda w: first_seen.get(w, 0.0))
    places: dict[str, str] = {}
    for number, word in enumerate(ordered):
        names = [without_part(w) for w in (word, *([partner[word]] if word in partner else []))]
        both = " and ".join(names)
        default = (
            "start" if number == 0 else "finish" if number == len(ordered) - 1 else f"point {number + 1}"
        )
        at = dt.datetime.fromtimestamp(first_seen.get(word, 0.0), dt.UTC)
        lie = "do" if word in partner else "does"
        question = f"At which place {lie} {both} lie (most runners about {at:%H:%M})?"
        place = interview.put(question, default, read_word)
        places |= dict.fromkeys((word, partner.get(word, word)), place)
    return places


def _first_of(partner: Mapping[str, str], second: str) -> str:
    return next(first for first, other in partner.items() if other == second)


def ask_roles(interview: Interview, lines: list[DraftLine]) -> list[DraftLine]:
    """Which of two lines at one place is main, where their names do not tell."""
    done = list(lines)
    for main in [line for line in lines if line.role is Role.MAIN and not line.certain]:
        backup = next((line for line in done if line.point == main.point and line.role is Role.BACKUP), None)
        if backup is None:
            done[done.index(main)] = replace(main, certain=True)
            continue
        words = (_shown(main), _shown(backup))
        question = f"Which line is the main one at {main.point}, {words[0]} or {words[1]}?"
        chosen = interview.put(question, words[0], one_of(words))
        first, second = (main, backup) if chosen == words[0] else (backup, main)
        done[done.index(main)] = replace(main, words=first.words, certain=True)
        done[done.index(backup)] = replace(backup, words=second.words, certain=True)
    return done


def _shown(line: DraftLine) -> str:
    return line.words[0] if len(line.words) == 1 else without_part(line.words[0])


def ask_distances(interview: Interview, places: Sequence[Place], course: str) -> list[Place]:
    """The length of the course first, since it makes good guesses of the rest; then every distance not stated."""
    of = f' "{course}"' if course else ""
    asked = list(places)
    if asked and not asked[-1].certain and len(asked) > 1:
        guess = f"{(asked[-1].at_m or 0) / 1000:g}"
        length = interview.put(f"Length of the course{of} in km", guess, read_km)
        asked = spread([*asked[:-1], replace(asked[-1], at_m=length, certain=True)])
    for i in range(len(asked)):
        place = asked[i]
        if place.certain or (i == 0 and place.kind is PointKind.START):
            continue
        low = (asked[i - 1].at_m or 0.0) if i else 0.0
        high = next((p.at_m or 0.0 for p in asked[i + 1 :] if p.certain), 1e9)
        time = f", time {place.visit}" if sum(p.id == place.id for p in asked) > 1 else ""
        question = f"Distance from the start to {place.name}{time}{of} in km"
        at = interview.put(question, f"{(place.at_m or 0) / 1000:g}", _between(low, high))
        asked[i] = replace(place, at_m=at, certain=True)
        asked = spread(asked)
    return asked


def _between(low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        at = read_km(text)
        if not low < at < high:
            raise ValueError(
                f"it must lie beyond {low / 1000:g} km"
                + ("" if high > 1e8 else f" and before {high / 1000:g} km")
            )
        return at

    return read


def ask_guns(interview: Interview, scene: Scene, zone: str, date: dt.date) -> dict[str, dt.datetime | None]:
    """The gun of each wave, local; the default is the minute in which its start filled."""
    guns: dict[str, dt.datetime | None] = {}
    names = dict(scene.courses)
    before: dt.time | None = None
    for wave, word, course in scene.waves:
        seen = scene.guns.get(wave)
        if seen is not None:
            seen = seen.astimezone(ZoneInfo(zone)) if scene.aware else seen
        default = seen.time() if seen else before or dt.time(9)
        of = f' of the wave "{word}"' if word else f' of "{names[course]}"' if len(names) > 1 else ""
        before = interview.put(f"Gun{of}, local time", f"{default:%H:%M:%S}", read_clock)
        guns[wave] = dt.datetime.combine((seen or dt.datetime.combine(date, before)).date(), before)
    return guns


def ask_layouts(
    interview: Interview, scene: Scene, traces: Traces
) -> tuple[dict[str, tuple[str, bool]], dict[str, str]]:
    """The order of day and month, and clock or elapsed, for each file that leaves a doubt."""
    orders, times = dict(scene.orders), {}
    for s in traces.exports:
        if s.file in orders and not orders[s.file][1]:
            question = f"{s.file}: do its dates give the day or the month first?"
            order = interview.put(question, "day", one_of(("day", "month")))
            orders[s.file] = ("dmy" if order == "day" else "mdy", True)
        if s.times in ("clock", "elapsed") and s.level in ("merged", "wide"):
            question = f"{s.file}: are its times of day (clock), or counted from the gun (elapsed)?"
            times[s.file] = interview.put(question, s.times, one_of(("clock", "elapsed")))
    return orders, times


def ask_repeated(interview: Interview, traces: Traces, head: Head, say: Say) -> dict[str, str]:
    """Which of the two hours a file's times belong to, where the clocks went back during the event."""
    local = [s.file for s in traces.exports if not _states_offset(s.file, traces)]
    hour = repeated_hour(head.zone, head.date) if head.date else None
    if hour is None or not local:
        return {}
    guesses = which_hour(traces.instants, local, hour)
    for file in guesses:
        if shows_both(traces.instants[file]["time"], hour):
            say(
                f"{file} runs through both hours from {hour[0]:%H:%M} to {hour[1]:%H:%M}: export it again with offsets from UTC"
            )
    if guesses and interview.asks and not _agrees(interview, guesses, hour):
        for file, guess in guesses.items():
            question = f"{file}: before the clocks went back (earlier) or after (later)?"
            guesses[file] = interview.put(question, guess, one_of(("earlier", "later")))
    return guesses


def _agrees(interview: Interview, guesses: Mapping[str, str], hour: tuple[dt.datetime, dt.datetime]) -> bool:
    parts = [
        f"{word}: {', '.join(file.rsplit('/', 1)[-1] for file, guess in guesses.items() if guess == word)}"
        for word in ("earlier", "later")
        if word in guesses.values()
    ]
    question = (
        f"The clocks went back, and {hour[0]:%H:%M} to {hour[1]:%H:%M} came twice. Times of that hour are taken as "
        f"{'; '.join(parts)}. Is this right?"
    )
    return interview.put(question, "yes", one_of(("yes", "no"))) == "yes"


def _states_offset(file: str, traces: Traces) -> bool:
    return next(is_aware(s) for s in traces.exports if s.file == file)
