"""Money over the seasons: present values, annual costs, economic life and payback.

A season is the period, and what it costs or saves falls at its end, as the handbooks of engineering
economy have it; season 0 is today.  Spending is positive in costs and negative in flows.

    present value        sum of flow_t / (1 + interest)^t
    annual cost of n     (price - worth_n / (1+i)^n + sum cost_k / (1+i)^k) * i / (1 - (1+i)^-n)
    one more season      worth_(n-1) * (1 + i) - worth_n + cost_n

The annual cost spreads a purchase evenly over the seasons it is kept; the number of seasons that makes
it smallest is the economic life.  Sources: L. Blank and A. Tarquin, Engineering Economy; W. Sullivan,
E. Wicks and C. Koelling, Engineering Economy (chapters on replacement).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Money = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class EconomicLife:
    """How many seasons to keep an item, and what it costs per season then.

    ``by_season[n - 1]`` is the annual cost when kept n seasons; ``at_limit`` says that the smallest
    lies at the last season looked at, so that the true life may be longer.
    """

    seasons: int
    annual_cost: float
    by_season: tuple[float, ...]
    at_limit: bool


def discount_factors(interest: float, seasons: int) -> Money:
    """``1 / (1 + interest)^t`` for t = 0 ... ``seasons``."""
    return (1.0 + interest) ** -np.arange(seasons + 1.0)


def present_value(flows: npt.ArrayLike, interest: float) -> Money:
    """Net present value of flows along the last axis; the first flow is today's.

    >>> round(float(present_value([-40_000, 5_000, 8_000, 12_000, 30_000], 0.08)), 5)
    3065.22267
    """
    money = np.asarray(flows, dtype=np.float64)
    return np.asarray(money @ discount_factors(interest, money.shape[-1] - 1))


def annuity_factor(interest: float, seasons: int) -> float:
    """The even payment at the end of each season that one unit of money today is worth (A/P, i, n)."""
    if seasons < 1:
        raise ValueError("an annual cost needs at least one season")
    if interest == 0:
        return 1.0 / seasons
    return float(interest / -np.expm1(-seasons * np.log1p(interest)))


def annual_costs(price: float, worth: npt.ArrayLike, costs: npt.ArrayLike, interest: float) -> Money:
    """Equivalent uniform annual cost of keeping an item 1, 2, ... n seasons.

    ``price`` is what one pays (or gives up by keeping it) today; ``worth[k]`` what it fetches after
    season k + 1 and ``costs[k]`` what season k + 1 costs, both of length n.
    """
    fetched, spent = np.asarray(worth, dtype=np.float64), np.asarray(costs, dtype=np.float64)
    if fetched.shape != spent.shape or fetched.ndim != 1:
        raise ValueError("worth and costs need one value for each season")
    seasons = len(spent)
    later = discount_factors(interest, seasons)[1:]
    whole = price - fetched * later + np.cumsum(spent * later)
    return np.asarray(whole * [annuity_factor(interest, n) for n in range(1, seasons + 1)])


def find_economic_life(
    price: float, worth: npt.ArrayLike, costs: npt.ArrayLike, interest: float
) -> EconomicLife:
    """The number of seasons with the smallest annual cost; of equals, the fewest."""
    by_season = annual_costs(price, worth, costs, interest)
    best = int(np.argmin(by_season))
    return EconomicLife(
        best + 1, float(by_season[best]), tuple(map(float, by_season)), best + 1 == len(by_season)
    )


def marginal_costs(price: float, worth: npt.ArrayLike, costs: npt.ArrayLike, interest: float) -> Money:
    """What each further season costs by itself: loss of worth, interest on it, and the season's costs."""
    after = np.asarray(worth, dtype=np.float64)
    before = np.concatenate([[price], after[:-1]])
    return np.asarray(before * (1.0 + interest) - after + np.asarray(costs, dtype=np.float64))


def seasons_worth_keeping(marginal: npt.ArrayLike, challenger: float) -> int:
    """How many further seasons each cost less than the challenger's smallest annual cost.

    Counts from the next season on and stops at the first that costs more; 0 means replace now.
    """
    dearer = np.flatnonzero(np.asarray(marginal, dtype=np.float64) > challenger)
    return int(dearer[0]) if len(dearer) else len(np.asarray(marginal))


def payback(flows: npt.ArrayLike, interest: float = 0.0) -> float | None:
    """Seasons until the running sum of (discounted) flows stays at or above zero; None: never.

    Inside a season the money is taken to come in evenly.  A sum that dips below zero again later has
    not paid back before that.
    """
    money = np.asarray(flows, dtype=np.float64)
    running = np.cumsum(money * discount_factors(interest, len(money) - 1))
    below = np.flatnonzero(running < -1e-9 * max(1.0, float(np.abs(money).max())))
    if not len(below):
        return 0.0
    last = int(below[-1])
    if last == len(money) - 1:
        return None
    return last + float(-running[last] / (running[last + 1] - running[last]))


def break_even_factor(fixed: float, growing: float) -> float | None:
    """The factor f at which ``fixed + f * growing`` is zero; None where no factor above 0 does it."""
    if growing == 0 or not math.isfinite(fixed / growing) or fixed / growing > 0:
        return None
    return -fixed / growing


def chance_of_saving(values: npt.ArrayLike) -> float:
    """Share of the draws of a present value that are above zero."""
    return float(np.mean(np.asarray(values, dtype=np.float64) > 0))
