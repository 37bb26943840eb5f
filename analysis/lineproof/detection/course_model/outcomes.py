"""What the lines of one visit said of one runner, as a small whole number, and what it rules out.

A visit has one line or two.  Each of them read the runner, missed them, or says nothing (no such line,
not working, not told by the export): 3 x 3 outcomes, and one more for exports that tell that a runner
was read but not by which line.  Behind each outcome stand the cells that it leaves possible: read by both,
by the first only, by the second only, by neither.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.int8]
Floats = NDArray[np.float64]

MISSED, READ, SILENT = 0, 1, 2  # of one line; silent: says nothing
NOTHING_TOLD = 3 * SILENT + SILENT
READ_BY_EITHER = 9
CELLS = ((1, 1), (1, 0), (0, 1), (0, 0))


def to_outcome(first: Bytes, second: Bytes) -> Bytes:
    """Outcomes from what each line said (``MISSED``, ``READ`` or ``SILENT``), arrays of one shape."""
    return np.asarray(3 * first + second, dtype=np.int8)


def was_read(outcome: Bytes) -> NDArray[np.bool_]:
    first, second = outcome // 3, outcome % 3
    return np.asarray((outcome == READ_BY_EITHER) | (first == READ) | (second == READ))


def _possible() -> Floats:
    """``[outcome, cell]``: 1 where the outcome leaves the cell possible."""
    table = np.zeros((READ_BY_EITHER + 1, len(CELLS)))
    for outcome in range(READ_BY_EITHER):
        said = divmod(outcome, 3)
        for place, cell in enumerate(CELLS):
            table[outcome, place] = all(s in (SILENT, c) for s, c in zip(said, cell, strict=True))
    table[READ_BY_EITHER, :3] = 1
    return table


POSSIBLE = _possible()
