"""A rate for each mat of a line, from where the other line of the point saw its runners cross.

``count_antennas`` lays the crossings of a point out by strongest antenna at either line, ``estimate_point`` fits
them (``mat_model`` says how), ``estimate_mats`` does it for a whole event and says in one word per mat what
the interval shows.  A mat is weak or dead by comparison with what its line misses on all mats alike.

Assumed: antennas count from the same side of the road at both lines, a mat's width apart, and the first
mats of the two lines lie less than a mat's width apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import special

from lineproof.detection.mat_model import MatFit, fit_mats
from lineproof.detection.mat_places import Floats
from lineproof.event import Event, Line
from lineproof.tables import MATS

__all__ = ["Mat", "PointMats", "count_antennas", "estimate_mats", "estimate_point"]

FEWEST_MATS = 3
WIDEST = 0.3  # an interval wider than this does not tell a sound mat from a weak one
WEAK = 0.9  # the interval of a bad mat lies below this share of what the line's mats usually answer for
DEAD = 0.1
BEYOND = 0.005  # least share of the runners beyond a side, at the lower end of its interval
FEWEST_OVER = 50  # runners over a mat, below which the prior says more of it than they do
FEWEST_BOTH = 30
GO_TOGETHER = 0.3  # least correlation of the antenna numbers at the two lines

METHOD = (
    "joint fit of traffic across the road, drift between the two lines and a rate for each mat, on runners whom either "
    "line read; a neighbouring mat may answer for a weak one; what all mats of a line lose alike is the line's"
)


@dataclass(frozen=True, slots=True)
class Mat:
    """``estimate`` is the share of the runners over the mat for whom it answers; ``share`` and ``high_share``
    are the estimate and upper end of the same apart from what the whole line misses."""

    antenna: int
    tried: float
    read: int
    missed: float
    estimate: float
    low: float
    high: float
    share: float
    high_share: float


@dataclass(frozen=True, slots=True)
class Side:
    """The road beyond a side of the lines: share of the runners there, with its interval."""

    share: float
    low: float
    high: float

    @property
    def is_bare(self) -> bool:
        return self.low > BEYOND


@dataclass(frozen=True, slots=True)
class PointMats:
    """Mats of the main and the backup line from the near side on, or ``reason`` why not."""

    main: tuple[Mat, ...]
    backup: tuple[Mat, ...]
    near: Side | None
    far: Side | None
    runners: int
    reason: str | None


@dataclass(frozen=True, slots=True)
class _Line:
    """``first``: place of its first mat among the parameters; the rest by mat, ``read`` with the missed in front."""

    first: int
    over: Floats
    lost: Floats
    read: Floats


def count_antennas(crossings: pl.DataFrame, point: str, mats: tuple[int, int]) -> Floats:
    """Runners by strongest antenna at the backup line (rows) and the main line (columns), 0 for missed.

    ``mats`` are those of the main and of the backup line; a read without an antenna number, or with one beyond them,
    counts nowhere.
    """
    here = crossings.filter(
        pl.col("point") == point, pl.col("seen_main").is_not_null(), pl.col("seen_backup").is_not_null()
    )
    place = {
        role: pl.when(f"seen_{role}").then(f"{role}_antenna").otherwise(0).alias(role)
        for role in ("main", "backup")
    }
    cells = here.select(*place.values()).filter(
        pl.col("main").is_between(0, mats[0]), pl.col("backup").is_between(0, mats[1])
    )
    counts = np.zeros((mats[1] + 1, mats[0] + 1))
    for main, backup, number in cells.group_by("main", "backup").len().sort("main", "backup").iter_rows():
        counts[backup, main] = number
    return counts


def estimate_point(counts: Floats, confidence: float = 0.95) -> PointMats:
    """Rates of all mats of a point from ``count_antennas``; refused where the counts cannot tell.

    Raises ``ValueError`` where ``counts`` are no counts.
    """
    if counts.ndim != 2 or np.any(counts < 0) or not np.isfinite(counts).all():
        raise ValueError("counts must be a table of whole numbers, one row per backup antenna and one more")
    runners = int(counts.sum() - counts[0, 0])
    reason = _refusal(counts)
    if reason is not None:
        return PointMats((), (), None, None, runners, reason)
    fit = fit_mats(counts, bare=True)
    if not fit.settled:
        return PointMats((), (), None, None, runners, "the fit did not settle")
    z = float(special.ndtri(0.5 + confidence / 2))
    main = _mats(fit, _Line(0, fit.over_main, fit.lost_main, counts.sum(axis=0)), z)
    backup = _mats(fit, _Line(len(fit.main), fit.over_backup, fit.lost_backup, counts.sum(axis=1)), z)
    near, far = (_side(fit, place, z) for place in (0, -1))
    return PointMats(main, backup, near, far, runners, None)


def _refusal(counts: Floats) -> str | None:
    if min(counts.shape) - 1 < FEWEST_MATS:
        return f"a line of fewer than {FEWEST_MATS} mats has no lateral places to tell apart"
    both = counts[1:, 1:]
    if both.sum() < FEWEST_BOTH:
        return f"only {int(both.sum())} runners were read by an antenna of either line: too few to place the others"
    together = _correlation(both)
    if together < -GO_TOGETHER:
        return (
            "the antenna numbers of the two lines run against each other: one line counts from the other side"
        )
    if together < GO_TOGETHER:
        return "the antenna numbers of the two lines do not go together, so they do not tell where a runner crossed"
    return None


def _correlation(both: Floats) -> float:
    rows, columns = np.indices(both.shape)
    total = both.sum()
    r, c = (values - (values * both).sum() / total for values in (rows, columns))
    spread = float((r**2 * both).sum()) * float((c**2 * both).sum())
    return float((r * c * both).sum()) / spread**0.5 if spread > 0 else 0.0


def _mats(fit: MatFit, line: _Line, z: float) -> tuple[Mat, ...]:
    """Rates of a line's mats: its usual share read, times each mat's answer against that of the other mats.

    How far mats read beyond their edges, how far runners drift and what all mats lose alike cannot be told apart
    well; the comparison with the other mats of the point is free of it.
    """
    usual = 1 - float(np.median(line.lost / line.over))
    mats = []
    for j in range(len(line.over)):
        log_share, error = _against_others(fit, line.first + j)
        share, low, high = np.minimum(1.0, np.exp(log_share + np.array([0.0, -z, z]) * error)).tolist()
        mats.append(
            Mat(
                antenna=j + 1,
                tried=float(line.over[j]),
                read=int(line.read[j + 1]),
                missed=float(line.lost[j]),
                estimate=usual * share,
                low=usual * low,
                high=usual * high,
                share=share,
                high_share=high,
            )
        )
    return tuple(mats)


def _against_others(fit: MatFit, place: int) -> tuple[float, float]:
    """Logarithm of a mat's answer over the middle one of all other mats of the point, and its standard error."""
    rates = np.concatenate([fit.main, fit.backup])
    order = np.argsort(rates, kind="stable")
    others = order[order != place]
    middle = others[(len(others) - 1) // 2 : len(others) // 2 + 1]
    slope = np.zeros(len(fit.theta))
    slope[place] = 1 - rates[place]
    slope[middle] -= (1 - rates[middle]) / len(middle)
    log_share = float(np.log(rates[place]) - np.log(rates[middle]).mean())
    return log_share, float(np.sqrt(max(float(slope @ fit.covariance @ slope), 0.0)))


def _side(fit: MatFit, place: int, z: float) -> Side:
    """Share beyond a side; its doubt is that of the traffic there against the traffic at the mat beside it."""
    knots = len(fit.theta) - (max(len(fit.main), len(fit.backup)) + 2)  # where log traffic begins
    bare, beside = (knots, knots + 1) if place == 0 else (len(fit.theta) - 1, len(fit.theta) - 2)
    c = fit.covariance
    doubt = z * float(np.sqrt(max(c[bare, bare] + c[beside, beside] - 2 * c[bare, beside], 0.0)))
    share = fit.beyond[place]
    return Side(share, share * float(np.exp(-doubt)), min(1.0, share * float(np.exp(doubt))))


def estimate_mats(crossings: pl.DataFrame, event: Event) -> pl.DataFrame:
    """MATS of an event from CROSSINGS, by point in the event's order, main line first, near side first."""
    rows: list[dict[str, object]] = []
    for point in event.points:
        lines = event.lines_at(point.id)
        if len(lines) < 2:
            rows += [
                _without(event, line, "the point has no second line to say where a missed runner was")
                for line in lines
            ]
            continue
        here = crossings.filter(pl.col("point") == point.id)
        antennas = [here[f"{line.role.value}_antenna"].max() for line in lines]
        if None in antennas:
            rows += [
                _without(event, line, "the exports of this point give no antenna numbers") for line in lines
            ]
            continue
        mat_m = event.setting("mat_width_m")
        sizes = (_mats_of(lines[0], antennas[0], mat_m), _mats_of(lines[1], antennas[1], mat_m))
        found = estimate_point(count_antennas(here, point.id, sizes), event.setting("confidence"))
        for line, mats in zip(lines, (found.main, found.backup), strict=True):
            rows += _rows(event, line, mats, found)
    return MATS.check(MATS.shape_rows(rows))


def _mats_of(line: Line, highest: object, mat_m: float) -> int:
    """By the stated width of the line, so that a dead mat at its far end is counted; never fewer than were read."""
    seen = int(highest) if isinstance(highest, int) else 0
    return max(seen, 0 if line.width_m is None else round(line.width_m / mat_m))


def _without(event: Event, line: Line, reason: str) -> dict[str, object]:
    return {
        "event": event.id,
        "point": line.point,
        "line": line.id,
        "place": "line",
        "verdict": "cannot tell",
        "method": "not estimated",
        "reason": reason,
    }


def _rows(event: Event, line: Line, mats: tuple[Mat, ...], found: PointMats) -> list[dict[str, object]]:
    if found.reason is not None:
        return [_without(event, line, found.reason)]
    base = {"event": event.id, "point": line.point, "line": line.id, "method": METHOD}
    rows: list[dict[str, object]] = []
    if found.near is not None and found.near.is_bare:
        rows.append({**base, **_bare("near", found.near, found.runners)})
    rows += [{**base, **_mat_row(mat)} for mat in mats]
    if found.far is not None and found.far.is_bare:
        rows.append({**base, **_bare("far", found.far, found.runners)})
    return rows


def _bare(side: str, beyond: Side, runners: int) -> dict[str, object]:
    return {
        "place": f"{side} side",
        "tried": round(beyond.share * runners),
        "verdict": "bare road",
        "reason": f"misses at the {side} side are consistent with {beyond.share:.1%} of the runners ({beyond.low:.1%} to "
        f"{beyond.high:.1%}) passing beyond the last mat, or with weak last mats of both lines",
    }


def verdict_of(mat: Mat) -> str:
    """``sound`` means not shown to be bad by enough runners; ``weak`` and ``dead`` are shown by the interval."""
    if mat.high_share < WEAK:
        return "dead" if mat.share < DEAD else "weak"
    few = mat.tried < FEWEST_OVER or mat.high - mat.low > WIDEST
    return "cannot tell" if few else "sound"


def _mat_row(mat: Mat) -> dict[str, object]:
    verdict = verdict_of(mat)
    told = verdict != "cannot tell"
    return {
        "place": "mat",
        "antenna": mat.antenna,
        "tried": round(mat.tried),
        "read": mat.read,
        "missed": round(mat.missed),
        "estimate": mat.estimate if told else None,
        "conf_low": mat.low if told else None,
        "conf_high": mat.high if told else None,
        "verdict": verdict,
        "reason": None
        if told
        else f"too few runners over this mat (about {mat.tried:.0f}): the interval would reach from {mat.low:.0%} "
        f"to {mat.high:.0%}",
    }
