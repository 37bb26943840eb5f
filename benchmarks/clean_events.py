"""False alarms on clean events: ``python benchmarks/clean_events.py [--events 500] [--seed 20000]``.

Counts the events with a finding of severity error, and by check those with a warning; the limit for
errors is 1 % of the events.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))


def main() -> int:
    from simulation.checked import CLEAN_PLANS, findings_on

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--events", type=int, default=500)
    parser.add_argument("--seed", type=int, default=20_000)
    words = parser.parse_args()
    names = list(CLEAN_PLANS)
    errors: Counter[str] = Counter()
    warnings: Counter[str] = Counter()
    wrong = 0
    for i in range(words.events):
        found = findings_on(CLEAN_PLANS[names[i % len(names)]], words.seed + i)
        called = found.filter(found["severity"] == "error")["check"].unique().to_list()
        wrong += bool(called)
        errors.update(called)
        warnings.update(found.filter(found["severity"] == "warning")["check"].unique().to_list())
    print(f"{words.events} clean events of {len(names)} kinds, seeds from {words.seed}")
    print(f"with an error: {wrong} ({wrong / words.events:.2%}); by check: {dict(errors)}")
    print(f"with a warning, by check: {dict(warnings)}")
    return int(wrong > 0.01 * words.events)


if __name__ == "__main__":
    sys.exit(main())
