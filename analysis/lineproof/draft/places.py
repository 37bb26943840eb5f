"""Timing points and lines from the names that the exports give them, in course order."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from lineproof.draft.words import distance_m, plain, slug
from lineproof.vocabulary import PointKind, Role

_BACKUP = re.compile(r"(?i)(?<![a-z])(backup|back-up|back up|second|secondary|spare|reserve|ersatz)(?![a-z])")
_MAIN = re.compile(r"(?i)(?<![a-z])(main|primary|first|haupt)(?![a-z])")
_START = re.compile(r"(?<![a-z])(start|depart|salida|partenza)(?![a-z])")
_FINISH = re.compile(r"(?<![a-z])(finish|goal|end|ziel|zieleinlauf|arrivee|meta|arrivo)(?![a-z])")
_BOX = re.compile(
    r"(?i)(?<![a-zäöü])(box|reader|unit|device|gerät|geraet|lesegerät|kasten)[ _-]*(?:[a-z]|\d{1,3})?(?![a-z0-9])"
)
_LETTER = re.compile(r"(?<=[\w)])[ _-]+[A-Da-d]$")
_NO_PLACE = re.compile(
    r"(?i)(?<![a-zäöü])(time|clock|gun|net|split|elapsed|mat|matte|line|linie|reads|times|zeit|zeiten)(?![a-zäöü])"
)
_PART = re.compile(r"(?i)[ _-]*(?<![a-z])(part|teil|pt|file|datei)[ _-]*\(?\d{1,2}\)?$")
_NUMBER = re.compile(r"[ _-]+\(?\d{1,2}\)?$")
_LAP = re.compile(r"(?i)(?<![a-z])(lap|laps|round|loop|runde|tour|vuelta|giro)[ _-]*(\d{1,2})(?!\d)")


@dataclass(frozen=True, slots=True)
class Place:
    """One visit of a timing point as drafted: the ``visit``-th time that runners come by.

    ``certain`` tells whether its distance was stated somewhere; ``when`` is the median time there, for the order.
    """

    id: str
    name: str
    kind: PointKind
    at_m: float | None
    certain: bool
    when: float | None
    visit: int = 1


@dataclass(frozen=True, slots=True)
class DraftLine:
    """A line: ``words`` name it in the exports (files of several parts have one each).

    ``certain``: it is known whether it is main or backup.  ``told``: its name, or a person, says where it lies.
    """

    id: str
    words: tuple[str, ...]
    point: str
    role: Role
    certain: bool
    told: bool = True


def place_name(word: str) -> str:
    """What is left of a line's or column's name without the words for its role, its box and its lap."""
    bare = _MAIN.sub(" ", _BACKUP.sub(" ", _PART.sub("", word)))
    lapped = _LAP.sub(" ", bare)
    short = " ".join(_NO_PLACE.sub(" ", _BOX.sub(" ", lapped)).replace("_", " ").split()).strip(" -")
    short = _LETTER.sub("", short)
    lap = _LAP.search(bare)
    if not short and lap is not None:
        return lap[1]
    return short or " ".join(bare.split()) or word


def lap_of(word: str) -> int | None:
    """The number of the lap that a word names, counting from 1."""
    found = _LAP.search(word)
    return int(found[2]) if found else None


def is_telling(word: str) -> bool:
    """Whether a word says where its line lies: it names a place and not a box by letter and number."""
    words = plain(place_name(word)).split()
    return any(len(w) >= 3 and w.isalpha() and w not in ("box", "reader", "unit", "device", "geraet", "kasten", "reads", "export", "file", "log") for w in words) or distance_m(word) is not None  # fmt: skip


def place_id(name: str) -> str:
    """The same id for every way to name a place: its part in the race, its distance, or its words."""
    words = plain(name)
    if _START.search(words):
        return "start"
    if _FINISH.search(words):
        return "finish"
    at = distance_m(name)
    return slug(name) if at is None else "half" if at == 21_097.5 else f"km{at / 1000:g}".replace(".", "-")


def to_place(name: str, when: float | None) -> Place:
    words = plain(name)
    kind = (
        PointKind.START
        if _START.search(words)
        else PointKind.FINISH
        if _FINISH.search(words)
        else PointKind.SPLIT
    )
    at = 0.0 if kind is PointKind.START else distance_m(name)
    return Place(place_id(name), name, kind, at, at is not None, when)


def in_course_order(places: Iterable[Place], course_m: float | None) -> list[Place]:
    """Start first, finish last, the rest by stated distance or by time; unknown distances in proportion to time.

    Where no name says start or finish, the earliest and the latest point take these parts.
    """
    rest = sorted(places, key=lambda p: (p.when is None, p.when or 0.0, p.id, p.visit))
    if rest and not any(p.kind is PointKind.FINISH for p in rest):
        last = (
            max(rest, key=lambda p: (p.at_m or -1.0, p.when or 0.0))
            if all(p.certain for p in rest)
            else rest[-1]
        )
        rest = [replace(p, kind=PointKind.FINISH) if p.id == last.id else p for p in rest]
    if len(rest) > 1 and not any(p.kind is PointKind.START for p in rest):
        first = rest[0]
        if not first.certain and first.kind is PointKind.SPLIT:
            rest = [replace(p, kind=PointKind.START) if p.id == first.id else p for p in rest]
            rest[0] = replace(rest[0], at_m=0.0)
    begin = [p for p in rest if p.kind is PointKind.START and p.visit == 1][:1]
    finishes = [p for p in rest if p.kind is PointKind.FINISH]
    end = [max(finishes, key=lambda p: p.visit)] if finishes else []
    middle = _by_distance([p for p in rest if p not in begin and p not in end])
    if end and end[0].at_m is None and course_m is not None:
        end[0] = replace(end[0], at_m=course_m, certain=True)
    return spread([*begin, *middle, *end])


def after_the_start(places: Iterable[Place], course_m: float | None) -> list[Place]:
    """As ``in_course_order``, for points that all lie well beyond a start at which nobody was timed."""
    start = Place("", "", PointKind.START, 0.0, True, 0.0)
    return in_course_order([start, *places], course_m)[1:]


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


def spread(places: Sequence[Place]) -> list[Place]:
    """Distances that rise along the course: guessed ones between their known neighbours, in proportion to time."""
    done: list[Place] = []
    for i, place in enumerate(places):
        low = done[-1] if done else None
        at = place.at_m
        if at is not None and (place.certain or i == 0) and (low is None or at > (low.at_m or 0.0)):
            done.append(place)
            continue
        if low is None:
            done.append(replace(place, at_m=0.0, certain=False))
            continue
        ahead = next(
            ((j, p) for j, p in enumerate(places) if j > i and p.certain and (p.at_m or 0) > (low.at_m or 0)),
            None,
        )
        at = (low.at_m or 0.0) + 1000.0 if ahead is None else _between(low, place, ahead[1], ahead[0] - i)
        done.append(replace(place, at_m=round(at, 1), certain=False))
    return done


def _between(low: Place, place: Place, far: Place, steps: int) -> float:
    """A distance for ``place`` as if everybody kept one pace from ``low`` to ``far``; else in even steps."""
    near_m, far_m = low.at_m or 0.0, far.at_m or 0.0
    share = 1 / (steps + 1)
    if low.when is not None and place.when is not None and far.when is not None and far.when > low.when:
        by_time = (place.when - low.when) / (far.when - low.when)
        share = by_time if 0 < by_time < 1 else share
    at = near_m + (far_m - near_m) * share
    rounded = float(round(at, -2))
    return rounded if near_m < rounded < far_m else at


def without_part(word: str) -> str:
    """The name of a line whose export comes in parts: ``R05 part 2`` and ``R05_2`` are ``R05``."""
    bare = _PART.sub("", word)
    return bare if bare != word else _NUMBER.sub("", word)


def to_lines(
    groups: Iterable[Sequence[str]], place_of: Mapping[str, str], together: Mapping[str, str] | None = None
) -> list[DraftLine]:
    """Lines of points; at most one main and one backup at a point.

    Each group holds the words of one line.  ``place_of`` names the place of a word where the export or a
    person states it; ``together`` gives a word the word of another line that lies at the same place.
    """
    taken: dict[tuple[str, Role], str] = {}
    lines: list[DraftLine] = []
    ordered = sorted({tuple(group) for group in groups}, key=lambda g: (bool(_BACKUP.search(g[0])), g))
    for words in ordered:
        word = words[0] if len(words) == 1 else without_part(words[0])
        anchor = (together or {}).get(words[0], words[0])
        known = place_of.get(anchor, place_of.get(words[0]))
        point = place_id(place_name(known or (word if anchor == words[0] else anchor)))
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
        told = known is not None or is_telling(word)
        lines.append(DraftLine(f"{point}-{role}", words, point, role, certain, told))
    paired = {line.point for line in lines if line.role is Role.BACKUP}
    lines = [replace(line, certain=line.certain or line.point not in paired) for line in lines]
    return sorted(lines, key=lambda line: (line.point, line.role is Role.BACKUP))
