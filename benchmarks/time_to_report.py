"""From folder to page: ``lineproof review`` beside the least that any such page can cost, in one run.

    python benchmarks/time_to_report.py                    an event of 10,000 runners, as raw reads and as a results table
    python benchmarks/time_to_report.py --runners 2000 --turns 5

The least is to start a kernel, import the validation library in it, and export the notebook, which is empty
otherwise.  Both take turns in processes of their own; the best turn of each counts, by the clock and by the
processor (of all processes together).  ``--help`` is held against a Python that does nothing.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

LEAST = """
import nbformat
from nbclient import NotebookClient
from nbconvert import HTMLExporter
notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("import great_expectations")])
NotebookClient(notebook).execute()
HTMLExporter().from_notebook_node(notebook)
"""
Took = tuple[float, float]


def took(words: list[str]) -> Took:
    """Seconds by the clock, and of processor by the command and all that it started."""
    before, begin = os.times(), time.perf_counter()
    subprocess.run(words, check=True, capture_output=True)
    wall, after = time.perf_counter() - begin, os.times()
    return wall, sum(after[2:4]) - sum(before[2:4])


def best(turns: list[Took]) -> Took:
    return min(turn[0] for turn in turns), min(turn[1] for turn in turns)


def compare(commands: dict[str, list[str]], turns: int) -> dict[str, Took]:
    tried: dict[str, list[Took]] = {name: [] for name in commands}
    for _ in range(turns):
        for name, words in commands.items():
            tried[name].append(took(words))
    return {name: best(found) for name, found in tried.items()}


def main() -> None:
    from large_events import write_reads_event, write_wide_event

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--runners", type=int, default=10_000)
    parser.add_argument("--turns", type=int, default=3)
    asked = parser.parse_args()
    python = sys.executable
    with tempfile.TemporaryDirectory(prefix="lineproof-bench-") as scratch:
        reads, wide = Path(scratch, "reads"), Path(scratch, "wide")
        rows = write_reads_event(reads, asked.runners)
        write_wide_event(wide, asked.runners)
        review = [python, "-m", "lineproof", "review"]
        commands = {
            "least": [python, "-c", LEAST],
            f"results table of {asked.runners:,} runners": [*review, str(wide)],
            f"{rows:,} raw reads of {asked.runners:,} runners": [*review, str(reads)],
            "nothing": [python, "-c", "pass"],
            "--help": [python, "-m", "lineproof", "--help"],
        }
        found = compare(commands, asked.turns)
    least, idle = found.pop("least"), found.pop("nothing")
    hinted = found.pop("--help")
    print(f"the least: {least[0]:.1f} s wall, {least[1]:.1f} s cpu")
    for name, (wall, cpu) in found.items():
        print(
            f"{name}: {wall:.1f} s wall ({wall / least[0]:.2f} times the least), {cpu:.1f} s cpu ({cpu / least[1]:.2f})"
        )
    print(
        f"--help: {hinted[0] - idle[0]:.2f} s wall, {hinted[1] - idle[1]:.2f} s cpu over a Python that does nothing"
    )


if __name__ == "__main__":
    main()
