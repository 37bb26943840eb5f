"""When did a runner come by a visit that did not read them?  Windows from runners like them.

Between two reads, the share of the time that similar runners had used up at the visit; after a last
read, how long similar runners took from there, in units of the time the runner had needed so far.
Similar are the 200 nearest in that time.  The ends are quantiles such that one more runner of the same
kind lies between them with the stated chance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from lineproof.detection.histories import Bools, Floats, History, Ints

NEIGHBOURS = 200
ENOUGH = 40  # below, the 2.5 % quantile lies outside of what was seen, and a normal spread is used
FEWEST = 8  # below, only the bounds that pace sets
CHUNK = 5_000  # look-ups at once, to bound memory
CLOCK_US = 1_000_000  # a camera's clock is not to be trusted to less than a second
SHORT_M = 500.0  # a shorter stretch says little about a runner's pace


@dataclass(frozen=True, slots=True)
class Window:
    """Begin, end and likeliest time of each look-up, us since 1970."""

    begin: Ints
    end: Ints
    likely: Ints


def between_reads(
    history: History, who: Ints, before: int, here: int, after: int, typical: Floats, chance: float
) -> Window:
    """Windows for the runners ``who`` (rows), sound at columns ``before`` and ``after``, not read at ``here``."""
    t = history.times
    donors = _sound(history, before, here, after) & (t[:, after] > t[:, before])
    span = (t[donors, after] - t[donors, before]).astype(float)
    share = (t[donors, here] - t[donors, before]) / span
    begin, end = t[who, before], t[who, after]
    own = (end - begin).astype(float)
    usual = (typical[here] - typical[before]) / max(typical[after] - typical[before], 1e-6)
    low, likely, high = _similar(span, share, own, usual, chance)
    earliest = begin + np.maximum(history.shortest[history.kind[who], before, here], 0)
    latest = end - np.maximum(history.shortest[history.kind[who], here, after], 0)
    return _window(begin + low * own, begin + likely * own, begin + high * own, earliest, latest)


def after_last_read(
    history: History, who: Ints, last: int, here: int, typical: Floats, chance: float
) -> Window:
    """Windows for the runners ``who`` at ``here``, had they gone on from ``last``, where they were read last."""
    usual = typical[here] - typical[last]
    begin = history.times[who, last]
    out = [np.zeros(len(who)) for _ in range(3)]
    since = _pace_from(history, who, last)
    for first in np.unique(since):
        rows = since == first
        paced = first >= 0
        donors = _sound(history, last, here, *([int(first)] if paced else []))
        # Without a stretch to tell the pace by, every donor is alike and the unit is a second.
        unit = np.ones(len(history.times))
        if paced:
            unit = np.maximum((history.times[:, last] - history.times[:, first]) / 1e6, 1e-6)
        ratio = (history.times[donors, here] - history.times[donors, last]) / 1e6 / unit[donors]
        own = unit[who[rows]]
        guess = usual / float(np.median(unit[donors] if donors.any() else own))
        for part, values in zip(out, _similar(unit[donors], ratio, own, guess, chance), strict=True):
            part[rows] = values * own
    earliest = begin + np.maximum(history.shortest[history.kind[who], last, here], 0)
    # Nothing bounds how slowly a runner goes on; ten times the usual is where pace alone leaves it.
    latest = begin + np.round(np.maximum(10 * usual, 60.0) * 1e6).astype(np.int64)
    low, likely, high = (begin + values * 1e6 for values in out)
    return _window(low, likely, high, earliest, np.maximum(latest, earliest))


def _pace_from(history: History, who: Ints, last: int) -> Ints:
    """Column from which the time to ``last`` tells each runner's pace: their start, else the gun, else none (-1)."""
    start = history.sound[who, 1] & (history.at_m[last] - history.at_m[1] >= SHORT_M) & (last > 1)
    gun = history.sound[who, 0] & (history.at_m[last] - history.at_m[0] >= SHORT_M)
    return np.where(start, 1, np.where(gun, 0, -1)).astype(np.int64)


def _sound(history: History, *columns: int) -> Bools:
    return np.asarray(history.sound[:, columns].all(axis=1))


def _window(low: Floats, likely: Floats, high: Floats, earliest: Ints, latest: Ints) -> Window:
    """Clipped to what is possible at all; NaN ends are those bounds."""
    low = np.where(np.isnan(low), earliest, low)
    high = np.where(np.isnan(high), latest, high)
    latest = np.maximum(earliest, latest)
    begin, end, middle = (
        np.clip(np.round(values).astype(np.int64), earliest, latest) for values in (low, high, likely)
    )
    best = np.clip(middle, begin, end)
    return Window(np.minimum(begin, best - CLOCK_US), np.maximum(end, best + CLOCK_US), best)


def _similar(
    like: Floats, values: Floats, own: Floats, usual: float, chance: float
) -> tuple[Floats, Floats, Floats]:
    """Low end, middle and high end of ``values`` among those nearest to ``own`` in ``like``, per look-up."""
    n = len(values)
    if n < FEWEST:
        nothing = np.full(len(own), np.nan)
        return nothing, np.full(len(own), usual), nothing
    if n < ENOUGH:
        half = float(stats.t.ppf(0.5 + chance / 2, n - 1)) * float(values.std(ddof=1)) * (1 + 1 / n) ** 0.5
        middle = np.full(len(own), float(values.mean()))
        return middle - half, middle, middle + half
    order = np.argsort(like, kind="stable")
    ranked, sorted_like = values[order], like[order]
    width = min(NEIGHBOURS, n)
    tails = [(1 - chance) / 2, 0.5, (1 + chance) / 2]
    parts = []
    for start in range(0, len(own), CHUNK):
        place = np.searchsorted(sorted_like, own[start : start + CHUNK])
        first = np.clip(place - width // 2, 0, n - width)
        near = ranked[first[:, None] + np.arange(width)]
        # The "weibull" rule puts a new value of the same kind between the ends with exactly that chance.
        parts.append(np.quantile(near, tails, axis=1, method="weibull"))
    low, middle, high = np.concatenate(parts, axis=1) if parts else np.empty((3, 0))
    return low, middle, high
