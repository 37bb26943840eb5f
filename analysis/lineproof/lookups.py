"""Whom to look for on the camera, at which point and between which clock times.

Two kinds of runner: those proven to have crossed a visit that did not read them (and those of whom it
is doubtful), and those who were read at some visit and never after it: they stopped, or crossed unseen.
The latter get one look-up at the next visit and one at the finish.  What the camera has settled is no longer looked for.

Of each the chance of having crossed is told, and the list is in the order in which an hour at the camera finds the most:
by chance for each minute to be watched.  The table is the timer's own list.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import polars as pl

from lineproof.camera_tables import SIGHTINGS, STATED
from lineproof.detection.going_on import estimate_going_on
from lineproof.detection.histories import History, to_history, to_instant, typical_times
from lineproof.detection.windows import Window, after_last_read, between_reads
from lineproof.event import Course, Event, clock_layout
from lineproof.interruptions import to_masks
from lineproof.tables import COUNT, INTERRUPTIONS, LOOKUPS
from lineproof.vocabulary import Outcome, Proof, Stated

GUN = -1  # stands for the order of the gun
SILENT = 10  # runners missed where nobody was read, before a point is taken to have been silent
FIND_MIN = 0.5  # minutes to find the place in the film, however short the window (common practice)
STATED_WORDS = {Stated.STOPPED.value: "stopped", Stated.NOT_STARTED.value: "did not start"}


def to_lookups(
    proofs: pl.DataFrame,
    entries: pl.DataFrame,
    event: Event,
    interruptions: pl.DataFrame | None = None,
    stated: pl.DataFrame | None = None,
    sightings: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """LOOKUPS, sorted by rank; windows hold the crossing with the event's confidence.

    ``proofs`` is PROOFS as made from ``entries`` and ``sightings`` (SIGHTINGS).  For a runner who may have stopped, the
    window is where the crossing would lie had they gone on as runners of like pace did.  ``interruptions``
    (INTERRUPTIONS) raise the chance of a runner who came by in one, a word of the results (``stated``, STATED) lowers it.
    """
    found = [
        part
        for course in event.courses
        if (rows := proofs.filter(pl.col("course") == course.id)).height
        for part in _of_course(rows.sort("runner", "order"), entries, course, event)
    ]
    if not found:
        return LOOKUPS.empty()
    named = (
        pl.concat(found)
        .join(entries.select("runner", "bib"), on="runner", how="left", validate="m:1")
        .join(STATED.empty() if stated is None else stated, on="runner", how="left", validate="m:1")
        .join(_unclear(sightings), on=["runner", "order"], how="left", validate="1:1")
    )
    masks = to_masks(proofs, INTERRUPTIONS.empty() if interruptions is None else interruptions, event)
    told = _with_chance(named, estimate_going_on(proofs, masks, event), event)
    ranked = _ranked(_with_camera(told, proofs).with_columns(_evidence(event)))
    return LOOKUPS.conform(ranked)


def _unclear(sightings: pl.DataFrame | None) -> pl.DataFrame:
    frame = SIGHTINGS.empty() if sightings is None else sightings
    return frame.filter(pl.col("outcome") == Outcome.UNCLEAR.value).select(
        "runner", "order", pl.lit(" Looked for before: unclear.").alias("unclear")
    )


def _with_chance(rows: pl.DataFrame, chances: pl.DataFrame, event: Event) -> pl.DataFrame:
    """``chance``: 1 where a later read proves the crossing, null where it is doubtful."""
    joined = rows.join(chances, on=["runner", "order"], how="left", validate="1:1")
    odds = pl.col("chance") / (1 - pl.col("chance")) * event.setting("stated_stop_odds")
    chance = pl.when(pl.col("stated").is_not_null()).then(odds / (1 + odds)).otherwise("chance")
    proof = pl.col("proof").cast(pl.String)
    return joined.with_columns(
        pl.when(proof == Proof.PROVEN.value)
        .then(1.0)
        .when(proof == Proof.UNPROVEN.value)
        .then(chance)
        .alias("chance")
    )


def _ranked(rows: pl.DataFrame) -> pl.DataFrame:
    """Most found for each minute first; those of whom no chance can be told last, the shortest window first."""
    minutes = (pl.col("look_to") - pl.col("look_from")).dt.total_microseconds() / 60e6 + FIND_MIN
    ordered = rows.with_columns((pl.col("chance") / minutes).alias("gain"), minutes.alias("minutes")).sort(
        "gain",
        "minutes",
        "look_from",
        "runner",
        "order",
        descending=[True, False, False, False, False],
        nulls_last=True,
    )
    return ordered.with_columns(pl.int_range(1, pl.len() + 1, dtype=COUNT).alias("rank"))


def _with_camera(rows: pl.DataFrame, proofs: pl.DataFrame) -> pl.DataFrame:
    """Whether the visits of the evidence are known by the camera."""
    seen = proofs.filter(pl.col("proof") == Proof.CAMERA.value).select("runner", "order")
    for side in ("before", "after_order"):
        there = seen.select(
            "runner",
            pl.col("order").cast(rows.schema[side]).alias(side),
            pl.lit(True).alias(f"{side}_camera"),
        )
        rows = rows.join(there, on=["runner", side], how="left", validate="m:1")
    return rows


def _of_course(
    rows: pl.DataFrame, entries: pl.DataFrame, course: Course, event: Event
) -> Iterator[pl.DataFrame]:
    by_camera = pl.col("proof") == Proof.CAMERA.value
    known = rows.with_columns(pl.when(by_camera).then("about").otherwise("time").alias("time"))
    history = to_history(known, entries, course, event)
    typical = typical_times(history)
    number = pl.DataFrame({"runner": history.runners}, schema={"runner": pl.String}).with_row_index("row")
    wanted = _wanted(rows, history, course).join(number, on="runner", how="left", validate="m:1")
    chance = event.setting("confidence")
    keys = ["proof", "before", "order", "after"]
    for key, group in wanted.sort(*keys, "runner").group_by(keys, maintain_order=True):
        proof, before, order, after = str(key[0]), int(key[1]), int(key[2]), key[3]
        who = group["row"].cast(pl.Int64).to_numpy()
        if proof == Proof.DOUBTFUL.value:
            yield _with(group, _whole_bracket(group))
        elif proof == Proof.PROVEN.value and after is not None and before + 1 >= 0:
            window = between_reads(history, who, before + 1, order + 1, int(after) + 1, typical, chance)
            yield _with(group, window)
        else:
            yield _with(group, after_last_read(history, who, before + 1, order + 1, typical, chance))


def _wanted(rows: pl.DataFrame, history: History, course: Course) -> pl.DataFrame:
    """Visits to look up.  ``before`` is the order of the read before (``GUN``: the gun), ``after`` of the one after.

    ``after`` is null where there is none, or one whose clock is set aside.
    """
    trusted = [visit.order for visit in course.visits if history.trusted[visit.order + 1]]
    last = course.visits[-1].order
    gone_on = pl.col("before_order").is_not_null() & (
        (pl.col("order") == pl.col("before_order") + 1) | (pl.col("order") == last)
    )
    missed = pl.col("proof").is_in([Proof.PROVEN.value, Proof.DOUBTFUL.value])
    read = (pl.col("proof") == Proof.SEEN.value).any().over("order")
    # Where nobody was read all day it is no runner that was missed, and the checks say so.
    missed &= read | (missed.sum().over("order") < SILENT)
    lost = (pl.col("proof") == Proof.UNPROVEN.value) & gone_on
    return rows.filter((missed | lost) & pl.col("before_time").is_not_null()).with_columns(
        pl.col("before_order").fill_null(GUN).cast(pl.Int64).alias("before"),
        pl.when(pl.col("after_order").is_in(trusted)).then("after_order").cast(pl.Int64).alias("after"),
    )


def _whole_bracket(group: pl.DataFrame) -> Window:
    """A runner who cannot have run the whole way may have come by at any time between the reads."""
    begin, end = (group[name].dt.epoch("us").to_numpy() for name in ("before_time", "after_time"))
    low, high = np.minimum(begin, end), np.maximum(begin, end)
    likely = group["about"].dt.epoch("us").to_numpy()
    return Window(low, high, np.clip(likely, low, high))


def _with(group: pl.DataFrame, window: Window) -> pl.DataFrame:
    return group.with_columns(
        to_instant(window.begin).alias("look_from"),
        to_instant(window.end).alias("look_to"),
        to_instant(window.likely).alias("likely"),
    )


def _evidence(event: Event) -> pl.Expr:
    """Where and when the runner was read, in local clock times."""
    at_before = pl.format("{} at {}", _place("before", event), _clock("before_time", event))
    at_after = pl.format("{} at {}", _place("after_order", event), _clock("after_time", event))
    proof = pl.col("proof").cast(pl.String)
    between = pl.format("Before: {}. After: {}.", at_before, at_after)
    said = pl.col("stated").cast(pl.String).replace_strict(STATED_WORDS, default=None, return_dtype=pl.String)
    results = pl.coalesce(pl.format(" By the results the runner {}.", said), pl.lit(""))
    reads = (
        pl.when(proof == Proof.PROVEN.value)
        .then(between)
        .when(proof == Proof.DOUBTFUL.value)
        .then(pl.format("{} Too short a time for the full distance between.", between))
        .otherwise(
            pl.format(
                "Last: {}. Stopped, or crossed unseen; the window holds if the runner went on.", at_before
            )
        )
    )
    return pl.concat_str(reads, results, pl.coalesce("unclear", pl.lit(""))).alias("evidence")


def _place(column: str, event: Event) -> pl.Expr:
    """Words for the visit of a course: the point's name, with the visit where there are several."""
    names = {point.id: point.name for point in event.points}
    words = {f"{course.id}/{GUN}": "start signal" for course in event.courses}
    for course in event.courses:
        stops = [visit.point for visit in course.visits]
        for visit in course.visits:
            again = f" (visit {visit.visit})" if stops.count(visit.point) > 1 else ""
            words[f"{course.id}/{visit.order}"] = f"read at {names[visit.point]}{again}"
    key = pl.format("{}/{}", pl.col("course"), pl.col(column))
    place = key.replace_strict(words, default="", return_dtype=pl.String)
    by_camera = pl.coalesce(f"{column}_camera", pl.lit(False))
    return pl.when(by_camera).then(place.str.replace("^read at", "seen on the camera at")).otherwise(place)


def _clock(column: str, event: Event) -> pl.Expr:
    return pl.col(column).dt.convert_time_zone(event.zone).dt.strftime(clock_layout(event))
