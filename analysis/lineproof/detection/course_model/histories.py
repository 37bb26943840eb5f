"""Detection histories compressed to counts: every distinct history once, with how many runners have it.

Two hundred thousand runners on a course of six points leave a few hundred different histories, and all
that follows costs by these.  A history is the outcome at every visit, what an unread runner would have
looked like there (which lines worked), the stratum, and between which visits the record counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineproof.detection.course_model.outcomes import NOTHING_TOLD, Bytes, was_read

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Occasion:
    """One visit of a course: ``lines`` names its one or two lines (main, backup; or either, or an id)."""

    name: str
    order: int
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CourseHistories:
    """Distinct histories; arrays by (history) or (history, occasion).

    ``outcome`` what was said (``outcomes``), ``unread`` what would have been said of a runner who crossed
    unread: missed by each working line.  ``entry`` is the occasion that the record is conditional on: it
    counts from the next one; -1 where the first occasion counts too.  ``known`` is the last occasion that
    the runner is known to have reached, ``until`` the last at which they could have been read.
    ``read`` counts, per occasion, the runners read there, ``missed`` the proven crossings that no line read, working or not.  ``given`` marks
    records that stand whether the runner was ever read or not, as results prove them.
    ``runners`` and ``history_of`` (row of each runner's history) are empty where only counts are known.
    """

    occasions: tuple[Occasion, ...]
    outcome: Bytes
    unread: Bytes
    stratum: Bytes
    entry: Ints
    known: Ints
    until: Ints
    count: Ints
    read: Ints
    missed: Ints
    given: Bools
    runners: tuple[str, ...] = ()
    history_of: Ints | None = None

    @property
    def total(self) -> int:
        return int(self.count.sum())

    @property
    def strata(self) -> int:
        return int(self.stratum.max(initial=0)) + 1


def compress(
    occasions: tuple[Occasion, ...],
    outcome: Bytes,
    unread: Bytes,
    *,
    stratum: Bytes | None = None,
    entry: Ints | None = None,
    known: Ints | None = None,
    until: Ints | None = None,
    count: Ints | None = None,
    read: Ints | None = None,
    missed: Ints | None = None,
    given: Bools | None = None,
    runners: tuple[str, ...] = (),
) -> CourseHistories:
    """One row per runner (or per given history with its ``count``) to distinct histories.

    What is left out is the usual: one stratum, the whole course counts, known as far as read.
    """
    rows, visits = outcome.shape
    seen = was_read(outcome)
    last = np.where(seen, np.arange(visits), -1).max(axis=1)
    stratum = np.zeros_like(outcome) if stratum is None else stratum
    entry = np.full(rows, -1, dtype=np.int64) if entry is None else entry
    known = last if known is None else np.maximum(known, last)
    until = np.full(rows, visits - 1, dtype=np.int64) if until is None else until
    count = np.ones(rows, dtype=np.int64) if count is None else count
    given = np.zeros(rows, dtype=bool) if given is None else given
    columns = [*outcome.T, *unread.T, *stratum.T, entry, known, until, given.astype(np.int64)]
    _, first, inverse = np.unique(_key(columns), return_index=True, return_inverse=True)
    if missed is None:
        gone_by = (np.arange(visits) <= known[:, None]) & (np.arange(visits) > entry[:, None]) & ~seen
        missed = (gone_by & (unread != NOTHING_TOLD)).T @ count
    return CourseHistories(
        occasions,
        outcome[first],
        unread[first],
        stratum[first],
        entry[first],
        known[first],
        until[first],
        np.bincount(inverse, weights=count, minlength=len(first)).astype(np.int64),
        np.asarray(seen.T @ count if read is None else read, dtype=np.int64),
        np.asarray(missed, dtype=np.int64),
        given[first],
        runners,
        inverse.astype(np.int64) if runners else None,
    )


def _key(columns: list[NDArray[np.integer]]) -> Ints:
    """One whole number for each row, equal where all columns are equal."""
    key = np.zeros(len(columns[0]), dtype=np.int64)
    room = 1
    for column in columns:
        low, high = int(column.min(initial=0)), int(column.max(initial=0))
        width = high - low + 1
        if room * width >= 2**62:
            _, key = np.unique(key, return_inverse=True)
            room = int(key.max(initial=0)) + 1
        key = key * width + (column.astype(np.int64) - low)
        room *= width
    return key
