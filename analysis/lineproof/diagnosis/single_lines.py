"""Silent antennas of a line without a second one: numbers that stopped coming, or never came.

Nobody else says where a runner was, but a line's own reads come from all its antennas in turn.  A number that
does not come among so many reads, while the numbers beside it do, is silent: traffic would have to have left
its place to a third of what it was, which is taken as the least that a place between used places gets.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from lineproof.diagnosis.antennas import FEWEST_MATS
from lineproof.diagnosis.pattern import Pattern, Search, missed_share, without
from lineproof.diagnosis.tries import Bools, Ints, Tries
from lineproof.event import Event, Line
from lineproof.vocabulary import Cause

LEAST_OF_USUAL = 1 / 3
TIMES_MISSED = 2.0


def find_silent_numbers(
    passings: pl.DataFrame, tries: Tries, taken: Bools, mats: dict[str, int], event: Event
) -> Search:
    """Patterns of the lines that are alone at their point and whose reads bear antenna numbers."""
    alone = [line for line in event.lines if len(event.lines_at(line.point)) == 1]
    found, looked = [], 0
    for line in alone:
        reads = passings.filter(pl.col("line") == line.id, pl.col("antenna").is_not_null()).sort(
            "strongest", "passing"
        )
        if mats[line.id] < FEWEST_MATS or reads.height < 10 * mats[line.id]:
            continue
        looked += mats[line.id]
        number = reads["antenna"].to_numpy().astype(np.int64)
        at = reads["strongest"].dt.epoch("us").to_numpy().astype(np.int64)
        for antenna in range(1, mats[line.id] + 1):
            found += _of_antenna(line, antenna, number, at, mats[line.id], tries, taken)
    return Search(found, looked)


def _of_antenna(
    line: Line, antenna: int, number: Ints, at: Ints, mats: int, tries: Tries, taken: Bools
) -> list[Pattern]:
    hits = np.flatnonzero(number == antenna)
    beside = [each for each in (antenna - 1, antenna + 1) if 1 <= each <= mats]
    if not len(hits):
        share = min(float((number == each).mean()) for each in beside)
        return _silent(line, antenna, len(number), share, None, tries, taken)
    last = int(hits[-1])
    rest = number[last + 1 :]
    if not any((rest == each).any() for each in beside):
        return []
    share = len(hits) / (last + 1)
    # The moment could have been any of the reads: that many chances of such an end.
    return _silent(line, antenna, len(rest), share, int(at[last]), tries, taken, starts=len(number))


def _silent(
    line: Line,
    antenna: int,
    reads: int,
    share: float,
    begin: int | None,
    tries: Tries,
    taken: Bools,
    starts: int = 1,
) -> list[Pattern]:
    if share <= 0 or reads == 0:
        return []
    chance = min(1.0, starts * float((1 - share * LEAST_OF_USUAL) ** reads))
    all_rows = tries.rows_of[line.id]
    rows = all_rows[~taken[all_rows] & (tries.at[all_rows] >= (begin if begin is not None else -1))]
    usual = _usual(tries, taken, line.id)
    if missed_share(tries, rows) < TIMES_MISSED * usual:
        rows = rows[:0]  # silent, and nothing came of it
    since = "all day" if begin is None else "to the end of the day"
    why = (
        f"antenna {antenna} stands at none of {reads:,} passings of the line {since}, where about "
        f"{share * reads:,.0f} would be expected"
    )
    return [
        Pattern(
            cause=Cause.SILENT_ANTENNA,
            point=line.point,
            line=line.id,
            rows=np.asarray(rows, dtype=np.int64),
            usual=usual,
            chance=chance,
            why=why,
            antennas=(antenna,),
            begin=begin,
            kind="all day" if begin is None else "from then on",
        )
    ]


def _usual(tries: Tries, taken: Bools, line: str) -> float:
    """Share missed by the middle one of the other lines."""
    rest = [without(rows, taken) for other, rows in tries.rows_of.items() if other != line]
    shares = [missed_share(tries, rows) for rows in rest if len(rows) and tries.told[rows].all()]
    return float(np.median(shares)) if shares else 0.0
