"""Timing points and lines from the names that the exports give them, in course order."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from lineproof.draft.looking import distance_m
from lineproof.vocabulary import PointKind, Role

_BACKUP = re.compile(r"(?i)(?<![a-z])(backup|back-up|back up|second|secondary|spare)(?![a-z])")
_MAIN = re.compile(r"(?i)(?<![a-z])(main|primary|first)(?![a-z])")
_START = re.compile(r"(?i)(?<![a-z])start(?![a-z])")
_FINISH = re.compile(r"(?i)(?<![a-z])(finish|goal|end)(?![a-z])")
_NO_PLACE = re.compile(
    r"(?i)(?<![a-z])(time|clock|gun|net|split|elapsed|mat|line|reader|reads|times)(?![a-z])"
)


@dataclass(frozen=True, slots=True)
class Place:
    """A timing point as drafted.  ``certain`` tells whether its distance was stated somewhere."""

    id: str
    name: str
    kind: PointKind
    at_m: float | None
    certain: bool
    when: float | None  # median time, for the order where distances do not tell


@dataclass(frozen=True, slots=True)
class DraftLine:
    id: str
    word: str  # as in the export, or the file's name
    point: str
    role: Role
    certain: bool


def slug(words: str) -> str:
    """A short id: lower case, digits and dashes."""
    plain = re.sub(r"[^a-z0-9]+", "-", words.casefold()).strip("-")
    return plain or "point"


def place_name(word: str) -> str:
    """What is left of a line's or column's name without the words for its role."""
    bare = _MAIN.sub(" ", _BACKUP.sub(" ", word))
    short = " ".join(_NO_PLACE.sub(" ", bare).replace("_", " ").split()).strip(" -")
    return short or " ".join(bare.split()) or word


def place_id(name: str) -> str:
    """The same id for every way to name a place: its part in the race, its distance, or its words."""
    if _START.search(name):
        return "start"
    if _FINISH.search(name):
        return "finish"
    at = distance_m(name)
    return slug(name) if at is None else "half" if at == 21_097.5 else f"km{at / 1000:g}".replace(".", "-")


def to_place(name: str, when: float | None) -> Place:
    kind = (
        PointKind.START
        if _START.search(name)
        else PointKind.FINISH
        if _FINISH.search(name)
        else PointKind.SPLIT
    )
    at = 0.0 if kind is PointKind.START else distance_m(name)
    return Place(place_id(name), name, kind, at, at is not None, when)


def in_course_order(places: Iterable[Place], course_m: float | None) -> list[Place]:
    """Start first, finish last, the rest by stated distance or by time; unknown distances spread evenly.

    Where no name says start or finish, the earliest and the latest point take these parts.
    """
    rest = sorted(places, key=lambda p: (p.when is None, p.when or 0.0, p.id))
    if rest and not any(p.kind is PointKind.FINISH for p in rest):
        last = (
            max(rest, key=lambda p: (p.at_m or -1.0, p.when or 0.0))
            if all(p.certain for p in rest)
            else rest[-1]
        )
        rest = [replace(p, kind=PointKind.FINISH) if p is last else p for p in rest]
    if len(rest) > 1 and not any(p.kind is PointKind.START for p in rest):
        first = rest[0]
        if not first.certain and first.kind is PointKind.SPLIT:
            rest[0] = replace(first, kind=PointKind.START, at_m=0.0)
    starts = [p for p in rest if p.kind is PointKind.START]
    ends = [p for p in rest if p.kind is PointKind.FINISH]
    middle = _by_distance([p for p in rest if p.kind is PointKind.SPLIT])
    if ends and ends[-1].at_m is None and course_m is not None:
        ends[-1] = replace(ends[-1], at_m=course_m, certain=True)
    return _spread([*starts, *middle, *ends])


def _by_distance(middle: list[Place]) -> list[Place]:
    """Known distances in order; the unknown ones keep their place in time between them."""
    known = sorted((p for p in middle if p.at_m is not None), key=lambda p: p.at_m or 0.0)
    ordered = list(known)
    for place in (p for p in middle if p.at_m is None):
        after = [
            i
            for i, p in enumerate(ordered)
            if p.when is not None and place.when is not None and p.when > place.when
        ]
        ordered.insert(after[0] if after else len(ordered), place)
    return ordered


def _spread(places: list[Place]) -> list[Place]:
    """Distances that rise along the course: guessed ones evenly between their known neighbours."""
    done: list[Place] = []
    for i, place in enumerate(places):
        low = done[-1].at_m if done else None
        at = place.at_m
        if at is not None and (low is None or at > low):
            done.append(place)
            continue
        ahead = [
            (j, p.at_m)
            for j, p in enumerate(places[i + 1 :], start=i + 1)
            if p.at_m is not None and p.at_m > (low or 0.0)
        ]
        if i == 0:
            at = 0.0
        elif ahead:
            j, far = ahead[0]
            at = (low or 0.0) + ((far or 0.0) - (low or 0.0)) / (j - i + 1)
        else:
            at = (low or 0.0) + 1000.0
        done.append(replace(place, at_m=round(at, 1), certain=False))
    return done


def to_lines(words: Iterable[str], place_of: Mapping[str, str]) -> list[DraftLine]:
    """Lines of points from the words of the exports; at most one main and one backup at a point.

    ``place_of`` names the place of a line where the export states both in one row.
    """
    taken: dict[tuple[str, Role], str] = {}
    lines: list[DraftLine] = []
    ordered = sorted(set(words), key=lambda word: (bool(_BACKUP.search(word)), word))
    for word in ordered:
        point = place_id(place_name(place_of.get(word, word)))
        role = Role.BACKUP if _BACKUP.search(word) else Role.MAIN
        certain = bool(_BACKUP.search(word) or _MAIN.search(word))
        if role is Role.BACKUP and (point, Role.MAIN) not in taken:
            role, certain = Role.MAIN, False
        if (point, role) in taken:
            role, certain = Role.BACKUP, False
        if (point, role) in taken:
            point, role = slug(word), Role.MAIN
        number = 2
        while (point, role) in taken:
            point, number = f"{slug(word)}-{number}", number + 1
        taken[point, role] = word
        lines.append(DraftLine(f"{point}-{role}", word, point, role, certain))
    return sorted(lines, key=lambda line: (line.point, line.role is Role.BACKUP))
