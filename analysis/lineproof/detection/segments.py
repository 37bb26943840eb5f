"""Rates of segments: both ends timed, of the runners who crossed both.

Counted, never multiplied from the rates of the two ends: a badly worn tag is missed at both, and a
runner missed at one end has no segment time whatever the other end did.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from lineproof.detection.clusters import design_effects
from lineproof.detection.counts import Counted, count
from lineproof.detection.estimates import (
    Estimates,
    Grouping,
    by_sibling,
    estimate_achieved,
    estimate_capability,
    numbers,
    to_rows,
)
from lineproof.detection.intervals import estimate_share
from lineproof.detection.judging import VISIT
from lineproof.vocabulary import Quantity

KEYS = ("course", "order", "point", "from_point")


def estimate_segments(tries: pl.DataFrame, confidence: float) -> list[pl.DataFrame]:
    """Both quantities for every segment, RATES columns without ``event``; nothing where there is none.

    A segment's end is proven as that visit is; its beginning by its end or by a later read.
    """
    ends = _with_beginning(tries)
    if ends.is_empty():
        return []
    counted = count(ends, KEYS, "timed", by_runner=True)
    grouping = Grouping("segment", KEYS)
    return [
        to_rows(counted, estimate_achieved(counted, confidence), Quantity.ACHIEVED, grouping, None),
        to_rows(counted, _capability(counted, ends, confidence), Quantity.CAPABILITY, grouping, None),
    ]


def _with_beginning(tries: pl.DataFrame) -> pl.DataFrame:
    """Tries at the end of a segment, ``timed`` where read at both ends; doubtful where it is at either."""
    beginning = tries.select(
        "runner",
        pl.col("order") + 1,
        pl.col("point").alias("from_point"),
        pl.col("either").alias("either_before"),
        pl.col("doubtful").alias("doubtful_before"),
    )
    joined = tries.join(beginning, on=["runner", "order"], how="inner", validate="1:1")
    out = pl.col("doubtful") | pl.col("doubtful_before")
    return joined.with_columns(
        (pl.col("either") & pl.col("either_before")).alias("timed"),
        out.alias("doubtful"),
        *((pl.col(name) & ~out).alias(name) for name in ("known", "later", "unseen")),
    ).sort(*VISIT, "runner")


def _capability(counted: Counted, ends: pl.DataFrame, confidence: float) -> Estimates:
    """By later reads; at a finish, the share timed of those read there times the finish's own rate.

    That product assumes nothing: the first factor is counted among runners read at the end.
    """
    found = estimate_capability(counted, None, confidence)
    pair = by_sibling(counted, None, confidence)
    by_pair = (numbers(counted, "later") == 0) & ~np.isnan(pair.estimate)
    known = np.where(by_pair, numbers(counted, "known"), 1.0)
    hits = np.where(by_pair, numbers(counted, "hits"), 1.0)
    effects = design_effects(ends.filter("known"), KEYS, ["minute"], ~pl.col("timed"))
    deff = (
        counted.groups.join(effects, on=list(KEYS), how="left", suffix="_known", maintain_order="left")[
            "deff_known"
        ]
        .fill_null(1.0)  # nobody known at the end: no clusters
        .to_numpy()
    )
    timed = estimate_share(hits, known, confidence, deff)
    error = np.hypot(timed.estimate * pair.std_error, timed.std_error * pair.estimate)
    return replace(
        found,
        detected=np.where(by_pair, hits, found.detected),
        estimate=np.where(by_pair, timed.estimate * pair.estimate, found.estimate),
        std_error=np.where(by_pair, error, found.std_error),
        low=np.where(by_pair, timed.low * pair.low, found.low),
        high=np.where(by_pair, timed.high * pair.high, found.high),
        deff=np.where(by_pair, deff, found.deff),
    )
