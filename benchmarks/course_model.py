"""Calibration of the course model on simulated events: bias, coverage, refusal, and its speed.

    python benchmarks/course_model.py --events 500 --record events.jsonl     all scenarios (hours)
    python benchmarks/course_model.py --events 0 --record events.jsonl       the table of what is recorded
    python benchmarks/course_model.py --events 50 --scenario rain
    python benchmarks/course_model.py --speed                  200,000 runners, twelve lines

Each event is simulated from causes, cleaned as a review would clean it, and its course model (with interruptions
masked and crowds in strata, as in a review) is compared with what truly happened.  The independence formula stands
beside it.  The seeds are ``--seed``, ``--seed`` + 1 and so on, all scenarios of one seed before the next.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import polars as pl

from lineproof.crossings import merge_passings
from lineproof.detection.course_model import (
    CourseModelResult,
    estimate_course_model,
    to_course_histories,
    to_flow_strata,
)
from lineproof.detection.course_model.estimate import FAMILIES, fit_family
from lineproof.detection.course_model.histories import Occasion, compress
from lineproof.detection.course_model.outcomes import MISSED, READ, to_outcome
from lineproof.detection.proofs import to_proofs
from lineproof.interruptions import estimate_interruptions, to_masks
from lineproof.passings import to_passings
from lineproof.simulate import MUST_ANSWER, MUST_REFUSE, EventPlan, clean_plan, simulate_event

FILL_IN = "fill-in feed"
SAME_PLAN = "weak tags 0.15 %"  # as "good lines"
SCENARIOS = [name for name in (*MUST_ANSWER, *MUST_REFUSE, FILL_IN) if name != SAME_PLAN]
FEW = 5.0  # expected misses: below, whole numbers make an interval cover more than it says


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
    histories = to_course_histories(proofs, event, "c", masks, to_flow_strata(proofs, "c"))
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


@dataclass(frozen=True, slots=True)
class Record:
    """One event in figures, by point; NaN where refused."""

    scenario: str
    seed: int
    true: list[float]
    found: list[float]
    low: list[float]
    high: list[float]
    unrelated: list[float]
    chance_told: bool
    seconds: float


def record(name: str, runners: int, seed: int) -> Record:
    begin = time.process_time()
    outcome = study(name, runners, seed)
    points = outcome.result.points
    return Record(
        name,
        seed,
        outcome.missed.tolist(),
        outcome.estimated().tolist(),
        [p.missed + p.hidden_low for p in points],
        [p.missed + p.hidden_high for p in points],
        [p.independence for p in points],
        points[-1].miss_chance_reason is None,
        time.process_time() - begin,
    )


def to_table(records: Sequence[Record]) -> list[str]:
    """Lines of a Markdown table, one for each scenario, and what is pooled over those that must be answered."""
    lines = [
        "| scenario | events | finish refused | capability open | finish: true misses | in range | width | bias | independence | splits: true misses | in range | width | bias | independence |",
        "| --- | " + " | ".join(["---:"] * 13) + " |",
    ]
    for name in SCENARIOS:
        mine = [r for r in records if r.scenario == name]
        if mine:
            open_ended = np.mean([not r.chance_told for r in mine])
            refused = np.mean([np.isnan(r.found[-1]) for r in mine])
            cells = [name, str(len(mine)), f"{refused:.3f}", f"{open_ended:.3f}"]
            for place in (slice(-1, None), slice(None, -1)):
                cells += _judged(mine, place)
            lines.append("| " + " | ".join(cells) + " |")
    return [*lines, "", *_pooled([r for r in records if r.scenario in MUST_ANSWER])]


def _points(records: Sequence[Record], place: slice) -> np.ndarray:
    """(true, found, low, high, unrelated) of every answered point."""
    rows = [
        row
        for r in records
        for row in zip(
            *(values[place] for values in (r.true, r.found, r.low, r.high, r.unrelated)), strict=True
        )
    ]
    table = np.array(rows).reshape(-1, 5)
    return table[~np.isnan(table[:, 1])]


def _judged(records: Sequence[Record], place: slice) -> list[str]:
    told = _points(records, place)
    if not len(told):
        return [""] * 5
    true, found, low, high, unrelated = told.T
    inside = float(((low <= true) & (true <= high)).mean())
    shown = [f"{true.mean():.2f}", f"{inside:.3f}", f"{(high - low).mean():.1f}"]
    for numbers in (found, unrelated):
        whole = true.sum() and not np.isnan(numbers).any()
        shown.append(f"{100 * (numbers.sum() / true.sum() - 1):+.0f} %" if whole else "")
    return shown


def _pooled(records: Sequence[Record]) -> list[str]:
    """The finishes of the scenarios that must be answered: nothing comes later, so that all misses are hidden."""
    told = _points(records, slice(-1, None))
    if not len(told):
        return []
    true, found, low, high, _ = told.T
    inside = (low <= true) & (true <= high)
    many = found >= FEW
    return [
        f"Must answer, finish, {words} expected misses: {int(of.sum())} ranges, {100 * inside[of].mean():.1f} % hold the "
        f"truth, mean width {(high - low)[of].mean():.1f}"
        for words, of in (("five and more", many), ("under five", ~many))
        if of.any()
    ]


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
    """Processor seconds for compression, for fitting both families, and for all that is said of them."""
    occasions, outcome = many_runners(runners)
    begin = time.process_time()
    histories = compress(occasions, outcome, np.zeros_like(outcome))
    middle = time.process_time()
    first = fit_family(histories, FAMILIES[0])
    fit_family(histories, FAMILIES[1], after=first)
    fitted = time.process_time()
    estimate_course_model(histories)
    return {
        "histories": float(len(histories.count)),
        "compress_s": middle - begin,
        "fit_s": fitted - middle,
        "all_s": time.process_time() - fitted,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--events", type=int, default=20)
    parser.add_argument("--runners", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--scenario", action="append", choices=SCENARIOS)
    parser.add_argument("--record", type=Path, help="file to which events are added, and the table made from")
    parser.add_argument("--speed", action="store_true")
    asked = parser.parse_args()
    if asked.speed:
        for runners in (20_000, 200_000):
            print(runners, measure_speed(runners))
        return
    records = load_records(asked.record)
    for seed in range(asked.seed, asked.seed + asked.events):
        for name in asked.scenario or SCENARIOS:
            records.append(record(name, asked.runners, seed))
            if asked.record:
                with asked.record.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(records[-1])) + "\n")
    print("\n".join(to_table(records)))


def load_records(path: Path | None) -> list[Record]:
    if path is None or not path.exists():
        return []
    return [Record(**json.loads(line)) for line in path.read_text(encoding="utf-8").splitlines()]


if __name__ == "__main__":
    main()
