"""Simulated events looked up on a camera that shows every runner: the list against the truth, and the audit of the finish."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineproof.camera import draw_audits
from lineproof.camera_tables import MINUTES, SIGHTINGS
from lineproof.detection.audit import AuditEstimate, estimate_audit
from lineproof.detection.proofs import to_proofs
from lineproof.interruptions import estimate_interruptions
from lineproof.lookups import to_lookups
from lineproof.simulate import EventPlan
from simulation.cleaned import Cleaned, cleaned


@dataclass(frozen=True, slots=True)
class LookedUp:
    """``rows``: LOOKUPS with ``crossed``, ``true_time``, ``inside`` (the window) and ``minutes`` of film."""

    clean: Cleaned
    proofs: pl.DataFrame
    rows: pl.DataFrame


def looked_up(plan: EventPlan, seed: int) -> LookedUp:
    clean = cleaned(plan, seed)
    simulated = clean.simulated
    proofs = to_proofs(clean.crossings, simulated.entries, simulated.event)
    interruptions = estimate_interruptions(proofs, simulated.event)
    found = to_lookups(proofs, simulated.entries, simulated.event, interruptions)
    truth = simulated.truth.crossings.select("runner", "order", "crossed", true_time="time")
    rows = found.join(truth, on=["runner", "order"], how="left", validate="1:1").with_columns(
        pl.col("true_time").is_between("look_from", "look_to").alias("inside"),
        ((pl.col("look_to") - pl.col("look_from")).dt.total_seconds() / 60).alias("minutes"),
    )
    return LookedUp(clean, proofs, rows.sort("rank"))


def found_in_first_half(rows: pl.DataFrame) -> tuple[int, int]:
    """Found in the first half of the list, and the most that a half could hold."""
    half = (rows.height + 1) // 2
    return int(rows.head(half)["crossed"].sum()), min(int(rows["crossed"].sum()), half)


def to_outcomes(looked: LookedUp) -> pl.DataFrame:
    """SIGHTINGS of a person who looked up every row and is always right."""
    rows = looked.rows.with_row_index("row", offset=2).with_columns(
        pl.when("crossed").then(pl.lit("seen")).otherwise(pl.lit("not there")).alias("outcome"),
        pl.when("crossed").then("true_time").alias("time"),
        who=pl.lit("Ada"),
        when=pl.lit("today"),
        file=pl.lit("sightings.csv"),
    )
    return SIGHTINGS.conform(rows).sort("runner", "order")


def audited(clean: Cleaned) -> tuple[AuditEstimate, float]:
    """The audit of the finish with every drawn minute counted rightly, and the true share missed in the window."""
    event = clean.simulated.event
    audit = draw_audits(clean.crossings, MINUTES.empty(), event)
    truth = clean.simulated.truth.crossings.filter("crossed", pl.col("point") == audit["point"][0])
    by_backup = pl.coalesce("read_backup", pl.lit(False))
    missed = truth.with_columns((~(pl.col("read_main") | by_backup)).alias("unread"))
    counted = (
        audit.drop("crossed", "missed")
        .join(missed.select("time", "unread"), how="cross")
        .filter(pl.col("time") >= pl.col("begin"), pl.col("time") < pl.col("end"))
        .group_by("begin")
        .agg(pl.len().alias("crossed"), pl.col("unread").sum().alias("missed"))
    )
    filled = audit.drop("crossed", "missed").join(counted, on="begin", how="left", validate="1:1")
    filled = filled.with_columns(pl.col("crossed", "missed").fill_null(0))  # a minute in which nobody came
    return estimate_audit(filled), float(missed["unread"].mean() or 0.0)  # type: ignore[arg-type]
