"""The whole flow on one page: from the exports of the day to everything a report shows.

    event.toml, exports -> reads -> passings -> crossings -> gate, checks, mats, camera audit
                                 sightings -> proofs -> rates, interruptions -> unseen, weak tags,
                                                                                look-ups, diagnosis
                     set-up record ...........................................................^

The cleaning half (up to crossings and checks) and the inference half (proofs and what follows) meet
only here.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.camera import draw_audits, estimate_audits, settle_unseen, to_sighted
from lineproof.checks import Material, run_checks, to_repeated_reads, without_filled_in_starts
from lineproof.clock_faults import estimate_clock_faults
from lineproof.crossings import merge_passings
from lineproof.decisions import (
    apply_decisions,
    clock_shifts,
    load_decisions,
    mark_corrected,
    mark_decided,
)
from lineproof.detection.going_on import estimate_going_on
from lineproof.detection.lateral_place import estimate_mats
from lineproof.detection.line_pairs import compare_all_lines
from lineproof.detection.proofs import to_proofs
from lineproof.detection.rates import estimate_rates
from lineproof.diagnosis import Diagnosis, Evidence, estimate_diagnosis
from lineproof.event import Event, load_event
from lineproof.expectations import GateResult, run_gate
from lineproof.intake import Intake, load_exports
from lineproof.interruptions import estimate_interruptions, to_masks, without_interruptions
from lineproof.lookups import to_lookups
from lineproof.misnamed import say_misnamed
from lineproof.passings import number_passings, to_passings
from lineproof.pseudonyms import load_key, to_pseudonyms
from lineproof.setup import Setup, load_setup, to_laid_event
from lineproof.sightings import load_sightings
from lineproof.tables import RATES
from lineproof.unseen import estimate_unseen
from lineproof.vocabulary import Level

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Review:
    """Everything known of one event.  Frames keep the contracts of tables.py and unseen_tables.py."""

    event: Event
    entries: pl.DataFrame
    tags: pl.DataFrame
    account: pl.DataFrame
    rejects: pl.DataFrame
    decisions: pl.DataFrame
    passings: pl.DataFrame
    lags: pl.DataFrame
    crossings: pl.DataFrame
    unused: pl.DataFrame
    proofs: pl.DataFrame
    gate: GateResult
    findings: pl.DataFrame
    rates: pl.DataFrame
    lookups: pl.DataFrame
    pseudonyms: pl.DataFrame
    interruptions: pl.DataFrame
    rates_at_work: pl.DataFrame  # RATES at the points with interruptions, without these
    unseen: pl.DataFrame
    weak_tags: pl.DataFrame
    weak_shares: pl.DataFrame
    line_pairs: pl.DataFrame
    mats: pl.DataFrame
    sightings: pl.DataFrame  # SIGHTED: outcomes of look-ups
    audit: pl.DataFrame
    audit_results: pl.DataFrame
    setup: Setup  # the event's lines above have its widths and distances
    clock_faults: pl.DataFrame
    misses: pl.DataFrame  # private
    diagnosis: pl.DataFrame


def _silent(_step: str) -> None:
    return None


def _load_as_laid(folder: str | Path) -> tuple[Event, Setup]:
    """The event with the widths and distances of its set-up record, and the record."""
    planned = load_event(folder)
    setup = load_setup(planned)
    return to_laid_event(planned, setup.lines), setup


def review_event(folder: str | Path, progress: Progress = _silent) -> Review:
    """Review the event in ``folder``; nothing in it is changed but a missing pseudonym key is added.

    ``progress`` is told each step in words.  Raises ``LineproofError`` with one sentence for the user.
    """
    progress("reading the event description")
    event, setup = _load_as_laid(folder)
    with tempfile.TemporaryDirectory(prefix="lineproof-", ignore_cleanup_errors=True) as work:
        progress("reading the exports")
        intake = load_exports(event, Path(work))
        progress("joining reads to passings")
        as_read = number_passings([to_passings(intake.reads, event), intake.passings])
        different = int(as_read.filter(pl.col("level") == Level.READS.value)["reads"].sum())
        repeated = to_repeated_reads(intake.reads, different)
        looked = load_sightings(event, intake.entries, Path(work))
    decided = apply_decisions(as_read, load_decisions(event))
    progress("merging passings to crossings")
    merge = merge_passings(decided.passings, intake.entries, intake.tags, event)
    crossings = mark_corrected(merge.crossings, decided)
    progress("comparing the clocks")
    shifts = clock_shifts(decided.report)
    clocks = estimate_clock_faults(merge.held, merge.set_aside, event, setup.lines, shifts)
    progress("proving who crossed")
    by_reads, proofs = _prove(crossings, intake.entries, event, looked.outcomes)
    progress("checking the merged data")
    gate = run_gate(crossings, event, intake.entries)
    material = Material(
        event, intake.entries, intake.tags, decided.passings, crossings, merge.unused, proofs, merge.lags,
        repeated_reads=repeated, set_aside=merge.set_aside,
    )  # fmt: skip
    findings = mark_decided(run_checks(material), decided)
    mats = estimate_mats(crossings, event)
    inferred = _infer(by_reads, proofs, intake, event, looked.outcomes, progress)
    progress("explaining the misses")
    diagnosed = _diagnose(proofs, crossings, decided.passings, mats, inferred, setup, event)
    return Review(
        event=event,
        entries=intake.entries,
        tags=intake.tags,
        account=intake.account,
        rejects=intake.rejects,
        decisions=decided.report,
        passings=decided.passings,
        lags=merge.lags,
        crossings=crossings,
        unused=merge.unused,
        proofs=proofs,
        gate=gate,
        findings=findings,
        pseudonyms=to_pseudonyms(intake.entries["runner"], load_key(event.folder)),
        setup=setup,
        mats=mats,
        sightings=to_sighted(looked.outcomes, by_reads, proofs),
        **_audit(crossings, looked.minutes, event),
        clock_faults=clocks,
        misses=diagnosed.misses,
        diagnosis=diagnosed.findings,
        **inferred | {"rates": say_misnamed(inferred["rates"], intake.rejects, decided.passings, event)},
    )


def _prove(
    crossings: pl.DataFrame, entries: pl.DataFrame, event: Event, outcomes: pl.DataFrame
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """PROOFS by the reads alone, and with what was seen on the camera."""
    read = without_filled_in_starts(crossings, event, entries)
    by_reads = to_proofs(read, entries, event)
    return by_reads, to_proofs(read, entries, event, outcomes) if outcomes.height else by_reads


def _audit(crossings: pl.DataFrame, minutes: pl.DataFrame, event: Event) -> dict[str, pl.DataFrame]:
    """The camera minutes drawn at every finish, and what those that were counted say."""
    audit = draw_audits(crossings, minutes, event)
    return {"audit": audit, "audit_results": estimate_audits(audit, event)}


def _diagnose(
    proofs: pl.DataFrame,
    crossings: pl.DataFrame,
    passings: pl.DataFrame,
    mats: pl.DataFrame,
    inferred: dict[str, pl.DataFrame],
    setup: Setup,
    event: Event,
) -> Diagnosis:
    evidence = Evidence(
        proofs=proofs,
        crossings=crossings,
        passings=passings,
        interruptions=inferred["interruptions"],
        mats=mats,
        weak_tags=inferred["weak_tags"],
        laid_lines=setup.lines,
        laid_mats=setup.mats,
    )
    return estimate_diagnosis(evidence, event)


def _infer(
    by_reads: pl.DataFrame,
    proofs: pl.DataFrame,
    intake: Intake,
    event: Event,
    outcomes: pl.DataFrame,
    progress: Progress,
) -> dict[str, pl.DataFrame]:
    """What the proofs say: the fields of a review that are inferred.

    The course model knows reads only (``by_reads``); what the camera settled is worked into its numbers after it.
    """
    progress("counting detection rates")
    rates = estimate_rates(proofs, event)
    progress("looking for interruptions")
    interruptions = estimate_interruptions(proofs, event)
    at_work = _rates_at_work(proofs, interruptions, event)
    progress("estimating who crossed unseen")
    unseen = estimate_unseen(by_reads, interruptions, intake.entries, intake.tags, event)
    points = unseen.points
    if outcomes.height:
        chances = estimate_going_on(by_reads, to_masks(by_reads, interruptions, event), event)
        points = settle_unseen(points, chances, by_reads, proofs)
    return {
        "rates": rates,
        "lookups": to_lookups(proofs, intake.entries, event, interruptions, intake.stated, outcomes),
        "interruptions": interruptions,
        "rates_at_work": at_work,
        "unseen": points,
        "weak_tags": unseen.tags,
        "weak_shares": unseen.shares,
        "line_pairs": compare_all_lines(by_reads, event),
    }


def _rates_at_work(proofs: pl.DataFrame, interruptions: pl.DataFrame, event: Event) -> pl.DataFrame:
    """RATES of the points with interruptions, counted outside these."""
    if interruptions.is_empty():
        return RATES.empty()
    rates = estimate_rates(proofs, event, without_interruptions(proofs, interruptions, event))
    return rates.filter(pl.col("point").is_in(interruptions["point"].unique().to_list()))
