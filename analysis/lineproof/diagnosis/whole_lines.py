"""Whole lines: one that missed far more than the others all day and over all its width, and why that may be.

Sound lines differ by themselves, so a line must have missed more than ``TIMES_USUAL`` times what the middle one
of the others did.  A reader left in a practice or registration role lets through so few reads that nearly
every passing rests on a single one; a weak line's passings still have several.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy import stats

from lineproof.diagnosis.pattern import Pattern, Search, missed_share, without
from lineproof.diagnosis.setup_facts import LaidSetup
from lineproof.diagnosis.tries import Bools, Ints, Tries
from lineproof.event import Event
from lineproof.vocabulary import Cause
from lineproof.wording import say_share

TIMES_USUAL = 2.5
LEAST_USUAL = 0.004  # where the others miss next to nobody, a line of one in a hundred is sound still
FEWEST_TRIED = 50
FEWEST_PASSINGS = 20
SINGLE_READS = 0.7  # of the passings of a reader in a practice role rest on one read …
USUAL_SINGLE = 0.4  # … where the middle one of the other lines has fewer than this


def find_weak_lines(
    tries: Tries, taken: Bools, passings: pl.DataFrame, setup: LaidSetup, event: Event
) -> Search:
    """One pattern for each line that missed more than the others; ``taken``: tries that other patterns speak of."""
    rows = {line.id: without(tries.rows_of[line.id], taken) for line in event.lines}
    rows = {line: here for line, here in rows.items() if len(here) >= FEWEST_TRIED and tries.told[here].all()}
    shares = {line: missed_share(tries, here) for line, here in rows.items()}
    single = _single_reads(passings)
    found = []
    for line, here in rows.items():
        others = [share for other, share in shares.items() if other != line]
        if not others:
            continue
        usual = max(float(np.median(others)), LEAST_USUAL)
        if shares[line] <= usual:
            continue
        practice = setup.in_practice(line) or _is_practice(line, single)
        found.append(_pattern(tries, event, line, here, usual, practice))
    return Search(found, len(rows))


def _pattern(tries: Tries, event: Event, line: str, rows: Ints, usual: float, practice: bool) -> Pattern:
    missed = int(tries.missed[rows].sum())
    chance = float(stats.binom.sf(missed - 1, len(rows), min(1.0, TIMES_USUAL * usual)))
    if missed == len(rows):
        kind, why = "nobody", f"it read none of {len(rows):,} runners known to have come by"
    else:
        kind = "all day"
        why = f"it missed {missed:,} of {len(rows):,} all over its width and all day, against {say_share(usual, 100)} at the other lines"
    if practice and kind != "nobody":
        why += "; nearly all of its passings rest on one read, where the other lines have several"
    return Pattern(
        cause=Cause.PRACTICE_ROLE if practice else Cause.WHOLE_LINE,
        point=event.line(line).point,
        line=line,
        rows=rows,
        usual=usual,
        chance=chance,
        why=why,
        kind=kind,
    )


def _single_reads(passings: pl.DataFrame) -> dict[str, float]:
    """By line: share of the passings that rest on one read."""
    counted = passings.filter(pl.col("line").is_not_null(), pl.col("reads").is_not_null())
    shares = counted.group_by("line").agg((pl.col("reads") == 1).mean().alias("single"), pl.len().alias("n"))
    return dict(
        shares.filter(pl.col("n") >= FEWEST_PASSINGS).sort("line").select("line", "single").iter_rows()
    )


def _is_practice(line: str, single: dict[str, float]) -> bool:
    others = [share for other, share in single.items() if other != line]
    if line not in single or not others:
        return False
    return single[line] >= SINGLE_READS and float(np.median(others)) < USUAL_SINGLE
