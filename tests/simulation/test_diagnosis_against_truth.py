"""Diagnosis against the known truth of simulated events: a small part of benchmarks/diagnosis.py, which has the limits."""

from __future__ import annotations

import dataclasses

import polars as pl
import pytest

from lineproof.clock_faults import estimate_clock_faults
from lineproof.crossings import merge_passings
from lineproof.detection.lateral_place import estimate_mats
from lineproof.detection.proofs import to_proofs
from lineproof.diagnosis import Diagnosis, Evidence, estimate_diagnosis
from lineproof.event import Event
from lineproof.interruptions import estimate_interruptions
from lineproof.passings import to_passings
from lineproof.setup_tables import LAID_LINES
from lineproof.simulate import Clock, EventPlan, MatFault, Silence, clean_plan, simulate_event, with_line
from lineproof.unseen_tables import WEAK_TAGS
from lineproof.vocabulary import Cause

DEAD = 1e3


def diagnosed(plan: EventPlan, seed: int, mats_at: str | None = None) -> Diagnosis:
    """``mats_at``: the point whose mats are compared; the plain counts do without."""
    sim = simulate_event(plan, seed)
    passings = to_passings(sim.reads.lazy(), sim.event)
    crossings = merge_passings(passings, sim.entries, sim.tags, sim.event).crossings
    proofs = to_proofs(crossings, sim.entries, sim.event)
    return estimate_diagnosis(
        Evidence(
            proofs=proofs,
            crossings=crossings,
            passings=passings,
            interruptions=estimate_interruptions(proofs, sim.event),
            mats=estimate_mats(crossings.filter(pl.col("point") == (mats_at or "")), sim.event),
            weak_tags=WEAK_TAGS.empty(),
        ),
        sim.event,
    )


def wider(plan: EventPlan, point: str, road_m: float) -> EventPlan:
    points = (dataclasses.replace(p, road_m=road_m) if p.id == point else p for p in plan.points)
    return dataclasses.replace(plan, points=tuple(points))


PLAIN = clean_plan(1500)
PLANTED: dict[str, tuple[EventPlan, Cause, str | None, int | None]] = {
    "dead mat": (
        with_line(PLAIN, "p2-main", mat_faults=(MatFault(3, DEAD),)),
        Cause.SILENT_ANTENNA,
        "p2-main",
        3,
    ),
    "mat that dies": (
        with_line(PLAIN, "p1-backup", mat_faults=(MatFault(2, DEAD, 1200.0),)),
        Cause.SILENT_ANTENNA,
        "p1-backup",
        2,
    ),
    "weak mat": (
        with_line(PLAIN, "p2-main", mat_faults=(MatFault(3, 3.5),)),
        Cause.WEAK_ANTENNA,
        "p2-main",
        3,
    ),
    "ports": (
        with_line(PLAIN, "f-main", mat_faults=(MatFault(4, DEAD), MatFault(5, DEAD))),
        Cause.PORTS_NOT_TOLD,
        "f-main",
        None,
    ),
    "outage": (
        with_line(PLAIN, "p2-main", silences=(Silence(1700, 2100),)),
        Cause.INTERRUPTION,
        "p2-main",
        None,
    ),
    "practice": (with_line(PLAIN, "p3-backup", practice=True), Cause.PRACTICE_ROLE, "p3-backup", None),
    "whole line": (with_line(PLAIN, "p2-main", rate=0.9), Cause.WHOLE_LINE, "p2-main", None),
    "wide road": (wider(PLAIN, "p2", 6.5), Cause.ROAD_WIDER, None, None),
    "crowd": (clean_plan(1500, waves=1, flow_per_s=28, road_m=6), Cause.CROWD, None, None),
    "weak tags": (clean_plan(1500, weak_share=0.02), Cause.WEAK_TAG, None, None),
}


@pytest.mark.parametrize("name", list(PLANTED))
def test_a_planted_fault_is_named_at_its_place_and_alone(name: str) -> None:
    plan, cause, line, antenna = PLANTED[name]
    found = diagnosed(plan, 20261125, "p2" if cause is Cause.WEAK_ANTENNA else None)
    rows = (
        found.findings.filter(pl.col("cause") != Cause.WEAK_TAG.value)
        if cause is not Cause.WEAK_TAG
        else found.findings
    )
    (row,) = rows.iter_rows(named=True)
    assert (row["cause"], row["line"], row["antenna"]) == (cause.value, line, antenna)
    assert row["explained"] > row["usual"]
    explained = found.misses.filter(pl.col("finding") == row["finding"]).height
    assert explained == row["explained"]


def test_clean_events_have_no_finding_and_all_misses_stay_unexplained() -> None:
    for seed in range(4):
        found = diagnosed(clean_plan(1500, weak_share=0.0), seed)
        assert found.findings.is_empty()
        assert found.misses["cause"].null_count() == found.misses.height > 0


def clocks(plan: EventPlan, seed: int, event: Event | None = None) -> pl.DataFrame:
    sim = simulate_event(plan, seed)
    stated = event or sim.event
    merge = merge_passings(to_passings(sim.reads.lazy(), stated), sim.entries, sim.tags, stated)
    return estimate_clock_faults(merge.held, merge.set_aside, stated, LAID_LINES.empty(), {})


@pytest.mark.parametrize("lines", [(0.99, 0.985), (0.985,)], ids=["two lines", "one line"])
@pytest.mark.parametrize(("offset", "word"), [(-3600.0, "zone"), (43_200.0, "half day"), (86_400.0, "date")])
@pytest.mark.parametrize("line", ["s-main", "p2-main", "f-main"])
def test_hours_half_days_and_dates_are_always_found(
    lines: tuple[float, ...], offset: float, word: str, line: str
) -> None:
    plan = with_line(clean_plan(400, line_rate=lines), line, clock=Clock(offset))
    found = clocks(plan, 5)
    row = found.filter(line=line).row(0, named=True)
    assert row["looks_like"] == word
    assert row["correction_us"] == -offset * 1e6
    assert set(found.filter(pl.col("line") != line)["looks_like"]) == {"sound"}


def test_offsets_lie_within_their_doubt() -> None:
    """Satellite seconds at a backup line, known to a tenth; the truth within two and a half standard errors."""
    row = (
        clocks(with_line(clean_plan(800), "p1-backup", clock=Clock(18.0)), 3)
        .filter(line="p1-backup")
        .row(0, named=True)
    )
    assert row["looks_like"] == "satellite seconds"
    assert abs(row["offset_us"] - 18e6) <= max(50_000, 2.5 * row["offset_se_us"])


def test_a_spacing_ten_metres_wrong_and_a_clock_three_seconds_wrong_are_told_apart() -> None:
    plain = clean_plan(800)
    event = simulate_event(plain, 2).event
    moved = tuple(dataclasses.replace(x, spacing_m=13.0) if x.id == "p2-backup" else x for x in event.lines)
    apart = (
        clocks(plain, 2, dataclasses.replace(event, lines=moved)).filter(line="p2-backup").row(0, named=True)
    )
    assert apart["looks_like"] == "distance"
    assert abs(apart["distance_m"] - 10) < 1
    wrong = clocks(with_line(plain, "p2-backup", clock=Clock(3.0)), 2).filter(pl.col("point") == "p2")
    assert "distance" not in wrong["looks_like"].to_list()
