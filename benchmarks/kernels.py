"""Reads to passings to crossings to counts: ours beside DuckDB SQL, pandas and plain polars, on one file, in one run.

    python benchmarks/kernels.py                       sizes 1, 4, 16 and 64 million reads
    python benchmarks/kernels.py --millions 20.8 --turns 5

Needs the extra ``bench``.  Every measurement is a process of its own, with the peak memory of that process; the
engines take turns, so that another program that runs beside them slows all alike, and the best turn of each counts.
All must find the same numbers.  The work: reads of a tag at a line less than 10 s apart are a passing, with its first,
strongest and last time, its number of reads and its strongest antenna; passings of a tag at a point less than
30 s apart are a crossing; for every point, the crossings and how many of them each line read.
"""

from __future__ import annotations

import argparse
import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

ENGINES = ("scan", "ours", "polars", "duckdb", "pandas")
# pandas holds every read several times over: beyond this it is left out, and said to be.
MOST_FOR_PANDAS = 16e6
TURN = """
import json, resource, sys, time
sys.path.insert(0, sys.argv[3])
import kernel_engines
work = kernel_engines.prepared(sys.argv[1])
cpu, wall = time.process_time(), time.perf_counter()
counts = work(sys.argv[2])
took = {"wall": time.perf_counter() - wall, "cpu": time.process_time() - cpu}
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
print(json.dumps({**took, "gib": peak, "counts": counts}))
"""


def measured(engine: str, file: Path) -> dict[str, Any]:
    words = [sys.executable, "-c", TURN, engine, str(file), str(Path(__file__).parent)]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode:
        return {
            "failed": done.stderr.strip().splitlines()[-1] if done.stderr else f"signal {-done.returncode}"
        }
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def compare(file: Path, engines: list[str], turns: int) -> dict[str, dict[str, Any]]:
    """The best turn of each engine; fails where two engines count differently."""
    tried: dict[str, list[dict[str, Any]]] = {engine: [] for engine in engines}
    for _ in range(turns):
        for engine in engines:
            tried[engine].append(measured(engine, file))
    best = {}
    for engine, runs in tried.items():
        sound = [run for run in runs if "failed" not in run]
        best[engine] = min(sound, key=lambda run: run["wall"]) if sound else runs[0]
    counts = {json.dumps(best[e]["counts"]) for e in engines if e != "scan" and "failed" not in best[e]}
    if len(counts) != 1:
        raise SystemExit(f"the engines count differently: {counts}")
    return best


def say(reads: int, best: dict[str, dict[str, Any]]) -> None:
    scan, ours = best["scan"], best["ours"]
    print(f"{reads:,} reads; ours takes {ours['wall'] / scan['wall']:.1f} bare scans of the file")
    for engine, run in best.items():
        if "failed" in run:
            print(f"  {engine:8} not done: {run['failed']}")
            continue
        print(
            f"  {engine:8} {run['wall']:7.2f} s wall {run['cpu']:7.2f} s cpu {run['gib']:5.2f} GiB, "
            f"{run['wall'] / ours['wall']:5.1f} times ours"
        )
    sys.stdout.flush()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--millions", type=float, nargs="+", default=[1, 4, 16, 64])
    parser.add_argument("--turns", type=int, default=3)
    parser.add_argument("--engines", nargs="+", choices=ENGINES, default=list(ENGINES))
    parser.add_argument("--files", type=Path, help="where the files of reads are left for another run")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="lineproof-bench-") as scratch:
        folder = asked.files or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        before: tuple[int, float] | None = None
        for millions in asked.millions:
            file = folder / f"reads-{millions:g}.parquet"
            made = [
                sys.executable,
                str(Path(__file__).with_name("kernel_engines.py")),
                str(file),
                str(millions),
            ]
            reads = int(subprocess.run(made, capture_output=True, text=True, check=True).stdout)
            engines = [e for e in asked.engines if e != "pandas" or reads <= MOST_FOR_PANDAS * 1.1]
            best = compare(file, engines, asked.turns)
            say(reads, best)
            cpu = best["ours"]["cpu"]
            if before:
                growth = math.log(cpu / before[1]) / math.log(reads / before[0])
                print(f"  growth of ours: {growth:.2f} (1 is linear)")
            before = reads, cpu


if __name__ == "__main__":
    main()
