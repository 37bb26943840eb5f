"""How many of the patterns found would be found by luck: chances adjusted for all that were looked for.

Benjamini & Hochberg 1995 (Journal of the Royal Statistical Society B 57, 289-300): the expected share of false findings
is held where the tests are independent, and where they hang together positively (Benjamini & Yekutieli 2001, Annals
of Statistics 29, 1165-1188).  The patterns of different lines rest on different tries.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def adjust_chances(chances: ArrayLike, looked_for: int | None = None) -> Floats:
    """Adjusted chances in the order given: those up to q are findings with an expected false share of at most q.

    ``looked_for``: patterns that were looked for, if more than the ``chances`` stated; the rest counts as 1.
    Raises ``ValueError`` where a chance is none.

    >>> adjust_chances([0.01, 0.02, 0.5]).round(3).tolist()
    [0.03, 0.03, 0.5]
    """
    p = np.asarray(chances, dtype=np.float64)
    tests = len(p) if looked_for is None else looked_for
    if np.any(np.isnan(p)) or np.any((p < 0) | (p > 1)) or tests < len(p):
        raise ValueError("chances must lie between 0 and 1, and be no more than were looked for")
    if not len(p):
        return p
    order = np.argsort(p, kind="stable")
    raised = p[order] * tests / np.arange(1, len(p) + 1)
    # No pattern looks surer than one with a smaller chance.
    lowest = np.minimum.accumulate(raised[::-1])[::-1]
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(lowest, 1.0)
    return adjusted
