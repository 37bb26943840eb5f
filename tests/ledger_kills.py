"""The ledger killed at random moments: a real process, a real SIGKILL, and what must hold afterwards."""

from __future__ import annotations

import random
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from ledger_parts import small_part, write_models
from ledger_writer import endless_parts, start_writer
from lineproof.ledger import check_ledger
from lineproof.ledger.manifest import read_manifest
from lineproof.ledger.part import Part

EVENTS = 3
USUAL_S = 0.15
MOST_STORED = 2  # parts before the one that the kill meets
FRESH_AFTER = 25  # kills, before a new ledger is begun


@dataclass(frozen=True, slots=True)
class Kill:
    """``stored`` parts before it; ``leftovers`` whether it left something half done to be swept."""

    stored: int
    leftovers: bool


def kill_at_random(folder: Path, kills: int, seed: int) -> Iterator[Kill]:
    """Kill a storing process ``kills`` times on one ledger after another; raises ``AssertionError`` on any loss."""
    moments = random.Random(seed)
    models = write_models(folder / "models", *(small_part(f"event-{n}") for n in range(EVENTS)))
    number, ledger = 0, folder / "ledger-0"
    for kill in range(kills):
        if kill % FRESH_AFTER == 0:
            shutil.rmtree(ledger, ignore_errors=True)
            number, ledger = 0, folder / f"ledger-{kill}"
        told = _store_until(ledger, models, number, moments)
        leftovers = _holds_all(ledger, models, told)
        in_place = _in_place(ledger, models, told)
        yield Kill(in_place - number, leftovers)
        number = in_place


def _store_until(ledger: Path, models: Path, first: int, moments: random.Random) -> int:
    """How many parts the process said were in place when it was killed.

    The moment is drawn over the time that a part takes on this machine, so that a slow one is hit as evenly as a
    fast one.
    """
    with start_writer("endlessly", ledger, models, first) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "ready\n"
        begin = time.monotonic()
        lines = [child.stdout.readline() for _ in range(moments.randint(0, MOST_STORED))]
        usual = (time.monotonic() - begin) / len(lines) if lines else USUAL_S
        time.sleep(moments.uniform(0.0, usual))
        child.kill()
        lines += child.stdout.read().splitlines(keepends=True)
        numbers = [int(line) for line in lines if line.endswith("\n")]
    return numbers[-1] + 1 if numbers else first


def _holds_all(ledger: Path, models: Path, told: int) -> bool:
    """Every part that was said to be in place is there and whole; tells whether there are leftovers."""
    if not (ledger / "ledger.json").exists():
        assert told == 0
        return ledger.exists() and any(ledger.glob(".writing-*"))
    result = check_ledger(ledger)
    assert result.passed, result.faults
    keys = {entry.key for entry in read_manifest(ledger).entries}
    lost = [part.event for part in islice(endless_parts(models, 0), told) if part.key not in keys]
    assert not lost
    return bool(result.remarks)


def _in_place(ledger: Path, models: Path, told: int) -> int:
    """Parts in place: those told, or one more, which was in place before it could be told."""
    current = _current(ledger)
    if current == _after(models, told):
        return told
    assert current == _after(models, told + 1), (told, current)
    return told + 1


def _current(ledger: Path) -> dict[str, str]:
    if not (ledger / "ledger.json").exists():
        return {}
    return {entry.event: entry.key for entry in read_manifest(ledger).current}


def _after(models: Path, number: int) -> dict[str, str]:
    parts: list[Part] = list(islice(endless_parts(models, 0), number))
    return {part.event: part.key for part in parts}
