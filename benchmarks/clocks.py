"""How well clocks are measured, and how often a wrong distance is taken for a wrong clock.

    python benchmarks/clocks.py --events 200 --seed 20261125

Far clocks (hours, half days, dates) at any line of events with two lines and with one at each point; offsets of 1.5 to 60 s at
one of two lines, the stated spacing off by half a metre; two lines ten metres further apart than stated
against a clock three seconds off; a point ten metres from its stated place against the same, one line at each of nine
points and 5,000 runners.
"""

from __future__ import annotations

import argparse
import dataclasses
from collections import Counter
from typing import Any

import numpy as np

from lineproof.clock_faults import estimate_clock_faults
from lineproof.crossings import merge_passings
from lineproof.event import Event
from lineproof.passings import to_passings
from lineproof.setup_tables import LAID_LINES
from lineproof.simulate import Clock, EventPlan, clean_plan, simulate_event, to_event, with_line

FAR = {-3600.0: "zone", 3600.0: "zone", 43_200.0: "half day", -86_400.0: "date", 86_400.0: "date"}


def clock_rows(plan: EventPlan, seed: int, event: Event | None = None) -> dict[str, dict[str, Any]]:
    sim = simulate_event(plan, seed)
    stated = event or sim.event
    merge = merge_passings(to_passings(sim.reads.lazy(), stated), sim.entries, sim.tags, stated)
    found = estimate_clock_faults(merge.held, merge.set_aside, stated, LAID_LINES.empty(), {})
    return {row["line"]: row for row in found.iter_rows(named=True)}


def with_spacing(event: Event, line: str, metres: float) -> Event:
    lines = (dataclasses.replace(x, spacing_m=metres) if x.id == line else x for x in event.lines)
    return dataclasses.replace(event, lines=tuple(lines))


def with_place(event: Event, order: int, metres: float) -> Event:
    """The stated distance of one visit made longer by ``metres``."""
    (course,) = event.courses
    visits = (dataclasses.replace(v, at_m=v.at_m + metres * (v.order == order)) for v in course.visits)
    return dataclasses.replace(event, courses=(dataclasses.replace(course, visits=tuple(visits)),))


def study_far(seeds: list[int], rng: np.random.Generator) -> None:
    for name, lines in (("two lines", (0.99, 0.985)), ("one line", (0.985,))):
        right = false = 0
        for seed in seeds:
            plan = clean_plan(int(rng.integers(300, 1500)), line_rate=lines)
            line = str(rng.choice([each.id for point in plan.points for each in point.lines]))
            offset = float(rng.choice(list(FAR)))
            rows = clock_rows(with_line(plan, line, clock=Clock(offset)), seed)
            right += rows[line]["looks_like"] == FAR[offset] and rows[line]["correction_us"] == -offset * 1e6
            false += any(
                row["looks_like"] not in ("sound", "cannot tell") for x, row in rows.items() if x != line
            )
        print(
            f"far clocks, {name}: named and corrected exactly {right} of {len(seeds)}; another line blamed in {false}",
            flush=True,
        )


def called_as(row: dict[str, Any]) -> str:
    """What a line's trouble is called; that it is a clock, though not which of the two lines', is told by the reason."""
    differ = str(row["reason"] or "").startswith("the clocks of the two lines differ")
    return (
        "a clock, which of the two is open"
        if row["looks_like"] == "cannot tell" and differ
        else row["looks_like"]
    )


def study_offsets(seeds: list[int], rng: np.random.Generator) -> None:
    words: Counter[str] = Counter()
    inside = limit = told = 0
    for seed in seeds:
        plan = clean_plan(int(rng.integers(500, 2000)))
        line = str(rng.choice(["p1-main", "p2-backup", "p3-main", "f-backup"]))
        offset = float(rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(1.5), np.log(60))))
        backup = line.replace("main", "backup")
        event = with_spacing(to_event(plan), backup, float(3 + 0.5 * rng.standard_normal()))
        row = clock_rows(with_line(plan, line, clock=Clock(offset)), seed, event)[line]
        words[called_as(row)] += 1
        if row["offset_us"] is not None and row["looks_like"] != "sound":
            told += 1
            error, doubt = abs(row["offset_us"] / 1e6 - offset), row["offset_se_us"] / 1e6
            inside += error <= 1.96 * doubt
            limit += error <= max(0.05, 2.5 * doubt)
    print(
        f"offsets of 1.5 to 60 s at one of two lines: {dict(words)}; of {told} measured {inside} within 1.96 standard errors, {limit} within the limit",
        flush=True,
    )


def study_distances(seeds: list[int], rng: np.random.Generator) -> None:
    """What a moved line and a wrong clock are called, by two lines and by stretches."""
    called: dict[str, Counter[str]] = {
        name: Counter() for name in ("spacing", "clock, two lines", "place", "clock, one line")
    }
    wide = clean_plan(5000, 9, line_rate=(0.985,), flow_per_s=12)
    for seed in seeds:
        plan, sign = clean_plan(int(rng.integers(500, 1500))), float(rng.choice([-1, 1]))
        moved = with_spacing(to_event(plan), "p2-backup", 13.0)
        called["spacing"][called_as(clock_rows(plan, seed, moved)["p2-backup"])] += 1
        clock = clock_rows(with_line(plan, "p2-backup", clock=Clock(3 * sign)), seed)["p2-backup"]
        called["clock, two lines"][called_as(clock)] += 1
        order = int(rng.integers(2, 7))
        place = clock_rows(wide, seed, with_place(to_event(wide), order, 10 * sign))
        called["place"][called_as(place[f"p{order}-main"])] += 1
        late = clock_rows(with_line(wide, f"p{order}-main", clock=Clock(3 * sign)), seed)
        called["clock, one line"][called_as(late[f"p{order}-main"])] += 1
    for name, words in called.items():
        print(f"{name}: {dict(words)}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--events", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20261125)
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    seeds = [int(s) for s in np.random.SeedSequence(args.seed).generate_state(args.events)]
    print(f"{args.events} events of each kind, seed {args.seed}", flush=True)
    study_far(seeds, rng)
    study_offsets(seeds, rng)
    study_distances(seeds, rng)


if __name__ == "__main__":
    main()
