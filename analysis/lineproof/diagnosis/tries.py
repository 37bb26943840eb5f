"""Every time that a line was tried: a runner who was there by evidence from elsewhere, read by the line or missed.

    PROOFS, CROSSINGS, WEAK_TAGS -> tries (one row for each line and runner and visit, with its conditions)

The misses among them are what the diagnosis explains.  A line is tried by runners whom the other line of its
point read, or who were read further on; never by its own reads.  Where the input does not tell what a line
did, only runners whom no line of the point read are known to have been missed by it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineproof.event import Event, Line
from lineproof.interruptions.arrivals import UNTOLD_SHARE, to_timed
from lineproof.vocabulary import CROSSED, Proof, Role

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

FLOW_WINDOW_S = 10.0  # runners within so many seconds on either side make the flow
NO_ANTENNA = 0


@dataclass(frozen=True, slots=True)
class Tries:
    """Columns of all tries, rows sorted by line (in the event's order), time, runner.

    ``at`` (us since 1970, -1 where unknown), ``missed``, ``unseen`` (by either line), ``sibling`` and ``own``
    (antenna numbers, 0 where unknown), ``flow`` (runners a minute), ``weak`` (chance of a weak tag, NaN unknown),
    ``told`` (the input tells what the line did), ``camera`` (known from the camera alone: only the missed are looked for
    there, so these rows say nothing of a rate).  ``frame`` has the words of the same rows; ``rows_of`` gives each
    line's rows.
    """

    frame: pl.DataFrame
    rows_of: dict[str, Ints]
    at: Ints
    missed: Bools
    unseen: Bools
    sibling: Ints
    own: Ints
    flow: Floats
    weak: Floats
    told: Bools
    camera: Bools
    doubt_us: Ints

    @property
    def total_missed(self) -> int:
        return int(self.missed.sum())


def to_tries(proofs: pl.DataFrame, crossings: pl.DataFrame, weak_tags: pl.DataFrame, event: Event) -> Tries:
    """Tries of all lines.  Frames keep the contracts PROOFS, CROSSINGS and WEAK_TAGS."""
    antennas = crossings.select("runner", "order", "main_antenna", "backup_antenna")
    rows = (
        to_timed(proofs)
        .join(antennas, on=["runner", "order"], how="left", validate="1:1")
        .join(weak_tags.select("runner", "weak", "late"), on="runner", how="left", validate="m:1")
        .with_columns((pl.col("proof") != Proof.SEEN.value).alias("unseen"))
        .filter(pl.col("proof").is_in(CROSSED))
    )
    rows = _with_flow(rows)
    parts = [_of_line(rows.filter(pl.col("point") == line.point), line, event) for line in event.lines]
    frame = (
        pl.concat(parts) if parts else _of_line(rows.head(0), Line("", "", "", Role.MAIN, None, None), event)
    )
    place = {line.id: number for number, line in enumerate(event.lines)}
    number = pl.col("line").replace_strict(place, default=0, return_dtype=pl.Int64)
    frame = frame.sort(number, "at", "runner", "order", nulls_last=True)
    return to_arrays(frame, event)


def _with_flow(rows: pl.DataFrame) -> pl.DataFrame:
    """Adds ``flow``: runners a minute at the point around the time of each."""
    rows = rows.sort("point", "at", "runner", "order", nulls_last=True)
    found = np.full(rows.height, np.nan)
    points, at = rows["point"].to_numpy(), rows["at"].fill_null(-1).to_numpy()
    span = round(FLOW_WINDOW_S * 1e6)
    for point in rows["point"].unique(maintain_order=True):
        here = np.flatnonzero((points == point) & (at >= 0))
        times = at[here]
        count = np.searchsorted(times, times + span, side="right") - np.searchsorted(times, times - span)
        found[here] = count / (2 * FLOW_WINDOW_S) * 60
    return rows.with_columns(pl.Series("flow", found, dtype=pl.Float64).fill_nan(None))


def _of_line(here: pl.DataFrame, line: Line, event: Event) -> pl.DataFrame:
    lines = event.lines_at(line.point)
    sibling = Role.BACKUP if line.role is Role.MAIN else Role.MAIN
    flag, other = pl.col(f"seen_{line.role.value}"), f"seen_{sibling.value}"
    told = _tells(here, line)
    both_tell = len(lines) == len(Role) and all(_tells(here, each) for each in lines)
    by_sibling = pl.col(other) if both_tell else pl.lit(False)
    camera = pl.col("proof") == Proof.CAMERA.value
    evident = pl.col("seen_later") | by_sibling.fill_null(False) | camera
    missed = (~flag).fill_null(False) if told else pl.col("unseen")
    return here.filter(evident & (flag.is_not_null() if told else pl.lit(True))).select(
        pl.lit(line.point).alias("point"),
        pl.lit(line.id).alias("line"),
        pl.lit(line.role.value).alias("role"),
        "runner",
        "course",
        "wave",
        "order",
        "at",
        "doubt_us",
        missed.alias("missed"),
        "unseen",
        pl.col(f"{sibling.value}_antenna").alias("sibling"),
        pl.col(f"{line.role.value}_antenna").alias("own"),
        "flow",
        "weak",
        "late",
        "seen_later",
        pl.lit(told).alias("told"),
        (camera & ~pl.col("seen_later")).alias("camera"),
    )


def _tells(here: pl.DataFrame, line: Line) -> bool:
    nulls = here[f"seen_{line.role.value}"].null_count()
    return bool(here.height) and nulls <= UNTOLD_SHARE * here.height


def to_arrays(frame: pl.DataFrame, event: Event) -> Tries:
    lines = frame["line"].to_numpy()
    return Tries(
        frame=frame,
        rows_of={line.id: np.flatnonzero(lines == line.id) for line in event.lines},
        at=frame["at"].fill_null(-1).to_numpy().astype(np.int64),
        missed=frame["missed"].to_numpy().astype(np.bool_),
        unseen=frame["unseen"].to_numpy().astype(np.bool_),
        sibling=frame["sibling"].fill_null(NO_ANTENNA).to_numpy().astype(np.int64),
        own=frame["own"].fill_null(NO_ANTENNA).to_numpy().astype(np.int64),
        flow=frame["flow"].fill_null(0.0).to_numpy().astype(np.float64),
        weak=frame["weak"].cast(pl.Float64).to_numpy().astype(np.float64),
        told=frame["told"].to_numpy().astype(np.bool_),
        camera=frame["camera"].to_numpy().astype(np.bool_),
        doubt_us=frame["doubt_us"].to_numpy().astype(np.int64),
    )
