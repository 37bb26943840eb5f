"""What interruptions mean for the runners who came by: lines that could not have read them."""

from __future__ import annotations

import numpy as np
import polars as pl

from lineproof.event import Event
from lineproof.interruptions.arrivals import Bools, to_timed, within
from lineproof.vocabulary import Proof, Role


def to_masks(proofs: pl.DataFrame, interruptions: pl.DataFrame, event: Event) -> pl.DataFrame:
    """``runner``, ``order``, ``main_available``, ``backup_available`` of every row of PROOFS, sorted.

    A line is not available to a runner who came by in its interruption, read or not: to count the stray
    reads and not the misses would flatter it.  Of a runner whom nobody read only an interpolated time is known; who
    may have come by in the window is taken to have done so, as an outage misses all and a sound line
    hardly anyone.
    """
    timed = to_timed(proofs).with_columns((pl.col("proof") != Proof.SEEN.value).alias("unseen"))
    out = {role: np.zeros(timed.height, dtype=np.bool_) for role in Role}
    roles = {line.id: (line.role,) for line in event.lines}
    for row in interruptions.with_columns(pl.col("begin", "end").dt.epoch("us")).iter_rows(named=True):
        inside = _inside(timed, row["point"], (row["begin"], row["end"]), row["doubt_us"])
        for role in Role if row["line"] is None else roles[row["line"]]:
            out[role] |= inside
    return timed.select(
        "runner",
        "order",
        pl.Series("main_available", ~out[Role.MAIN]),
        pl.Series("backup_available", ~out[Role.BACKUP]),
    ).sort("runner", "order")


def _inside(timed: pl.DataFrame, point: str, window: tuple[int, int], doubt_us: int) -> Bools:
    """Rows of the point in the window; a runner without any time is in none."""
    here = ((timed["point"] == point) & timed["at"].is_not_null()).to_numpy()
    at = timed["at"].to_numpy()[here].astype(np.int64)
    inside = np.zeros(timed.height, dtype=np.bool_)
    inside[here] = within(at, timed["unseen"].to_numpy()[here], [window], doubt_us)
    return inside


def without_interruptions(proofs: pl.DataFrame, interruptions: pl.DataFrame, event: Event) -> pl.DataFrame:
    """PROOFS less the crossings at which a line of the point could not have read: for rates "with all lines at work".

    The rows go whole: a crossing with one of two lines dark says nothing of what both lines read, and one
    with an unknown flag would count against the export.
    """
    at_work = to_masks(proofs, interruptions, event).filter("main_available", "backup_available")
    kept = proofs.join(
        at_work.select("runner", "order"), on=["runner", "order"], how="semi", maintain_order="left"
    )
    return kept.sort("runner", "order")
