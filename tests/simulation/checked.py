"""Findings on simulated clean events: ordinary weak tags and drop-outs, and nothing planted."""

from __future__ import annotations

import polars as pl

from lineproof.checks import Material, run_checks
from lineproof.detection.proofs import to_proofs
from lineproof.simulate import EventPlan, clean_plan
from lineproof.vocabulary import Severity
from simulation.cleaned import cleaned

CLEAN_PLANS: dict[str, EventPlan] = {
    "5 km": clean_plan(400, 3, distance_m=5_000, waves=1),
    "10 km": clean_plan(800, 5),
    "half": clean_plan(1000, 6, distance_m=21_097.5, dropout_total=0.016, weak_share=0.01),
    "trail": clean_plan(500, 8, distance_m=32_000, climb_m=1500, pace_s_km=370, dropout_total=0.08, waves=1),
    "single lines": clean_plan(600, 5, line_rate=(0.985,)),
}


def findings_on(plan: EventPlan, seed: int) -> pl.DataFrame:
    result = cleaned(plan, seed)
    simulated = result.simulated
    proofs = to_proofs(result.crossings, simulated.entries, simulated.event)
    return run_checks(
        Material(
            event=simulated.event,
            entries=simulated.entries,
            tags=simulated.tags,
            passings=result.passings,
            crossings=result.crossings,
            unused=result.unused,
            proofs=proofs,
            lags=result.merge.lags,
            set_aside=result.merge.set_aside,
        )
    )


def errors_on(plan: EventPlan, seed: int) -> list[str]:
    """Names of the checks that call a clean event wrong."""
    findings = findings_on(plan, seed)
    return findings.filter(pl.col("severity") == Severity.ERROR.value)["check"].to_list()
