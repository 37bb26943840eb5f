"""A simulated event taken through the cleaning half."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineproof.clocks import estimate_line_lags
from lineproof.crossings import to_crossings
from lineproof.passings import to_passings
from lineproof.simulate import EventPlan, SimulatedEvent, simulate_event


@dataclass(frozen=True, slots=True)
class Cleaned:
    simulated: SimulatedEvent
    passings: pl.DataFrame
    lags: pl.DataFrame
    crossings: pl.DataFrame
    unused: pl.DataFrame


def cleaned(plan: EventPlan, seed: int) -> Cleaned:
    simulated = simulate_event(plan, seed)
    passings = to_passings(simulated.reads.lazy(), simulated.event)
    lags = estimate_line_lags(passings, simulated.event)
    crossings, unused = to_crossings(passings, simulated.entries, simulated.tags, simulated.event, lags)
    return Cleaned(simulated, passings, lags, crossings, unused)
