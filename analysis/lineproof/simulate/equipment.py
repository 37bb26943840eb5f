"""The crew's store: mats, cables and readers, what ails them, and where each lies at an event.

An ailing mat or cable weakens the mat that it serves, wherever it lies; a reader brings its own clock.  So
items that move between slots leave their trace at several places over a season.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lineproof.simulate.plan import Clock, EventPlan, LinePlan, MatFault

MATS = tuple(f"M{number:02d}" for number in range(1, 65))
CABLES = tuple(f"C{number:02d}" for number in range(1, 73))
READERS = tuple(f"R{number:02d}" for number in range(1, 15))
POWER_UNITS = tuple(f"P{number:02d}" for number in range(1, 17))
TRAILER_MATS = (*MATS[4:34], "M44")
TRAILER_CABLES = CABLES[:32]
PORTS = 8
DEAD = 1e3

# Logit of read chance that an item costs, at the first event and more at each event after it.
AILING_MATS: dict[str, tuple[float, float]] = {"M17": (2.4, 0.0), "M31": (0.2, 0.45), "M44": (1.2, 0.1)}
BROKEN_CABLES: dict[str, int] = {"C09": 5}  # no contact from this event of the season on, 0 the first
DRIFTING_READERS: dict[str, float] = {"R05": 25.0}  # parts per million


@dataclass(frozen=True, slots=True)
class Laid:
    """One mat in its slot: ``slot`` and ``port`` count from 1 at the near side; ``loss`` in logit."""

    event: str
    point: str
    line: str
    slot: int
    port: int
    mat: str
    cable: str
    reader: str
    loss: float


def lay(
    plan: EventPlan, worn: float, sound_only: bool, rng: np.random.Generator, small: bool = False
) -> tuple[EventPlan, list[Laid]]:
    """Draw the items for the event's lines; returns the plan with what they do to it, and what lies where.

    ``worn`` is how far the season had gone, in events.  ``sound_only`` leaves what ails in the van; ``small`` takes
    the trailer with half of the store.
    """
    store = (TRAILER_MATS, TRAILER_CABLES) if small else (MATS, CABLES)
    mats = _shuffled([m for m in store[0] if not (sound_only and m in AILING_MATS)], rng)
    cables = _shuffled([c for c in store[1] if not (sound_only and c in BROKEN_CABLES)], rng)
    readers = _shuffled([r for r in READERS if not (sound_only and r in DRIFTING_READERS)], rng)
    laid: list[Laid] = []
    points = []
    for point in plan.points:
        lines = []
        for line in point.lines:
            if line.mats > PORTS:
                raise ValueError(f"{line.id}: {line.mats} mats on a reader with {PORTS} ports")
            reader = readers.pop()
            mine = [
                Laid(plan.id, point.id, line.id, slot, slot, mat, cable, reader, _loss(mat, cable, worn))
                for slot in range(1, line.mats + 1)
                for mat, cable in [(mats.pop(), cables.pop())]
            ]
            laid += mine
            lines.append(_with_items(line, mine, rng))
        points.append(replace(point, lines=tuple(lines)))
    return replace(plan, points=tuple(points)), laid


def _shuffled(items: list[str], rng: np.random.Generator) -> list[str]:
    return [items[place] for place in rng.permutation(len(items))]


def _loss(mat: str, cable: str, worn: float) -> float:
    first, more = AILING_MATS.get(mat, (0.0, 0.0))
    broken = cable in BROKEN_CABLES and worn >= BROKEN_CABLES[cable]
    return DEAD if broken else first + more * worn


def _with_items(line: LinePlan, laid: list[Laid], rng: np.random.Generator) -> LinePlan:
    reader = laid[0].reader
    offset = line.clock.offset_s + round(0.015 * float(rng.standard_normal()), 4)
    drift = line.clock.drift_ppm + DRIFTING_READERS.get(reader, 0.0)
    ails = tuple(MatFault(item.slot, item.loss) for item in laid if item.loss > 0)
    return replace(line, clock=Clock(offset, drift), mat_faults=line.mat_faults + ails)
