"""Lives and faults of equipment: how long items last, and whether one's faults come faster.

Two models of reliability, both by maximum likelihood:

* an item that is thrown away has one life: Weibull, with the items still in use as censored lives;
* an item that is repaired has many faults: the power law process, expected faults a * t^b by age t.
  Above 1, b says that faults come ever faster (wear); below 1, that repairs made it better.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, chapter 8 (8.1.7.2, 8.1.9, 8.4.1).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize

FEWEST_ENDED = 3  # with fewer ended lives the shape is a guess
FEWEST_FAULTS = 3


@dataclass(frozen=True, slots=True)
class Life:
    """A Weibull law of lives: ``shape`` above 1 means wear; ``scale`` is reached by 37 % of the items."""

    shape: float
    scale: float
    log_likelihood: float

    @property
    def mean(self) -> float:
        return self.scale * math.gamma(1 + 1 / self.shape)

    @property
    def median(self) -> float:
        return float(self.scale * math.log(2) ** (1 / self.shape))


@dataclass(frozen=True, slots=True)
class Wear:
    """The power law process of one item's faults: expected faults by age t are ``a * t**b``.

    ``between_now`` is the time between faults at the end of the watch, 1 / (a b T^(b-1)).
    """

    a: float
    b: float
    between_now: float


def estimate_life(ended: Sequence[float], in_use: Sequence[float] = ()) -> Life | None:
    """Weibull law from lives that ended and ages of items still in use; None with too few ends.

    The profile equation of the shape has one root (it is monotone), which is bracketed and found.
    """
    over, running = np.asarray(ended, dtype=np.float64), np.asarray(in_use, dtype=np.float64)
    if len(over) < FEWEST_ENDED or (over <= 0).any() or np.ptp(over) == 0:
        return None
    lives = np.concatenate([over, running[running > 0]])
    longest = lives.max()
    unit, logs = lives / longest, np.log(over / longest)

    def profile(shape: float) -> float:
        power = unit**shape
        return float(1 / shape + logs.mean() - (power * np.log(unit)).sum() / power.sum())

    shape = float(optimize.brentq(profile, 1e-3, 1e3))
    scale = float(longest * ((unit**shape).sum() / len(over)) ** (1 / shape))
    log_likelihood = len(over) * math.log(shape / scale) + float(
        (shape - 1) * np.log(over / scale).sum() - ((lives / scale) ** shape).sum()
    )
    return Life(shape, scale, log_likelihood)


def estimate_wear(faults: Sequence[float], watched: float, *, unbiased: bool = True) -> Wear | None:
    """Power law process from the ages at which faults came, watched until age ``watched``.

    ``unbiased`` divides by one fault fewer (time-truncated watch), as the handbook's modified
    estimate does.  None with too few faults.
    """
    ages = np.asarray(faults, dtype=np.float64)
    if len(ages) < FEWEST_FAULTS or (ages <= 0).any() or (ages > watched).any():
        return None
    total = float(np.log(watched / ages).sum())
    if total == 0:
        return None
    b = (len(ages) - 1 if unbiased else len(ages)) / total
    return Wear(len(ages) / watched**b, b, watched / (len(ages) * b))
