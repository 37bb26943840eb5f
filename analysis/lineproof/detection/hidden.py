"""How many crossed that nothing proves?  Draws, from which the intervals of achieved rates come.

A runner who was read at some visit and never after it stopped, or crossed unseen.  ``draw_unseen`` asks
it of each such runner by the chances of ``weak_tags``.  Where runners cannot be assigned (to a time of
day, say), ``draw_hidden`` goes by the counts alone: who was read here and never again had the same
chance of being missed as those who were read again; with nothing later, the two lines witness for each
other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from lineproof.detection.two_lines import FEW_BOTH

Floats = NDArray[np.float64]

DRAWS = 2000
SEED = 20_140_421  # any; fixed so that a review gives the same numbers each time
PRIOR = 0.5  # of the beta distributions (Jeffreys)
# Of weak tags a fraction of one may be all that two lines saw; a line is then taken to miss them as it usually does
# (open results show weak tags read at 0.2 to 0.6), with the weight of so many crossings.
WEAK_MISSED, WEAK_WEIGHT = 0.4, 4.0
LIKELY = 0.02  # runners less likely than this are drawn together, as a Poisson number


@dataclass(frozen=True, slots=True)
class Candidates:
    """Runners of one group who may have crossed unseen: arrays of one length, see ``weak_tags.judge_tags``."""

    weak: Floats
    unseen_good: Floats
    unseen_weak: Floats
    doubt_good: Floats
    doubt_weak: Floats

    @property
    def chance(self) -> Floats:
        return np.asarray((1 - self.weak) * self.unseen_good + self.weak * self.unseen_weak)


def draw_unseen(candidates: Candidates, rng: np.random.Generator) -> Floats:
    """Draws of how many of them crossed unseen: each by chance, the chances shifted together by their doubt."""
    chance = candidates.chance
    likely = chance >= LIKELY
    shift = rng.standard_normal((2, DRAWS))
    weak = candidates.weak[likely, None]
    good_chance = _shifted(candidates.unseen_good[likely], candidates.doubt_good[likely], shift[0])
    weak_chance = _shifted(candidates.unseen_weak[likely], candidates.doubt_weak[likely], shift[1])
    drawn = rng.random((int(likely.sum()), DRAWS)) < (1 - weak) * good_chance + weak * weak_chance
    few = chance[~likely]
    doubt = float(np.sum(few * candidates.doubt_good[~likely]) / few.sum()) if few.any() else 0.0
    rest = rng.poisson(few.sum() * np.exp(doubt * shift[0] - doubt**2 / 2))
    return np.asarray(drawn.sum(axis=0) + np.minimum(rest, len(few)), dtype=float)


def _shifted(chance: Floats, doubt: Floats, shift: Floats) -> Floats:
    odds = special.logit(np.clip(chance, 1e-12, 1 - 1e-12))
    return np.asarray(special.expit(odds[:, None] + doubt[:, None] * shift[None, :]))


@dataclass(frozen=True, slots=True)
class Parts:
    """Counts of one group at one visit among one kind of tag; arrays of one length.

    With later evidence (``by_later``): ``read``/``missed`` among runners seen later and ``read_last``,
    read here and not later.  Without: ``both``, ``main_only``, ``backup_only``.  ``deff`` divides the counts that
    the chances rest on.  ``weak``: the part of the weak tags.
    """

    by_later: NDArray[np.bool_]
    read: Floats
    missed: Floats
    read_last: Floats
    both: Floats
    main_only: Floats
    backup_only: Floats
    deff: Floats
    weak: NDArray[np.bool_]

    @property
    def seen(self) -> Floats:
        return np.asarray(self.both + self.main_only + self.backup_only)


@dataclass(frozen=True, slots=True)
class Chances:
    """Draws of the two lines' chances to miss, (parts, draws); NaN where later reads are the evidence."""

    miss_main: Floats
    miss_backup: Floats


def draw_chances(parts: Parts) -> Chances:
    """Each line judged by the runners whom the other read."""
    rng = np.random.default_rng(SEED)
    shape = (len(parts.read), DRAWS)
    miss_main, miss_backup = np.full(shape, np.nan), np.full(shape, np.nan)
    pairs = ~parts.by_later
    miss_main[pairs] = _chance(parts.backup_only, parts, pairs, rng)
    miss_backup[pairs] = _chance(parts.main_only, parts, pairs, rng)
    return Chances(miss_main, miss_backup)


def _chance(missed: Floats, parts: Parts, rows: NDArray[np.bool_], rng: np.random.Generator) -> Floats:
    weak = parts.weak[rows]
    a = missed[rows] / parts.deff[rows] + np.where(weak, WEAK_MISSED * WEAK_WEIGHT, PRIOR)
    b = parts.both[rows] / parts.deff[rows] + np.where(weak, (1 - WEAK_MISSED) * WEAK_WEIGHT, PRIOR)
    # Kept off 1 so that the odds stay finite.
    return np.minimum(rng.beta(a[:, None], b[:, None], size=(int(rows.sum()), DRAWS)), 1 - 1e-9)


def draw_hidden(parts: Parts, chances: Chances) -> Floats:
    """Draws of hidden crossings from the counts alone, (parts, draws): negative binomial."""
    rng = np.random.default_rng(SEED + 1)
    hidden = np.zeros((len(parts.read), DRAWS))
    later = parts.by_later & (parts.read_last > 0)
    size = (int(later.sum()), DRAWS)
    missed = parts.missed[later] / parts.deff[later] + PRIOR
    read = parts.read[later] / parts.deff[later] + PRIOR
    odds = rng.standard_gamma(missed[:, None], size=size) / rng.standard_gamma(read[:, None], size=size)
    hidden[later] = _wait(parts.read_last[later], odds, rng)
    pairs = ~parts.by_later
    both_miss = chances.miss_main[pairs] * chances.miss_backup[pairs]
    hidden[pairs] = _wait(parts.seen[pairs], both_miss / (1 - both_miss), rng)
    return hidden


def _wait(seen: Floats, odds: Floats, rng: np.random.Generator) -> Floats:
    """Misses that come before so many reads; bounded far above any field so that the draw stays finite."""
    mean = rng.standard_gamma(seen[:, None], size=odds.shape) * odds
    return np.asarray(rng.poisson(np.minimum(mean, 1e7)), dtype=float)


def expected_hidden(parts: Parts) -> Floats:
    """Hidden crossings by the plain formulas: odds of a miss, or Lincoln-Petersen (Chapman if few)."""
    few_read = parts.read < 1
    odds = np.where(few_read, (parts.missed + PRIOR) / PRIOR, parts.missed / np.maximum(parts.read, 1))
    divisor = np.where(parts.both >= FEW_BOTH, np.maximum(parts.both, 1), parts.both + 1)
    by_pair = parts.main_only * parts.backup_only / divisor
    return np.asarray(np.where(parts.by_later, parts.read_last * odds, by_pair))
