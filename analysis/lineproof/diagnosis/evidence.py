"""What the diagnosis rests on: the tables of one event, as the pipeline has them."""

from __future__ import annotations

from dataclasses import dataclass, field

import polars as pl

from lineproof.setup_tables import LAID_LINES, LAID_MATS


@dataclass(frozen=True, slots=True)
class Evidence:
    """Frames keep the contracts of the tables they are named after; without a set-up record nothing is laid."""

    proofs: pl.DataFrame
    crossings: pl.DataFrame
    passings: pl.DataFrame
    interruptions: pl.DataFrame
    mats: pl.DataFrame
    weak_tags: pl.DataFrame
    laid_lines: pl.DataFrame = field(default_factory=LAID_LINES.empty)
    laid_mats: pl.DataFrame = field(default_factory=LAID_MATS.empty)
