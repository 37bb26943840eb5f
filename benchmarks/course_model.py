"""Calibration of the course model on simulated events: bias, coverage, refusal, and its speed.

    python benchmarks/course_model.py --events 500            all scenarios (hours)
    python benchmarks/course_model.py --events 50 --scenario rain
    python benchmarks/course_model.py --speed                  200,000 runners, twelve lines

Each event is simulated from causes, cleaned as a review would clean it, and its course model is compared with what
truly happened.  The independence formula stands beside it.  The seeds are ``--seed``, ``--seed`` + 1 and so on.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineproof.crossings import merge_passings
from lineproof.detection.course_model import CourseModelResult, estimate_course_model, to_course_histories
from lineproof.detection.course_model.estimate import FAMILIES, fit_family
from lineproof.detection.course_model.histories import Occasion, compress
from lineproof.detection.course_model.outcomes import MISSED, READ, to_outcome
from lineproof.detection.proofs import to_proofs
from lineproof.interruptions import estimate_interruptions, to_masks
from lineproof.passings import to_passings
from lineproof.simulate import MUST_ANSWER, MUST_REFUSE, EventPlan, clean_plan, simulate_event

FILL_IN = "fill-in feed"
COLUMNS = ("scenario", "events", "refused", "capability refused", "finish in range", "range width", "miss rate bias", "independence bias", "finish bias", "finish independence bias", "split in range")  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outcome:
    """One event: arrays by point.  ``missed`` is the true number read by neither line, ``crossed`` of how many."""

    result: CourseModelResult
    missed: np.ndarray
    crossed: np.ndarray

    @property
    def refused(self) -> bool:
        return self.result.reason is not None

    def estimated(self) -> np.ndarray:
        return np.array([p.missed + p.hidden for p in self.result.points])

    def inside(self) -> np.ndarray:
        """By point: the true number of crossings read by neither line lies in the stated range."""
        low = np.array([p.missed + p.hidden_low for p in self.result.points])
        high = np.array([p.missed + p.hidden_high for p in self.result.points])
        return (low <= self.missed) & (self.missed <= high)


def plan_of(name: str, runners: int) -> EventPlan:
    return clean_plan(runners) if name == FILL_IN else (MUST_ANSWER | MUST_REFUSE)[name](runners)


def study(name: str, runners: int, seed: int) -> Outcome:
    """One event of a scenario."""
    return study_plan(plan_of(name, runners), seed, fill_in=name == FILL_IN)


def study_plan(plan: EventPlan, seed: int, *, fill_in: bool = False) -> Outcome:
    """Simulate, clean and estimate one event of one course; ``fill_in`` keeps the backup line where main missed only."""
    simulated = simulate_event(plan, seed)
    event = simulated.event
    passings = to_passings(simulated.reads.lazy(), event)
    crossings = merge_passings(passings, simulated.entries, simulated.tags, event).crossings
    proofs = to_proofs(crossings, simulated.entries, event)
    if fill_in:
        filled = pl.col("seen_backup") & ~pl.col("seen_main")
        proofs = proofs.with_columns(filled.alias("seen_backup"))
    masks = to_masks(proofs, estimate_interruptions(proofs, event), event)
    histories = to_course_histories(proofs, event, "c", masks)
    truth = (
        simulated.truth.crossings.filter("crossed")
        .with_columns(~(pl.col("read_main") | pl.col("read_backup").fill_null(value=False)).alias("missed"))
        .group_by("order")
        .agg(pl.col("missed").sum(), pl.len().alias("crossed"))
        .sort("order")
    )
    return Outcome(
        estimate_course_model(histories, "c"),
        truth["missed"].to_numpy().astype(float),
        truth["crossed"].to_numpy().astype(float),
    )


def summary(name: str, outcomes: list[Outcome]) -> dict[str, object]:
    """One row of the table; biases are relative to the truth, over all answered events."""
    answered = [o for o in outcomes if not o.refused]
    row: dict[str, object] = {
        "scenario": name,
        "events": len(outcomes),
        "refused": sum(o.refused for o in outcomes) / len(outcomes),
        "capability refused": sum(o.result.points[-1].miss_chance_reason is not None for o in outcomes)
        / len(outcomes),
    }
    if not answered:
        return row
    true = np.array([o.missed for o in answered])
    ours = np.array([o.estimated() for o in answered])
    unrelated = np.array([[p.independence for p in o.result.points] for o in answered])
    width = [o.result.points[-1].hidden_high - o.result.points[-1].hidden_low for o in answered]
    inside = np.array([o.inside() for o in answered])
    return row | {
        "finish in range": float(inside[:, -1].mean()),
        "range width": float(np.mean(width)),
        "miss rate bias": _bias(ours[:, :-1], true[:, :-1]),
        "independence bias": _bias(unrelated[:, :-1], true[:, :-1]),
        "finish bias": _bias(ours[:, -1], true[:, -1]),
        "finish independence bias": _bias(unrelated[:, -1], true[:, -1]),
        "split in range": float(inside[:, :-1].mean()),
    }


def _bias(found: np.ndarray, true: np.ndarray) -> float:
    told = ~np.isnan(found)  # a point may be refused where the finish is not
    return float(found[told].sum() / true[told].sum() - 1) if true[told].sum() else float("nan")


def many_runners(
    runners: int = 200_000, points: int = 6, seed: int = 1
) -> tuple[tuple[Occasion, ...], np.ndarray]:
    """Outcomes of two lines at each point, weak tags and runners who stop: (occasions, (runner, point))."""
    rng = np.random.default_rng(seed)
    miss = np.where(rng.random(runners) < 0.01, 0.4, 0.012)
    stopped = np.cumsum(rng.random((runners, points)) < 0.01, axis=1) > 0
    stopped[:, 0] = False
    said = [
        np.where((rng.random((runners, points)) < miss[:, None]) | stopped, MISSED, READ).astype(np.int8)
        for _ in range(2)
    ]
    outcome = to_outcome(*said)
    occasions = tuple(Occasion(f"p{k}", k, ("main", "backup")) for k in range(points))
    return occasions, outcome[(outcome != 0).any(axis=1)]


def measure_speed(runners: int = 200_000) -> dict[str, float]:
    """Seconds for compression and for fitting both families, and the number of distinct histories."""
    occasions, outcome = many_runners(runners)
    begin = time.perf_counter()
    histories = compress(occasions, outcome, np.zeros_like(outcome))
    middle = time.perf_counter()
    for family in FAMILIES:
        fit_family(histories, family)
    return {
        "histories": float(len(histories.count)),
        "compress_s": middle - begin,
        "fit_s": time.perf_counter() - middle,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--events", type=int, default=20)
    parser.add_argument("--runners", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--scenario", action="append")
    parser.add_argument("--speed", action="store_true")
    asked = parser.parse_args()
    if asked.speed:
        for runners in (20_000, 200_000):
            print(runners, measure_speed(runners))
        return
    print("\t".join(COLUMNS), flush=True)
    for name in asked.scenario or [*MUST_ANSWER, *MUST_REFUSE, FILL_IN]:
        seeds = range(asked.seed, asked.seed + asked.events)
        row = summary(name, [study(name, asked.runners, seed) for seed in seeds])
        cells = (row.get(column, "") for column in COLUMNS)
        print("\t".join(f"{c:.3f}" if isinstance(c, float) else str(c) for c in cells), flush=True)


if __name__ == "__main__":
    main()
