"""Runners over two lines of mats, drawn from stated rates: who was read by which antenna of either line.

Not the likelihood that is fitted: places are continuous, the drift is added to each runner, and how far a mat reads
beyond its edge falls off in a straight line.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Crossed:
    """``main``, ``backup``: rate of each mat; ``missed``: share that each line misses whatever the mat.

    Lengths in mats: ``road``, ``offset`` of the backup line's first mat, ``drift`` from line to line.
    """

    runners: int = 3000
    main: tuple[float, ...] = (1.0,) * 5
    backup: tuple[float, ...] = (1.0,) * 5
    missed: tuple[float, float] = (0.01, 0.015)
    road: float = 5.0
    offset: float = 0.0
    drift: float = 0.25
    reach: tuple[float, float] = field(
        default=(0.5, 1.5)
    )  # all read at the first distance, none at the second


def draw_counts(plan: Crossed, seed: int) -> Floats:
    """Table (1 + backup mats, 1 + main mats) of runners by antenna, 0 for missed; nobody is left out of [0, 0]."""
    rng = np.random.default_rng(seed)
    place = plan.road * np.sort(rng.random((plan.runners, 3)), axis=1)[:, 1]
    later = np.abs(place + plan.drift * rng.standard_normal(plan.runners))
    later = np.where(later > plan.road, 2 * plan.road - later, later)
    main = _read(place, plan.main, plan.missed[0], plan, rng)
    backup = _read(later - plan.offset, plan.backup, plan.missed[1], plan, rng)
    counts = np.zeros((len(plan.backup) + 1, len(plan.main) + 1))
    np.add.at(counts, (backup, main), 1)
    counts[0, 0] = 0
    return counts


def _read(
    place: Floats, rates: tuple[float, ...], missed: float, plan: Crossed, rng: np.random.Generator
) -> Ints:
    """Antenna of each runner, the nearest that answers, 0 where none does."""
    rate = np.array(rates)
    away = np.abs(place[:, None] - (np.arange(len(rate)) + 0.5))
    full, none = plan.reach
    answers = rng.random(away.shape) < rate * np.clip((none - away) / (none - full), 0, 1)
    answers &= (rng.random(len(place)) >= missed)[:, None]
    nearest = np.argmin(np.where(answers, away, np.inf), axis=1)
    return np.where(answers.any(axis=1), nearest + 1, 0)
