"""The rate an item would reach in common conditions: in every slot of the season in turn.

The season's own cells are the common conditions, each as often as it was tried.  In each the item of the kind asked
for is thought replaced by the item in question, everything else left as it was, and the chances of a miss
are averaged.  So an item that only worked in rain is compared on the same days as the others.  The distribution of the
rest of the logit over the cells is kept by quantiles.  (Standardisation by the model: Lane & Nelder 1982, Biometrics
38:613-621, from memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]

NODES = 40


@dataclass(frozen=True, slots=True)
class Conditions:
    """Logits of a miss over the season's cells but for the items of one kind: ``NODES`` equal shares of crossings."""

    kind: str
    logits: Floats
    words: str


def to_common_conditions(kind: str, rest: Floats, tried: Floats) -> Conditions:
    """``rest``: logit of each cell without the kind's own effect; ``tried``: its crossings.

    Each node is the mean of an equal share of the crossings, so that means over the season are kept.
    """
    order = np.argsort(rest, kind="stable")
    upper = np.cumsum(tried[order]) / tried.sum()
    edges = np.linspace(0, 1, NODES + 1)
    total = np.r_[0.0, np.cumsum(rest[order] * tried[order]) / tried.sum()]
    logits = np.diff(np.interp(edges, np.r_[0.0, upper], total)) * NODES
    return Conditions(kind, logits, "every slot of the season in turn, each as often as it was tried")


def to_rates(conditions: Conditions, effects: Floats) -> Floats:
    """Share read in common conditions for effects of any shape (logit of a miss)."""
    found = np.zeros_like(effects)
    for logit in conditions.logits:
        found += special.expit(logit + effects)
    return np.asarray(1 - found / len(conditions.logits))
