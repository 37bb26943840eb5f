"""How often the interval of a comparison holds the truth, and how often a habit that does nothing is said to matter.

    python benchmarks/comparisons.py --seasons 400 --seed 33000001

Seasons of 20 events (``lineproof.simulate.season_cells``) in which a habit of single lines, a habit of whole days, the
second half of the season, or one model of mat multiplies the odds of a miss by 1 (nothing) or by 0.7.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from simulation.compared import COMPARE

FACTORS = (1.0, 0.7)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--seasons", type=int, default=400)
    parser.add_argument("--seed", type=int, default=33_000_001)
    asked = parser.parse_args()
    print(f"{asked.seasons} seasons each, seed {asked.seed}")
    for name, compare in COMPARE.items():
        for factor in FACTORS:
            found = [compare(factor, asked.seed + n) for n in range(asked.seasons)]
            told = [x for x in found if x.told]
            print(
                f"{name}, odds times {factor}: interval given {len(told)}, holds the truth {np.mean([x.held for x in told]):.3f}, "
                f"said to matter {np.mean([x.signalled for x in found]):.3f}",
                flush=True,
            )


if __name__ == "__main__":
    main()
