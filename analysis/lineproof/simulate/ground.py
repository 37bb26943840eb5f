"""The ground that faults are planted in: bodies, tags, what is added to them, and the list of cases."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from lineproof.simulate.carriers import TagSet
from lineproof.simulate.cases import Case, ExtraPass, Stand
from lineproof.simulate.plan import EventPlan, FaultKind, Planted
from lineproof.simulate.runners import Bools, Field, Ints
from lineproof.vocabulary import PointKind


@dataclass(slots=True)
class Ground:
    """What the planters work on."""

    plan: EventPlan
    bodies: Field
    tags: TagSet
    rng: np.random.Generator
    used: set[int] = field(default_factory=set)
    passes: list[ExtraPass] = field(default_factory=list)
    stands: list[Stand] = field(default_factory=list)
    cases: list[Case] = field(default_factory=list)

    def pick(self, fits: Bools, count: int, what: FaultKind) -> list[int]:
        """Draw ``count`` bodies that fit and have no fault yet, and mark them."""
        free = [int(body) for body in np.flatnonzero(fits) if int(body) not in self.used]
        if len(free) < count:
            raise ValueError(f'{self.plan.id}: "{what}" needs {count} runners, {len(free)} fit')
        drawn = [free[i] for i in self.rng.permutation(len(free))[:count]]
        self.used.update(drawn)
        return drawn

    def tags_of(self, entry: int) -> Ints:
        return np.flatnonzero((self.tags.entry == entry) & self.tags.listed)

    def first_tag(self, entry: int) -> str:
        return str(self.tags.tag[self.tags_of(entry)[0]])

    def bib(self, body: int) -> str:
        return str(self.bodies.bib[body])

    def visits(self, body: int) -> tuple[tuple[str, float], ...]:
        return self.plan.courses[int(self.bodies.course[body])].visits

    def last_order(self) -> Ints:
        counts = np.array([len(course.visits) for course in self.plan.courses])
        return np.asarray(counts[self.bodies.course] - 1)

    def finished(self, planted: Planted, visits: int = 2) -> Bools:
        """Bodies that crossed every visit of a course of at least ``visits``, on the wanted course."""
        last = self.last_order()
        crossed = (~np.isnan(self.bodies.times)).sum(axis=1) == last + 1
        good = np.ones(self.bodies.bodies, dtype=np.bool_)
        good[self.tags.entry[self.tags.quality != "good"]] = False
        wanted = np.ones(self.bodies.bodies, dtype=np.bool_)
        if planted.course is not None:
            index = [course.id for course in self.plan.courses].index(planted.course)
            wanted = self.bodies.course == index
        return np.asarray(crossed & good & wanted & (last + 1 >= visits), dtype=np.bool_)

    def main_line(self, point: str) -> str | None:
        lines = next(p for p in self.plan.points if p.id == point).lines
        return lines[0].id if lines else None

    def finish_line(self) -> str:
        found = (p.lines[0].id for p in self.plan.points if p.kind is PointKind.FINISH and p.lines)
        return next(found)
