"""Time and memory of one review, by size: ``python benchmarks/event_review.py [--runners 5000 10000 20000]``.

Each size runs in a process of its own, so that the peak memory is its own.  The growth from size to
size is printed as an exponent: 1 is linear in the reads.
"""

from __future__ import annotations

import argparse
import json
import math
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

CHILD = """
import json, resource, sys, time
from lineproof.pipeline import review_event
steps, begun = [], time.process_time()
clock = time.perf_counter()
review = review_event(sys.argv[1], lambda step: steps.append((step, time.process_time())))
steps.append(("", time.process_time()))
print(json.dumps({
    "wall": time.perf_counter() - clock,
    "cpu": time.process_time() - begun,
    "peak_mib": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    "steps": {a[0]: b[1] - a[1] for a, b in zip(steps, steps[1:])},
}))
"""


def measured(folder: Path) -> dict[str, float]:
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(folder)], capture_output=True, text=True, check=True
    )
    return json.loads(done.stdout)


def main() -> None:
    from large_events import write_reads_event, write_wide_event

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runners", type=int, nargs="+", default=[3_600, 7_200, 14_500])
    parser.add_argument("--wide", type=int, default=40_000)
    words = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        before: tuple[int, float] | None = None
        for runners in words.runners:
            folder = Path(scratch) / f"reads-{runners}"
            rows = write_reads_event(folder, runners)
            figures = measured(folder)
            growth = (
                f", growth {math.log(figures['cpu'] / before[1]) / math.log(rows / before[0]):.2f}"
                if before
                else ""
            )
            say(f"{rows:,} raw reads of {runners:,} runners", figures, growth)
            before = (rows, figures["cpu"])
        folder = Path(scratch) / "wide"
        write_wide_event(folder, words.wide)
        say(f"wide table of {words.wide:,} runners by 10 points", measured(folder))


def say(what: str, figures: dict[str, float], growth: str = "") -> None:
    print(
        f"{what}: {figures['wall']:.1f} s wall, {figures['cpu']:.1f} s cpu, {figures['peak_mib']:.0f} MiB{growth}"
    )
    for step, seconds in figures["steps"].items():  # type: ignore[attr-defined]
        print(f"    {seconds:6.2f} s cpu  {step}")


if __name__ == "__main__":
    main()
