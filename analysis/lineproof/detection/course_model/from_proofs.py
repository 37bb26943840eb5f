"""From what is known of every entry at every visit (PROOFS) to the histories of one course.

Lines that say nothing of a runner count neither as a hit nor as a miss: there is no such line, it did not
work when the runner came by (``masks``), the export does not tell, or the runner's crossing is doubtful.
Where an export does not tell lines apart at all, the visit has one line, named either.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineproof.detection.course_model.histories import CourseHistories, Occasion, compress
from lineproof.detection.course_model.outcomes import (
    MISSED,
    NOTHING_TOLD,
    READ,
    READ_BY_EITHER,
    SILENT,
    Bytes,
    to_outcome,
)
from lineproof.event import Course, Event
from lineproof.vocabulary import Proof

Bools = NDArray[np.bool_]
ROLES = ("main", "backup")


@dataclass(frozen=True, slots=True)
class _Sheet:
    """(runner, visit): ``main`` and ``backup`` MISSED, READ or SILENT; ``out`` whether a mask names the line."""

    runners: list[str]
    main: Bytes
    backup: Bytes
    seen: Bools
    proven: Bools
    doubtful: Bools
    out_main: Bools
    out_backup: Bools
    stratum: Bytes


def to_course_histories(
    proofs: pl.DataFrame,
    event: Event,
    course_id: str,
    masks: pl.DataFrame | None = None,
    strata: pl.DataFrame | None = None,
    finishers: Collection[str] | None = None,
) -> CourseHistories:
    """Histories of the runners of a course that were seen anywhere, or are known to have finished.

    ``proofs`` keeps its contract.  ``masks`` (runner, order, main_available, backup_available) tells which line was
    at work for whom; runners without a row had both.  Where a line was not, its stray reads do not count either.  ``strata`` (runner, order, stratum: whole numbers
    from 0) groups crossings by flow, say; runners without a row are in stratum 0.  ``finishers`` are all runners
    who finished, by a list that does not rest on these lines: whoever it leaves out did not finish.

    Raises ``ValueError`` where nobody of the course was seen.
    """
    course = event.course(course_id)
    enters = (pl.col("proof") == Proof.SEEN.value).any().over("runner")
    if finishers is not None:
        enters |= pl.col("runner").is_in(list(finishers))
    rows = proofs.filter(pl.col("course") == course_id).filter(enters).sort("runner", "order")
    if rows.is_empty():
        raise ValueError(f'nobody was seen on the course "{course_id}"')
    sheet = _spread(rows, course, masks, strata)
    columns = [_visit(sheet, k) for k in range(len(course.visits))]
    occasions = tuple(
        Occasion(_name(course, k), visit.order, columns[k].lines) for k, visit in enumerate(course.visits)
    )
    return compress(
        occasions,
        np.column_stack([column.outcome for column in columns]),
        np.column_stack([column.unread for column in columns]),
        stratum=sheet.stratum,
        runners=tuple(sheet.runners),
        **_ends(sheet, finishers),
    )


def _ends(sheet: _Sheet, finishers: Collection[str] | None) -> dict[str, Any]:
    """How far each runner is known to have come, and the proven crossings that no line read."""
    proven = sheet.proven
    visits = proven.shape[1]
    last = np.where(sheet.seen, np.arange(visits), -1).max(axis=1)
    read = sheet.seen.sum(axis=0)
    if finishers is None:
        return {"read": read, "missed": (proven & ~sheet.seen).sum(axis=0), "known": last}
    done = np.isin(np.array(sheet.runners), np.array(list(finishers), dtype=str)) | sheet.seen[:, -1]
    # A finisher came by every visit, but for those that their times put in doubt.
    proven = proven | (done[:, None] & ~sheet.doubtful)
    return {
        "read": read,
        "missed": (proven & ~sheet.seen).sum(axis=0),
        "known": np.where(done, visits - 1, last),
        "until": np.where(done, visits - 1, np.maximum(visits - 2, last)),
        "given": done,
    }


def _name(course: Course, k: int) -> str:
    visit = course.visits[k]
    again = sum(v.point == visit.point for v in course.visits) > 1
    return f"{visit.point}#{visit.visit}" if again else visit.point


def _spread(
    rows: pl.DataFrame, course: Course, masks: pl.DataFrame | None, strata: pl.DataFrame | None
) -> _Sheet:
    visits = len(course.visits)
    runners = rows["runner"].gather_every(visits)

    def flag(name: str) -> Bytes:
        return rows[name].cast(pl.Int8).fill_null(SILENT).to_numpy().reshape(-1, visits)

    def proof(*words: Proof) -> Bools:
        found = rows["proof"].cast(pl.String).is_in([word.value for word in words])
        return np.asarray(found.to_numpy().reshape(-1, visits))

    out = {role: _marked(masks, role, rows, visits) for role in ROLES}
    return _Sheet(
        runners.to_list(),
        flag("seen_main"),
        flag("seen_backup"),
        proof(Proof.SEEN),
        proof(Proof.SEEN, Proof.PROVEN),
        proof(Proof.DOUBTFUL),
        out["main"],
        out["backup"],
        _strata(strata, rows, visits),
    )


def _marked(masks: pl.DataFrame | None, role: str, rows: pl.DataFrame, visits: int) -> Bools:
    if masks is None or masks.is_empty():
        return np.zeros((rows.height // visits, visits), dtype=bool)
    here = masks.select("runner", pl.col("order").cast(pl.Int16), f"{role}_available")
    joined = rows.select("runner", "order").join(
        here, on=["runner", "order"], how="left", validate="1:1", maintain_order="left"
    )
    out = ~joined[f"{role}_available"].fill_null(True)
    return np.asarray(out.to_numpy().reshape(-1, visits))


def _strata(strata: pl.DataFrame | None, rows: pl.DataFrame, visits: int) -> Bytes:
    if strata is None:
        return np.zeros((rows.height // visits, visits), dtype=np.int8)
    given = strata.select("runner", pl.col("order").cast(pl.Int16), pl.col("stratum").cast(pl.Int8))
    joined = rows.select("runner", "order").join(
        given, on=["runner", "order"], how="left", validate="1:1", maintain_order="left"
    )
    # Who never came by is in no stratum of a crossing; the usual one stands for a crossing unseen.
    return np.asarray(joined["stratum"].fill_null(0).to_numpy().reshape(-1, visits))


@dataclass(frozen=True, slots=True)
class _Column:
    lines: tuple[str, ...]
    outcome: Bytes
    unread: Bytes


def _visit(sheet: _Sheet, k: int) -> _Column:
    """Outcomes at one visit: by two lines, by one, or by either where the export does not tell."""
    main, backup, seen = sheet.main[:, k], sheet.backup[:, k], sheet.seen[:, k]
    told_main, told_backup = (main != SILENT).any(), (backup != SILENT).any()
    silent = np.full_like(main, SILENT)
    missed = np.full_like(main, MISSED)
    if told_main and told_backup:
        lines: tuple[str, ...] = ROLES
        # Read, though neither line is said to have done it.
        outcome = np.where(seen & (main != READ) & (backup != READ), READ_BY_EITHER, to_outcome(main, backup))
        # In merged data silence on the backup line goes with a read of main: unread, both had missed.
        unread = to_outcome(missed, missed)
        for out, role in ((sheet.out_main[:, k], "main"), (sheet.out_backup[:, k], "backup")):
            outcome = np.where(out, _without(outcome, role), outcome)
            unread = np.where(out, _without(unread, role), unread)
    else:
        only = told_backup and not (seen & (backup != READ)).any()
        only_main = told_main and not (seen & (main != READ)).any()
        lines = ("main",) if only_main else ("backup",) if only else ("either",)
        said = np.where(seen, READ, MISSED).astype(np.int8)
        out = _out_of_one(sheet, k, lines[0])
        outcome = to_outcome(np.where(out, SILENT, said).astype(np.int8), silent)
        unread = to_outcome(np.where(out, SILENT, MISSED).astype(np.int8), silent)
    doubtful = sheet.doubtful[:, k]
    outcome = np.where(doubtful, NOTHING_TOLD, outcome).astype(np.int8)
    return _Column(lines, outcome, np.where(doubtful, NOTHING_TOLD, unread).astype(np.int8))


def _out_of_one(sheet: _Sheet, k: int, line: str) -> Bools:
    """Whether the only line that tells was out; either of two, where both were."""
    if line == "main":
        return sheet.out_main[:, k]
    return sheet.out_backup[:, k] if line == "backup" else sheet.out_main[:, k] & sheet.out_backup[:, k]


def _without(outcome: Bytes, role: str) -> Bytes:
    """The outcome with one line's word struck out; a read by either, if one was out, tells nothing."""
    first, second = outcome // 3, outcome % 3
    if role == "main":
        first = np.full_like(first, SILENT)
    else:
        second = np.full_like(second, SILENT)
    return np.asarray(np.where(outcome == READ_BY_EITHER, NOTHING_TOLD, 3 * first + second), dtype=np.int8)
