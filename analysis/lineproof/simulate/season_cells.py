"""Whole seasons with known truth at the level of cells: event by line by slot, no reads.

``simulate_cells(CellPlan(), seed)`` draws a season in which items move between slots.  The logit of a miss is a sum of causes:
the item's own state (and its decay), the day, its weather and flow, the point, the single place across the road, the
line on that day, and scatter of the single cell.  Misses are then drawn.  It is quick, so that hundreds of seasons
can show how often an item is accused wrongly.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from lineproof.season_tables import CELLS
from lineproof.vocabulary import ItemKind

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

FIRST_DAY = dt.date(2031, 3, 2)
KINDS = (ItemKind.MAT, ItemKind.CABLE, ItemKind.READER)
WEATHERS = ("dry", "rain")
SURFACES = ("asphalt", "gravel")


@dataclass(frozen=True, slots=True)
class CellPlan:
    """A season to draw.  Standard deviations and effects are on the logit scale of a miss.

    ``settled``: mats that never leave their place (the first places of the first line), each with a place of
    ``bad_place``; ``rain_mats``: mats taken out on rainy days only; ``bad_places``: places that are bad for
    whatever lies there.  ``test_slope``: drop of the hand test's ceiling in cm for one unit of an item's state.
    """

    events: int = 30
    points: int = 3
    slots: int = 4
    mats: int = 26
    cables: int = 26
    readers: int = 8
    bad: int = 3
    decaying: int = 5
    bad_effect: float = 1.5
    decay: float = 1.0
    usual: float = -4.0
    item_sd: float = 0.15
    event_sd: float = 0.3
    point_sd: float = 0.3
    place_sd: float = 0.15
    line_day_sd: float = 0.25
    cell_sd: float = 0.25
    rain: float = 0.25
    rain_effect: float = 0.7
    gravel_effect: float = 0.2
    flow_effect: float = 0.3
    least_runners: int = 600
    most_runners: int = 4000
    settled: int = 0
    rain_mats: int = 0
    bad_places: int = 0
    bad_place: float = 1.5
    paired: bool = False
    test_slope: float = 25.0


@dataclass(frozen=True, slots=True)
class TrueItems:
    """``items``: item, kind, class (sound, bad, decaying), mean state over its uses, state at the end, true rate."""

    cells: pl.DataFrame
    items: pl.DataFrame
    usual: Floats = field(repr=False)


@dataclass(slots=True)
class _Rows:
    """Columns of the cells while they are drawn."""

    event: list[int] = field(default_factory=list)
    line: list[int] = field(default_factory=list)
    slot: list[int] = field(default_factory=list)
    item: list[tuple[int, int, int]] = field(default_factory=list)


def _states(plan: CellPlan, rng: np.random.Generator) -> tuple[Floats, Floats, list[str], list[ItemKind]]:
    """State of each item at the start of the season, its decay over it, its class and kind."""
    kinds = [KINDS[0]] * plan.mats + [KINDS[1]] * plan.cables + [KINDS[2]] * plan.readers
    total = len(kinds)
    begin, decay, classes = rng.normal(0, plan.item_sd, total), np.zeros(total), ["sound"] * total
    free = np.setdiff1d(np.arange(total), np.arange(plan.settled + plan.rain_mats))
    chosen = rng.choice(free, plan.bad + plan.decaying, replace=False)
    for item in chosen[: plan.bad]:
        begin[item] += plan.bad_effect
        classes[item] = "bad"
    for item in chosen[plan.bad :]:
        decay[item] = plan.decay
        classes[item] = "decaying"
    return begin, decay, classes, kinds


def _lay(plan: CellPlan, rainy: NDArray[np.bool_], rng: np.random.Generator) -> _Rows:
    """Which mat, cable and reader lies where at each event."""
    rows, lines = _Rows(), 2 * plan.points
    places = lines * plan.slots
    for event in range(plan.events):
        special_mats = (
            np.arange(plan.settled, plan.settled + plan.rain_mats) if rainy[event] else np.arange(0)
        )
        others = np.arange(plan.settled + plan.rain_mats, plan.mats)
        room = places - plan.settled - len(special_mats)
        moving = rng.permutation(np.r_[special_mats, rng.choice(others, room, replace=False)])
        mats = np.r_[np.arange(plan.settled), moving]
        cables = mats if plan.paired else rng.choice(plan.cables, places, replace=False)
        readers = rng.choice(plan.readers, lines, replace=False)
        for place in range(places):
            line = place // plan.slots
            rows.event.append(event)
            rows.line.append(line)
            rows.slot.append(place % plan.slots)
            rows.item.append(
                (
                    int(mats[place]),
                    plan.mats + int(cables[place]),
                    plan.mats + plan.cables + int(readers[line]),
                )
            )
    return rows


def simulate_cells(plan: CellPlan, seed: int) -> TrueItems:
    """A season of CELLS with its truth; the same plan and seed give the same season."""
    rng = np.random.default_rng(seed)
    begin, decay, classes, kinds = _states(plan, rng)
    rainy = rng.random(plan.events) < plan.rain
    gravel = rng.random(plan.points) < 0.4
    rows = _lay(plan, rainy, rng)
    event, line, slot = (np.array(column) for column in (rows.event, rows.line, rows.slot))
    items, point = np.array(rows.item), np.array(rows.line) // 2
    runners = np.exp(rng.uniform(np.log(plan.least_runners), np.log(plan.most_runners), plan.events))
    flow = np.exp(rng.normal(np.log(runners / 60)[event], 0.3))
    place_effect = _places(plan, rng)
    other = (
        plan.usual
        + rng.normal(0, plan.event_sd, plan.events)[event]
        + rng.normal(0, plan.point_sd, plan.points)[point]
        + place_effect[line, slot]
        + rng.normal(0, plan.line_day_sd, (plan.events, 2 * plan.points))[event, line]
        + plan.rain_effect * rainy[event]
        + plan.gravel_effect * gravel[point]
        + plan.flow_effect * np.log(flow / 25)
    )
    through = event / max(plan.events - 1, 1)
    state = begin[items] + decay[items] * through[:, None]
    tried = rng.poisson(runners[event] / plan.slots * rng.uniform(0.6, 1.4, len(event)))
    tried = np.maximum(tried, 1)
    chance = special.expit(other + state.sum(axis=1) + rng.normal(0, plan.cell_sd, len(event)))
    missed = rng.binomial(tried, chance)
    names = _names(plan)
    test = np.clip(165 - plan.test_slope * state[:, 0] + rng.normal(0, 6, len(event)), 20, 220)
    cells = _to_cells(
        names, event, line, slot, items, tried, missed, flow, rainy[event], gravel[point], test.round()
    )
    return TrueItems(
        cells, _truth(plan, names, kinds, classes, items, event, state, begin, decay, tried, other), other
    )


def _places(plan: CellPlan, rng: np.random.Generator) -> Floats:
    effect = rng.normal(0, plan.place_sd, (2 * plan.points, plan.slots))
    flat = effect.reshape(-1)
    flat[: plan.settled] += plan.bad_place
    flat[rng.choice(np.arange(plan.settled, flat.size), plan.bad_places, replace=False)] += plan.bad_place
    return effect


def _names(plan: CellPlan) -> list[str]:
    numbered = (("M", plan.mats), ("C", plan.cables), ("R", plan.readers))
    return [f"{letter}{number:03d}" for letter, count in numbered for number in range(1, count + 1)]


def _truth(
    plan: CellPlan,
    names: list[str],
    kinds: list[ItemKind],
    classes: list[str],
    items: Ints,
    event: Ints,
    state: Floats,
    begin: Floats,
    decay: Floats,
    tried: Ints,
    other: Floats,
) -> pl.DataFrame:
    """Each item's mean and last state, and the rate it would have had in every cell of the season in turn."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(21)
    weights = weights / weights.sum()
    out = []
    for number, name in enumerate(names):
        column = KINDS.index(kinds[number])
        used = np.unique(event[items[:, column] == number])
        if not len(used):
            continue
        mean = begin[number] + decay[number] * float(used.mean()) / max(plan.events - 1, 1)
        rest = other + state.sum(axis=1) - state[:, column] + mean
        chance = special.expit(rest[:, None] + plan.cell_sd * nodes) @ weights
        out.append(
            {
                "item": name,
                "kind": kinds[number].value,
                "class": classes[number],
                "state": mean,
                "state_end": begin[number] + decay[number],
                "rate": 1 - float(np.average(chance, weights=tried)),
            }
        )
    return pl.DataFrame(out).sort("item")


def _to_cells(
    names: list[str],
    event: Ints,
    line: Ints,
    slot: Ints,
    items: Ints,
    tried: Ints,
    missed: Ints,
    flow: Floats,
    rain: NDArray[np.bool_],
    gravel: NDArray[np.bool_],
    test: Floats,
) -> pl.DataFrame:
    points = line // 2
    kinds = ["start" if p == 0 else "finish" if p == points.max() else "split" for p in points]
    slots = pl.DataFrame(
        {
            "event": [f"e{number + 1:03d}" for number in event],
            "date": [FIRST_DAY + dt.timedelta(days=7 * int(number)) for number in event],
            "point": [f"p{p + 1}" for p in points],
            "kind": kinds,
            "line": [f"p{number // 2 + 1}-{'backup' if number % 2 else 'main'}" for number in line],
            "role": ["backup" if number % 2 else "main" for number in line],
            "slot": slot + 1,
            "mat": [names[i] for i in items[:, 0]],
            "cable": [names[i] for i in items[:, 1]],
            "reader": [names[i] for i in items[:, 2]],
            "tried": tried.astype(float),
            "missed": missed.astype(float),
            "flow": flow,
            "weather": [WEATHERS[int(wet)] for wet in rain],
            "surface": [SURFACES[int(loose)] for loose in gravel],
            "hand_ceiling_cm": test,
        }
    )
    whole = slots.group_by(
        "event", "date", "point", "kind", "line", "role", "reader", "weather", "surface"
    ).agg(pl.col("tried", "missed").sum(), pl.col("flow").median())
    both = pl.concat([slots, whole.with_columns(slot=pl.lit(0, pl.Int64))], how="diagonal")
    counted = both.with_columns(tried_at_work=pl.col("tried"), missed_at_work=pl.col("missed"))
    return CELLS.conform(counted.sort("event", "line", "slot"))
