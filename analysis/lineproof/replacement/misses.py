"""From chances of a miss to crossings that one line, or no line, reads.

A line misses a share q of its crossings, of good and weak tags together.  Weak tags are missed with k times
the odds of good ones, on every line: that is why two lines are not independent, and why most of what
both miss may be weak tags.  With w the share of weak tags and o the odds of missing a good one,

    (1 - w) o / (1 + o) + w k o / (1 + k o) = q

is a quadratic in o with one positive root.  Given the tag, the lines miss independently:

    unread = both_out + (1 - both_out) * sum over tags of share * Q_main * Q_backup
    Q = out + (1 - out) * q_tag                         out: share of crossings while the line stands still

A crossing that one line misses and the other reads costs nothing but risk; only unread ones cost.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import special

from lineproof.replacement.plan import Stops, WeakTags

Floats = npt.NDArray[np.float64]
GOOD_READS = 0.99  # the rate of good tags at which a plan states the rate of weak ones
# Three nodes of Gauss and Hermite: exact for polynomials of degree five in the scatter of a line and a day.
_NODES = np.array([-np.sqrt(3.0), 0.0, np.sqrt(3.0)])
_WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6.0
_REACH, _CELLS = 25.0, 5000


@dataclass(frozen=True, slots=True)
class ByTag:
    """Chance that a line misses a good tag, and a weak one; arrays of one shape."""

    good: Floats
    weak: Floats


def weak_odds_factor(reads: float) -> float:
    """How many times the odds of a miss a weak tag has that is read at ``reads`` where good ones are at 99 %."""
    return float(np.exp(special.logit(1 - reads) - special.logit(1 - GOOD_READS)))


def split_by_tag(missed: Floats, share: float, factor: float) -> ByTag:
    """Chances by tag that together give the chance ``missed`` of a line; ``share`` of the tags are weak.

    >>> by = split_by_tag(np.array([0.01]), 0.0, 66.0)
    >>> float(by.good[0]), round(float(by.weak[0]), 3)
    (0.01, 0.4)
    """
    linear = (1 - share) + share * factor - missed * (1 + factor)
    square = factor * (1 - missed)
    # The root without cancellation for either sign of the linear term.
    root = np.sqrt(linear**2 + 4 * square * missed)
    odds = np.where(linear > 0, 2 * missed / (linear + root), (root - linear) / (2 * square))
    return ByTag(odds / (1 + odds), factor * odds / (1 + factor * odds))


def line_misses(logits: Floats, scatter: float, tags: WeakTags) -> ByTag:
    """Chances of a miss by tag for logits of a line's misses, averaged over the scatter of lines and days."""
    factor = weak_odds_factor(tags.reads)
    good, weak = np.zeros_like(logits), np.zeros_like(logits)
    nodes = zip(_NODES, _WEIGHTS, strict=True) if scatter > 0 else [(0.0, 1.0)]
    for node, weight in nodes:
        by = split_by_tag(special.expit(logits + scatter * node), tags.share, factor)
        good += weight * by.good
        weak += weight * by.weak
    return ByTag(good, weak)


@dataclass(frozen=True, slots=True)
class MissCurve:
    """``line_misses`` as a table over the logit, read off by straight lines: off by some millionths of itself.

    Logits beyond the table (a chance under 2e-11, or of all but that) count as its ends.
    """

    good: Floats
    weak: Floats

    def at(self, logits: Floats) -> ByTag:
        place = np.clip((logits + _REACH) * (_CELLS / _REACH), 0, 2 * _CELLS - 1e-6)
        cell = place.astype(np.int64)
        rest = place - cell
        return ByTag(*(table[cell] * (1 - rest) + table[cell + 1] * rest for table in (self.good, self.weak)))


@lru_cache(maxsize=32)
def to_miss_curve(scatter: float, tags: WeakTags) -> MissCurve:
    """The table for one scatter and one kind of weak tags."""
    by = line_misses(np.arange(-_CELLS, _CELLS + 1) / _CELLS * _REACH, scatter, tags)
    return MissCurve(by.good, by.weak)


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares of the crossings: read by no line, by one line only, and by no line with a weak tag."""

    unread: Floats
    single: Floats
    weak: Floats


def unread_shares(main: ByTag, backup: ByTag | None, share: float, stops: Stops) -> Shares:
    """What two lines leave; ``backup`` None where the point has one line, which then has no other to help."""
    first = _with_stop(main, stops.main)
    if backup is None:
        alone = (1 - share) * first.good + share * first.weak
        return Shares(alone, np.zeros_like(alone), share * first.weak)
    second = _with_stop(backup, stops.backup)
    weak = share * first.weak * second.weak
    unread = (1 - share) * first.good * second.good + weak
    single = (1 - share) * (first.good + second.good) + share * (first.weak + second.weak) - 2 * unread
    both_out = stops.both
    return Shares(
        both_out + (1 - both_out) * unread, (1 - both_out) * single, both_out * share + (1 - both_out) * weak
    )


def _with_stop(by: ByTag, out: float) -> ByTag:
    return ByTag(out + (1 - out) * by.good, out + (1 - out) * by.weak)
