"""From what is known of an item to a word about what to do with it.

An item is *worse* if its odds of a miss are at least ``worse_factor`` (2) times those of the middle item of its
kind.  The words, hardest first:

- **repair or retire**: the posterior chances of *not* being worse, added up over all items so called, stay within
  ``false_accusations`` (0.05): over the season, by the model, that many sound items are expected among them;
- **test**: more likely worse than not; or its misses grow with use (a trend that was found); or it is bound to
  another item and the two together are worse, and a hand test of each tells which;
- **watch**: worse with a chance of 5 % or more, and above the middle item with 90 %;
- **sound**: worse with a chance under 5 %, from a season that would have shown it;
- **cannot tell**: all else: too few crossings (a doubling of the odds would not have stood out at 1.645 standard errors),
  or bound to its place and not sound there.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

POSSIBLE = 0.05
LEANS = 0.9
STANDS_OUT = 1.645


class Verdict(StrEnum):
    SOUND = "sound"
    WATCH = "watch"
    TEST = "test"
    REPAIR = "repair or retire"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of one item.

    ``worse``: chance that it is worse; ``above``: that it is above the middle item; ``error``: standard error of its
    effect by the data alone; ``grows``: a trend was found.  Of an item that is bound, all of it is meant of the item
    and its partners together.
    """

    worse: float
    above: float
    error: float
    grows: bool
    bound_items: bool
    bound_places: bool
    alone: bool


def accused(worse: Floats, allowed: float) -> NDArray[np.bool_]:
    """The largest set, surest first, whose chances of not being worse add up to ``allowed`` at most."""
    order = np.argsort(-worse, kind="stable")
    within = np.cumsum(1 - worse[order]) <= allowed
    marked = np.zeros(len(worse), dtype=bool)
    marked[order[within]] = True
    return marked


def to_verdict(known: Known, is_accused: bool, worse_log: float) -> Verdict:
    """The word for one item; ``worse_log``: log of the factor that makes an item worse."""
    if known.alone:
        return Verdict.CANNOT_TELL
    visible = known.error * STANDS_OUT <= worse_log
    if known.worse < POSSIBLE and visible and not known.grows:
        return Verdict.SOUND
    if known.bound_places:
        return Verdict.CANNOT_TELL
    if is_accused and not known.bound_items:
        return Verdict.REPAIR
    if known.worse > 0.5 or (known.grows and not known.bound_items):
        return Verdict.TEST
    if known.worse >= POSSIBLE and known.above >= LEANS:
        return Verdict.WATCH
    return Verdict.CANNOT_TELL


def to_verdicts(known: list[Known], allowed: float, worse_log: float) -> list[Verdict]:
    """Words for all items of the season; bound items and lone ones are never accused."""
    may_be = np.array([not (one.bound_items or one.bound_places or one.alone) for one in known], dtype=bool)
    worse = np.array([one.worse for one in known])
    marked = np.zeros(len(known), dtype=bool)
    marked[may_be] = accused(worse[may_be], allowed)
    return [to_verdict(one, bool(mark), worse_log) for one, mark in zip(known, marked, strict=True)]
