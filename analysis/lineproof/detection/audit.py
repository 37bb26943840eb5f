"""A random audit of camera minutes: what share of the runners who crossed was read by no line.

Minutes are drawn by lot within strata of flow, more where more runners come.  Each drawn minute is watched
whole, so that the sample is one of clusters: runners of one minute share a crowd, a power cut, a fallen
mat.  The share missed is a ratio of two totals, its variance that of a stratified cluster sample with
the minutes already watched taken off (W. G. Cochran, Sampling Techniques, 3rd ed. 1977, chapters 5, 6 and 9, from
memory).  No model, no second line and no later point is needed: the one assumption is that
the camera shows every runner.

As misses are few, the interval is the exact binomial one for as many independent crossings as the sample is
worth (E. L. Korn and B. I. Graubard, Survey Methodology 24, 1998, 193-201, from memory).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from math import sqrt

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from lineproof.detection.intervals import clopper_pearson, one_sided_lower, one_sided_upper
from lineproof.errors import InputError
from lineproof.tables import AUDIT

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MINUTE = dt.timedelta(minutes=1)
LEAST_OF_STRATUM = 2  # one minute alone shows no spread
AROUND = 8  # minutes; a power cut is seldom longer than twice that (common practice)


@dataclass(frozen=True, slots=True)
class Ratio:
    """Ratio of two totals over strata of clusters; totals are of all clusters, watched or not."""

    ratio: float
    variance: float
    total_y: float
    variance_y: float
    total_x: float
    degrees: int


@dataclass(frozen=True, slots=True)
class AuditEstimate:
    """Share of crossings missed by all lines.  ``effective``: independent crossings that the sample is worth.

    ``needed``: minutes, those watched included, after which the target would be settled if the rest were like them;
    ``word`` is ``shows``, ``falls short`` or ``cannot tell``.
    """

    minutes: int
    window_minutes: int
    crossed: int
    missed: int
    share: float | None
    std_error: float | None
    low: float | None
    high: float | None
    deff: float | None
    effective: float | None
    needed: int | None
    word: str
    method: str
    reason: str | None


METHOD = (
    "ratio estimate from camera minutes drawn at random within strata of flow; minutes as clusters, with finite population "
    "correction; exact binomial interval for the effective number of crossings"
)


def draw_audit(
    times: pl.Series,
    point: str,
    begin: dt.datetime,
    end: dt.datetime,
    minutes: int,
    seed: int,
    strata: int = 3,
) -> pl.DataFrame:
    """AUDIT with ``minutes`` whole minutes drawn from ``begin`` to ``end``; ``crossed`` and ``missed`` are empty.

    ``times``: instants (UTC) of the crossings read at the point, which set the strata: the largest flow of the minutes
    around.  The same seed draws the same
    minutes, whatever the order of ``times``.  Raises ``InputError`` where two minutes cannot be drawn.
    """
    window = int((end - begin) // MINUTE)
    if minutes < LEAST_OF_STRATUM or window < LEAST_OF_STRATUM:
        raise InputError(
            f"an audit of {minutes} camera minutes out of {window} shows no spread",
            todo="ask for two minutes or more, and a window of two or more to draw them from",
        )
    minutes = min(minutes, window)
    flow = _flow(times, begin, window)
    around = _busiest_around(flow)
    stratum = _strata(around, max(1, min(strata, minutes // LEAST_OF_STRATUM, window // LEAST_OF_STRATUM)))
    sizes = np.bincount(stratum)
    wanted = _allocate(minutes, sizes, np.array([around[stratum == h].mean() for h in range(len(sizes))]))
    rng = np.random.default_rng(seed)
    drawn = np.sort(
        np.concatenate(
            [rng.choice(np.flatnonzero(stratum == h), n, replace=False) for h, n in enumerate(wanted)]
        )
    )
    return AUDIT.check(
        AUDIT.shape_rows(
            [
                {
                    "point": point,
                    "stratum": int(stratum[m]) + 1,
                    "stratum_minutes": int(sizes[stratum[m]]),
                    "begin": begin + int(m) * MINUTE,
                    "end": begin + int(m + 1) * MINUTE,
                    "flow": int(flow[m]),
                    "seed": seed,
                }
                for m in drawn
            ]
        )
    )


def _flow(times: pl.Series, begin: dt.datetime, window: int) -> Ints:
    place = (times.drop_nulls() - begin).dt.total_microseconds().to_numpy() // 60_000_000
    inside = place[(place >= 0) & (place < window)]
    return np.bincount(inside.astype(np.int64), minlength=window).astype(np.int64)


def _busiest_around(flow: Ints) -> Ints:
    """The largest flow within ``AROUND`` minutes of each: minutes of a power cut, which read nobody, stay with the busy ones.

    Left among the quiet minutes, of which few are watched, a cut would be missed by most draws and overstated by the others.
    """
    padded = np.pad(flow, AROUND, mode="edge")
    return np.asarray(
        np.lib.stride_tricks.sliding_window_view(padded, 2 * AROUND + 1).max(axis=1), dtype=np.int64
    )


def _strata(flow: Ints, count: int) -> Ints:
    """Minutes sorted by flow and cut into parts of like sums of root flow, each of two minutes or more.

    Dalenius & Hodges 1959 cut so (from memory); a minute without a read counts too, for a line may have been silent.
    """
    order = np.argsort(flow, kind="stable")
    worth = np.cumsum(np.sqrt(flow[order] + 1.0))
    cuts = [int(np.searchsorted(worth, worth[-1] * k / count)) for k in range(1, count)]
    for k in range(len(cuts)):
        low = LEAST_OF_STRATUM * (k + 1) if k == 0 else cuts[k - 1] + LEAST_OF_STRATUM
        cuts[k] = min(max(cuts[k], low), len(flow) - LEAST_OF_STRATUM * (count - 1 - k))
    stratum = np.empty(len(flow), dtype=np.int64)
    stratum[order] = np.searchsorted(np.array(cuts, dtype=np.int64), np.arange(len(flow)), side="right")
    return stratum


def _allocate(minutes: int, sizes: Ints, flow: Floats) -> Ints:
    """Minutes of each stratum by its size and the root of its flow, as rare misses vary (Neyman 1934)."""
    weight = sizes * np.sqrt(flow + 1.0)
    wanted = np.full(len(sizes), LEAST_OF_STRATUM, dtype=np.int64)
    for _ in range(minutes - int(wanted.sum())):
        lacking = np.where(wanted < sizes, weight / (wanted + 0.5), -np.inf)
        wanted[int(np.argmax(lacking))] += 1
    return wanted


def ratio_of_clusters(y: Floats, x: Floats, stratum: Ints, clusters: Ints) -> Ratio:
    """Combined ratio of totals ``y / x`` from clusters drawn by lot within strata.

    ``y``, ``x``: sums of each cluster; ``stratum`` of each counts from 0; ``clusters``: how many each stratum has in all.
    Variance by linearisation with finite population correction; a stratum watched whole adds none.  NaN variance
    where a stratum of several clusters shows only one.
    """
    drawn = np.bincount(stratum, minlength=len(clusters)).astype(float)
    if np.any((drawn == 0) & (clusters > 0)):
        raise ValueError("every stratum needs a cluster that was watched")
    weight = clusters / np.where(drawn > 0, drawn, 1.0)
    total_y, total_x = (float((weight[stratum] * values).sum()) for values in (y, x))
    ratio = total_y / total_x if total_x > 0 else np.nan
    scale = np.where(clusters > 0, clusters.astype(float) ** 2 * (1 - drawn / np.maximum(clusters, 1)), 0.0)
    spread = float((scale * _mean_variance(y - ratio * x, stratum, drawn)).sum())
    spread_y = float((scale * _mean_variance(y, stratum, drawn)).sum())
    degrees = int(drawn.sum() - (drawn > 0).sum())
    return Ratio(ratio, spread / total_x**2 if total_x > 0 else np.nan, total_y, spread_y, total_x, degrees)


def _mean_variance(values: Floats, stratum: Ints, drawn: Floats) -> Floats:
    """Variance of the mean of each stratum, without the finite population correction."""
    mean = np.bincount(stratum, weights=values, minlength=len(drawn)) / np.maximum(drawn, 1)
    squares = np.bincount(stratum, weights=(values - mean[stratum]) ** 2, minlength=len(drawn))
    lone = np.where(drawn == 1, np.nan, 1.0)
    return np.asarray(lone * squares / np.maximum(drawn - 1, 1) / np.maximum(drawn, 1))


def estimate_audit(audit: pl.DataFrame, target: float = 0.998, confidence: float = 0.95) -> AuditEstimate:
    """The share missed by all lines, from AUDIT with the counts of the watched minutes filled in.

    Minutes not looked at (null counts) are left out as if they had not been drawn.  Raises ``InputError`` where
    more runners are missed than crossed.
    """
    done = audit.filter(pl.col("crossed").is_not_null(), pl.col("missed").is_not_null()).sort("begin")
    x, y = (done[name].cast(pl.Float64).to_numpy() for name in ("crossed", "missed"))
    if np.any(y > x):
        worst = done.filter(pl.col("missed") > pl.col("crossed"))["begin"][0]
        raise InputError(
            f"the audit counts more runners missed than crossed in the minute from {worst:%H:%M} UTC",
            todo="correct the two counts",
        )
    sizes = dict(audit.select("stratum", "stratum_minutes").unique().sort("stratum").iter_rows())
    window = sum(sizes.values())
    counts = (done.height, window, int(x.sum()), int(y.sum()))
    reason = _refusal(done, sizes, counts[2])
    if reason is not None:
        nothing = (None, None, None, None, None, None, None)
        return AuditEstimate(*counts, *nothing, "cannot tell", METHOD, reason)
    names = sorted(sizes)
    stratum = np.array([names.index(s) for s in done["stratum"]], dtype=np.int64)
    clusters = np.array([sizes[name] for name in names], dtype=np.int64)
    found = ratio_of_clusters(y, x, stratum, clusters)
    effective = _effective(found, x, stratum, clusters)
    low, high = _interval(found.ratio, effective, done.height == window, confidence)
    deff = max(1.0, counts[2] / (1 - done.height / window) / effective) if done.height < window else 1.0
    rate = found.ratio
    needed = minutes_to_settle(target, counts[2] / done.height, rate, deff, window, confidence)
    word = _word(rate, effective, target, done.height == window, confidence)
    error = sqrt(found.variance) if found.variance > 0 or done.height == window else None
    note = "no miss, which shows the upper end of the interval and not 0" if counts[3] == 0 else None
    return AuditEstimate(
        *counts, rate, error, low, high, deff, effective, max(needed, done.height), word, METHOD, note
    )


def _refusal(done: pl.DataFrame, sizes: dict[int, int], crossed: int) -> str | None:
    watched = dict(done.group_by("stratum").len().sort("stratum").iter_rows())
    thin = [s for s, size in sizes.items() if watched.get(s, 0) < min(LEAST_OF_STRATUM, size)]
    if thin:
        words = ", ".join(str(s) for s in sorted(thin))
        return (
            f"fewer than two minutes watched in stratum {words}: watch the others that were drawn there too"
        )
    return None if crossed else "nobody crossed in the minutes watched"


def _effective(found: Ratio, x: Floats, stratum: Ints, clusters: Ints) -> float:
    """Independent crossings with the same variance, and no more than crossings there were to tell of.

    The crossings not watched are the only doubt, so the watched share counts more.  Without a miss the spread says
    nothing: there the weights alone reduce the number.  Few minutes know their own spread badly (t against t).
    """
    drawn = np.bincount(stratum, minlength=len(clusters)).astype(float)
    weight = (clusters / drawn)[stratum]
    left = 1 - len(x) / float(clusters.sum())
    if left <= 0:
        return np.inf
    most = float((weight * x).sum()) ** 2 / float((weight**2 * x).sum()) / left
    p, v = found.ratio, found.variance
    worth = min(p * (1 - p) / v, most) if v > 0 and 0 < p < 1 else most
    wide = stats.t.ppf(0.975, found.degrees) / stats.t.ppf(0.975, max(x.sum() - 1, 1))
    return float(worth / wide**2) if found.degrees > 0 else float(worth)


def _interval(p: float, effective: float, census: bool, confidence: float) -> tuple[float, float]:
    if census:
        return p, p
    found = clopper_pearson(p * effective, effective, confidence)
    return float(found.low), float(found.high)


def _word(p: float, effective: float, target: float, census: bool, confidence: float) -> str:
    if census:
        return "shows" if 1 - p >= target else "falls short"
    read = (1 - p) * effective
    if float(one_sided_lower(read, effective, confidence)) >= target:
        return "shows"
    return "falls short" if float(one_sided_upper(read, effective, confidence)) < target else "cannot tell"


def minutes_to_settle(
    target: float, per_minute: float, missed: float, deff: float, window: int, confidence: float = 0.95
) -> int:
    """Fewest camera minutes of a ``window`` that would settle whether ``target`` was read.

    ``per_minute``: runners who cross in a minute; ``missed``: share that is missed; ``deff``: how many times less a
    crossing is worth because misses come together.  All minutes of the window settle it for certain.
    """
    if not (0 < target < 1 and 0 <= missed <= 1 and per_minute > 0 and deff >= 1 and window >= 1):
        raise ValueError("target and missed are shares, the others counts; a design effect is at least 1")

    def settled(minutes: int) -> bool:
        if minutes >= window:
            return True
        effective = minutes * per_minute / deff / (1 - minutes / window)
        return _word(missed, effective, target, census=False, confidence=confidence) != "cannot tell"

    low, high = 0, window
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if settled(middle) else (middle, high)
    return high
