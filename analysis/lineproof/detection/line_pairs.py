"""Main against backup at every point with two lines: counts, the comparison, and what unrelated misses would hide.

    PROOFS -> LINE_PAIRS

The comparison needs no denominator: runners whom both lines read, or neither, say nothing of which is better.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import polars as pl

from lineproof.detection.two_lines import (
    Cells,
    compare_lines,
    estimate_dependence,
    estimate_two_lines,
    to_cells,
)
from lineproof.event import Event
from lineproof.unseen_tables import LINE_PAIRS
from lineproof.vocabulary import CROSSED


def compare_all_lines(proofs: pl.DataFrame, event: Event) -> pl.DataFrame:
    """LINE_PAIRS of one event, points in the event's order, all visits of a point together; last all points together.

    ``proofs`` keeps PROOFS.  Counted are crossings of which the export tells what both lines did.
    """
    crossed = proofs.filter(
        pl.col("proof").cast(pl.String).is_in(CROSSED),
        pl.col("seen_main").is_not_null(),
        pl.col("seen_backup").is_not_null(),
    )
    confidence = event.setting("confidence")
    pairs = [point.id for point in event.points if len(event.lines_at(point.id)) == 2]
    later = {
        point: to_cells(crossed.filter(pl.col("point") == point, pl.col("seen_later"))) for point in pairs
    }
    rows = [
        {"event": event.id, "point": point}
        | _compared(crossed.filter(pl.col("point") == point), confidence)
        | _together([later[point]], confidence)
        for point in pairs
    ]
    if pairs:
        all_points = crossed.filter(pl.col("point").is_in(pairs))
        whole = {"event": event.id} | _counts(to_cells(all_points)) | _together(later.values(), confidence)
        rows.append(whole | {"reason": "lines are compared point by point"})
    return LINE_PAIRS.shape_rows(rows)


def _counts(cells: Cells) -> dict[str, object]:
    return {
        "both": cells.both,
        "main_only": cells.main_only,
        "backup_only": cells.backup_only,
        "neither": cells.neither,
    }


def _together(tables: Iterable[Cells], confidence: float) -> dict[str, object]:
    """How far the misses of the two lines go together, among runners read later: all four cells are known."""
    found = estimate_dependence(tables, confidence)
    known = {"together": found.odds_ratio, "together_low": found.low, "together_high": found.high}
    return {name: None if math.isnan(number) else number for name, number in known.items()}


def _compared(here: pl.DataFrame, confidence: float) -> dict[str, object]:
    cells = to_cells(here)
    alone = estimate_two_lines(cells)
    counts = _counts(cells)
    if alone.reason is not None:
        return counts | {"reason": alone.reason if cells.seen else "no crossing tells what both lines did"}
    compared = compare_lines(cells, confidence)
    known = {
        "ratio": compared.ratio,
        "ratio_low": compared.low,
        "ratio_high": compared.high,
        "chance": compared.p_exact,
        "hidden": alone.hidden,
    }
    return counts | {name: None if math.isnan(number) else number for name, number in known.items()}
