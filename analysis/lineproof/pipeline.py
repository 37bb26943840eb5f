"""The whole flow on one page: from the exports of the day to everything a report shows.

    event.toml, exports -> reads -> passings -> crossings -> gate, checks
                                                          -> proofs -> rates, look-ups

The cleaning half (up to crossings and checks) and the inference half (proofs and what follows) meet
only here.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.checks import Material, run_checks
from lineproof.clocks import estimate_line_lags
from lineproof.crossings import to_crossings
from lineproof.decisions import apply_decisions, load_decisions, mark_decided
from lineproof.detection.proofs import to_proofs
from lineproof.detection.rates import estimate_rates
from lineproof.event import Event, load_event
from lineproof.expectations import GateResult, run_gate
from lineproof.intake import load_exports
from lineproof.lookups import to_lookups
from lineproof.passings import number_passings, to_passings
from lineproof.pseudonyms import load_key, to_pseudonyms

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Review:
    """Everything known of one event.  Frames keep the contracts of tables.py."""

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
    decided = apply_decisions(as_read, load_decisions(event))
    progress("merging passings to crossings")
    lags = estimate_line_lags(decided.passings, event)
    crossings, unused = to_crossings(decided.passings, intake.entries, intake.tags, event, lags)
    progress("proving who crossed")
    proofs = to_proofs(crossings, intake.entries, event)
    progress("checking the merged data")
    gate = run_gate(crossings, event)
    material = Material(event, intake.entries, intake.tags, decided.passings, crossings, unused, proofs, lags)
    findings = mark_decided(run_checks(material), decided)
    progress("counting detection rates")
    rates = estimate_rates(proofs, event)
    lookups = to_lookups(proofs, intake.entries, event)
    return Review(
        event=event,
        entries=intake.entries,
        tags=intake.tags,
        account=intake.account,
        rejects=intake.rejects,
        decisions=decided.report,
        passings=decided.passings,
        lags=lags,
        crossings=crossings,
        unused=unused,
        proofs=proofs,
        gate=gate,
        findings=findings,
        rates=rates,
        lookups=lookups,
        pseudonyms=to_pseudonyms(intake.entries["runner"], load_key(event.folder)),
    )
