"""Who crossed and was seen by no line: the course model run for every course, as tables.

    PROOFS, INTERRUPTIONS -> masks, histories -> course model -> UNSEEN, WEAK_TAGS, WEAK_SHARES

A course of which the reads do not tell keeps its rows, with what is counted and with the reason.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import polars as pl

from lineproof.detection.course_model import (
    CourseHistories,
    CourseModelResult,
    PointResult,
    choose_to_retire,
    estimate_course_model,
    estimate_weak_shares,
    to_course_histories,
    to_flow_strata,
    to_weak_chances,
)
from lineproof.detection.course_model.families import TWO_KINDS
from lineproof.event import Course, Event
from lineproof.interruptions import to_masks
from lineproof.tables import COUNT
from lineproof.unseen_tables import UNSEEN, WEAK_SHARES, WEAK_TAGS
from lineproof.vocabulary import Proof

NUMBERS = (
    "hidden",
    "hidden_low",
    "hidden_high",
    "lower_bound",
    "independence",
    "rate",
    "rate_low",
    "rate_high",
)
STATES_NEED = 3  # visits; with fewer a tag that woke late is not told from one that was missed
NOT_FITTED = (
    "the model of the course could not be fitted to these reads; what later reads prove stands, and only the camera "
    "tells more"
)


@dataclass(frozen=True, slots=True)
class Unseen:
    """``points`` keeps UNSEEN, ``tags`` WEAK_TAGS, whose ``retire`` rows are to be retired, ``shares`` WEAK_SHARES."""

    points: pl.DataFrame
    tags: pl.DataFrame
    shares: pl.DataFrame


def estimate_unseen(
    proofs: pl.DataFrame,
    interruptions: pl.DataFrame,
    entries: pl.DataFrame,
    tags: pl.DataFrame,
    event: Event,
) -> Unseen:
    """The crossings of every course that no line saw, and the tags that are probably weak.

    Frames keep the contracts PROOFS, INTERRUPTIONS, ENTRIES and TAGS.  Never raises for what the reads do not tell:
    that is the ``reason`` of the rows.
    """
    masks = to_masks(proofs, interruptions, event)
    points, chances = [], [_no_chances()]
    for course in event.courses:
        try:
            histories = to_course_histories(
                proofs, event, course.id, masks=masks, strata=to_flow_strata(proofs, course.id)
            )
        except ValueError:  # as its contract says
            points.append(_counted(proofs, course, "nobody was seen on this course"))
            continue
        result = _fitted(histories, course, event)
        if result is None:
            points.append(_counted(proofs, course, NOT_FITTED))
        else:
            points.append(_told(result))
            chances.append(_to_chances(result))
    judged = pl.concat(chances)
    return Unseen(
        _with_visits(points, event), _with_tags(judged, entries, tags), _to_shares(judged, tags, event)
    )


def _fitted(histories: CourseHistories, course: Course, event: Event) -> CourseModelResult | None:
    """None where the search breaks down: the counts of the review do not hang on it."""
    try:
        return estimate_course_model(
            histories, course.id, confidence=event.setting("confidence"), target=event.setting("target")
        )
    except (ArithmeticError, ValueError, IndexError):
        return None


def _told(result: CourseModelResult) -> pl.DataFrame:
    rows = [
        {
            "course": result.course,
            "order": point.order,
            "read": point.read,
            "missed_seen_later": point.missed,
            **_numbers(point),
            "reason": point.reason,
            "note": " ".join(result.notes) or None,
        }
        for point in result.points
    ]
    return pl.DataFrame(rows, schema=_point_schema())


def _numbers(point: PointResult) -> dict[str, float | None]:
    """The range of the rate, made from whole runners, is widened to hold the rate, made from an expected number."""
    found = {name: getattr(point, name) for name in NUMBERS}
    found["rate_low"] = min(found["rate_low"], found["rate"])
    found["rate_high"] = max(found["rate_high"], found["rate"])
    return {name: _known(number) for name, number in found.items()}


def _known(number: float) -> float | None:
    return None if math.isnan(number) else number


def _counted(proofs: pl.DataFrame, course: Course, reason: str) -> pl.DataFrame:
    """One row per visit with what is counted alone."""
    here = proofs.filter(pl.col("course") == course.id)
    proof = pl.col("proof").cast(pl.String)
    counts = here.group_by("order").agg(
        (proof == Proof.SEEN.value).sum().cast(COUNT).alias("read"),
        proof.is_in([Proof.PROVEN.value, Proof.CAMERA.value]).sum().cast(COUNT).alias("missed_seen_later"),
    )
    known = {row["order"]: row for row in counts.iter_rows(named=True)}
    nobody = {"read": 0, "missed_seen_later": 0}
    rows = [
        {**known.get(visit.order, nobody), "course": course.id, "order": visit.order, "reason": reason}
        for visit in course.visits
    ]
    return pl.DataFrame(rows, schema=_point_schema())


def _point_schema() -> pl.Schema:
    return pl.Schema(
        {name: dtype for name, dtype in UNSEEN.schema.items() if name not in ("event", "point", "visit")}
    )


def _with_visits(points: list[pl.DataFrame], event: Event) -> pl.DataFrame:
    """The point of each visit, courses in the event's order."""
    visits = pl.DataFrame(
        [
            {"event": event.id, "course": course.id, "order": v.order, "point": v.point, "visit": v.visit}
            for course in event.courses
            for v in course.visits
        ],
        schema={name: UNSEEN.schema[name] for name in ("event", "course", "order", "point", "visit")},
    )
    told = pl.concat(points)
    return UNSEEN.conform(
        visits.join(told, on=["course", "order"], how="left", validate="1:1", maintain_order="left")
    )


def _no_chances() -> pl.DataFrame:
    names = ("runner", "weak", "late", "retire")
    return pl.DataFrame(schema={name: WEAK_TAGS.schema[name] for name in names})


def _to_chances(result: CourseModelResult) -> pl.DataFrame:
    """Chances per runner; null where the course cannot tell them."""
    kinds_told = any(family.name == TWO_KINDS.name for family in result.families)
    nothing = pl.lit(None, dtype=pl.Float64)
    retire = choose_to_retire(result).runners if kinds_told else ()
    return to_weak_chances(result).select(
        "runner",
        pl.col("weak") if kinds_told else nothing.alias("weak"),
        pl.col("late") if len(result.points) >= STATES_NEED else nothing.alias("late"),
        pl.col("runner").is_in(list(retire)).alias("retire"),
    )


def _to_shares(chances: pl.DataFrame, tags: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Weak tags by kind and by batch, where the start list names them."""
    told = chances.filter(pl.col("weak").is_not_null())
    single = tags.filter(pl.len().over("runner") == 1)  # of two tags a record does not tell which
    parts = [
        estimate_weak_shares(told, single.filter(pl.col(by).is_not_null()), [by], event.setting("confidence"))
        .rename({by: "group", "n": "tags", "estimate": "share"})
        .with_columns(pl.lit(event.id).alias("event"), pl.lit(by).alias("by"))
        .rename({"conf_low": "share_low", "conf_high": "share_high"})
        for by in ("kind", "batch")
    ]
    return WEAK_SHARES.conform(pl.concat(parts)).sort("by", "group")


def _with_tags(chances: pl.DataFrame, entries: pl.DataFrame, tags: pl.DataFrame) -> pl.DataFrame:
    """Most probably weak first, with what the start list says of runner and tag."""
    joined = [
        pl.col(name).drop_nulls().unique().sort().str.join(" ").alias(name)
        for name in ("tag", "kind", "batch")
    ]
    held = tags.group_by("runner").agg(joined)
    named = chances.join(
        entries.select("runner", "bib", "course"), on="runner", how="inner", validate="1:1"
    ).join(held, on="runner", how="left", validate="1:1")
    empty = [pl.col(name).replace("", None) for name in ("tag", "kind", "batch")]
    rows = named.with_columns(empty).sort(
        "retire", "weak", "runner", descending=[True, True, False], nulls_last=True
    )
    return WEAK_TAGS.conform(rows)
