"""The money of each step besides the misses: what goes out today, and what comes and goes at the end of each season.

Money that comes in is positive.  Season 0 is today.  Seasons are the plan's horizon; what an item is worth
at its end counts as money that comes in then, and what the old item would have fetched as money forgone.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from lineproof.replacement.plan import Plan, Step, Wish

Floats = npt.NDArray[np.float64]


def worth_after(price: float, loses: float, seasons: npt.ArrayLike) -> Floats:
    """What an item of that price fetches after so many seasons."""
    return np.asarray(price * (1 - loses) ** np.asarray(seasons, dtype=np.float64))


def price_today(wish: Wish) -> float:
    """What the budget must cover: the full price; a trade-in comes back only after the purchase."""
    return wish.price


def to_step_flows(wish: Wish, plan: Plan) -> Floats:
    """Flows (seasons + 1) of one wish against leaving things as they are, before discounts."""
    return {
        Step.REPLACE: _replace,
        Step.REPAIR: _repair,
        Step.RENT: _rent,
        Step.SPARE: _spare,
    }[wish.step](wish, plan)


def _replace(wish: Wish, plan: Plan) -> Floats:
    flows, new = _own(wish, plan), plan.new[wish.kind]
    flows[0] += wish.trade_in
    flows[1:] += new.upkeep_old - new.upkeep
    flows[-1] -= float(worth_after(wish.trade_in, new.loses, plan.horizon))
    return flows


def _own(wish: Wish, plan: Plan) -> Floats:
    """Buy, buy again whenever its life is over, and sell what is left at the end."""
    loses = plan.new[wish.kind].loses
    flows = np.zeros(plan.horizon + 1)
    flows[0] = -wish.price
    for season in range(wish.life, plan.horizon, wish.life):
        flows[season] += float(worth_after(wish.price, loses, wish.life)) - wish.price
    age = plan.horizon % wish.life or wish.life
    flows[-1] += float(worth_after(wish.price, loses, age))
    return flows


def _repair(wish: Wish, plan: Plan) -> Floats:
    flows = np.zeros(plan.horizon + 1)
    flows[0] = -wish.price
    return flows


def _rent(wish: Wish, plan: Plan) -> Floats:
    """Due at the start of each season; the old item rests, and needs no upkeep."""
    flows = np.zeros(plan.horizon + 1)
    flows[:-1] = -wish.price
    flows[1:] += plan.new[wish.kind].upkeep_old
    return flows


def _spare(wish: Wish, plan: Plan) -> Floats:
    flows = _own(wish, plan)
    flows[1:] -= plan.new[wish.kind].upkeep
    return flows
