"""The histories of every course as two tables, and back: all that the course model needs to be fitted again."""

from __future__ import annotations

import numpy as np
import polars as pl

from lineproof.detection.course_model import CourseHistories, to_course_histories, to_flow_strata
from lineproof.detection.course_model.histories import Occasion, compress
from lineproof.event import Course, Event
from lineproof.interruptions import to_masks
from lineproof.ledger.opening import Ledger, read_whole
from lineproof.season_tables import HISTORIES, VISITS

PER_VISIT = ("outcome", "unread", "stratum")
ENDS = ("entry", "known", "until", "given", "count")


def to_histories(
    proofs: pl.DataFrame, interruptions: pl.DataFrame, event: Event
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """VISITS and HISTORIES of the event, as its review gave them to the course model.

    A course on which nobody was seen has visits without counts, and no history.
    """
    masks = to_masks(proofs, interruptions, event)
    visits, histories = [], [HISTORIES.empty()]
    for course in event.courses:
        try:
            found = to_course_histories(
                proofs, event, course.id, masks=masks, strata=to_flow_strata(proofs, course.id)
            )
        except ValueError:  # as its contract says
            found = None
        visits.append(_visits(course, found, event))
        if found is not None:
            histories.append(_rows(course, found, event))
    return pl.concat(visits), pl.concat(histories)


def _visits(course: Course, found: CourseHistories | None, event: Event) -> pl.DataFrame:
    rows = [
        {
            "event": event.id,
            "course": course.id,
            "order": visit.order,
            "point": visit.point,
            "visit": visit.visit,
            "kind": event.point(visit.point).kind.value,
            "at_m": visit.at_m,
            **(_told(found, place) if found is not None else {}),
        }
        for place, visit in enumerate(course.visits)
    ]
    return VISITS.check(VISITS.shape_rows(rows))


def _told(found: CourseHistories, place: int) -> dict[str, object]:
    occasion = found.occasions[place]
    counts = {"read": int(found.read[place]), "missed": int(found.missed[place])}
    return {"name": occasion.name, "lines": list(occasion.lines), **counts}


def _rows(course: Course, found: CourseHistories, event: Event) -> pl.DataFrame:
    per_visit = {name: getattr(found, name).tolist() for name in PER_VISIT}
    ends = {name: getattr(found, name) for name in ENDS}
    frame = pl.DataFrame(
        {
            "event": [event.id] * len(found.count),
            "course": [course.id] * len(found.count),
            "history": np.arange(len(found.count)),
            **per_visit,
            **ends,
        }
    )
    return HISTORIES.conform(frame)


def load_histories(ledger: Ledger, event: str, course: str) -> CourseHistories:
    """The histories of one course of one event, as ``estimate_course_model`` takes them.

    Raises ``KeyError`` where the ledger has none: another id, or nobody was seen.
    """
    here = (pl.col("event") == event) & (pl.col("course") == course)
    visits = read_whole(ledger.scan("visits").filter(here).sort("order"))
    rows = read_whole(ledger.scan("histories").filter(here).sort("history"))
    if rows.is_empty():
        raise KeyError(f'no histories of the course "{course}" of the event "{event}"')
    occasions = tuple(
        Occasion(row["name"], row["order"], tuple(row["lines"])) for row in visits.iter_rows(named=True)
    )
    outcome, unread, stratum = (np.array(rows[name].to_list(), dtype=np.int8) for name in PER_VISIT)
    entry, known, until, count = (rows[name].cast(pl.Int64).to_numpy() for name in ENDS if name != "given")
    return compress(
        occasions,
        outcome,
        unread,
        stratum=stratum,
        entry=entry,
        known=known,
        until=until,
        count=count,
        read=visits["read"].cast(pl.Int64).to_numpy(),
        missed=visits["missed"].cast(pl.Int64).to_numpy(),
        given=rows["given"].to_numpy(),
    )
