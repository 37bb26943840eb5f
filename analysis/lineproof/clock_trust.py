"""Whose clock is wrong?  Clocks that contradict each other, and the fewest to set aside.

Two clocks contradict each other where most runners would have been faster between them than anybody
can run.  One such pair does not say which of the two is wrong; but a wrong clock contradicts many
others, and a right one only the wrong.  So the clock with the most contradictions is set aside until
none is left.  A clock that is set aside still shows *that* runners came by, not *when*.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineproof.clocks import chosen_time
from lineproof.course_visits import visits_frame
from lineproof.event import Event
from lineproof.records import shortest_segment_us
from lineproof.vocabulary import PointKind

FEWEST_PAIRS = 10  # runners read at both ends of a stretch, to judge the stretch and not the runners
GUN = "gun"


def clocks_to_trust(
    contradiction: NDArray[np.float64], oddness: NDArray[np.float64] | None = None
) -> NDArray[np.bool_]:
    """By clock, whether to trust it.

    ``contradiction`` is symmetric, (clocks, clocks): the share of runners for whom a pair contradicts,
    0 where it is too small to speak of.  Of clocks with equally many contradictions the one with the
    greater ``oddness`` (0 and above, by clock) is set aside, then the one with the greater shares, then
    the later.  The first clock is the gun's and is taken to be right.
    """
    left = contradiction.copy()
    odd = np.zeros(len(left)) if oddness is None else oddness
    trusted = np.ones(len(left), dtype=bool)
    while left.any():
        # Neither tie-break can outweigh a partner: together they stay under one.
        tie_break = 0.8 * odd / (1 + odd) + 0.1 * left.mean(axis=1)
        partners = (left > 0).sum(axis=1) + np.where((left > 0).any(axis=1), tie_break, 0.0)
        partners[0] = 0.0
        worst = len(left) - 1 - int(np.argmax(partners[::-1]))
        trusted[worst] = False
        left[worst, :] = left[:, worst] = 0.0
    return trusted


def lines_set_aside(held: pl.DataFrame, lags: pl.DataFrame, event: Event) -> frozenset[str]:
    """Lines whose clock contradicts the gun or the other lines' for most runners.

    ``held`` are passings with their runner, course and gun (see holders.py); ``lags`` as of clocks.py.
    """
    return frozenset(line for course in event.courses for line in _of_course(held, course.id, lags, event))


def _of_course(held: pl.DataFrame, course: str, lags: pl.DataFrame, event: Event) -> list[str]:
    times = first_times(held.filter(pl.col("course") == course), event)
    if times.is_empty():
        return []
    places = visits_frame(event).filter((pl.col("course") == course) & (pl.col("visit") == 1))
    at_m = dict(places.select("point", "at_m").iter_rows())
    lines = sorted(
        (line for line in event.lines if line.id in times.columns and line.point in at_m),
        key=lambda line: at_m[line.point],
    )
    clocks = [GUN, *(line.id for line in lines)]
    metres = np.array([0.0, *(at_m[line.point] for line in lines)])
    matrix = times.select(pl.col(clocks).dt.epoch("us").cast(pl.Float64)).to_numpy()
    contradiction = _contradictions(matrix, metres, event)
    far_apart = lags.filter(pl.col("lag_us").abs() > event.setting_us("line_offset_s"))
    for main, backup in far_apart.select("main", "backup").iter_rows():
        if main in clocks and backup in clocks:
            a, b = clocks.index(main), clocks.index(backup)
            contradiction[a, b] = contradiction[b, a] = 1.0
    trusted = clocks_to_trust(contradiction, _oddness(matrix, metres))
    return [line for line, trust in zip(clocks, trusted, strict=True) if not trust]


def first_times(held: pl.DataFrame, event: Event) -> pl.DataFrame:
    """One row per runner: ``gun`` and, by line, the time of the first passing that can be the crossing."""
    starts = [point.id for point in event.points if point.kind is PointKind.START]
    early = pl.duration(microseconds=event.setting_us("early_start_s"))
    since_gun = (pl.col("own") - pl.col("gun")).dt.total_microseconds()
    # At a start the passing nearest the gun, elsewhere the first after it: not the warm-up.
    turn = pl.when(pl.col("point").is_in(starts)).then(since_gun.abs()).otherwise(since_gun)
    before = (pl.col("own") < pl.col("gun") - early) & ~pl.col("point").is_in(starts)
    timed = (
        held.filter(pl.col("gun").is_not_null() & pl.col("line").is_not_null())
        .with_columns(chosen_time(event).alias("own"))
        .with_columns(before.alias("before"), turn.alias("turn"))
        .sort("runner", "line", "before", "turn", "passing")
        .group_by("runner", "gun", "line", maintain_order=True)
        .agg(pl.col("own").first())
    )
    if timed.is_empty():
        return timed
    return timed.pivot(on="line", index=["runner", "gun"], values="own").sort("runner")


def _contradictions(
    times: NDArray[np.float64], at_m: NDArray[np.float64], event: Event
) -> NDArray[np.float64]:
    """Share of runners too fast from clock to clock (times in us, NaN where not read), 0 below the limit."""
    clocks = len(at_m)
    shortest = shortest_segment_us(np.maximum(at_m[None, :] - at_m[:, None], 0.0), None, None, event)
    shortest[shortest == 0] = -event.setting_us("line_offset_s")
    found = np.zeros((clocks, clocks))
    for a in range(clocks - 1):
        for b in range(a + 1, clocks):
            since = times[:, b] - times[:, a]
            known = ~np.isnan(since)
            if known.sum() >= FEWEST_PAIRS:
                share = float((since[known] < shortest[a, b]).mean())
                found[a, b] = found[b, a] = share if share > event.setting("whole_line_share") else 0.0
    return found


def _oddness(times: NDArray[np.float64], at_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """By clock: how far, as a logarithm, the pace from the gun lies from the runner's pace by the others."""
    odd = np.zeros(len(at_m))
    away = np.flatnonzero(at_m > 0)
    if len(away) < 2:
        return odd
    since_gun = times[:, away] - times[:, :1]
    pace = np.log(np.where(since_gun > 0, since_gun, np.nan) / at_m[away])
    known = (~np.isnan(pace)).sum(axis=1) > 1
    if known.sum() < FEWEST_PAIRS:
        return odd
    usual = np.nanmedian(pace[known], axis=1, keepdims=True)
    off = np.abs(pace[known] - usual)
    some = (~np.isnan(off)).any(axis=0)
    odd[away[some]] = np.nanmedian(off[:, some], axis=0)
    return odd
