"""Parts of invented events for the ledger: small tables, ready to be stored."""

from __future__ import annotations

import datetime as dt
import pickle
from pathlib import Path

import polars as pl

from ledger_writer import key_of
from lineproof.ledger.packing import to_part
from lineproof.ledger.part import Part
from lineproof.season_tables import CELLS, EVENTS, KEPT

DAY = dt.date(2026, 3, 1)


def event_row(event: str, date: dt.date = DAY, entries: int = 100) -> dict[str, object]:
    return {
        "event": event,
        "name": event.title(),
        "date": date,
        "zone": "Europe/London",
        "entries": entries,
        "seen": entries - 1,
        "tags_each": 1.0,
        "passed": True,
        "target": 0.998,
        "confidence": 0.95,
    }


def cell_row(event: str, line: str, slot: int, tried: float, missed: float) -> dict[str, object]:
    return {
        "event": event,
        "date": DAY,
        "point": line.split("-")[0],
        "kind": "finish",
        "line": line,
        "role": "main",
        "slot": slot,
        "tried": tried,
        "missed": missed,
        "tried_at_work": tried,
        "missed_at_work": missed,
    }


def small_tables(event: str, missed: float = 2.0, date: dt.date = DAY) -> dict[str, pl.DataFrame]:
    """All tables but crossings: one event row, one line with one slot, everything else empty."""
    tables = {name: table.empty() for name, table in KEPT.items() if name != "crossings"}
    tables["events"] = EVENTS.shape_rows([event_row(event, date)])
    tables["cells"] = CELLS.shape_rows(
        [cell_row(event, "finish-main", 0, 100.0, missed), cell_row(event, "finish-main", 1, 40.0, 0.5)]
    )
    return tables


def small_part(event: str, version: int = 1, date: dt.date = DAY) -> Part:
    """Version n of an event misses n runners."""
    return to_part(event, date.isoformat(), key_of(event, version), small_tables(event, float(version), date))


def write_models(path: Path, *parts: Part) -> Path:
    """Parts for a process of ``ledger_writer.py``, which need not make them."""
    path.write_bytes(pickle.dumps(parts))
    return path
