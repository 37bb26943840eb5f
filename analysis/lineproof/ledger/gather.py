"""A review as the tables of the ledger: counts of it all, and single runners only under pseudonyms."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.checks import without_filled_in_starts
from lineproof.detection.proofs import to_proofs
from lineproof.event import Event
from lineproof.ledger.cells import to_cells, to_line_tries, to_slots
from lineproof.ledger.histories import to_histories
from lineproof.ledger.named import to_kept_crossings, to_kept_decisions, to_kept_tags
from lineproof.ledger.provenance import Basis, to_provenance
from lineproof.season_tables import EVENTS, FINDING_COUNTS, GATE_LINES, KEPT, MISS_COUNTS
from lineproof.vocabulary import Proof

if TYPE_CHECKING:
    from lineproof.pipeline import Review


def to_kept(review: Review, key: bytes, basis: Basis) -> dict[str, pl.DataFrame]:
    """Every table of ``season_tables.KEPT`` for one event, sorted; crossings only if ``basis`` asks for them."""
    event = review.event
    tries = to_line_tries(review.proofs, review.interruptions, event)
    tables = {**_counted(review, tries), **_as_reviewed(review)}
    tables["tags"] = to_kept_tags(review.tags, review.weak_tags, tries, event, key)
    tables["decisions"] = to_kept_decisions(review.decisions, event, key)
    tables["provenance"] = to_provenance(event, basis)
    if basis.crossings:
        tables["crossings"] = to_kept_crossings(review.crossings, event, key)
    return {name: KEPT[name].check(tables[name]) for name in KEPT if name in tables}


def _counted(review: Review, tries: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """What is counted or shaped anew for the ledger."""
    event, setup = review.event, review.setup
    visits, histories = to_histories(by_reads(review), review.interruptions, event)
    slots = to_slots(review.mats, review.crossings, review.interruptions, review.proofs, event)
    cells = to_cells(tries, slots, review.proofs, setup.lines, setup.mats, review.tags, event)
    return {
        "events": _to_event(review),
        "visits": visits,
        "histories": histories,
        "cells": cells,
        "finding_counts": _to_finding_counts(review.findings, event),
        "miss_counts": _to_miss_counts(review.misses, event),
        "gate": _to_gate_lines(review),
    }


def by_reads(review: Review) -> pl.DataFrame:
    """PROOFS as the reads alone make them: the course model must not know whom somebody looked for on the camera."""
    if review.sightings.is_empty():
        return review.proofs
    read = without_filled_in_starts(review.crossings, review.event, review.entries)
    return to_proofs(read, review.entries, review.event)


def _as_reviewed(review: Review) -> dict[str, pl.DataFrame]:
    """Tables of the review that name no runner, as they are."""
    frames = {
        "rates": review.rates,
        "rates_at_work": review.rates_at_work,
        "unseen": review.unseen,
        "interruptions": review.interruptions,
        "account": review.account,
        "mats": review.mats,
        "line_pairs": review.line_pairs,
        "weak_shares": review.weak_shares,
        "audit_results": review.audit_results,
        "laid_lines": review.setup.lines,
        "laid_mats": review.setup.mats,
        "complaints": review.setup.complaints,
        "equipment": review.setup.equipment,
        "clock_faults": review.clock_faults,
        "diagnosis": review.diagnosis,
    }
    return {name: _kept(name, frame, review.event) for name, frame in frames.items()}


def _kept(name: str, frame: pl.DataFrame, event: Event) -> pl.DataFrame:
    return KEPT[name].conform(frame.with_columns(pl.lit(event.id).alias("event")))


def _to_event(review: Review) -> pl.DataFrame:
    event = review.event
    seen = review.proofs.filter(pl.col("proof") == Proof.SEEN.value)["runner"].n_unique()
    holders = review.tags["runner"].n_unique()
    row: dict[str, object] = {
        "event": event.id,
        "name": event.name,
        "date": event.date,
        "zone": event.zone,
        "entries": review.entries.height,
        "seen": seen,
        "tags_each": review.tags.height / holders if holders else None,
        "passed": review.gate.passed,
        "target": event.setting("target"),
        "confidence": event.setting("confidence"),
    }
    return EVENTS.check(EVENTS.shape_rows([row]))


def _to_finding_counts(findings: pl.DataFrame, event: Event) -> pl.DataFrame:
    keys = [name for name in FINDING_COUNTS.key if name != "event"]
    counts = findings.group_by(keys).agg(
        pl.len().alias("findings"),
        pl.col("rows").sum(),
        pl.col("decided").is_not_null().sum().alias("decided"),
    )
    return FINDING_COUNTS.conform(counts.with_columns(pl.lit(event.id).alias("event"))).sort(keys)


def _to_miss_counts(misses: pl.DataFrame, event: Event) -> pl.DataFrame:
    keys = [name for name in MISS_COUNTS.columns if name not in ("event", "misses")]
    counts = misses.group_by(keys).agg(pl.len().alias("misses"))
    return MISS_COUNTS.conform(counts.with_columns(pl.lit(event.id).alias("event"))).sort(keys)


def _to_gate_lines(review: Review) -> pl.DataFrame:
    rows: list[dict[str, object]] = [
        {
            "event": review.event.id,
            "promise": line.name,
            "required": line.share_required,
            "found": line.share_seen,
            "rows": line.rows,
            "failing": line.failing,
            "passed": line.passed,
        }
        for line in review.gate.results
    ]
    return GATE_LINES.check(GATE_LINES.shape_rows(rows)).sort("promise")
