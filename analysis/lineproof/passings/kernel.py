"""The compiled loop of ``flowing``: one look at each read, with the open passing of its line and tag at hand.

Whole numbers and plain arrays only; one place of the arrays ``Goes`` is one passing.  A null antenna is
NO_ANTENNA and a null strength is NaN, so that null comes before every value, as in a sorted table.
numba is imported with this module, so this module is imported late.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple, TypeVar, cast

import numpy as np
import numpy.typing as npt
from numba import njit

NO_ANTENNA = -1
LAST_ANTENNA = 63  # the antennas of a passing are the bits of one number
LONGEST_TIE = 64  # different reads of one tag at one line in one microsecond
DONE, OUT_OF_ORDER, TOO_TIED = 0, 1, 2

Array = npt.NDArray[Any]


class Batch(NamedTuple):
    """Reads in the order in which they came; numbers stand for line, tag and file."""

    line: Array  # uint32
    tag: Array  # uint32
    time: Array  # int64, microseconds
    antenna: Array  # int32
    strength: Array  # float32
    file: Array  # uint32
    row: Array  # int64


class Goes(NamedTuple):
    """Passings: what PASSINGS says of each, its first read, the first read of its last instant, its ties."""

    line: Array  # uint32
    tag: Array  # uint32
    first: Array  # int64
    strongest: Array  # int64
    last: Array  # int64
    reads: Array  # uint32
    antenna: Array  # int32
    antennas: Array  # uint64, a bit for each
    strength: Array  # float32
    file: Array  # uint32
    row: Array  # int64
    first_antenna: Array  # int32
    first_strength: Array  # float32
    last_antenna: Array  # int32
    last_strength: Array  # float32
    tied: Array  # int32, the newest of its last instant's further reads, -1 for none


class Ties(NamedTuple):
    """Further different reads at the last instant of a passing, and which stood there before (-1: none)."""

    antenna: Array  # int32
    strength: Array  # float32
    before: Array  # int32


Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """Compiled at its first call; the machine code is kept beside the module, or where the user's caches are."""
    return cast("Function", njit(cache=True, nogil=True)(function))


@compiled
def same(antenna: int, strength: float, other_antenna: int, other_strength: float) -> bool:
    equal = strength == other_strength or (np.isnan(strength) and np.isnan(other_strength))
    return bool(equal and antenna == other_antenna)


@compiled
def stronger(a: float, b: float) -> bool:
    return bool(a > b or (np.isnan(b) and not np.isnan(a)))


@compiled
def begin(batch: Batch, i: int, goes: Goes, go: int) -> None:
    """Read ``i`` opens the passing ``go``."""
    goes.line[go], goes.tag[go] = batch.line[i], batch.tag[i]
    goes.first[go] = goes.strongest[go] = goes.last[go] = batch.time[i]
    goes.antenna[go] = goes.first_antenna[go] = batch.antenna[i]
    goes.strength[go] = goes.first_strength[go] = batch.strength[i]
    goes.file[go], goes.row[go] = batch.file[i], batch.row[i]
    goes.reads[go] = goes.antennas[go] = 0


@compiled
def comes_first(batch: Batch, i: int, goes: Goes, go: int, ranks: Array) -> bool:
    """Whether read ``i``, of the first instant, comes before the first read by antenna, strength, file, row."""
    if batch.antenna[i] != goes.first_antenna[go]:
        return bool(batch.antenna[i] < goes.first_antenna[go])
    if stronger(goes.first_strength[go], batch.strength[i]):
        return True
    if stronger(batch.strength[i], goes.first_strength[go]):
        return False
    if batch.file[i] != goes.file[go]:
        return bool(ranks[batch.file[i]] < ranks[goes.file[go]])
    return bool(batch.row[i] < goes.row[go])


@compiled
def stood(batch: Batch, i: int, goes: Goes, go: int, ties: Ties) -> int:
    """1 where read ``i`` has already come at this instant, 0 where not, -1 where too many came to look."""
    antenna, strength = batch.antenna[i], batch.strength[i]
    if same(antenna, strength, goes.last_antenna[go], goes.last_strength[go]):
        return 1
    tie = goes.tied[go]
    for _ in range(LONGEST_TIE):
        if tie < 0:
            return 0
        if same(antenna, strength, ties.antenna[tie], ties.strength[tie]):
            return 1
        tie = ties.before[tie]
    return -1


@compiled
def join(
    batch: Batch, goes: Goes, ties: Ties, opened: Array, ranks: Array, gap: int, count: int, knots: int
) -> tuple[int, int, int]:
    """Add a batch: DONE or why not, and how many passings and ties there are now.

    ``opened`` has the open passing of each line (row) and tag (column), -1 for none.  ``goes`` and ``ties`` need
    room for as many more as there are reads.  ``ranks`` are the places of the files in the order of their names.
    The reads of a tag at a line must come in order of time; ``gap`` is in microseconds.
    """
    for i in range(len(batch.time)):
        line, tag, time = batch.line[i], batch.tag[i], batch.time[i]
        go = opened[line, tag]
        if go >= 0 and time < goes.last[go]:
            return OUT_OF_ORDER, count, knots
        # The difference of two ordered times fits an unsigned number, however far they are apart.
        begins = go < 0 or np.uint64(time) - np.uint64(goes.last[go]) > np.uint64(gap)
        if begins:
            go = opened[line, tag] = count
            count += 1
            begin(batch, i, goes, go)
        if begins or time > goes.last[go]:
            goes.last[go], goes.tied[go] = time, -1
            goes.last_antenna[go], goes.last_strength[go] = batch.antenna[i], batch.strength[i]
        else:
            before = stood(batch, i, goes, go, ties)
            if before < 0:
                return TOO_TIED, count, knots
            if time == goes.first[go] and comes_first(batch, i, goes, go, ranks):
                goes.first_antenna[go], goes.first_strength[go] = batch.antenna[i], batch.strength[i]
                goes.file[go], goes.row[go] = batch.file[i], batch.row[i]
            if before:
                continue
            ties.antenna[knots], ties.strength[knots] = batch.antenna[i], batch.strength[i]
            ties.before[knots] = goes.tied[go]
            goes.tied[go] = knots
            knots += 1
        goes.reads[go] += 1
        if batch.antenna[i] >= 0:
            goes.antennas[go] |= np.uint64(1) << np.uint64(batch.antenna[i])
        level = not stronger(goes.strength[go], batch.strength[i])
        sooner = time == goes.strongest[go] and batch.antenna[i] < goes.antenna[go]
        if stronger(batch.strength[i], goes.strength[go]) or (level and sooner):
            goes.strength[go], goes.strongest[go] = batch.strength[i], time
            goes.antenna[go] = batch.antenna[i]
    return DONE, count, knots
