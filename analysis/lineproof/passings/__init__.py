"""Reads to passings: all reads of one tag by one line in one go become one row.

A new passing begins where a tag was silent at a line for longer than ``passing_gap_s``.  There are two
ways with the same result: ``plain`` sorts the reads of one line at a time; ``flowing`` takes the reads
as they come and keeps the last time per line and tag, which a large file in order of time pays for.
"""

from __future__ import annotations

import polars as pl

from lineproof.event import Event
from lineproof.passings.flowing import join_flowing
from lineproof.passings.numbering import number_passings
from lineproof.passings.plain import join_plainly

__all__ = ["number_passings", "to_passings"]

# Below, starting the compiled loop (about a second) costs more than the sort that it saves.
FLOWING_FROM = 2_000_000


def to_passings(reads: pl.LazyFrame, event: Event) -> pl.DataFrame:
    """Passings of every line, numbered in time order.

    ``reads`` keeps the READS contract in any row order; the same read given twice counts once.
    Of equally strong reads the earliest is the strongest.
    """
    many = reads.select(pl.len()).collect().item() >= FLOWING_FROM
    parts = join_flowing(reads, event) if many else None
    return number_passings(join_plainly(reads, event) if parts is None else parts)
