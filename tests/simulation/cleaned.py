"""A simulated event taken through the cleaning half."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineproof.crossings import Merge, merge_passings
from lineproof.passings import to_passings
from lineproof.simulate import EventPlan, SimulatedEvent, simulate_event


@dataclass(frozen=True, slots=True)
class Cleaned:
    simulated: SimulatedEvent
    passings: pl.DataFrame
    merge: Merge

    @property
    def crossings(self) -> pl.DataFrame:
        return self.merge.crossings

    @property
    def unused(self) -> pl.DataFrame:
        return self.merge.unused


def cleaned(plan: EventPlan, seed: int) -> Cleaned:
    simulated = simulate_event(plan, seed)
    passings = to_passings(simulated.reads.lazy(), simulated.event)
    merge = merge_passings(passings, simulated.entries, simulated.tags, simulated.event)
    return Cleaned(simulated, passings, merge)
