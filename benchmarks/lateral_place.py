"""How often sound mats are called bad, and whether the intervals of bad ones hold their rates.

    python benchmarks/lateral_place.py --events 500 --runners 3000 --seed 20260517

Runners are drawn over two lines of mats with stated rates (``tests/simulation/crossed_mats.py``).  An "event" here
is one point with its two lines; a mat of rate 1 is bad if called weak or dead.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from lineproof.detection.lateral_place import estimate_point, verdict_of

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from simulation.crossed_mats import Crossed, draw_counts

FIVE, EIGHT = (1.0,) * 5, (1.0,) * 8
PLANS: dict[str, Crossed] = {
    "sound": Crossed(),
    "sound, rain": Crossed(missed=(0.045, 0.045)),
    "sound, hardly a miss": Crossed(missed=(0.001, 0.001)),
    "sound, eight mats": Crossed(main=EIGHT, backup=EIGHT, road=8.0),
    "sound, lines 0.4 apart": Crossed(offset=0.4),
    "sound, narrow reach": Crossed(reach=(0.5, 1.2)),
    "dead mat 0.03": Crossed(main=(1, 1, 0.03, 1, 1)),
    "weak mat 0.7": Crossed(main=(1, 1, 0.7, 1, 1)),
    "weak mat 0.7 at the edge": Crossed(main=(0.7, 1, 1, 1, 1)),
    "weak mat 0.7 of eight": Crossed(main=(1, 1, 1, 1, 1, 0.7, 1, 1), backup=EIGHT, road=8.0),
    "weak mats 0.5 and 0.8": Crossed(main=(1, 0.5, 1, 1, 1), backup=(1, 1, 1, 0.8, 1)),
    "road wider by a mat": Crossed(road=6.0),
}


def study(plan: Crossed, seeds: list[int], confidence: float = 0.95) -> str:
    bad = held = called = truths = wider = refused = 0
    off: list[float] = []
    begin = time.perf_counter()
    for seed in seeds:
        found = estimate_point(draw_counts(plan, seed), confidence)
        if found.reason is not None or found.near is None or found.far is None:
            refused += 1
            continue
        wider += found.near.is_bare or found.far.is_bare
        wrong_here = 0
        for mats, rates, u in (
            (found.main, plan.main, plan.missed[0]),
            (found.backup, plan.backup, plan.missed[1]),
        ):
            for mat, rate in zip(mats, rates, strict=True):
                is_called = verdict_of(mat) in ("weak", "dead")
                if rate < 1:
                    truth = rate * (1 - u)
                    truths += 1
                    called += is_called
                    held += mat.low <= truth <= mat.high
                    off.append(mat.estimate - truth)
                else:
                    wrong_here += is_called
        bad += wrong_here > 0
    each = (time.perf_counter() - begin) / len(seeds)
    text = f"sound mats called bad in {bad} events; road called wider in {wider}; refused {refused}"
    if truths:
        text += (
            f"; bad mats called so {called} of {truths}, interval held {held}, mean error {np.mean(off):+.3f}"
        )
    return f"{text}; {each:.2f} s each"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--events", type=int, default=500)
    parser.add_argument("--runners", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=20260517)
    args = parser.parse_args()
    seeds = [int(s) for s in np.random.SeedSequence(args.seed).generate_state(args.events)]
    print(f"{args.events} events of {args.runners} runners for each plan, seed {args.seed}")
    for name, plan in PLANS.items():
        print(f"{name:26s} {study(replace(plan, runners=args.runners), seeds)}", flush=True)


if __name__ == "__main__":
    main()
