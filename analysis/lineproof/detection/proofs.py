"""Who crossed which visit, read there or not: the later reads that prove it, and those that do not.

A runner who is read at a later visit crossed this one, if the time between the reads on either
side of it (the gun, where there is none before) is long enough for the full distance.  If it is
not, the course may have been cut or the tag carried: the crossing is *doubtful*, which is no proof.
Reads of the visit itself never count, so that runners who were read here and runners who were not
are judged alike.  What a person saw on the camera is stronger than any read: a runner *seen* there crossed, which also
proves the visits before; one who was *not there* did not, nor came to the visits after.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from lineproof.camera_tables import SIGHTINGS
from lineproof.course_visits import visits_frame
from lineproof.detection.histories import (
    NO_TIME,
    Bools,
    History,
    Ints,
    nearest_after,
    nearest_before,
    to_history,
    to_instant,
    typical_times,
)
from lineproof.event import Event
from lineproof.tables import PROOFS
from lineproof.vocabulary import Outcome, Proof, Role


def to_proofs(
    crossings: pl.DataFrame, entries: pl.DataFrame, event: Event, sightings: pl.DataFrame | None = None
) -> pl.DataFrame:
    """What is known of every entry at every visit of its course: PROOFS, sorted by runner and order.

    ``crossings``, ``entries`` and ``sightings`` (SIGHTINGS) keep their contracts.  ``time`` and the flags of the lines
    are those of the crossing; where there is none, a line that could have told did not read the runner.
    """
    looked = _looked(sightings)
    grid = (
        entries.select("runner", "course", "wave")
        .join(visits_frame(event).drop("of"), on="course", how="inner")
        .join(
            crossings.select("runner", "order", "time", "seen_main", "seen_backup"),
            on=["runner", "order"],
            how="left",
            validate="1:1",
        )
        .with_columns(
            _flag(Role.MAIN, crossings, event),
            _flag(Role.BACKUP, crossings, event),
        )
        .join(looked, on=["runner", "order"], how="left", validate="1:1")
        .sort("runner", "order")
    )
    parts = [
        _judge(rows, to_history(rows.with_columns(pl.coalesce("time", "camera")), entries, course, event))
        for course in event.courses
        if (rows := grid.filter(pl.col("course") == course.id)).height
    ]
    if not parts:
        return PROOFS.empty()
    return PROOFS.conform(_by_camera(pl.concat(parts).sort("runner", "order")))


def _looked(sightings: pl.DataFrame | None) -> pl.DataFrame:
    """``runner``, ``order``, ``camera`` (when seen) and ``absent`` of the look-ups that told."""
    frame = SIGHTINGS.empty() if sightings is None else sightings
    told = frame.filter(pl.col("outcome") != Outcome.UNCLEAR.value)
    return told.select(
        "runner",
        "order",
        pl.col("time").alias("camera"),
        (pl.col("outcome") == Outcome.NOT_THERE.value).alias("absent"),
    )


def _by_camera(rows: pl.DataFrame) -> pl.DataFrame:
    """The camera's word where no line read the runner; who was not there came to no later visit unless read again."""
    unread = pl.col("time").is_null()
    absent = pl.coalesce("absent", pl.lit(False)) & unread
    gone = (absent.cum_max().over("runner")) & (pl.col("proof") == Proof.UNPROVEN.value)
    word = (
        pl.when(unread & pl.col("camera").is_not_null())
        .then(pl.lit(Proof.CAMERA.value))
        .when(absent | gone)
        .then(pl.lit(Proof.ABSENT.value))
        .otherwise(pl.col("proof").cast(pl.String))
    )
    return rows.with_columns(word.cast(PROOFS.schema["proof"]).alias("proof"))


def points_that_tell(role: Role, crossings: pl.DataFrame, event: Event) -> list[str]:
    """Points at which a line of this role is known to have missed a runner of whom there is no read."""
    heard = event.lines_with_input
    told = crossings.filter(pl.col(f"seen_{role.value}").is_not_null())["point"].unique()
    return [x.point for x in event.lines if x.role is role and (x.id in heard or x.point in told)]


def _flag(role: Role, crossings: pl.DataFrame, event: Event) -> pl.Expr:
    name = f"seen_{role.value}"
    missed = pl.col("time").is_null() & pl.col("point").is_in(points_that_tell(role, crossings, event))
    return pl.when(missed).then(False).otherwise(name).alias(name)


def _judge(rows: pl.DataFrame, history: History) -> pl.DataFrame:
    """Adds the bracket, the proof and the likely time to the rows of one course (runner, order sorted)."""
    before = nearest_before(history.sound)
    after = nearest_after(history.seen & history.trusted)
    # A read by a clock that is set aside still shows that the runner came by.
    by_faulty_clock = nearest_after(history.seen & ~history.trusted)
    timed = after >= 0
    after = np.where(timed, after, by_faulty_clock)
    place = np.maximum(after, 0)
    too_soon = (before >= 0) & history.too_soon(np.maximum(before, 0), place)
    too_soon = timed & (too_soon | ~np.take_along_axis(history.sound, place, axis=1))
    later = after >= 0
    seen = history.seen[:, 1:]
    seen_later, doubtful = (later & ~too_soon)[:, 1:], (later & too_soon)[:, 1:]
    proof = np.select(
        [seen, seen_later, doubtful],
        [Proof.SEEN.value, Proof.PROVEN.value, Proof.DOUBTFUL.value],
        Proof.UNPROVEN.value,
    )
    return rows.with_columns(
        pl.Series("proof", proof.ravel().tolist(), dtype=PROOFS.schema["proof"]),
        pl.Series("seen_later", seen_later.ravel()),
        to_instant(_about(history, before, after, timed)[:, 1:]).alias("about"),
        _order(before[:, 1:]).alias("before_order"),
        to_instant(_at(history.times, before)[:, 1:]).alias("before_time"),
        _order(after[:, 1:]).alias("after_order"),
        to_instant(_at(history.times, after)[:, 1:]).alias("after_time"),
    )


def _at(times: Ints, column: Ints) -> Ints:
    """Times in the given columns, ``NO_TIME`` where the column is -1."""
    return np.where(column >= 0, np.take_along_axis(times, np.maximum(column, 0), axis=1), NO_TIME)


def _order(column: Ints) -> pl.Series:
    """Column to order; null for the gun and for none."""
    series = pl.Series(column.ravel() - 1, dtype=pl.Int16)
    return series.set(series < 0, None)


def _about(history: History, before: Ints, after: Ints, timed: Bools) -> Ints:
    """The time where read, else between the bracket as the field divides it, else as long as the field takes."""
    typical = np.round(typical_times(history) * 1e6).astype(np.int64)
    here = np.broadcast_to(typical, history.times.shape)
    begin, end = _at(history.times, before), _at(history.times, after)
    begun, ended = typical[np.maximum(before, 0)], typical[np.maximum(after, 0)]
    share = (here - begun) / np.maximum(ended - begun, 1)
    has_begin, has_end = before >= 0, (after >= 0) & timed
    span = np.where(has_begin & has_end, end - begin, 0)
    between = np.where(has_begin, begin, 0) + np.round(share * span).astype(np.int64)
    guess = np.select(
        [has_begin & has_end, has_end, has_begin & (after >= 0)],
        [between, np.where(has_end, end, 0) - (ended - here), np.where(has_begin, begin, 0) + here - begun],
        NO_TIME,
    )
    return np.where(history.seen, history.times, guess)
