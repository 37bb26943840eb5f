"""How a line reads the tags that pass over it: attempts, chances, strengths.

A tag is in an antenna's zone for zone length / speed.  The antenna makes ``attempts_per_s`` attempts there,
shared with the other tags in the zone.  Each attempt succeeds by itself with a chance that
comes from tag, pose, mat and the lateral distance to the antenna's centre.  So a tag on n attempts of
chance p goes unread with (1 - p)^n, and everything else is bookkeeping.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from lineproof.simulate.plan import LinePlan, ReadingPhysics
from lineproof.simulate.runners import Bools, Floats, Ints

NEIGHBOURS = (-1, 0, 1)  # mats that can read a tag, from the one underfoot
MOST_ATTEMPTS = 60
WALK = 1.2  # m/s, slower than this the zone is left before more attempts are of use
PRACTICE_SHARE = 0.03  # of reads that a reader left in a practice role lets through
STRENGTH_DBM = -44.0  # a good tag over the middle of an antenna


@dataclass(frozen=True, slots=True)
class Passes:
    """Tags that pass over one line.  ``shift`` is the tag's logit, ``pose`` the shared part of the attitude."""

    tag: Ints
    time: Floats
    lateral: Floats
    speed: Floats
    shift: Floats
    pose: Floats
    answers: Bools


@dataclass(frozen=True, slots=True)
class LineReads:
    """Reads of one line: row of ``Passes``, true time, antenna (1 at the near side), strength in dBm."""

    source: Ints
    time: Floats
    antenna: npt.NDArray[np.int32]
    strength: Floats


def read_line(
    passes: Passes, line: LinePlan, base: float, physics: ReadingPhysics, rng: np.random.Generator
) -> LineReads:
    """Reads of the passes by one line, in no order.  ``base`` comes from ``estimate_base``."""
    mat = np.floor(passes.lateral - line.offset_m).astype(np.int64)
    rivals = count_rivals(mat, passes.time, physics.zone_m / passes.speed)
    pose = passes.pose + physics.pose_sd * rng.standard_normal(len(mat))
    sources, mats, chances, attempts = [], [], [], []
    for step in NEIGHBOURS:
        here = mat + step
        on = np.flatnonzero((here >= 0) & (here < line.mats) & passes.answers)
        away = passes.lateral[on] - line.offset_m - here[on] - 0.5
        logit = base + passes.shift[on] + pose[on] - _mat_loss(line, here[on], passes.time[on])
        chance = _expit(logit) * np.exp(-0.5 * (away / physics.reach_m) ** 2)
        mean = count_attempts(passes.speed[on], physics) / (1 + rivals[on])
        whole = np.floor(np.minimum(mean, MOST_ATTEMPTS) + rng.random(len(on))).astype(np.int64)
        sources.append(on)
        mats.append(here[on])
        chances.append(chance * (PRACTICE_SHARE if line.practice else 1.0))
        attempts.append(whole)
    return _draw(passes, line, sources, mats, chances, attempts, physics, rng)


def _draw(
    passes: Passes,
    line: LinePlan,
    sources: list[Ints],
    mats: list[Ints],
    chances: list[Floats],
    attempts: list[Ints],
    physics: ReadingPhysics,
    rng: np.random.Generator,
) -> LineReads:
    """One draw for each attempt; the successes become reads."""
    tries = np.concatenate(attempts)
    chance = np.repeat(np.concatenate(chances), tries)
    hit = np.flatnonzero(rng.random(len(chance)) < chance)
    source = np.repeat(np.concatenate(sources), tries)[hit]
    mat = np.repeat(np.concatenate(mats), tries)[hit]
    along = physics.zone_m * (_progress(tries, rng)[hit] - 0.5)
    time = passes.time[source] + along / passes.speed[source]
    away = passes.lateral[source] - line.offset_m - mat - 0.5
    strength = STRENGTH_DBM - 11 * away**2 - 14 * along**2 + 1.2 * np.minimum(passes.shift[source], 0)
    strength += 1.5 * rng.standard_normal(len(hit)) - np.minimum(_mat_loss(line, mat, time), 8)
    heard = np.ones(len(hit), dtype=np.bool_)
    for silence in line.silences:
        heard &= (time < silence.begin_s) | (time >= silence.end_s)
    return LineReads(
        source[heard], time[heard], (mat[heard] + 1).astype(np.int32), np.round(strength[heard] * 2) / 2
    )


def _progress(tries: Ints, rng: np.random.Generator) -> Floats:
    """How far through the zone each attempt falls, 0 to 1: an antenna tries at intervals, never twice at once."""
    nth = np.arange(tries.sum()) - np.repeat(np.cumsum(tries) - tries, tries)
    return np.asarray((nth + 0.2 + 0.6 * rng.random(len(nth))) / np.repeat(tries, tries))


def count_attempts(speed: Floats, physics: ReadingPhysics) -> Floats:
    """Attempts of one antenna on one lone tag that passes at ``speed``, before rounding."""
    return np.asarray(physics.attempts_per_s * physics.zone_m / np.maximum(speed, WALK), dtype=np.float64)


def count_rivals(mat: Ints, time: Floats, dwell: Floats) -> Floats:
    """Mean number of other tags in the same mat's zone while each tag is in it."""
    order = np.lexsort((time, mat))
    day = np.ptp(time) + 1000.0 if len(time) else 1.0
    place = mat[order] * day + (time[order] - (time.min() if len(time) else 0.0))
    width = dwell[order]
    low = np.searchsorted(place, place - width)
    high = np.searchsorted(place, place + width)
    sums = np.concatenate(([0.0], np.cumsum(place - place.mean() if len(place) else place)))
    middle = np.arange(len(place))
    centred = place - place.mean() if len(place) else place
    before = (middle - low) * centred - (sums[middle] - sums[low])
    after = (sums[high] - sums[middle]) - (high - middle) * centred
    # Two tags that are t apart share the fraction 1 - t / dwell of the time; the tag itself counts 1.
    shared = (high - low) - (before + after) / width - 1
    rivals = np.empty(len(place))
    rivals[order] = np.maximum(shared, 0.0)
    return rivals


def _mat_loss(line: LinePlan, mat: Ints, time: Floats) -> Floats:
    loss = np.zeros(len(mat))
    for fault in line.mat_faults:
        loss += np.where((mat == fault.mat - 1) & (time >= fault.begin_s), min(fault.logit, 1e3), 0.0)
    return loss


def _expit(logit: Floats) -> Floats:
    return np.asarray(1 / (1 + np.exp(-np.clip(logit, -60, 60))), dtype=np.float64)


def miss_chance(base: float, physics: ReadingPhysics) -> float:
    """Chance that a lone tag at usual speed goes unread, averaged over place and pose.

    The three antennas about the tag are taken to be there: an edge of the line costs extra.
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(41)
    sd = float(np.hypot(physics.pose_sd, physics.shared_sd))
    chance = _expit(base + sd * nodes)[:, None, None]
    place = (np.arange(20) + 0.5) / 20 - 0.5
    reach = np.exp(-0.5 * ((place[:, None] - np.array(NEIGHBOURS)) / physics.reach_m) ** 2)
    tries = count_attempts(np.array([physics.usual_speed]), physics)[0]
    unread = np.prod((1 - chance * reach[None]) ** tries, axis=2).mean(axis=1)
    return float(np.dot(weights, unread) / weights.sum())


@lru_cache(maxsize=512)
def estimate_base(rate: float, physics: ReadingPhysics) -> float:
    """The logit of a read attempt over the middle of an antenna at which a line reads ``rate``."""
    if not 0 < rate < 1:
        raise ValueError(f"a line's rate must lie between 0 and 1, not {rate}")
    low, high = -20.0, 30.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if miss_chance(middle, physics) < 1 - rate else (middle, high)
    return (low + high) / 2


def weak_shift(rate: float, physics: ReadingPhysics) -> float:
    """What a tag that is read at ``rate`` by a usual line loses against a good one, logit."""
    return estimate_base(rate, physics) - estimate_base(physics.usual_line, physics)
