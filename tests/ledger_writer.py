"""A process that stores ready parts in a ledger: light, so that tests can start and kill many of it."""

from __future__ import annotations

import hashlib
import os
import pickle
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from lineproof.ledger.part import Part
from lineproof.ledger.store import place


def key_of(*words: object) -> str:
    return hashlib.sha256(repr(words).encode()).hexdigest()


def endless_parts(models: Path, first: int) -> Iterator[Part]:
    """Part number ``first`` and all after it: events in turn, each time changed, every seventh time back as before."""
    made: tuple[Part, ...] = pickle.loads(models.read_bytes())
    number = first
    while True:
        model, turn = made[number % len(made)], number // len(made)
        version = turn - 2 if turn % 7 == 6 else turn
        yield Part(model.event, model.date, key_of(model.event, version), model.files)
        number += 1


def start_writer(*words: object) -> subprocess.Popen[str]:
    """Start this module as a process: ``endlessly`` or ``once``, ledger, models, and where to begin."""
    return subprocess.Popen(
        [sys.executable, __file__, *map(str, words)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parent)},
    )


def store_endlessly(ledger: Path, models: Path, first: str) -> None:
    """Store part after part, and say on the output which one is in place."""
    print("ready", flush=True)
    for number, part in enumerate(endless_parts(models, int(first)), start=int(first)):
        place(ledger, part)
        print(number, flush=True)


def store_once(ledger: Path, models: Path) -> None:
    for part in pickle.loads(models.read_bytes()):
        place(ledger, part)


if __name__ == "__main__":
    job, home, ready, *rest = sys.argv[1:]
    {"endlessly": store_endlessly, "once": store_once}[job](Path(home), Path(ready), *rest)
