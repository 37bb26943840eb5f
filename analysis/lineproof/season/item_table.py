"""The table of items: one row each, with what limits its number in words."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineproof.season.connectivity import Standing
from lineproof.season.design import ITEM_KINDS
from lineproof.season.trends import ItemTrend
from lineproof.season.verdicts import Verdict
from lineproof.season_tables import ITEM_RATES

Floats = NDArray[np.float64]

TAILS = (0.025, 0.975)


def among_worst(draws: Floats, few: float) -> Floats:
    """Share of the draws in which each item is among the worst few of those given (at most a fifth of them)."""
    count = draws.shape[1]
    k = max(1, min(round(few), count // 5))
    rank = (-draws).argsort(axis=1, kind="stable").argsort(axis=1, kind="stable")
    return np.asarray((rank < k).mean(axis=0))


def count_items(used: pl.DataFrame) -> pl.DataFrame:
    """Events, crossings and misses of each item, interruptions left out."""
    counted = [
        used.filter(pl.col(kind).is_not_null())
        .group_by(item=pl.col(kind))
        .agg(
            kind=pl.lit(kind),
            events=pl.col("event").n_unique(),
            tried=pl.col("tried_at_work").sum(),
            missed=pl.col("missed_at_work").sum(),
        )
        for kind in ITEM_KINDS
    ]
    return pl.concat(counted).with_columns(kind=pl.col("kind").first().over("item")).sort("kind", "item")


def to_item_rates(
    used: pl.DataFrame,
    standing: Mapping[str, Standing],
    trends: Mapping[str, ItemTrend],
    names: tuple[str, ...],
    kinds: tuple[str, ...],
    against: Floats,
    rates: Floats,
    words: Mapping[str, Verdict],
    numbers: Mapping[str, float],
) -> pl.DataFrame:
    """ITEM_RATES, by kind and item.

    ``against``, ``rates``: draws of the effects against the middle item and of the rates, (draws, items) in the order of
    ``names``.
    """
    own = _numbers(standing, names, kinds, against, rates, numbers["worst_few"])
    rows = []
    for row in count_items(used).iter_rows(named=True):
        item = row["item"]
        trend, stands = trends.get(item), standing[item]
        rows.append(
            {
                **row,
                **own.get(item, {}),
                "trend": None if trend is None else trend.slope,
                "trend_sd": None if trend is None else trend.std_error,
                "verdict": words.get(item, Verdict.CANNOT_TELL).value,
                "bound_to": stands.bound_to,
                "reason": _reason(stands, trend, item in own, words.get(item)),
            }
        )
    return ITEM_RATES.conform(pl.DataFrame(rows, infer_schema_length=None))


def _numbers(
    standing: Mapping[str, Standing],
    names: tuple[str, ...],
    kinds: tuple[str, ...],
    against: Floats,
    rates: Floats,
    few: float,
) -> dict[str, dict[str, float | None]]:
    found: dict[str, dict[str, float | None]] = {}
    for kind in ITEM_KINDS:
        mine = np.array([n for n, other in enumerate(kinds) if other == kind], dtype=np.int64)
        if not len(mine):
            continue
        worst = among_worst(against[:, mine], few)
        low, high = np.quantile(rates[:, mine], TAILS, axis=0)
        for place, number in enumerate(mine):
            stands = standing[names[number]]
            if stands.bound_places:
                found[names[number]] = {}
                continue
            own = against[:, number]
            found[names[number]] = {
                "effect": float(own.mean()),
                "effect_sd": float(own.std()),
                "rate": float(rates[:, number].mean()),
                "rate_low": float(low[place]),
                "rate_high": float(high[place]),
                "among_worst": float(worst[place]),
            }
    return found


def _reason(standing: Standing, trend: ItemTrend | None, known: bool, word: Verdict | None) -> str | None:
    """What limits the number, or what speaks for the word, in one or two sentences."""
    parts = []
    if not known:
        parts.append("the only one of its kind: there is nothing to compare it with")
    elif standing.bound_places:
        parts.append(f"it cannot be told apart from {standing.bound_to}: {standing.swap}")
    elif standing.bound_items:
        parts.append(
            f"always used together with {standing.bound_to}, and how they share the misses is a guess: "
            f"{standing.swap}"
        )
    elif word is Verdict.CANNOT_TELL:
        parts.append("too few crossings: twice the misses would not have stood out")
    if trend is not None and trend.found:
        factor = np.exp(trend.slope * (trend.uses - 1))
        parts.append(f"its misses grew: odds times {factor:.1f} over {trend.uses} uses")
    return "; ".join(parts) or None
