"""From misses to causes: what the misses of an event are consistent with, tested against luck.

    PROOFS, CROSSINGS, INTERRUPTIONS, MATS, WEAK_TAGS -> tries -> patterns -> the sure ones
                                                              -> one first explanation for each miss
    LAID_LINES, LAID_MATS -> which set-up facts agree, speak against it, or are missing

The wording is always "consistent with": a pattern in the misses is evidence of a cause and no proof of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from lineproof.diagnosis.evidence import Evidence
from lineproof.diagnosis.explanations import to_first_explanations
from lineproof.diagnosis.findings import to_diagnosis, to_misses
from lineproof.diagnosis.search import find_patterns
from lineproof.diagnosis.setup_facts import LaidSetup
from lineproof.diagnosis.tries import to_tries
from lineproof.event import Event

__all__ = ["Diagnosis", "Evidence", "estimate_diagnosis"]


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """``misses`` keeps MISSES, ``findings`` keeps DIAGNOSIS."""

    misses: pl.DataFrame
    findings: pl.DataFrame


def estimate_diagnosis(evidence: Evidence, event: Event) -> Diagnosis:
    """What the misses of an event are consistent with.  Never raises for what the data do not tell."""
    setup = LaidSetup(evidence.laid_lines, evidence.laid_mats)
    tries = to_tries(evidence.proofs, evidence.crossings, evidence.weak_tags, event)
    sure = find_patterns(tries, evidence, setup, event)
    explained = to_first_explanations(tries, [pattern for pattern, _ in sure])
    return Diagnosis(
        misses=to_misses(tries, sure, explained),
        findings=to_diagnosis(tries, sure, explained, setup, event),
    )
