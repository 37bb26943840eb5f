"""Which tags are weak: each runner's chance, and shares by batch, type and age of tag.

A chance is what the runner's own record says, given how rare weak tags are.  Single-use tags are judged by
batch: a batch with more weak tags than the event's is worth a question to whoever made it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineproof.detection.course_model.result import CourseModelResult
from lineproof.detection.intervals import estimate_share


@dataclass(frozen=True, slots=True)
class Retire:
    """Runners whose tags are probably weak, most probable first, and the share of them expected to be sound."""

    runners: tuple[str, ...]
    false_share: float


def to_weak_chances(result: CourseModelResult) -> pl.DataFrame:
    """``runner``, ``weak`` and ``late`` (chances), sorted by runner."""
    return pl.DataFrame(
        {"runner": list(result.runners), "weak": result.weak_chance, "late": result.late_chance},
        schema={"runner": pl.String, "weak": pl.Float64, "late": pl.Float64},
    ).sort("runner")


def choose_to_retire(result: CourseModelResult, most_false: float = 0.1) -> Retire:
    """The longest list of which at most ``most_false`` are expected to be sound tags."""
    order = np.argsort(-result.weak_chance, kind="stable")
    false = np.cumsum(1 - result.weak_chance[order]) / np.arange(1, len(order) + 1)
    length = int(np.searchsorted(false, most_false, side="right"))  # the mean of falling chances only falls
    chosen = tuple(result.runners[i] for i in order[:length])
    return Retire(chosen, float(false[length - 1]) if length else 0.0)


def estimate_weak_shares(
    chances: pl.DataFrame, tags: pl.DataFrame, by: Sequence[str], confidence: float = 0.95
) -> pl.DataFrame:
    """Share of weak tags by columns of ``tags`` (kind, batch, age …): one row per group, sorted.

    ``chances`` come from ``to_weak_chances``, ``tags`` has ``runner`` and the columns of ``by``; runners with several
    tags are left out, as their record does not tell which tag it came from.  ``weak`` is the expected number.
    """
    single = tags.filter(pl.len().over("runner") == 1)
    joined = chances.join(single.select("runner", *by), on="runner", how="inner", validate="1:1")
    groups = (
        joined.group_by(by)
        .agg(
            pl.len().alias("n"),
            pl.col("weak").sum(),
            (pl.col("weak") * (1 - pl.col("weak"))).sum().alias("doubt"),
        )
        .sort(by, nulls_last=True)
    )
    weak, n = groups["weak"].to_numpy(), groups["n"].to_numpy().astype(float)
    # Who is weak is itself in doubt: the counts behind the share are worth as much less.
    variance = weak * (1 - weak / np.maximum(n, 1))
    worth = np.where(variance > 0, variance / np.maximum(variance + groups["doubt"].to_numpy(), 1e-300), 1.0)
    share = estimate_share(weak * worth, n * worth, confidence)
    return groups.select(
        *by,
        "n",
        "weak",
        pl.Series("estimate", weak / n),
        pl.Series("conf_low", np.fmin(share.low, weak / n)),
        pl.Series("conf_high", np.fmax(share.high, weak / n)),
    )
