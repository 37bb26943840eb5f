"""How often interruptions are found where there are none, and how well where there are some.

    python benchmarks/interruptions.py --events 500 --runners 3000 --seed 20260517

Sound scenarios: share of events in which any interruption is reported, and by how much the miss rate of the
lines changes when reported interruptions are left out.  Planted ones: share found with the right line
and kind, false ones beside, and how far begin and end lie from the truth.
"""

from __future__ import annotations

import argparse
import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineproof.crossings import merge_passings
from lineproof.detection.proofs import to_proofs
from lineproof.event import Event
from lineproof.interruptions import estimate_interruptions, without_interruptions
from lineproof.passings import to_passings
from lineproof.simulate import (
    MUST_ANSWER,
    MUST_REFUSE,
    EventPlan,
    MatFault,
    Silence,
    clean_plan,
    simulate_event,
    with_line,
)

FOREVER = 1e9


def half_lost(runners: int) -> EventPlan:
    """Two of five mats dead on one line from the middle of its day on."""
    faults = tuple(MatFault(mat, np.inf, 1700.0) for mat in (1, 2))
    return with_line(clean_plan(runners), "p2-main", mat_faults=faults)


def weak_all_day(runners: int) -> EventPlan:
    return with_line(clean_plan(runners), "p2-main", rate=0.5)


SOUND: dict[str, Callable[[int], EventPlan]] = {
    **{
        name: plan for name, plan in MUST_ANSWER.items() if name not in ("outage of one line", "lifted early")
    },
    "one line per point": MUST_REFUSE["one line per point"],
    "line of 0.5 all day": weak_all_day,
    "two of five mats lost": half_lost,
}


@dataclass(frozen=True, slots=True)
class Planted:
    """Lines silent from ``begin_s`` to ``end_s`` since the first gun; ``line`` None: both of the point."""

    plan: EventPlan
    point: str
    line: str | None
    kind: str
    begin_s: float
    end_s: float


def plant(kind: str, runners: int, rng: np.random.Generator) -> Planted:
    """One interruption of the kind at p2 (or p3), of 1 to 8 minutes, at a time when the field is there."""
    plan = clean_plan(runners)
    begin = float(rng.uniform(1400, 2400))
    length = float(rng.uniform(60, 480))
    if kind == "both lines":
        silence = (Silence(begin, begin + length),)
        both = with_line(with_line(plan, "p2-main", silences=silence), "p2-backup", silences=silence)
        return Planted(both, "p2", None, kind, begin, begin + length)
    line = str(rng.choice(["p2-main", "p2-backup"]))
    if kind == "laid late":
        begin, end = -FOREVER, float(rng.uniform(1250, 1600))
    elif kind == "lifted early":
        begin, end = float(rng.uniform(2300, 2900)), FOREVER
    else:
        end = begin + length
    return Planted(with_line(plan, line, silences=(Silence(begin, end),)), "p2", line, kind, begin, end)


def proofs_of(plan: EventPlan, seed: int) -> tuple[pl.DataFrame, Event]:
    simulated = simulate_event(plan, seed)
    event = simulated.event
    passings = to_passings(simulated.reads.lazy(), event)
    crossings = merge_passings(passings, simulated.entries, simulated.tags, event).crossings
    return to_proofs(crossings, simulated.entries, event), event


def line_misses(proofs: pl.DataFrame) -> float:
    """Share of line crossings missed, of the runners read later."""
    later = proofs.filter("seen_later")
    flags = pl.concat([later["seen_main"].drop_nulls(), later["seen_backup"].drop_nulls()])
    return 1 - float(flags.mean())  # type: ignore[arg-type]


def study_sound(make: Callable[[int], EventPlan], runners: int, seeds: list[int]) -> tuple[int, float]:
    """Events with any interruption, and the largest relative change of the lines' miss rate."""
    hit, change = 0, 0.0
    for seed in seeds:
        proofs, event = proofs_of(make(runners), seed)
        found = estimate_interruptions(proofs, event)
        if found.height:
            hit += 1
            before = line_misses(proofs)
            after = line_misses(without_interruptions(proofs, found, event))
            change = max(change, abs(after - before) / before)
    return hit, change


def study_planted(kind: str, runners: int, seeds: list[int]) -> tuple[int, int, list[float]]:
    """Found right, false ones beside, and errors of begin and end in seconds beyond the reads around them."""
    right, beside, errors = 0, 0, []
    for seed in seeds:
        planted = plant(kind, runners, np.random.default_rng(seed))
        proofs, event = proofs_of(planted.plan, seed)
        found = estimate_interruptions(proofs, event)
        hits = found.filter(point=planted.point, kind=kind).filter(
            pl.col("line").eq_missing(pl.lit(planted.line))
        )
        right += hits.height == 1
        beside += found.height - min(hits.height, 1)
        if hits.height == 1:
            errors += _errors(hits.row(0, named=True), planted)
    return right, beside, errors


def _errors(row: dict[str, object], planted: Planted) -> list[float]:
    """How far the truth lies outside of [last read before, first missed] and [last missed, first read after]."""
    gun = planted.plan.gun
    spans = [
        (planted.begin_s, row["read_before"], row["begin"]),
        (planted.end_s, row["end"], row["read_after"]),
    ]
    errors = []
    for truth, low, high in spans:
        if abs(truth) < FOREVER and isinstance(low, dt.datetime) and isinstance(high, dt.datetime):
            early, late = ((instant - gun).total_seconds() for instant in (low, high))
            errors.append(max(early - truth, truth - late, 0.0))
    return errors


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--events", type=int, default=500)
    parser.add_argument("--runners", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=20260517)
    args = parser.parse_args()
    seeds = [int(s) for s in np.random.SeedSequence(args.seed).generate_state(args.events)]
    print(f"{args.events} events of {args.runners} runners for each scenario, seed {args.seed}")
    for name, make in SOUND.items():
        hit, change = study_sound(make, args.runners, seeds)
        print(
            f"sound: {name:24s} interruption reported in {hit} events; miss rate changed by at most {change:.2%}",
            flush=True,
        )
    for kind in ("outage", "laid late", "lifted early", "both lines"):
        right, beside, errors = study_planted(kind, args.runners, seeds)
        worst = f"{np.quantile(errors, 0.99):.1f} s" if errors else "not measured"
        print(
            f"planted: {kind:13s} found right in {right}, {beside} others reported; 99 % of edges within {worst}",
            flush=True,
        )


if __name__ == "__main__":
    main()
