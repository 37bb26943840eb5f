"""Seasons in which a habit, a year or a model of mat truly matters, or does not, compared as the season compares them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from lineproof.season.comparisons import compare_habits, compare_models, compare_seasons
from lineproof.setup_tables import EQUIPMENT
from lineproof.simulate.season_cells import CellPlan, simulate_cells

SEASON = CellPlan(events=20, bad=0, decaying=0)


@dataclass(frozen=True, slots=True)
class Compared:
    """What one season said of ``factor``, the true odds of a miss with the one as a multiple of the other's."""

    factor: float
    low: float | None
    high: float | None
    verdict: str

    @property
    def told(self) -> bool:
        return self.low is not None

    @property
    def held(self) -> bool:
        return self.low is not None and self.high is not None and self.low <= self.factor <= self.high

    @property
    def signalled(self) -> bool:
        return self.verdict != "cannot tell"


def _thinned(slots: pl.DataFrame, one: np.ndarray, factor: float, rng: np.random.Generator) -> pl.DataFrame:
    """Slots of which those of the ``one`` have their odds of a miss multiplied by ``factor``, at most 1.

    A miss is kept with a chance that makes the odds o / (1 + o) into f o / (1 + f o); o is that of the slot.
    """
    missed, tried = slots["missed"].to_numpy(), slots["tried"].to_numpy()
    odds = missed / np.maximum(tried - missed, 1)
    kept = np.where(one, factor * (1 + odds) / (1 + factor * odds), 1.0)
    left = rng.binomial(missed.astype(int), kept).astype(float)
    return slots.with_columns(missed=pl.Series(left), missed_at_work=pl.Series(left))


def _with_lines(slots: pl.DataFrame) -> pl.DataFrame:
    """The slots and, as slot 0, their lines."""
    lines = slots.group_by("event", "line", maintain_order=True).agg(
        pl.exclude("slot", "tried", "missed", "tried_at_work", "missed_at_work", "mat", "cable").first(),
        pl.col("tried", "missed", "tried_at_work", "missed_at_work").sum(),
    )
    whole = lines.with_columns(
        slot=pl.lit(0, slots.schema["slot"]), mat=pl.lit(None, pl.String), cable=pl.lit(None, pl.String)
    )
    return pl.concat([slots, whole.select(slots.columns)])


def compare_covers(factor: float, seed: int) -> Compared:
    """Mats covered on half of the lines of each event, as it happens."""
    slots, rng = _season(seed)
    covered = slots.select("event", "line").unique(maintain_order=True)
    drawn = covered.with_columns(new=pl.Series(rng.random(covered.height) < 0.5))
    slots = slots.join(drawn, on=["event", "line"], validate="m:1", maintain_order="left")
    cells = _thinned(slots, slots["new"].to_numpy(), factor, rng).with_columns(covers="new").drop("new")
    return _of(compare_habits(_with_lines(cells)), factor)


def compare_two_tags(factor: float, seed: int) -> Compared:
    """Two tags for each runner at half of the events, as it happens."""
    slots, rng = _season(seed)
    events = slots["event"].unique(maintain_order=True)
    twice = rng.permutation(events.to_list())[: len(events) // 2]
    slots = slots.with_columns(two_tags=pl.col("event").is_in(twice))
    return _of(
        compare_habits(_with_lines(_thinned(slots, slots["two_tags"].to_numpy(), factor, rng))), factor
    )


def compare_years(factor: float, seed: int) -> Compared:
    """The second half of the events against the first."""
    slots, rng = _season(seed)
    events = slots["event"].unique().sort()
    later = slots["event"].is_in(events[len(events) // 2 :].to_list())
    cells = _with_lines(_thinned(slots, later.to_numpy(), factor, rng))
    new = pl.col("event").is_in(events[len(events) // 2 :].to_list())
    return _of(compare_seasons(cells.filter(~new), cells.filter(new)), factor)


def compare_two_models(factor: float, seed: int) -> Compared:
    """Half of the mats are of model A, and differ as mats of one model do."""
    slots, rng = _season(seed)
    mats = slots["mat"].unique().sort().to_list()
    first = set(rng.permutation(mats)[: len(mats) // 2].tolist())
    register = EQUIPMENT.shape_rows(
        [{"item": mat, "kind": "mat", "model": "A" if mat in first else "B"} for mat in mats]
    )
    cells = _thinned(slots, slots["mat"].is_in(list(first)).to_numpy(), factor, rng)
    return _of(compare_models(_with_lines(cells), register), factor)


COMPARE: dict[str, Callable[[float, int], Compared]] = {
    "habit of a line, within events": compare_covers,
    "habit of a day, within lines": compare_two_tags,
    "half of the season against half": compare_years,
    "model of mat against model": compare_two_models,
}


def _season(seed: int) -> tuple[pl.DataFrame, np.random.Generator]:
    cells = simulate_cells(replace(SEASON), seed).cells
    return cells.filter(pl.col("slot") > 0), np.random.default_rng(seed)


def _of(rows: pl.DataFrame, factor: float) -> Compared:
    row = rows.row(0, named=True)
    return Compared(factor, row["low"], row["high"], row["verdict"])
