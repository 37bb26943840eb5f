"""Interruptions as patterns: the misses of a line, or of both lines of a point, in a window without reads."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl

from lineproof.diagnosis.pattern import Pattern, Search
from lineproof.diagnosis.tries import Ints, Tries
from lineproof.event import Event
from lineproof.interruptions.arrivals import within
from lineproof.vocabulary import Cause, InterruptionKind
from lineproof.wording import say_share

WORDS = {
    InterruptionKind.OUTAGE.value: "no reads in a window, and reads before and after it",
    InterruptionKind.LAID_LATE.value: "no reads until a moment at which runners were already there",
    InterruptionKind.LIFTED_EARLY.value: "no reads after a moment at which runners still came",
    InterruptionKind.BOTH_LINES.value: "neither line of the point read anybody in a window",
    InterruptionKind.LATE_LOSS.value: "far more of the late field missed than of the field before",
}


def find_windows(tries: Tries, interruptions: pl.DataFrame, event: Event) -> Search:
    """One pattern for each row of INTERRUPTIONS; their chance is bounded over all lines together."""
    # Where the export tells of points only, no miss is a line's, and there is nothing to explain.
    told = pl.col("point").is_in([line.point for line in event.lines])
    rows = interruptions.filter(told).with_columns(pl.col("begin", "end").dt.epoch("us"))
    found = [_pattern(tries, row, event) for row in rows.iter_rows(named=True)]
    return Search(found, len(found), bounded=True)


def _pattern(tries: Tries, row: dict[str, object], event: Event) -> Pattern:
    begin, end, doubt = (int(str(row[name])) for name in ("begin", "end", "doubt_us"))
    line = None if row["line"] is None else str(row["line"])
    both = row["kind"] == InterruptionKind.BOTH_LINES.value
    lines = [each.id for each in event.lines_at(str(row["point"]))] if line is None else [line]
    inside = [_inside(tries, tries.rows_of[each], (begin, end), doubt) for each in lines]
    return Pattern(
        cause=Cause.BOTH_LINES if both else Cause.INTERRUPTION,
        point=str(row["point"]),
        line=line,
        rows=np.concatenate(inside),
        usual=float(str(row["usual"])),
        chance=min(1.0, float(str(row["chance"]))),
        why=f"{WORDS[str(row['kind'])]}: {int(str(row['missed'])):,} of {int(str(row['tried'])):,} runners missed, against "
        f"{say_share(float(str(row['usual'])), 100)} in the rest of the day",
        begin=begin,
        end=end,
        kind=str(row["kind"]),
        awaited=(int(str(row["tried"])), int(str(row["missed"]))),
    )


def _inside(tries: Tries, rows: Ints, window: tuple[int, int], doubt_us: int) -> Ints:
    """Tries in the window.  A runner whom nobody read has an interpolated time, in doubt by ``doubt_us``."""
    known = rows[tries.at[rows] >= 0]
    hit = within(tries.at[known], tries.unseen[known], [window], doubt_us)
    return np.asarray(known[hit], dtype=np.int64)


def to_time(us: int | None) -> dt.datetime | None:
    """Microseconds since 1970 as an instant."""
    if us is None:
        return None
    return dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(microseconds=us)
