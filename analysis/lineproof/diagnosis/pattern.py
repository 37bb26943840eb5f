"""One pattern in the misses: what is looked for, where, which tries it speaks of, and its chance by luck."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from lineproof.diagnosis.tries import Bools, Ints, Tries
from lineproof.vocabulary import Cause


@dataclass(frozen=True, slots=True, eq=False)
class Pattern:
    """``rows`` are the tries it speaks of, read or missed; ``usual`` the share of them missed where nothing is wrong.

    ``chance`` is that of such a pattern by luck.  ``begin`` and ``end`` in us since 1970, None: all day.  ``why``
    is what shows it, as the end of a sentence; it names no runner.
    """

    cause: Cause
    point: str | None
    line: str | None
    rows: Ints
    usual: float
    chance: float
    why: str
    antennas: tuple[int, ...] = ()
    begin: int | None = None
    end: int | None = None
    kind: str = ""
    awaited: tuple[int, int] = (0, 0)  # tried and missed, where only the visit before says who was to come

    @property
    def antenna(self) -> int | None:
        """The antenna where it is one's, the lowest of several."""
        return min(self.antennas) if self.antennas else None


@dataclass(frozen=True, slots=True)
class Search:
    """``found``: what one search found, sure or not; ``looked_for``: how many patterns it looked for.

    ``bounded``: the chances hold for the search as a whole already, whatever it looked for.
    """

    found: list[Pattern]
    looked_for: int
    bounded: bool = False


def missed_share(tries: Tries, rows: Ints) -> float:
    return float(tries.missed[rows].mean()) if len(rows) else 0.0


def more_missed_chance(missed: int, tried: int, rest_missed: int, rest_tried: int, times: float) -> float:
    """Chance of so many misses, if the odds of a miss were at most ``times`` those of the rest.

    The upper tail of Fisher's noncentral hypergeometric distribution: no rate has to be assumed.  Sound lines
    differ by themselves, so ``times`` is more than 1.
    """
    if missed == 0 or tried == 0 or rest_tried == 0:
        return 1.0
    whole = tried + rest_tried
    tail = stats.nchypergeom_fisher.sf(missed - 1, whole, missed + rest_missed, tried, times)
    return float(min(max(tail, 0.0), 1.0))


def without(rows: Ints, taken: Bools) -> Ints:
    """Those of the rows that are not taken."""
    return np.asarray(rows[~taken[rows]], dtype=np.int64)
