"""How tags differ: the kinds a tag can be of, each with an effect on every line's logit and a weight.

Two families that fit race data about alike and disagree about the runners nobody saw: two kinds of tag
(good, and weak by a shift), and a normal effect that every tag has its own value of.  Kinds that answer only
during a part of the course (woken late, died early, never answers) come in addition.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Kinds:
    """``effect`` on the logit and ``weight`` (log) per kind, with their slopes (kind, parameter)."""

    effect: Floats
    effect_slope: Floats
    log_weight: Floats
    weight_slope: Floats


@dataclass(frozen=True, slots=True)
class Family:
    """``names`` of its parameters, where a search begins, and what values lean on: mean and spread.

    The leanings are weak and come from common practice: a weak tag is read 0.2 to 0.6 of the time by a
    good line, and a few in a thousand tags are weak.
    """

    name: str
    names: tuple[str, ...]
    begin: tuple[float, ...]
    leaning: tuple[tuple[float, float], ...]
    nodes: int = 1

    def kinds(self, values: Floats) -> Kinds:
        if self.name == "one kind":
            return Kinds(np.zeros(1), np.zeros((1, 0)), np.zeros(1), np.zeros((1, 0)))
        return _two(values) if self.name == "two kinds" else _normal(values, self.nodes)


ONE_KIND = Family("one kind", (), (), ())
TWO_KINDS = Family(
    "two kinds",
    ("log odds of a weak tag", "log of its shift"),
    (-5.0, np.log(4.5)),
    ((-5.3, 2.0), (np.log(4.5), 0.2)),
)
NORMAL_EFFECT = Family("normal effect", ("log of its spread",), (-0.7,), ((-0.5, 1.0),), nodes=24)


def _two(values: Floats) -> Kinds:
    odds, log_shift = values
    shift = np.exp(log_shift)
    weak = special.expit(odds)
    return Kinds(
        np.array([0.0, -shift]),
        np.array([[0.0, 0.0], [0.0, -shift]]),
        np.array([special.log_expit(-odds), special.log_expit(odds)]),
        np.array([[-weak, 0.0], [1 - weak, 0.0]]),
    )


def _normal(values: Floats, nodes: int) -> Kinds:
    place, weight = _quadrature(nodes)
    spread = np.exp(values[0])
    return Kinds(spread * place, (spread * place)[:, None], np.log(weight), np.zeros((len(place), 1)))


@lru_cache
def _quadrature(nodes: int) -> tuple[Floats, Floats]:
    """Gauss-Hermite; nodes whose weight is beyond any count of runners are left out."""
    place, weight = np.polynomial.hermite_e.hermegauss(nodes)
    kept = weight > 1e-10 * weight.sum()
    return place[kept], weight[kept] / weight[kept].sum()
