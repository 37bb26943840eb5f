"""Patterns across the road: antennas that answer nobody or few, highest ports silent, road beyond the line.

A runner whom a line missed left no antenna number there, but was read by an antenna of the other line three
metres away.  So the other line's antenna number is the place of the try.  Place by place is asked: is this
antenna the strongest for runners who pass over it (else it is silent), and are more of them missed than elsewhere on
the line (else nothing came of it)?
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import special, stats

from lineproof.diagnosis.pattern import Pattern, Search, missed_share, more_missed_chance
from lineproof.diagnosis.tries import Bools, Ints, Tries
from lineproof.event import Line
from lineproof.interruptions.silence import estimate_silences
from lineproof.vocabulary import Cause
from lineproof.wording import say_share

FEWEST_MATS = 3
FEWEST_OVER = 20  # runners over an antenna, to say anything of it
TIMES_MISSED = 1.5  # odds of a miss: places of sound lines differ by so much, edges and the crowded middle
QUARTER = (
    0.25  # a silent antenna is the strongest for less than a quarter of the usual share of those over it …
)
ALMOST_NONE = 0.05  # … and for next to nobody
LONGEST = 0.95  # of the antenna's runners: then it was silent all day
WEAK_ANSWER = 0.9  # of what the line's other mats answer for, as in the comparison of the mats
SCREEN = 0.005  # places that the plain counts make suspicious are asked of the mats' joint fit
MOST_CHANCE = 0.05  # less certain silences are not worth keeping
LEAST_SILENT = 10
BESIDE_SHARE = 2.0  # a neighbour's misses are the antenna's where it missed so many times the usual


@dataclass(frozen=True, slots=True)
class Across:
    """One line by place: ``over`` runners, ``missed``, ``strongest`` (its antenna was) at places 1 … (index 0: 1)."""

    line: Line
    rows: Ints
    mats: int
    over: Ints
    missed: Ints
    strongest: Ints

    @property
    def shares(self) -> np.ndarray:
        """Share of those over it for whom the antenna was strongest; NaN where too few came."""
        return np.where(self.over >= FEWEST_OVER, self.strongest / np.maximum(self.over, 1), np.nan)


def count_mats(line: Line, tries: Tries, laid_mats: pl.DataFrame) -> int:
    """How many antennas the line has: by the record, else its stated width, never fewer than were read."""
    own = tries.own[tries.rows_of[line.id]]
    seen = int(own.max()) if len(own) else 0
    ports = laid_mats.filter(pl.col("line") == line.id)["port"].drop_nulls()
    told = int(ports.max()) if len(ports) else 0  # type: ignore[arg-type]
    width = 0 if line.width_m is None else round(line.width_m)
    return max(seen, told or width)


def to_across(line: Line, tries: Tries, taken: Bools, mats: int) -> Across | None:
    """Counts by place of a line whose sibling gives the place; None where it does not."""
    rows = tries.rows_of[line.id]
    rows = rows[~taken[rows] & (tries.sibling[rows] > 0) & tries.told[rows]]
    if not len(rows) or mats < FEWEST_MATS:
        return None
    places = max(mats, int(tries.sibling[rows].max()))
    place = tries.sibling[rows] - 1
    return Across(
        line,
        rows,
        mats,
        np.bincount(place, minlength=places),
        np.bincount(place[tries.missed[rows]], minlength=places),
        np.bincount(place[tries.own[rows] == tries.sibling[rows]], minlength=places),
    )


def find_silent_antennas(lines: list[Across], tries: Tries) -> Search:
    """Antennas that answered next to nobody: all day, from a moment on, or in a window."""
    family = sum(int(across.over.sum()) for across in lines)
    found = []
    for across in lines:
        for place in range(across.mats):
            if across.over[place] >= FEWEST_OVER:
                found += _silent_all_day(across, place, tries) or _silent_some_time(
                    across, place, tries, family
                )
    return Search(found, sum(across.mats for across in lines))


def _over(across: Across, tries: Tries, place: int) -> Ints:
    return np.asarray(across.rows[tries.sibling[across.rows] == place + 1], dtype=np.int64)


def _silent_all_day(across: Across, place: int, tries: Tries) -> list[Pattern]:
    n, k = int(across.over[place]), int(across.strongest[place])
    others = np.delete(across.shares, place)
    others = others[~np.isnan(others) & (others > ALMOST_NONE)]
    if not len(others) or k > ALMOST_NONE * n:
        return []
    chance = float(stats.binom.cdf(k, n, QUARTER * float(np.median(others))))
    why = f"of {n:,} runners whom the other line read at this place, antenna {place + 1} was the strongest for {k:,}"
    return [_silent(across, place, tries, chance, None, why)]


def _silent_some_time(across: Across, place: int, tries: Tries, family: int) -> list[Pattern]:
    rows = _over(across, tries, place)
    order = rows[np.argsort(tries.at[rows], kind="stable")]
    other = tries.own[order] != place + 1
    silences = estimate_silences(other, family, MOST_CHANCE, LEAST_SILENT)
    found = []
    for silence in silences:
        part = order[silence.first : silence.last + 1]
        # From the last read before it to the first after it: misses of neighbours beside its edges belong to it.
        begin = int(tries.at[part[0]]) if silence.first > 0 else None
        end = int(tries.at[part[-1]]) if silence.last < len(order) - 1 else None
        if silence.tried > LONGEST * len(order):
            begin = end = None
        why = (
            f"of {silence.tried:,} runners whom the other line read at this place then, antenna {place + 1} was the "
            f"strongest for {silence.tried - silence.missed:,}, against {say_share(1 - _rest(other, silence.first, silence.last), 100)} in the rest of the day"
        )
        found.append(_silent(across, place, tries, silence.chance, (begin, end), why))
    return found


def _rest(other: Bools, first: int, last: int) -> float:
    rest = np.concatenate([other[:first], other[last + 1 :]])
    return float(rest.mean()) if len(rest) else 0.0


def _silent(
    across: Across,
    place: int,
    tries: Tries,
    chance: float,
    window: tuple[int | None, int | None] | None,
    why: str,
) -> Pattern:
    begin, end = window or (None, None)
    at = tries.at[across.rows]
    inside = (at >= (begin if begin is not None else -1)) & ((at <= end) if end is not None else True)
    usual = _usual(across, tries, place)
    rows = [across.rows[inside & (tries.sibling[across.rows] == place + 1)]]
    for beside in (place, place + 2):
        near = across.rows[inside & (tries.sibling[across.rows] == beside)]
        if len(near) and missed_share(tries, near) >= BESIDE_SHARE * max(usual, 1e-9):
            rows.append(near)
    return Pattern(
        cause=Cause.SILENT_ANTENNA,
        point=across.line.point,
        line=across.line.id,
        rows=np.concatenate(rows),
        usual=usual,
        chance=min(1.0, chance),
        why=why,
        antennas=(place + 1,),
        begin=begin,
        end=end,
        kind="all day" if begin is None and end is None else "from then on" if end is None else "window",
    )


def _usual(across: Across, tries: Tries, place: int) -> float:
    """Share missed at the places that are neither the antenna's nor beside it; on a narrow line, beside it too."""
    away = np.abs(np.arange(len(across.over)) - place)
    answers = ~(across.shares <= ALMOST_NONE)
    for least in (2, 1):
        there = (away >= least) & answers
        if across.over[there].sum():
            return float(across.missed[there].sum() / across.over[there].sum())
    return missed_share(tries, across.rows)


def join_highest_ports(silent: list[Pattern], across: list[Across], told: dict[str, int]) -> list[Pattern]:
    """Two or more highest antennas silent all day are one pattern: the reader was told too few ports.

    One alone is told apart from a dead mat by the record only: ``told`` is the number of ports by line.
    """
    kept = list(silent)
    for each in across:
        all_day = {p.antenna: p for p in silent if p.line == each.line.id and p.kind == "all day"}
        top = []
        number = each.mats
        while number in all_day and number > 1:
            top.append(all_day[number])
            number -= 1
        if len(top) >= 2 or (top and told.get(each.line.id, each.mats) <= number):
            kept = [p for p in kept if p not in top]
            kept.append(_ports(top, number, each))
    return kept


def _ports(top: list[Pattern], number: int, across: Across) -> Pattern:
    names = f"antennas {number + 1} to {across.mats}" if len(top) > 1 else f"antenna {across.mats}"
    return Pattern(
        cause=Cause.PORTS_NOT_TOLD,
        point=across.line.point,
        line=across.line.id,
        rows=np.unique(np.concatenate([p.rows for p in top])),
        usual=min(p.usual for p in top),
        chance=max(p.chance for p in top),
        why=f"{names} of {across.mats}, the highest numbers, answered next to nobody all day",
        antennas=tuple(range(number + 1, across.mats + 1)),
        kind="all day",
    )


def suspicious_places(across: Across, shunned: set[int]) -> list[tuple[int, float]]:
    """Places with more misses than elsewhere that the plain counts make suspicious, with the chance of the misses."""
    sound = np.array([p for p in range(len(across.over)) if p + 1 not in shunned], dtype=np.int64)
    shares = across.shares[sound]
    usual_answer = float(np.nanmedian(shares)) if np.any(~np.isnan(shares)) else np.nan
    found = []
    for place in sound[across.over[sound] >= FEWEST_OVER].tolist():
        if place >= across.mats:
            continue
        rest = sound[sound != place]
        n, m = int(across.over[place]), int(across.missed[place])
        rest_n, rest_m = int(across.over[rest].sum()), int(across.missed[rest].sum())
        if not rest_n or m * rest_n <= rest_m * n:
            continue
        chance = more_missed_chance(m, n, rest_m, rest_n, TIMES_MISSED)
        answer = float(stats.binom.cdf(across.strongest[place], n, WEAK_ANSWER * usual_answer))
        if min(chance, answer) < SCREEN:
            found.append((place, chance))
    return found


def find_weak_antennas(
    lines: list[Across], silent: list[Pattern], mats: pl.DataFrame, tries: Tries
) -> Search:
    """Antennas whose runners are missed more than the line's others, by the misses or by the mats' joint fit."""
    found = []
    for across in lines:
        shunned = {number for p in silent if p.line == across.line.id for number in p.antennas}
        for place, by_misses in suspicious_places(across, shunned):
            if place + 1 in shunned:
                continue
            by_fit = _chance_by_fit(mats, across.line.id, place + 1)
            usual = _usual(across, tries, place)
            rows = _over(across, tries, place)
            n, m = int(across.over[place]), int(across.missed[place])
            found.append(
                Pattern(
                    cause=Cause.WEAK_ANTENNA,
                    point=across.line.point,
                    line=across.line.id,
                    rows=rows,
                    usual=usual,
                    chance=min(1.0, 2 * min(by_misses, by_fit)),
                    why=f"{m:,} of {n:,} runners at the place of antenna {place + 1} were missed, against {say_share(usual, 100)} on "
                    "the rest of the line",
                    antennas=(place + 1,),
                )
            )
    return Search(found, sum(across.mats for across in lines))


def _chance_by_fit(mats: pl.DataFrame, line: str, antenna: int) -> float:
    """Chance of such an answer of a mat that answers for ``WEAK_ANSWER`` of what the others do, by its interval."""
    row = mats.filter(pl.col("line") == line, pl.col("place") == "mat", pl.col("antenna") == antenna)
    if row.is_empty() or row["estimate"][0] is None or row["verdict"][0] not in ("weak", "dead"):
        return 1.0
    sound = mats.filter(pl.col("line") == line, pl.col("verdict") == "sound")["estimate"].median()
    best = float(sound) if isinstance(sound, float) else 1.0
    estimate, high = float(row["estimate"][0]), float(row["conf_high"][0])
    error = np.log(high / estimate) / special.ndtri(0.975)
    return float(special.ndtr((np.log(estimate / best) - np.log(WEAK_ANSWER)) / max(error, 1e-9)))
