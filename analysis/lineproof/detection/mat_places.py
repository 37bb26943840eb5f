"""Who is where across the road, and which antenna answers there: the parts of the mats' likelihood.

The road is cut into strips, a quarter of a mat wide, from one mat's width before the near side of the lines to one
beyond the far side.  Each part returns its value and knows how a slope with respect to the value turns into
slopes with respect to its parameters, so that a fit takes milliseconds.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

STRIPS = 4  # for each mat
FAR = 1e-4  # least weight of any two strips: an antenna number is seldom wrong
NOBODY = -60.0
CANDIDATES = 3  # the mat underfoot and its neighbours


@dataclass(frozen=True, slots=True)
class Road:
    """Strips across the road; lengths in mats, 0 at the near edge of the first mat.

    ``places`` are the middles of the strips.  Traffic is stated at the middle of each mat's width, one beyond
    either side included; ``spread`` (strips, mats + 2) takes its logarithm to the strips by straight lines.
    """

    mats: int
    places: Floats
    spread: Floats
    inside: Bools

    @property
    def strip_of_mat(self) -> Ints:
        """The mat of each strip, 0 the first; -1 and ``mats`` beyond the sides."""
        return np.floor(self.places).astype(np.int64)


@lru_cache(maxsize=64)
def make_road(mats: int) -> Road:
    places = (np.arange(STRIPS * (mats + 2)) + 0.5) / STRIPS - 1
    centres = np.arange(mats + 2) - 0.5
    spread = np.column_stack([np.interp(places, centres, row) for row in np.eye(mats + 2)])
    return Road(mats, places, spread, (places > 0) & (places < mats))


@lru_cache(maxsize=64)
def _nearest(road_mats: int, mats: int) -> tuple[Ints, Floats]:
    """Antennas that may answer in each strip, nearest first, and how far their middles are."""
    away = np.abs(make_road(road_mats).places[:, None] - (np.arange(mats)[None, :] + 0.5))
    which = np.argsort(away, axis=1, kind="stable")[:, :CANDIDATES]
    return which, np.take_along_axis(away, which, axis=1)


@dataclass(frozen=True, slots=True)
class Drift:
    """Joint probability of a strip at the backup line (rows) and one at the main line (columns)."""

    joint: Floats
    step: Floats
    kernel: Floats
    spread: Floats
    sd: float

    def slopes(self, by_joint: Floats) -> tuple[Floats, float, float]:
        """By the traffic at the knots, the drift's mean and the logarithm of its SD."""
        by_log = self.joint * (by_joint - float((self.joint * by_joint).sum()))
        half = (by_log.sum(axis=0) + by_log.sum(axis=1)) / 2
        near = 1 - FAR / self.kernel
        by_mean = float((by_log * near * self.step).sum()) / self.sd**2
        by_sd = float((by_log * near * self.step**2).sum()) / self.sd**2
        return np.asarray(half @ self.spread), by_mean, by_sd


def make_drift(road: Road, traffic: Floats, mean: float, log_sd: float, *, bare: bool) -> Drift:
    """``sqrt(g_a g_b) h(b - a)``: shared traffic, shared kernel, alike in both directions.

    Without ``bare`` nobody is beyond the lines.
    """
    spread = road.spread
    half = spread @ traffic / 2
    if not bare:
        half = np.where(road.inside, half, NOBODY)
    sd = float(np.exp(log_sd))
    at = road.places
    step = at[None, :] - at[:, None] - mean
    kernel = np.exp(-0.5 * (step / sd) ** 2) + FAR
    word = half[:, None] + half[None, :]
    joint = np.exp(word - word.max()) * kernel
    return Drift(joint / joint.sum(), step, kernel, spread, sd)


@dataclass(frozen=True, slots=True)
class Answers:
    """Chance of each outcome in each strip: column 0 missed, then the antennas from the near side."""

    outcome: Floats
    rate: Floats
    u: float
    which: Ints
    reach: Floats
    by_reach: tuple[Floats, Floats]
    parts: Floats

    def slopes(self, by_outcome: Floats) -> tuple[Floats, float, float, float]:
        """By each mat's rate, the line's own misses, and the two parameters of the neighbours' reach."""
        rows = np.arange(len(by_outcome))[:, None]
        gain = by_outcome[rows, self.which + 1] - by_outcome[:, :1]
        by_u = -float((gain * self.parts).sum())
        by_part = (1 - self.u) * gain
        sure = self.reach * self.rate[self.which]
        before = np.cumprod(np.column_stack([np.ones(len(sure)), 1 - sure[:, :-1]]), axis=1)
        worth = by_part * self.parts
        behind = np.cumsum(worth[:, ::-1], axis=1)[:, ::-1] - worth
        by_sure = by_part * before - behind / np.maximum(1 - sure, 1e-12)
        by_rate = np.bincount(
            self.which.ravel(), weights=(by_sure * self.reach).ravel(), minlength=len(self.rate)
        )
        by_reach = by_sure * self.rate[self.which]
        first, second = (float((by_reach * slope).sum()) for slope in self.by_reach)
        return np.asarray(by_rate, dtype=np.float64), by_u, first, second


def make_answers(road: Road, rate: Floats, u: float, middle: float, log_width: float) -> Answers:
    """The mat underfoot answers with its rate; where it does not, the nearer neighbour may, then the other one.

    A neighbour whose centre is d mats away reads, if it works, with the chance
    ``1 / (1 + exp((d - middle) / width))``.  ``u``: share that the whole line misses, whatever the mat.
    """
    mats = len(rate)
    which, distance = _nearest(road.mats, mats)
    width = float(np.exp(log_width))
    lean = special.expit((middle - distance) / width)
    own = distance < 0.5
    reach = np.where(own, 1.0, lean)
    slope = np.where(own, 0.0, lean * (1 - lean))
    by_reach = (slope / width, -slope * (middle - distance) / width)
    sure = reach * rate[which]
    before = np.cumprod(np.column_stack([np.ones(len(sure)), 1 - sure[:, :-1]]), axis=1)
    parts = sure * before
    outcome = np.zeros((len(sure), mats + 1))
    np.put_along_axis(outcome, which + 1, (1 - u) * parts, axis=1)
    outcome[:, 0] = 1 - outcome.sum(axis=1)
    return Answers(outcome, rate, u, which, reach, by_reach, parts)
