"""The whole flow on one page: from the exports of the day to everything a report shows.

    event.toml, exports -> reads -> passings -> crossings -> gate, checks
                                                          -> proofs -> rates, look-ups,
                                                                       interruptions -> unseen, weak tags

The cleaning half (up to crossings and checks) and the inference half (proofs and what follows) meet
only here.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.checks import Material, run_checks, to_repeated_reads, without_filled_in_starts
from lineproof.crossings import merge_passings
from lineproof.decisions import apply_decisions, load_decisions, mark_corrected, mark_decided
from lineproof.detection.proofs import to_proofs
from lineproof.detection.rates import estimate_rates
from lineproof.event import Event, load_event
from lineproof.expectations import GateResult, run_gate
from lineproof.intake import load_exports
from lineproof.interruptions import estimate_interruptions, without_interruptions
from lineproof.lookups import to_lookups
from lineproof.passings import number_passings, to_passings
from lineproof.pseudonyms import load_key, to_pseudonyms
from lineproof.unseen import estimate_unseen

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


def _silent(_step: str) -> None:
    return None


def review_event(folder: str | Path, progress: Progress = _silent) -> Review:
    """Review the event in ``folder``; nothing in it is changed but a missing pseudonym key is added.

    ``progress`` is told each step in words.  Raises ``LineproofError`` with one sentence for the user.
    """
    progress("reading the event description")
    event = load_event(folder)
    with tempfile.TemporaryDirectory(prefix="lineproof-", ignore_cleanup_errors=True) as work:
        progress("reading the exports")
        intake = load_exports(event, Path(work))
        progress("joining reads to passings")
        as_read = number_passings([to_passings(intake.reads, event), intake.passings])
        repeated = to_repeated_reads(intake.reads)
    decided = apply_decisions(as_read, load_decisions(event))
    progress("merging passings to crossings")
    merge = merge_passings(decided.passings, intake.entries, intake.tags, event)
    crossings = mark_corrected(merge.crossings, decided)
    progress("proving who crossed")
    read = without_filled_in_starts(crossings, event, intake.entries)
    proofs = to_proofs(read, intake.entries, event)
    progress("checking the merged data")
    gate = run_gate(crossings, event, intake.entries)
    material = Material(
        event=event,
        entries=intake.entries,
        tags=intake.tags,
        passings=decided.passings,
        crossings=crossings,
        unused=merge.unused,
        proofs=proofs,
        lags=merge.lags,
        repeated_reads=repeated,
        set_aside=merge.set_aside,
    )
    findings = mark_decided(run_checks(material), decided)
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
        **_infer(proofs, intake.entries, intake.tags, event, progress),
    )


def _infer(
    proofs: pl.DataFrame, entries: pl.DataFrame, tags: pl.DataFrame, event: Event, progress: Progress
) -> dict[str, pl.DataFrame]:
    """What the proofs say: the fields of a review that are inferred."""
    progress("counting detection rates")
    rates = estimate_rates(proofs, event)
    progress("looking for interruptions")
    interruptions = estimate_interruptions(proofs, event)
    stopped = pl.col("point").is_in(interruptions["point"].unique().to_list())
    at_work = without_interruptions(proofs.filter(stopped), interruptions, event)
    progress("estimating who crossed unseen")
    unseen = estimate_unseen(proofs, interruptions, entries, tags, event)
    return {
        "rates": rates,
        "lookups": to_lookups(proofs, entries, event),
        "interruptions": interruptions,
        "rates_at_work": estimate_rates(at_work, event),
        "unseen": unseen.points,
        "weak_tags": unseen.tags,
    }
