"""Small seasons to build by hand: rows of CELLS from a plan that can be read."""

from __future__ import annotations

import datetime as dt

import polars as pl

from lineproof.season_tables import CELLS

FIRST = dt.date(2031, 4, 6)


def cell(event: int, line: str, slot: int, mat: str | None, missed: float = 1, **more: object) -> dict:
    """One slot; a line's name is point-role.  100 crossings unless said otherwise."""
    point, role = line.split("-")
    tried = float(more.pop("tried", 100))  # type: ignore[arg-type]
    return {
        "event": f"e{event:02d}",
        "date": FIRST + dt.timedelta(weeks=event),
        "point": point,
        "kind": "split",
        "line": line,
        "role": role,
        "slot": slot,
        "mat": mat,
        "tried": tried,
        "missed": float(missed),
        "tried_at_work": tried,
        "missed_at_work": float(missed),
        **more,
    }


def season(*rows: dict) -> pl.DataFrame:
    return CELLS.conform(pl.DataFrame(list(rows), infer_schema_length=None))


def turning(events: int, mats: list[str], missed: dict[str, float], line: str = "p1-main") -> list[dict]:
    """Mats that move one slot on at each event; ``missed`` of 100 by mat, 1 else."""
    count = len(mats)
    return [
        cell(event, line, slot + 1, mat, missed.get(mat, 1))
        for event in range(events)
        for slot, mat in enumerate(mats[(k + event) % count] for k in range(count))
    ]
