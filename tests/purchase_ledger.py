"""A small ledger of an invented season, as real files: cells of known truth, a register, and a diagnosis."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl

from ledger_writer import key_of
from lineproof.ledger.packing import to_part
from lineproof.ledger.store import place
from lineproof.season_tables import EVENTS, KEPT
from lineproof.simulate.season_cells import CellPlan, TrueItems, simulate_cells

SEASON = CellPlan(events=10, points=2, slots=3, mats=13, cables=13, readers=5, bad=2, decaying=1)
QUIET = CellPlan(events=10, points=2, slots=3, mats=13, cables=13, readers=5, bad=0, decaying=0, item_sd=0.05)
SEED = 20310501


def make_ledger(folder: Path, plan: CellPlan = SEASON, seed: int = SEED) -> TrueItems:
    """Store the season in ``folder`` and return its truth."""
    true = simulate_cells(plan, seed)
    for (event,), cells in true.cells.group_by("event", maintain_order=True):
        tables = {name: table.empty() for name, table in KEPT.items() if name != "crossings"}
        date = cells["date"][0]
        tables["events"] = EVENTS.shape_rows([_event_row(str(event), date)])
        tables["cells"] = cells
        tables["equipment"] = _register(str(event), true, date)
        tables["diagnosis"] = _diagnosis(str(event), true)
        place(folder, to_part(str(event), date.isoformat(), key_of(str(event), 1), tables))
    return true


def _event_row(event: str, date: dt.date) -> dict[str, object]:
    return {
        "event": event, "name": event.title(), "date": date, "zone": "Europe/London", "entries": 1000, "seen": 990,
        "tags_each": 1.0, "passed": True, "target": 0.998, "confidence": 0.95,
    }  # fmt: skip


def _register(event: str, true: TrueItems, date: dt.date) -> pl.DataFrame:
    """Every item, bought long ago; the last three sound mats bought in the season's year."""
    young = true.items.filter(pl.col("kind") == "mat", pl.col("class") == "sound")["item"].to_list()[-3:]
    rows: list[dict[str, object]] = [
        {
            "event": event,
            "item": item,
            "kind": kind,
            "bought": dt.date(date.year, 1, 10) if item in young else dt.date(date.year - 6, 1, 10),
            "price": {"mat": 380.0, "cable": 42.0, "reader": 2400.0}[kind],
            "repairs": "2030-04-01 joint pressed anew" if word == "bad" else None,
            "row": row,
        }
        for row, (item, kind, word) in enumerate(
            true.items.select("item", "kind", "class").iter_rows(), start=2
        )
    ]
    return KEPT["equipment"].conform(pl.DataFrame(rows, infer_schema_length=None))


def _diagnosis(event: str, true: TrueItems) -> pl.DataFrame:
    """A weak antenna, consistent with the first bad item, at every event."""
    bad = true.items.filter(pl.col("class") == "bad")["item"].to_list()[:1]
    rows: list[dict[str, object]] = [
        {
            "event": event, "finding": 1, "cause": "weak antenna", "point": "p1", "line": "p1-main", "items": item, "tried": 400,
            "missed": 40, "explained": 40, "chance": 1e-6, "false_share": 1e-4, "detail": "One antenna missed far more than its line.",
        }
        for item in bad
    ]  # fmt: skip
    return KEPT["diagnosis"].shape_rows(rows)
