"""Items against the middle item of those they can be compared with, draw by draw.

The middle and not the mean: three bad readers of eight would drag a mean along and look half as bad.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from lineproof.season.connectivity import Standing

Floats = NDArray[np.float64]


def against_others(draws: Floats, kinds: tuple[str, ...]) -> tuple[Floats, Floats]:
    """Draws of each item less the mean of the others of its kind, and by how much that raises a prior variance."""
    found, raised = np.empty_like(draws), np.ones(draws.shape[1])
    for kind in dict.fromkeys(kinds):
        mine = np.flatnonzero([other == kind for other in kinds])
        count = len(mine)
        total = draws[:, mine].sum(axis=1, keepdims=True)
        found[:, mine] = draws[:, mine] - (total - draws[:, mine]) / (count - 1)
        raised[mine] = 1 + 1 / (count - 1)
    return found, raised


def to_contrasts(
    draws: Floats, names: tuple[str, ...], kinds: tuple[str, ...], standing: Mapping[str, Standing]
) -> Floats:
    """Draws, (draws, items), less the middle of the item's island; of its kind, where it is bound."""
    groups: dict[tuple[str, ...], list[int]] = {}
    for number, (name, kind) in enumerate(zip(names, kinds, strict=True)):
        stands = standing[name]
        groups.setdefault((kind,) if stands.bound else (kind, *stands.island), []).append(number)
    found = np.empty_like(draws)
    for group, members in groups.items():
        among = [
            number
            for number, (name, kind) in enumerate(zip(names, kinds, strict=True))
            if kind == group[0] and (len(group) == 1 or name in group[1:])
        ]
        found[:, members] = draws[:, members] - np.median(draws[:, among], axis=1)[:, None]
    return found
