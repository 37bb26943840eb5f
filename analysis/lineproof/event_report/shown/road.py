"""The mats across the road as the review shows them: where each lies, and the rate at which it answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import polars as pl

from lineproof.event_report.road_chart import ROAD_ROWS
from lineproof.event_report.shown.labels import label_of, line_labels, place_of, point_labels
from lineproof.wording import HARD_SPACE

if TYPE_CHECKING:
    from lineproof.pipeline import Review

Labels = Mapping[tuple[str, int], str]
BESIDE = {"near side": -1.0, "far side": 1.0}


def to_road_rows(review: Review, items: Labels | None = None) -> pl.DataFrame:
    """ROAD_ROWS of every line whose mats were told apart, points in course order, main before backup, near side first.

    ``items`` names what lies in a slot of a line: ``{("km10-main", 3): "mat 07"}``.
    """
    event = review.event
    labels, roles = point_labels(event), {line.id: line.role.value for line in event.lines}
    width = event.setting("mat_width_m")
    rows = []
    for row in (
        _told(review)
        .sort(place_of(labels, "point"), place_of(line_labels(event), "line"), "slot")
        .iter_rows(named=True)
    ):
        begin = width * row["slot"]
        rows.append(
            {
                "label": labels[row["point"]],
                "role": roles[row["line"]],
                "line": row["line"],
                "slot": row["antenna"],
                "begin_m": begin,
                "end_m": begin + width,
                "tried": row["tried"],
                "estimate": row["estimate"],
                "rate": _rate(row),
                "interval": _interval(row),
                "verdict": row["verdict"],
                "item": (items or {}).get((row["line"], row["antenna"] or 0)),
            }
        )
    return ROAD_ROWS.check(ROAD_ROWS.shape_rows(rows))


def _told(review: Review) -> pl.DataFrame:
    """Mats and the bare road beside them with ``slot``, their place in mats from the near end."""
    rows = review.mats.filter(pl.col("place").cast(pl.String) != "line")
    most = pl.col("antenna").max().over("line")
    place = pl.col("place").cast(pl.String)
    slot = (
        pl.when(place == "near side")
        .then(-1)
        .when(place == "far side")
        .then(most)
        .otherwise(pl.col("antenna") - 1)
    )
    return rows.with_columns(slot.alias("slot"))


def _rate(row: Mapping[str, Any]) -> str:
    if row["verdict"] == "bare road":
        return f"{row['tried']:,} ran here"
    return "?" if row["estimate"] is None else f"{_percent(row['estimate'])}{HARD_SPACE}%"


def _percent(share: float) -> str:
    """Whole per cents, as finely as a mat's rate is ever known; never 100 by rounding."""
    return f"{min(round(share * 100), 99) if share < 1 else 100}"


def _interval(row: Mapping[str, Any]) -> str | None:
    if row["conf_low"] is None:
        return None
    return f"{int(row['conf_low'] * 100)} to {-int(-min(row['conf_high'], 1) * 100 // 1)}"


def to_mat_rows(review: Review) -> pl.DataFrame:
    """MATS that are not sound, with ``label`` (the line), ``rate`` and ``interval`` in words, in course order."""
    labels = line_labels(review.event)
    rows = review.mats.filter(
        ~pl.col("verdict").cast(pl.String).is_in(["sound"]), pl.col("place").cast(pl.String) != "line"
    )
    words = [
        pl.Series(name, [say(row) for row in rows.iter_rows(named=True)], dtype=pl.String)
        for name, say in (("rate", _rate), ("interval", _interval))
    ]
    named = rows.with_columns(
        label_of(labels, "line").alias("label"), pl.col("place", "verdict").cast(pl.String), *words
    )
    return named.sort(place_of(labels, "line"), "antenna", nulls_last=False)


def to_untold_lines(review: Review) -> pl.DataFrame:
    """Lines whose mats cannot be told apart: ``label`` and ``reason``, in course order."""
    labels = line_labels(review.event)
    rows = review.mats.filter(pl.col("place").cast(pl.String) == "line")
    return rows.sort(place_of(labels, "line")).select(label_of(labels, "line").alias("label"), "reason")
