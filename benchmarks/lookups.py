"""Do look-up windows hold, does the ranked list find most in its first half, and does the audit's interval hold?

    python benchmarks/lookups.py --events 500                     all scenarios
    python benchmarks/lookups.py --events 50 --scenario rain

Each event is simulated from causes, cleaned as a review would clean it, and looked up on a camera that shows everybody
(``tests/simulation/looked_up.py``).  Seeds count on from ``--seed``, 10,000 further for each scenario.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
import polars as pl

from lineproof.simulate import MUST_ANSWER, MUST_REFUSE

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from simulation.looked_up import audited, found_in_first_half, looked_up

PLANS = {**MUST_ANSWER, **MUST_REFUSE}


def study(name: str, runners: int, seeds: list[int]) -> tuple[str, pl.DataFrame]:
    frames, found, most, held, told = [], 0, 0, 0, 0
    for seed in seeds:
        looked = looked_up(PLANS[name](runners), seed)
        frames.append(looked.rows)
        here, could = found_in_first_half(looked.rows)
        found, most = found + here, most + could
        audit, truth = audited(looked.clean)
        if audit.low is not None and audit.high is not None:
            told += 1
            held += audit.low <= truth <= audit.high
    rows = pl.concat(frames)
    first = f"{found} of {most}" if most else "nobody to find"
    audits = f"{held} of {told}" if told else "none told"
    return (
        f"{name:30s} {_windows(rows)}; found in first half {first}; {_chances(rows)}; audit held {audits}",
        rows,
    )


def _windows(rows: pl.DataFrame) -> str:
    parts = []
    for proof in ("proven", "unproven"):
        kind = rows.filter(pl.col("proof") == proof, "crossed")
        share = f"{kind['inside'].mean():.3f} of {kind.height}" if kind.height else "none"
        parts.append(f"{proof} windows held {share}")
    return ", ".join(parts)


def _chances(rows: pl.DataFrame) -> str:
    told = rows.filter(pl.col("chance").is_not_null(), pl.col("proof") == "unproven")
    return f"unproven expected {told['chance'].sum():.0f}, crossed {told['crossed'].sum()}, of {told.height}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--events", type=int, default=500)
    parser.add_argument("--runners", type=int, default=2500)
    parser.add_argument("--seed", type=int, default=20260517)
    parser.add_argument("--scenario", choices=sorted(PLANS))
    args = parser.parse_args()
    names = [args.scenario] if args.scenario else list(PLANS)
    print(f"{args.events} events of {args.runners} runners for each scenario, seeds from {args.seed}")
    frames = []
    for name in names:
        # Scenarios of one seed would share their runners, and the luck of these.
        first = args.seed + 10_000 * list(PLANS).index(name)
        seeds = [first + i for i in range(args.events)]
        text, rows = study(name, args.runners, seeds)
        frames.append(rows)
        print(text, flush=True)
    rows = pl.concat(frames)
    print(f"{'together':30s} {_windows(rows)}; {_chances(rows)}")
    told = rows.filter(pl.col("chance").is_not_null(), pl.col("proof") == "unproven")
    for low, high in ((0, 0.1), (0.1, 0.3), (0.3, 0.7), (0.7, 0.9), (0.9, 1.01)):
        part = told.filter(pl.col("chance") >= low, pl.col("chance") < high)
        if part.height:
            share = np.array(part["crossed"], dtype=float).mean()
            print(
                f"chance {low:.1f} to {min(high, 1):.1f}: told {part['chance'].mean():.3f}, crossed {share:.3f} of {part.height}"
            )


if __name__ == "__main__":
    main()
