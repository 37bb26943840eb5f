"""How often faults of the set-up are found and named right, and how often a sound event is given one.

    python benchmarks/diagnosis.py --faulty 300 --clean 500 --seed 20261125 --workers 2

Faulty events have one to four planted faults of one to ten kinds; half of them have a set-up record.  A fault is *sure*
where an oracle that knows line, place and time would find it in 99 of 100 such events.  Printed: by cause the faults planted,
sure, found, named right and with the right antenna; the size at which faults are found; findings in clean
events; findings in faulty events that name nothing planted.

The comparison of the mats is fitted at points where the plain counts make a place suspicious, as nothing else of it is used.
"""

from __future__ import annotations

import argparse
import datetime as dt
import itertools
import multiprocessing
import time
from collections import Counter
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineproof.crossings import merge_passings
from lineproof.detection.lateral_place import estimate_mats
from lineproof.detection.proofs import to_proofs
from lineproof.diagnosis import Diagnosis, Evidence, estimate_diagnosis
from lineproof.diagnosis.antennas import count_mats, suspicious_places, to_across
from lineproof.diagnosis.tries import to_tries
from lineproof.interruptions import estimate_interruptions
from lineproof.passings import to_passings
from lineproof.simulate.oracle import expected_excess, is_sure
from lineproof.simulate.running import SimulatedEvent, simulate_event
from lineproof.simulate.setup_faults import (
    FaultyPlan,
    SetupFault,
    draw_clean,
    draw_faulty,
    to_record,
)
from lineproof.tables import MATS
from lineproof.unseen import estimate_unseen
from lineproof.unseen_tables import WEAK_TAGS
from lineproof.vocabulary import Cause

SIZES = (0, 5, 10, 20, 40, 80, 1e9)  # misses more than usual


@dataclass(frozen=True, slots=True)
class Told:
    """What became of one planted fault."""

    cause: str
    sure: bool
    excess: float
    found: bool  # a finding at the place and time
    named: bool  # of the right cause
    antenna: bool | None  # the right one; None: it has none


@dataclass(frozen=True, slots=True)
class Outcome:
    clean: bool
    faults: list[Told]
    beside: list[str]  # findings that name nothing planted
    says: str
    seconds: float


def diagnose(sim: SimulatedEvent, faulty: FaultyPlan | None, tags: bool) -> Diagnosis:
    """The diagnosis of a simulated event; ``tags``: with each runner's chance of a weak tag."""
    event = sim.event
    passings = to_passings(sim.reads.lazy(), event)
    crossings = merge_passings(passings, sim.entries, sim.tags, event).crossings
    proofs = to_proofs(crossings, sim.entries, event)
    interruptions = estimate_interruptions(proofs, event)
    weak = (
        estimate_unseen(proofs, interruptions, sim.entries, sim.tags, event).tags
        if tags
        else WEAK_TAGS.empty()
    )
    record = {} if faulty is None else dict(zip(("laid_lines", "laid_mats"), to_record(faulty), strict=True))
    evidence = Evidence(
        proofs=proofs,
        crossings=crossings,
        passings=passings,
        interruptions=interruptions,
        mats=_mats_where_asked(proofs, crossings, sim),
        weak_tags=weak,
        **record,
    )
    return estimate_diagnosis(evidence, event)


def _mats_where_asked(proofs: pl.DataFrame, crossings: pl.DataFrame, sim: SimulatedEvent) -> pl.DataFrame:
    """MATS of the points where the plain counts make any place suspicious."""
    event = sim.event
    tries = to_tries(proofs, crossings, WEAK_TAGS.empty(), event)
    nothing = pl.DataFrame(schema={"line": pl.String, "port": pl.Int16})
    asked = set()
    for line in event.lines:
        across = to_across(line, tries, tries.camera, count_mats(line, tries, nothing))
        if across is not None and suspicious_places(across, set()):
            asked.add(line.point)
    if not asked:
        return MATS.empty()
    fitted = estimate_mats(crossings.filter(pl.col("point").is_in(sorted(asked))), event)
    return fitted.filter(pl.col("point").is_in(sorted(asked)))


def study(task: tuple[int, bool, bool]) -> Outcome:
    """One event: (seed, clean, with tags)."""
    seed, clean, tags = task
    began = time.perf_counter()
    rng = np.random.default_rng(seed)
    faulty = None if clean else draw_faulty(rng)
    sim = simulate_event(draw_clean(rng) if faulty is None else faulty.plan, seed)
    found = diagnose(sim, faulty, tags).findings
    planted = () if faulty is None else faulty.faults
    told, used = [], set()
    for fault in planted:
        hits = _at_place(fault, found, sim)
        named = hits.filter(pl.col("cause") == fault.cause.value)
        used |= set(hits["finding"])
        told.append(_told(fault, sim, hits, named))
    beside = found.filter(~pl.col("finding").is_in(sorted(used)))
    # Every event of the clean kind may have some truly weak tags.
    if sim.truth.tags.filter(quality="weak").height:
        beside = beside.filter(pl.col("cause") != Cause.WEAK_TAG.value)
    says = "; ".join(f"{f.cause.value} {f.line or f.point} {f.antenna} {f.size:.2f}" for f in planted)
    says += " -> " + "; ".join(
        f"{r['cause']} {r['line'] or r['point']} {r['antenna']}" for r in found.iter_rows(named=True)
    )
    return Outcome(
        clean, told, beside["cause"].to_list(), f"seed {seed}: {says}", time.perf_counter() - began
    )


def _at_place(fault: SetupFault, found: pl.DataFrame, sim: SimulatedEvent) -> pl.DataFrame:
    """Findings at the fault's line (or point) and time."""
    gun = sim.plan.gun.astimezone(dt.UTC)
    begin, end = (
        gun + dt.timedelta(seconds=float(np.clip(s, -1e6, 1e6))) for s in (fault.begin_s, fault.end_s)
    )
    here = found.filter(pl.col("point").eq_missing(pl.lit(fault.point)))
    if fault.line is not None:
        here = here.filter(pl.col("line").is_null() | (pl.col("line") == fault.line))
    late = pl.col("begin").is_null() | (pl.col("begin") <= end)
    early = pl.col("end").is_null() | (pl.col("end") >= begin)
    return here.filter(late, early)


def _told(fault: SetupFault, sim: SimulatedEvent, hits: pl.DataFrame, named: pl.DataFrame) -> Told:
    antenna = None
    if fault.cause in (Cause.SILENT_ANTENNA, Cause.WEAK_ANTENNA):
        antenna = bool((named["antenna"] == fault.antenna).any())
    return Told(
        cause=fault.cause.value,
        sure=is_sure(fault, sim),
        excess=expected_excess(fault, sim),
        found=hits.height > 0,
        named=named.height > 0,
        antenna=antenna,
    )


def run(tasks: list[tuple[int, bool, bool]], workers: int, until: float) -> list[Outcome]:
    """Outcomes of the tasks in order, as many as are done by ``until`` (monotonic seconds)."""
    outcomes: list[Outcome] = []
    with multiprocessing.get_context("spawn").Pool(workers) as pool:
        for outcome in pool.imap(study, tasks, chunksize=1):
            outcomes.append(outcome)
            if time.monotonic() > until:
                break
    return outcomes


def report(outcomes: list[Outcome]) -> None:
    told = [fault for outcome in outcomes for fault in outcome.faults]
    print("\ncause, planted, sure, found and named of the sure, antenna right of those, named of the unsure")
    for cause in [*Cause, None]:
        mine = [t for t in told if cause is None or t.cause == cause.value]
        sure = [t for t in mine if t.sure]
        with_antenna = [t for t in sure if t.named and t.antenna is not None]
        right = sum(bool(t.antenna) for t in with_antenna)
        unsure = [t for t in mine if not t.sure]
        print(
            f"{cause.value if cause else 'all':28s} {len(mine):5d} {len(sure):5d}  {sum(t.named for t in sure):5d} "
            f"({_share(sum(t.named for t in sure), len(sure))})  place only {sum(t.found for t in sure):5d}  antenna {right} of "
            f"{len(with_antenna)}  unsure {sum(t.named for t in unsure)} of {len(unsure)}"
        )
    print("\nmisses more than usual that the fault makes: found and named (line patterns and antennas)")
    for low, high in itertools.pairwise(SIZES):
        mine = [t for t in told if low <= t.excess < high]
        print(f"{low:6.0f} to {high:6.0f}: {sum(t.named for t in mine)} of {len(mine)}")
    clean = [outcome for outcome in outcomes if outcome.clean]
    false = [outcome for outcome in clean if outcome.beside]
    print(
        f"\nclean events with a false finding: {len(false)} of {len(clean)} {Counter(c for o in false for c in o.beside)}"
    )
    beside = [outcome for outcome in outcomes if not outcome.clean and outcome.beside]
    print(
        f"faulty events with a finding that names nothing planted: {len(beside)} {Counter(c for o in beside for c in o.beside)}"
    )
    print(f"seconds per event: {np.mean([o.seconds for o in outcomes]):.2f}")


def _share(part: int, whole: int) -> str:
    return f"{part / whole:.1%}" if whole else "-"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--faulty", type=int, default=300)
    parser.add_argument("--clean", type=int, default=500)
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument(
        "--minutes", type=float, default=float("inf"), help="stop after so many, and report what is done"
    )
    parser.add_argument(
        "--tags", action="store_true", help="with each runner's chance of a weak tag, which takes longer"
    )
    parser.add_argument("--verbose", action="store_true")
    args = parser.parse_args()
    seeds = [int(s) for s in np.random.SeedSequence(args.seed).generate_state(args.faulty + args.clean)]
    tasks = [(seed, i >= args.faulty, args.tags) for i, seed in enumerate(seeds)]
    # Mixed, so that a study stopped early has run both kinds in proportion.
    tasks = [tasks[i] for i in np.random.default_rng(args.seed).permutation(len(tasks))]
    print(f"{args.faulty} faulty and {args.clean} clean events, seed {args.seed}", flush=True)
    outcomes = run(tasks, args.workers, time.monotonic() + 60 * args.minutes)
    print(
        f"{sum(not o.clean for o in outcomes)} faulty and {sum(o.clean for o in outcomes)} clean events were run"
    )
    if args.verbose:
        for outcome in outcomes:
            lost = [t for t in outcome.faults if t.sure and not (t.named and t.antenna is not False)]
            if lost or outcome.beside:
                print(
                    outcome.says, "LOST", [(t.cause, round(t.excess)) for t in lost], "BESIDE", outcome.beside
                )
    report(outcomes)


if __name__ == "__main__":
    main()
