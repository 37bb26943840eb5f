"""One clock against the points around it, by what it adds to the stretch before and takes from the stretch after.

Two measures.  *By the clock alone*: of the time from the point before to the point after, a runner spends some
share before this point, the same for slow and fast; a clock that is d seconds off adds d whatever the pace.  So the share, drawn
against one over the whole time, has d as its slope, and hills, tiredness and a wrong distance, which grow with
the pace, are left in the intercept.  *By the profile*: the paces of the stretches follow the course smoothly; a point
whose stretch before is slow and whose stretch after is as much too fast has a wrong clock or a wrong distance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from lineproof.clock_faults.far import FAR_S
from lineproof.clock_faults.robust import fit_robust
from lineproof.clock_faults.times import Bools, Floats, LineTimes

FEWEST_RUNNERS = 30
FEWEST_STRETCHES = 6
FADING = (
    0.003  # of the whole time: slow runners tire more; taken where the event shows too few points to learn it
)
FEWEST_TO_LEARN = 3
PROFILE_CHANCE = 0.01  # of a sound event that any point stands out of its profile


@dataclass(frozen=True, slots=True)
class ByClock:
    """``offset`` with ``error`` in s; ``whole`` is the median time that it was measured over; ``runners`` it rests on."""

    offset: float
    error: float
    whole: float
    runners: int


@dataclass(frozen=True, slots=True)
class ByProfile:
    """``metres`` by which the stated distance is too long, what it adds in ``seconds`` of the middle runner, with error."""

    metres: float
    seconds: float
    error: float
    stands_out: bool


def reference_columns(times: LineTimes, bad: set[str]) -> list[int]:
    """One sound column for each place of the course, main first, in course order."""
    taken: dict[float, int] = {}
    for column, line in enumerate(times.lines):
        if line.id not in bad and np.sum(~np.isnan(times.times[:, column])) >= FEWEST_RUNNERS:
            taken.setdefault(float(times.at_m[column]), column)
    return [taken[place] for place in sorted(taken)]


def estimate_by_clock(times: LineTimes, column: int, reference: list[int]) -> ByClock | None:
    """Offset of the clock of ``column`` against the sound columns around it; None where they do not tell."""
    here = times.at_m[column]
    before = [c for c in reference if times.at_m[c] < here]
    after = [c for c in reference if times.at_m[c] > here]
    if before and after:
        ends, stretch, sign, apart = (before[-1], after[0]), (before[-1], column), 1.0, False
    elif len(before) >= 2:
        ends, stretch, sign, apart = (before[0], before[-1]), (before[-1], column), 1.0, True
    elif len(after) >= 2:
        ends, stretch, sign, apart = (after[0], after[-1]), (column, after[0]), -1.0, True
    else:
        return None
    whole, part = (times.times[:, last] - times.times[:, first] for first, last in (ends, stretch))
    known = ~np.isnan(whole) & ~np.isnan(part)
    known[known] &= whole[known] > 60
    if known.sum() < FEWEST_RUNNERS:
        return None
    length, of = (times.at_m[last] - times.at_m[first] for first, last in (stretch, ends))
    far = _far_off(part[known], whole[known] * length / of)
    found = _slope(part[known] - far, whole[known], sign, apart)
    return None if found is None else replace(found, offset=found.offset + sign * far)


def _far_off(part: Floats, by_distance: Floats) -> float:
    """What a clock that is hours off adds: taken off first, as beside it the runners' form would look like nothing."""
    off = float(np.median(part) - np.median(by_distance))
    return off if abs(off) > FAR_S else 0.0


def _slope(part: Floats, whole: Floats, sign: float, apart: bool) -> ByClock | None:
    """``apart``: the part is not within the whole.  Then a runner's form on the whole bends the line, and the most that
    it can is a doubt: the part's time, by how much of the spread of the whole times may be form and not pace."""
    share, inverse = part / whole, 1 / whole
    sane = _not_wild(share, inverse)
    share, inverse, whole = share[sane], inverse[sane], whole[sane]
    middle = float(np.median(whole))
    design = np.column_stack([np.ones(len(share)), (inverse - inverse.mean()) * middle])
    if len(share) < FEWEST_RUNNERS or design[:, 1].std() < 1e-4:
        return None
    fit = fit_robust(design, share)
    form = fit.scale / max(abs(float(np.median(share))), 1e-9)
    bent = float(np.median(part[sane])) * form**2 / float(np.var(np.log(whole))) if apart else 0.0
    error = float(np.hypot(fit.error(1) * middle, bent))
    return ByClock(sign * float(fit.coefficients[1]) * middle, error, middle, len(share))


def _not_wild(share: Floats, inverse: Floats) -> Bools:
    """Runners on the common line of share against 1 / whole time: a warm-up or a later lap is far off it.

    The line is that of the medians of tenths of the field, ends included, so that no wild value draws it.
    """
    order = np.argsort(inverse, kind="stable")
    tenths = [part for part in np.array_split(order, 10) if len(part)]
    x = np.array([np.median(inverse[part]) for part in tenths])
    y = np.array([np.median(share[part]) for part in tenths])
    slope = _middle_slope(x, y)
    off = share - slope * inverse
    off = np.abs(off - np.median(off))
    return np.asarray(off <= 8 * max(float(np.median(off)), 1e-6), dtype=np.bool_)


def _middle_slope(x: Floats, y: Floats) -> float:
    a, b = np.triu_indices(len(x), 1)
    apart = x[b] != x[a]
    return float(np.median((y[b] - y[a])[apart] / (x[b] - x[a])[apart])) if apart.any() else 0.0


def doubt_of_fading(found: list[ByClock | None], place: int) -> float:
    """What slow runners' tiring may pass for, as a share of the whole time: from the scatter of the other points' offsets.

    ``found`` are the sound lines in course order; those at ``place`` and beside it feel that line's own clock.
    """
    away = [each for i, each in enumerate(found) if abs(i - place) > 1 and each is not None]
    if len(away) < FEWEST_TO_LEARN:
        return FADING
    share = np.array([each.offset / each.whole for each in away])
    own = np.array([each.error / each.whole for each in away])
    # The middle one of the squares, so that one wrong clock does not make all look doubtful.
    excess = float(np.median(share**2) / stats.chi2.median(1) - np.median(own**2))
    return float(np.sqrt(max(excess, 0.0)))


def estimate_by_profile(times: LineTimes, column: int, reference: list[int]) -> ByProfile | None:
    """How far the point of ``column`` stands out of the paces along the course; None with too few stretches."""
    places = sorted({float(times.at_m[c]): c for c in [*reference, column]}.items())
    columns = [c for _, c in places]
    metres = np.array([m for m, _ in places])
    if len(columns) - 1 < FEWEST_STRETCHES:
        return None
    t = times.times[:, columns]
    complete = ~np.isnan(t).any(axis=1)
    if complete.sum() < FEWEST_RUNNERS:
        return None
    stretch, length = np.diff(t[complete], axis=1), np.diff(metres)
    pace = (t[complete, -1] - t[complete, 0]) / metres[-1]
    if not (np.median(stretch, axis=0) > 0).all() or not np.median(pace) > 0:
        return None
    slow = np.median(stretch / length / pace[:, None], axis=0)
    return _profile(slow, length, columns.index(column), float(np.median(pace)))


def _profile(slow: Floats, length: Floats, place: int, pace: float) -> ByProfile:
    """``slow``: pace of each stretch against the whole; a point further on by e adds e / length before, and takes it after."""
    shift = np.zeros(len(length))
    if place > 0:
        shift[place - 1] = 1 / length[place - 1]
    if place < len(length):
        shift[place] = -1 / length[place]
    middle = np.cumsum(length) - length / 2
    design = np.column_stack([np.ones(len(length)), middle / middle[-1], shift])
    solution, *_ = np.linalg.lstsq(design, slow, rcond=None)
    residual = slow - design @ solution
    freedom = len(slow) - design.shape[1]
    spread = float(np.sqrt((residual**2).sum() / freedom))
    error = spread * float(np.sqrt(np.linalg.inv(design.T @ design)[2, 2]))
    t = float(solution[2]) / max(error, 1e-12)
    chance = 2 * float(stats.t.sf(abs(t), freedom)) * (len(length) + 1)
    metres = float(solution[2])
    return ByProfile(-metres, metres * pace, error * pace, chance < PROFILE_CHANCE)
