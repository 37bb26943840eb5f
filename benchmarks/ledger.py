"""The ledger under load: killed at random moments, and a thousand events at once.

    python benchmarks/ledger.py --kills 200        real processes, real SIGKILL; fails on any loss
    python benchmarks/ledger.py --events 1000      time and memory of opening and adding up that many events
    python benchmarks/ledger.py --ledger DIR       the same for a ledger of your own
    python benchmarks/ledger.py --repeat DIR --events 1000    the season's page of so many events, those of DIR over and over

Limits: nothing lost, the check passes after every kill; 1,000 events in less than 1.5 GiB of memory.
"""

from __future__ import annotations

import argparse
import datetime as dt
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import polars as pl

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

T = TypeVar("T")
MOST_GIB = 1.5
LINES, SLOTS, RATES_EACH, TAGS_EACH, HISTORIES_EACH = 12, 8, 400, 800, 150


def kill(kills: int, seed: int) -> bool:
    from ledger_kills import kill_at_random

    with tempfile.TemporaryDirectory(prefix="lineproof-kills-") as folder:
        begin = time.perf_counter()
        met = list(kill_at_random(Path(folder), kills, seed))
    stored, halves = sum(k.stored for k in met), sum(k.leftovers for k in met)
    print(f"{kills} kills in {time.perf_counter() - begin:.0f} s, {stored} parts stored between them")
    print(f"{halves} kills met a part half written; nothing was lost, and the check passed after each")
    return halves > 0


def synthetic_tables(number: int) -> dict[str, pl.DataFrame]:
    """An event of twelve lines of eight slots, with the rows that a middling event leaves."""
    from ledger_parts import cell_row, event_row, small_tables
    from lineproof.season_tables import CELLS, EVENTS, KEPT

    event, rng = f"event-{number:04}", np.random.default_rng(number)
    tables = small_tables(event)
    tables["events"] = EVENTS.shape_rows([event_row(event)])
    cells = [
        {
            **cell_row(event, f"point{line}-main", slot, 800.0, float(rng.poisson(4))),
            "mat": f"M{rng.integers(150)}",
        }
        for line in range(LINES)
        for slot in range(SLOTS + 1)
    ]
    tables["cells"] = CELLS.shape_rows(cells)
    tables["rates"] = _rates(event, rng)
    tables["unseen"] = KEPT["unseen"].shape_rows([_unseen_row(event, order) for order in range(LINES)])
    tables["tags"] = _tags(event, rng)
    tables["histories"] = _histories(event, rng)
    return tables


def _rates(event: str, rng: np.random.Generator) -> pl.DataFrame:
    from lineproof.season_tables import KEPT

    row = {
        "event": event,
        "quantity": "achieved",
        "level": "line",
        "course": "road",
        "evidence": "seen later",
    }
    read = rng.integers(780, 801, RATES_EACH).tolist()
    rows = [
        {**row, "point": f"point{n % LINES}", "line": f"point{n % LINES}-main", "role": "main", "proven": 800,
         "detected": n_read, "doubtful": 0, "estimate": n_read / 800, "method": "exact interval"}
        for n, n_read in enumerate(read)
    ]  # fmt: skip
    return KEPT["rates"].shape_rows(rows)


def _unseen_row(event: str, order: int) -> dict[str, object]:
    place = {"event": event, "course": "road", "point": f"point{order}", "order": order, "visit": 1}
    return {**place, "read": 790, "missed_seen_later": 4, "hidden": 0.6, "rate": 0.994}


def _tags(event: str, rng: np.random.Generator) -> pl.DataFrame:
    from lineproof.season_tables import KEPT_TAGS

    tags = [f"T-{tag:08}" for tag in rng.choice(20_000, TAGS_EACH, replace=False)]
    return KEPT_TAGS.conform(
        pl.DataFrame({"event": event, "tag": tags, "weak": rng.random(TAGS_EACH)}).with_columns(
            holder=1, tags=1, tried=LINES, missed=0, retire=False
        )
    )


def _histories(event: str, rng: np.random.Generator) -> pl.DataFrame:
    from lineproof.season_tables import HISTORIES

    rows = [
        {"event": event, "course": "road", "history": n, "outcome": rng.integers(0, 4, LINES).tolist(),
         "unread": [0] * LINES, "stratum": [0] * LINES, "entry": -1, "known": LINES - 1, "until": LINES - 1,
         "given": False, "count": int(rng.integers(1, 9))}
        for n in range(HISTORIES_EACH)
    ]  # fmt: skip
    return HISTORIES.shape_rows(rows)


def build(ledger: Path, events: int) -> None:
    made = (synthetic_tables(number) for number in range(events))
    lay_down(ledger, ((tables["events"]["event"].item(), "2026-03-01", tables) for tables in made))


def lay_down(ledger: Path, events: Iterable[tuple[str, str, dict[str, pl.DataFrame]]]) -> None:
    """The first event goes through ``place``; the others are laid down as it would have left them."""
    from ledger_writer import key_of
    from lineproof.ledger.manifest import MANIFEST, PART_FILE, Manifest, hash_of, read_manifest, to_bytes
    from lineproof.ledger.packing import to_part
    from lineproof.ledger.store import place

    entries: list[Any] = []
    for event, date, tables in events:
        part = to_part(event, date, key_of(event), tables)
        if not entries:
            place(ledger, part)
            entries.append(read_manifest(ledger).entries[0])
            continue
        home = ledger / "parts" / part.folder_name
        home.mkdir()
        for name, data in (*part.files.items(), (PART_FILE, part.to_description())):
            (home / name).write_bytes(data)
        stated = {"event": event, "date": date, "part": part.folder_name, "key": part.key}
        entries.append(replace(entries[0], **stated, sha256=hash_of(part.to_description())))
    (ledger / MANIFEST).write_bytes(to_bytes(Manifest(tuple(entries))))


def repeat(source: Path, ledger: Path, events: int) -> None:
    """The events of one ledger again and again, each turn 728 days later and under other ids."""
    from lineproof.ledger import open_ledger
    from lineproof.season_tables import KEPT

    whole = open_ledger(source)
    named = {name: whole.scan(name).collect() for name in KEPT}
    ids = whole.events.sort("date")["event"].to_list()
    lay_down(ledger, (_again(named, ids, number) for number in range(events)))


def _again(
    named: dict[str, pl.DataFrame], ids: list[str], number: int
) -> tuple[str, str, dict[str, pl.DataFrame]]:
    event, turn = ids[number % len(ids)], number // len(ids)
    renamed, later = f"{turn:03}-{event}", dt.timedelta(days=728 * turn)
    tables = {}
    for name, frame in named.items():
        mine = frame.filter(pl.col("event") == event).with_columns(event=pl.lit(renamed))
        moved = [pl.col("date") + later] if mine.schema.get("date") == pl.Date else []
        tables[name] = mine.with_columns(moved)
    return renamed, tables["events"]["date"].item().isoformat(), tables


def measure(ledger: Path) -> bool:
    """In a process of its own, so that the memory is that of reading alone."""
    words = [sys.executable, __file__, "--ledger", str(ledger)]
    return subprocess.run(words, check=False).returncode == 0


def report(ledger: Path) -> bool:
    """Open the ledger and add up what a season report asks for; False above the limit of memory."""
    from lineproof.ledger import check_ledger, open_ledger

    whole = _timed("opened", lambda: open_ledger(ledger))
    _timed("events", lambda: whole.events)
    _timed("cells", lambda: whole.scan("cells").collect())
    _timed(
        "misses by mat",
        lambda: (
            whole.scan("cells")
            .filter(pl.col("slot") > 0)
            .group_by("mat")
            .agg(pl.col("tried", "missed").sum())
            .collect()
        ),
    )
    _timed("rates of lines", lambda: whole.scan("rates").filter(pl.col("level") == "line").collect())
    _timed(
        "unseen", lambda: whole.scan("unseen").group_by("event").agg(pl.col("read", "hidden").sum()).collect()
    )
    _timed("tags", lambda: whole.scan("tags").group_by("tag").agg(pl.col("tried", "missed").sum()).collect())
    _timed("histories", lambda: whole.scan("histories").select(pl.col("count").sum()).collect())
    gib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(f"{len(whole.entries)} events, most memory {gib:.2f} GiB (limit {MOST_GIB} GiB)")
    print(_timed("checked", lambda: check_ledger(ledger)).summary)
    return gib < MOST_GIB


def measure_page(ledger: Path, into: Path) -> bool:
    """The season's page, made by the command itself; memory is that of the largest process."""
    words = [sys.executable, "-m", "lineproof", "season", "--ledger", str(ledger), "--out", str(into)]
    begin = time.perf_counter()
    done = subprocess.run(words, check=False).returncode == 0
    gib = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**20
    size = sum(page.stat().st_size for page in into.glob("*.html")) / 1e6
    print(
        f"page of {size:.1f} MB in {time.perf_counter() - begin:.0f} s, most memory {gib:.2f} GiB (limit {MOST_GIB} GiB)"
    )
    return done and gib < MOST_GIB


def _timed(what: str, work: Callable[[], T]) -> T:
    begin = time.perf_counter()
    found = work()
    size = f", {found.height:,} rows" if isinstance(found, pl.DataFrame) else ""
    print(f"{what}: {time.perf_counter() - begin:.2f} s{size}")
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=0)
    parser.add_argument("--events", type=int, default=0)
    parser.add_argument("--ledger", type=Path)
    parser.add_argument("--repeat", type=Path, help="a ledger whose events are repeated")
    parser.add_argument("--into", type=Path, help="where the page of --repeat is left")
    parser.add_argument("--seed", type=int, default=1)
    words = parser.parse_args()
    passed = True
    if words.kills:
        passed &= kill(words.kills, words.seed)
    if words.repeat:
        with tempfile.TemporaryDirectory(prefix="lineproof-ledger-") as folder:
            repeat(words.repeat, Path(folder) / "ledger", words.events)
            passed &= measure_page(Path(folder) / "ledger", words.into or Path(folder) / "season")
    elif words.events:
        with tempfile.TemporaryDirectory(prefix="lineproof-ledger-") as folder:
            build(Path(folder) / "ledger", words.events)
            passed &= measure(Path(folder) / "ledger")
    if words.ledger:
        passed &= report(words.ledger)
    return int(not passed)


if __name__ == "__main__":
    sys.exit(main())
