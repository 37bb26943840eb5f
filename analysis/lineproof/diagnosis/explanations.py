"""One first explanation for each miss, by a stated order, so that the shares add up.

A miss may fit several patterns: a weak tag over a weak mat in a crowd.  The pattern that leaves the fewest runners
read comes first: while nothing worked nothing else matters.  What no pattern speaks of stays unexplained.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lineproof.diagnosis.pattern import Pattern
from lineproof.diagnosis.tries import Ints, Tries
from lineproof.vocabulary import Cause

PRECEDENCE = (
    Cause.BOTH_LINES,
    Cause.INTERRUPTION,
    Cause.PRACTICE_ROLE,
    Cause.PORTS_NOT_TOLD,
    Cause.SILENT_ANTENNA,
    Cause.WEAK_TAG,
    Cause.ROAD_WIDER,
    Cause.WEAK_ANTENNA,
    Cause.CROWD,
    Cause.WHOLE_LINE,
)
UNEXPLAINED = -1


def to_first_explanations(tries: Tries, patterns: Sequence[Pattern]) -> Ints:
    """By try: the place of the pattern that explains the miss first, ``UNEXPLAINED`` where none or where read."""
    explained = np.full(len(tries.at), UNEXPLAINED, dtype=np.int64)
    order = sorted(
        range(len(patterns)), key=lambda i: (PRECEDENCE.index(patterns[i].cause), patterns[i].chance)
    )
    for place in order:
        rows = patterns[place].rows
        free = rows[tries.missed[rows] & (explained[rows] == UNEXPLAINED)]
        explained[free] = place
    return explained
