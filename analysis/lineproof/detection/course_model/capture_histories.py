"""Capture histories of animals and lists of people as course histories: the same likelihood, other words.

An animal released at one occasion and recaptured at later ones is a runner read along a course; closed
populations are courses that nobody leaves.  Published analyses of both are the check of the machinery.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineproof.detection.course_model.histories import CourseHistories, Occasion, compress
from lineproof.detection.course_model.outcomes import MISSED, READ, SILENT, to_outcome

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def from_captures(
    captures: NDArray[np.integer],
    count: Ints | None = None,
    *,
    pairs: Sequence[tuple[int, ...]] = (),
    from_first: bool = False,
) -> CourseHistories:
    """``captures`` (animal, occasion) of 0 and 1; columns named together in ``pairs`` are two lines of a point.

    ``from_first``: each record counts from its first capture on (Cormack 1964, Biometrika 51:429-438), and
    animals caught only at the last occasion tell nothing.  Otherwise all occasions count.
    """
    columns = list(pairs) or [(j,) for j in range(captures.shape[1])]
    said = np.where(captures == 1, READ, MISSED).astype(np.int8)
    none = np.full(len(said), SILENT, dtype=np.int8)
    outcome = np.column_stack(
        [to_outcome(said[:, c[0]], said[:, c[1]] if len(c) == 2 else none) for c in columns]
    )
    occasions = tuple(
        Occasion(f"occasion {k + 1}", k, tuple(f"list {j + 1}" for j in c)) for k, c in enumerate(columns)
    )
    missing = np.array([MISSED if len(c) == 2 else SILENT for c in columns], dtype=np.int8)
    unread = np.broadcast_to(to_outcome(np.full_like(missing, MISSED), missing), outcome.shape)
    entry = np.argmax(captures == 1, axis=1).astype(np.int64) if from_first else None
    return compress(occasions, outcome, np.ascontiguousarray(unread), entry=entry, count=count)


def from_recaptures(released: Ints, recaptured: NDArray[np.integer]) -> CourseHistories:
    """``released`` (s) at each occasion but the last, ``recaptured`` (s, s) first recaptured one column later.

    Each release is a record of its own that ends with the next capture (an m-array): it loses nothing as long
    as animals do not differ.
    """
    steps = len(released)
    rows, counts, entry, until = [], [], [], []
    for i in range(steps):
        for j in range(i, steps):
            if recaptured[i, j]:
                rows.append([k == j + 1 for k in range(steps + 1)])
                counts.append(int(recaptured[i, j]))
                entry.append(i)
                until.append(j + 1)
        rows.append([False] * (steps + 1))
        counts.append(int(released[i] - recaptured[i, i:].sum()))
        entry.append(i)
        until.append(steps)
    said = np.array(rows, dtype=np.int8)
    silent = np.full_like(said, SILENT)
    known = np.where(said.any(axis=1), said.argmax(axis=1), entry)
    return compress(
        tuple(Occasion(f"occasion {k + 1}", k, ("caught",)) for k in range(steps + 1)),
        to_outcome(said, silent),
        to_outcome(np.zeros_like(said), silent),
        entry=np.array(entry),
        known=known.astype(np.int64),
        until=np.array(until),
        count=np.array(counts),
    )


@dataclass(frozen=True, slots=True)
class OpenPopulation:
    """Closed-form estimates; NaN where an occasion does not tell."""

    marked: Floats
    chance: Floats
    present: Floats
    survival: Floats


def estimate_open_population(
    caught: Floats, marked_caught: Floats, released: Floats, seen_again: Floats, passed_over: Floats
) -> OpenPopulation:
    """Jolly 1965, Biometrika 52:225-247, from his summary by occasion: n, m, s, R and Z.

    Marked in the population M = m + Z s / R, chance of capture m / M, population n M / m, survival
    M[i+1] / (M[i] - m[i] + s[i]); it may exceed 1, as no bound holds the moments.
    """
    marked = np.full(len(caught), np.nan)
    inner = slice(1, len(caught) - 1)
    marked[inner] = marked_caught[inner] + passed_over[inner] * released[inner] / seen_again[inner]
    marked[0] = 0.0
    survival = np.full(len(caught) - 1, np.nan)
    survival[:-1] = marked[1:-1] / (marked[:-2] - marked_caught[:-2] + released[:-2])
    with np.errstate(divide="ignore", invalid="ignore"):
        chance = np.where(marked > 0, marked_caught / marked, np.nan)
        present = caught * marked / marked_caught
    return OpenPopulation(marked, chance, present, survival)
