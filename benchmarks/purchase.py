"""Are the purchase case's chances right, what does it leave on the table, and does it keep quiet when nothing is wrong?

    python benchmarks/purchase.py --decisions 2000 --seasons 60 --seed 20310901

Seasons of cells with known states (``simulate/season_cells.py``), weighed by ``tests/simulation/purchases.py``.  A decision is
the replacement of one mat or cable at a price drawn between 5 and 600; its truth is the expected saving under the true
rates.  Regret is what the best set under the true rates gains beyond the set that was bought (money of today, habits
as they are).  "All alike" are seasons whose items do not differ at all; "sound" ones differ as sound items do, so that a
cheap cable may truly be worth its price.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from lineproof.replacement.evaluation import Word
from simulation.purchases import SMALL, Bought, Decision, buy_for, calibration_slope, decide_each

DRAWS = 500
PRICES = (5.0, 600.0)
EDGES = (0.05, 0.2, 0.4, 0.6, 0.8, 0.95)
WISHES, BUDGET = 6, 1000.0


def study_chances(decisions: int, seed: int) -> None:
    found: list[Decision] = []
    season = 0
    while len(found) < decisions:
        found += decide_each(seed + season, SMALL, DRAWS, PRICES)
        season += 1
    slope, error, intercept = calibration_slope(found, DRAWS)
    print(
        f"{len(found)} decisions over {season} seasons: slope {slope:.3f} (SE {error:.3f}), intercept {intercept:+.3f}"
    )
    place = np.digitize([d.chance for d in found], EDGES)
    for bin_ in range(len(EDGES) + 1):
        mine = [d for d, at in zip(found, place, strict=True) if at == bin_]
        if mine:
            stated, true = np.mean([d.chance for d in mine]), np.mean([d.truth > 0 for d in mine])
            print(f"  stated {stated:.3f}   truly saved {true:.3f}   of {len(mine)}")


def study_purchases(name: str, bought: Sequence[Bought]) -> None:
    words = [b.word for b in bought]
    told = [b for b in bought if b.word is Word.BUY]
    right = sum(b.truth > 0 for b in told)
    print(
        f"{name:10s} {len(bought)} seasons: bought in {len(told)} ({right} of them truly gain), cannot tell in "
        f"{words.count(Word.UNSURE)}; mean gain {np.mean([b.truth for b in bought]):.0f}, stated "
        f"{np.mean([b.stated for b in told]) if told else 0:.0f} where bought, perfect knowledge "
        f"{np.mean([b.best for b in bought]):.0f}, regret {np.mean([b.best - b.truth for b in bought]):.0f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--decisions", type=int, default=2000)
    parser.add_argument("--seasons", type=int, default=60)
    parser.add_argument("--seed", type=int, default=20310901)
    args = parser.parse_args()
    begin = time.perf_counter()
    study_chances(args.decisions, args.seed)
    sound = replace(SMALL, bad=0, decaying=0)
    plans = {"all alike": replace(sound, item_sd=0.0), "sound": sound, "with bad": SMALL}
    for number, (name, sizes) in enumerate(plans.items(), start=1):
        first = args.seed + 10_000 * number
        bought = [buy_for(first + n, sizes, DRAWS, WISHES, BUDGET) for n in range(args.seasons)]
        study_purchases(name, bought)
        sys.stdout.flush()
    print(f"{time.perf_counter() - begin:.0f} s, seed {args.seed}")


if __name__ == "__main__":
    main()
