"""When did it change for good, by how much, and what changed in the set-up then?  And does a line wear?

For each item and line the scores of ``monitoring.py`` are cut at every event in turn; the clearest cut is compared with
the clearest cuts of the same scores in shuffled orders, so that looking everywhere is paid for.  Over all items and lines the
false-discovery rate is controlled.  The set-up columns are then compared around the cut: a fact counts as changed if one
value ruled before it and another after it.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from lineproof.season.design import ITEM_KINDS
from lineproof.season.effects import ItemModel
from lineproof.season.monitoring import Series, to_series
from lineproof.season.shrinkage import shrink_normal
from lineproof.season.trends import false_discovery
from lineproof.season_result_tables import CHANGE_POINTS, TRENDS

Floats = NDArray[np.float64]

LEAST_SIDE = 3  # events on either side of a cut
SHUFFLES = 1999
SEED = 20310309
RULES = 2 / 3  # share of the events in which a value rules
FACTS = ("reader", "surface", "covers", "two_tags")
MEASURES = {"spacing_m": "m", "hand_ceiling_cm": "cm", "crew_minutes": "min"}
WORDS = {
    "reader": "reader",
    "cable": "cable",
    "mat": "mat",
    "place": "place",
    "surface": "surface",
    "covers": "covers",
    "two_tags": "two tags",
    "spacing_m": "spacing",
    "hand_ceiling_cm": "hand test ceiling",
    "crew_minutes": "crew minutes",
}


def clearest_cut(scores: Floats) -> tuple[Floats, NDArray[np.int64]]:
    """For each row of scores: the largest difference of means in standard errors, and events before its cut."""
    count = scores.shape[1]
    cuts = np.arange(LEAST_SIDE, count - LEAST_SIDE + 1)
    sums = np.cumsum(scores, axis=1)
    before = sums[:, cuts - 1] / cuts
    after = (sums[:, [-1]] - sums[:, cuts - 1]) / (count - cuts)
    clear = np.abs(after - before) / np.sqrt(1 / cuts + 1 / (count - cuts))
    best = clear.argmax(axis=1)
    return clear[np.arange(len(clear)), best], cuts[best]


def _chance(scores: Floats, rng: np.random.Generator) -> tuple[int, float]:
    """Events before the clearest cut, and the share of shuffled orders with one as clear (this order counted in)."""
    found, cut = clearest_cut(scores[None, :])
    shuffled = rng.permuted(np.tile(scores, (SHUFFLES, 1)), axis=1)
    others, _ = clearest_cut(shuffled)
    return int(cut[0]), float((1 + (others >= found[0] - 1e-12).sum()) / (SHUFFLES + 1))


def adjusted_chances(chances: Floats) -> Floats:
    """Smallest false-discovery rate at which each would stand (Benjamini & Hochberg 1995)."""
    order = np.argsort(chances, kind="stable")
    count = len(chances)
    raw = chances[order] * count / np.arange(1, count + 1)
    found = np.empty(count)
    found[order] = np.minimum(np.minimum.accumulate(raw[::-1])[::-1], 1.0)
    return found


def _ruling(values: Iterable[object]) -> object:
    """The value of two thirds of the events at least; None where none rules."""
    known = [value for value in values if value is not None]
    if not known:
        return None
    top = max(sorted(set(known), key=str), key=known.count)
    return top if known.count(top) >= RULES * len(known) else None


def _say(value: object) -> str:
    return {True: "yes", False: "no"}.get(value, str(value)) if isinstance(value, bool) else str(value)


def changed_facts(before: pl.DataFrame, after: pl.DataFrame, facts: Iterable[str]) -> str | None:
    """What ruled before and what rules after, in words; None where nothing recorded changed."""
    parts = []
    for fact in facts:
        old, new = _ruling(before[fact].to_list()), _ruling(after[fact].to_list())
        if old is not None and new is not None and old != new:
            parts.append(f"{WORDS[fact]} {_say(old)}, then {_say(new)}")
    for measure, unit in MEASURES.items():
        sides = [side[measure].drop_nulls().to_numpy() for side in (before, after)]
        if min(len(side) for side in sides) == 0:
            continue
        low, high = sorted(sides, key=lambda side: float(np.median(side)))
        if np.quantile(low, 0.75) < np.quantile(high, 0.25):
            old, new = (float(np.median(side)) for side in sides)
            parts.append(f"{WORDS[measure]} {old:g} {unit}, then {new:g} {unit}")
    return "; ".join(parts) or None


def _facts_of(subject: str) -> tuple[str, ...]:
    if subject == "line":
        return FACTS
    others = tuple(kind for kind in ITEM_KINDS if kind != subject)
    return tuple(dict.fromkeys((*others, "place", *FACTS)))


def _row(series: Series, cells: pl.DataFrame, cut: int, chance: float) -> dict[str, object]:
    ratio = [
        (series.missed[part].sum() + 0.5) / (series.expected[part].sum() + 0.5)
        for part in (slice(cut), slice(cut, None))
    ]
    mine = cells.filter(pl.col(series.subject) == series.name)
    events = series.events["event"]
    before = mine.filter(pl.col("event").is_in(events[:cut].to_list()))
    after = mine.filter(pl.col("event").is_in(events[cut:].to_list()))
    return {
        "subject": series.subject,
        "name": series.name,
        "last_before": events[cut - 1],
        "event": events[cut],
        "date": series.events["date"][cut],
        "events_before": cut,
        "events_after": len(events) - cut,
        "factor": float(ratio[1] / ratio[0]),
        "chance": chance,
        "changed": changed_facts(before, after, _facts_of(series.subject)),
    }


def estimate_change_points(model: ItemModel, seed: int = SEED) -> pl.DataFrame:
    """CHANGE_POINTS: the clearest cut of each item and line with six or more events, by subject and name.

    ``found`` tells which stand at the false-discovery rate ``trend_false_share``.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for series in to_series(model):
        if len(series.tried) >= 2 * LEAST_SIDE:
            cut, chance = _chance(series.scores, rng)
            rows.append(_row(series, model.cells, cut, chance))
    if not rows:
        return CHANGE_POINTS.empty()
    frame = pl.DataFrame(rows, infer_schema_length=None)
    chances = frame["chance"].to_numpy()
    return CHANGE_POINTS.conform(
        frame.with_columns(
            false_share=pl.Series(adjusted_chances(chances)),
            found=pl.Series(false_discovery(chances, model.settings["trend_false_share"])),
        )
    ).sort("subject", "name")


def line_slope(series: Series) -> tuple[float, float]:
    """Slope per use of the log of misses over expected ones, and its standard error.

    Weighted least squares at working weights; the error is not taken below what the counts imply, and is raised where
    the points scatter more.
    """
    use = np.arange(len(series.tried), dtype=float)
    value = np.log((series.missed + 0.5) / (series.expected + 0.5))
    weight = 1 / (series.variance / np.maximum(series.expected, 0.5) ** 2)
    centre = float((weight * use).sum() / weight.sum())
    spread = float((weight * (use - centre) ** 2).sum())
    slope = float((weight * (use - centre) * value).sum()) / spread
    level = float((weight * value).sum() / weight.sum())
    left = value - level - slope * (use - centre)
    scatter = float((weight * left**2).sum()) / max(len(use) - 2, 1)
    return slope, float(np.sqrt(max(scatter, 1.0) / spread))


def estimate_season_trends(model: ItemModel) -> pl.DataFrame:
    """TRENDS of items (from the item model) and of lines (from their scores' counts), by subject and name."""
    rows: list[dict[str, object]] = [
        {
            "subject": trend.kind,
            "name": trend.item,
            "uses": trend.uses,
            "trend": trend.slope,
            "trend_sd": trend.std_error,
            "chance": trend.chance,
            "found": trend.found,
        }
        for trend in model.trends.values()
    ]
    lines = [series for series in to_series(model) if series.subject == "line"]
    slopes = [line_slope(series) for series in lines]
    raw = np.array(slopes).reshape(-1, 2)
    shrunk = shrink_normal(raw[:, 0], raw[:, 1])
    chances = special.ndtr(-raw[:, 0] / raw[:, 1])
    found = false_discovery(chances, model.settings["trend_false_share"])
    for number, series in enumerate(lines):
        rows.append(
            {
                "subject": "line",
                "name": series.name,
                "uses": len(series.tried),
                "trend": float(shrunk.mean[number]),
                "trend_sd": float(shrunk.std_error[number]),
                "chance": float(chances[number]),
                "found": bool(found[number]),
            }
        )
    if not rows:
        return TRENDS.empty()
    half = 1.96 * pl.col("trend_sd")
    frame = pl.DataFrame(rows, infer_schema_length=None)
    return TRENDS.conform(frame.with_columns(low=pl.col("trend") - half, high=pl.col("trend") + half)).sort(
        "subject", "name"
    )
