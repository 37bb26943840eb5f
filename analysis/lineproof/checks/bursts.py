"""Bursts: windows of time in which a line missed far more runners than in the rest of its day.

Every window of 1, 2, 4 … bins is asked how often so many of the day's misses would fall into it if they
had been dealt out among the crossings by luck (hypergeometric tail, Fisher's exact test, so that no rate
has to be assumed); the chance allowed is shared among all windows of all lines (Bonferroni).  The most telling window is taken
out and the search goes on, so that a second burst is judged against a clean rest.  Misses of a sound
line gather a little by themselves (crowds, friends with worn tags), so a window must also hold several
times the usual share.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

Ints = npt.NDArray[np.int64]

TIMES_USUAL = 4.0  # a window with less than so many times the usual share is no burst
MOST_BURSTS = 20  # of one line; a line worse than that is bad all day


@dataclass(frozen=True, slots=True)
class Burst:
    """``begin_us`` and ``end_us``: first and last miss; ``usual``: share missed in the rest of the day."""

    begin_us: int
    end_us: int
    crossed: int
    missed: int
    usual: float


def count_windows(times_us: Ints, bin_us: int) -> int:
    """How many windows are looked at for crossings at these times."""
    if len(times_us) == 0:
        return 0
    bins = int((times_us.max() - times_us.min()) // bin_us) + 1
    return sum(bins - length + 1 for length in _lengths(bins))


def estimate_bursts(
    times_us: Ints, missed: npt.NDArray[np.bool_], bin_us: int, chance: float, least: int
) -> list[Burst]:
    """Bursts of one line, in time order.

    ``times_us`` and ``missed``: one each per runner known to have crossed.  ``chance`` is the tail
    probability that a window must fall below, ``least`` the misses that it must hold.
    """
    if len(times_us) == 0 or missed.sum() < least:
        return []
    order = np.argsort(times_us, kind="stable")
    times_us, missed = times_us[order], missed[order]
    place = (times_us - times_us[0]) // bin_us
    bins = int(place.max()) + 1
    crossed = np.bincount(place, minlength=bins)
    lost = np.bincount(place[missed], minlength=bins)
    taken = np.zeros(bins, dtype=bool)
    windows: list[tuple[int, int]] = []
    while len(windows) < MOST_BURSTS:
        best = _most_telling(np.where(taken, 0, crossed), np.where(taken, 0, lost), chance, least)
        if best is None:
            break
        windows.append(_grown(best, np.where(taken, 0, crossed), lost))
        taken[windows[-1][0] : windows[-1][1]] = True
    return _measured(times_us, missed, [_runners(missed, place, window) for window in _joined(windows)])


def _lengths(bins: int) -> list[int]:
    return [2**k for k in range(bins.bit_length()) if 2**k <= bins]


def _most_telling(crossed: Ints, lost: Ints, chance: float, least: int) -> tuple[int, int] | None:
    """The window (begin, end) of bins least likely by chance, or None where none is unlikely enough."""
    all_crossed, all_lost = crossed.sum(), lost.sum()
    sums = np.concatenate([[0], np.cumsum(crossed)]), np.concatenate([[0], np.cumsum(lost)])
    best: tuple[int, int] | None = None
    lowest = chance
    for length in _lengths(len(crossed)):
        n, m = (total[length:] - total[:-length] for total in sums)
        worth = (m >= least) & (m * (all_crossed - n) > TIMES_USUAL * (all_lost - m) * n)
        if not worth.any():
            continue
        at = np.flatnonzero(worth)
        tail = stats.hypergeom.sf(m[at] - 1, all_crossed, all_lost, n[at])
        first = int(np.argmin(tail))
        if tail[first] < lowest:
            lowest, best = float(tail[first]), (int(at[first]), int(at[first]) + length)
    return best


def _grown(window: tuple[int, int], crossed: Ints, lost: Ints) -> tuple[int, int]:
    """The window with the bins beside it that missed at least half as large a share."""
    begin, end = window
    share = lost[begin:end].sum() / crossed[begin:end].sum()

    def belongs(bin_: int) -> bool:
        return bool(crossed[bin_] and lost[bin_] >= share / 2 * crossed[bin_])

    while begin > 0 and belongs(begin - 1):
        begin -= 1
    while end < len(crossed) and belongs(end):
        end += 1
    return begin, end


def _joined(windows: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Windows that touch, or leave one bin between them, are one."""
    joined: list[tuple[int, int]] = []
    for begin, end in sorted(windows):
        if joined and begin - joined[-1][1] <= 1:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return joined


def _runners(missed: npt.NDArray[np.bool_], place: Ints, window: tuple[int, int]) -> slice:
    """First to last miss in the window, and the misses in a row with them on either side."""
    lost = np.flatnonzero(missed & (place >= window[0]) & (place < window[1]))
    begin, end = int(lost[0]), int(lost[-1]) + 1
    while begin > 0 and missed[begin - 1]:
        begin -= 1
    while end < len(missed) and missed[end]:
        end += 1
    return slice(begin, end)


def _measured(times_us: Ints, missed: npt.NDArray[np.bool_], parts: list[slice]) -> list[Burst]:
    rest = np.ones(len(missed), dtype=bool)
    for part in parts:
        rest[part] = False
    usual = float(missed[rest].mean()) if rest.any() else 0.0
    return [
        Burst(
            int(times_us[part][0]),
            int(times_us[part][-1]),
            len(missed[part]),
            int(missed[part].sum()),
            usual,
        )
        for part in parts
    ]
