"""Of a runner who was not read again: the chance of having crossed a visit unread, against having stopped before it.

From visit to visit a runner goes on or stops; who goes on is missed by every line with a chance that hangs on the
lines at work at that time and on the runner's tag.  With ``stop`` and ``missed`` of each stretch,

    unread = stop + (1 - stop) * missed here * unread after here
    chance = product of (1 - stop) * missed, up to here, * unread after here / unread after the last read

for a good tag and for a weak one, weighted by the chance of the runner's tag being either.  Where nobody witnesses what
the last visit missed, how many stopped before it is taken from the stretches before, by distance; whoever else
lacks a read there was missed, most of all where many of one time do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from lineproof.detection.histories import Bools, Floats, Ints
from lineproof.detection.tries import Kind, to_tries
from lineproof.event import Course, Event
from lineproof.vocabulary import Role

SCHEMA = pl.Schema({"runner": pl.String(), "order": pl.Int16(), "chance": pl.Float64()})
USUAL_WEAK = 0.6  # share of weak tags that a line reads (open results show 0.2 to 0.6)
BORROWED = 20.0  # weight, in crossings, of what is usual beside what the event shows
GOOD = 0.99  # share of good tags that a line reads, with the weight of one crossing
LEAST_STOP = 0.3  # runners; nobody is ever sure to have gone on
STOP_UNKNOWN = 0.01  # share who stop on a stretch of which nothing is known (common practice)
NEAR = 20  # runners to either side in the field, who share what befell the last visit
MOST = 0.99


@dataclass(frozen=True, slots=True)
class _Field:
    """The runners of a course in rows, its visits in columns; ``role`` arrays by main, backup and either."""

    course: Course
    runners: list[str]
    weak: Floats
    known: Bools
    kind: list[str]
    read: dict[str, Bools]
    told: dict[str, Bools]
    later: Bools
    available: dict[str, Bools]
    passed: Ints

    @property
    def last(self) -> Ints:
        """Column of the last visit that each runner is known to have crossed."""
        return np.asarray(
            np.where(self.known, np.arange(self.known.shape[1]), -1).max(axis=1), dtype=np.int64
        )


def estimate_going_on(proofs: pl.DataFrame, masks: pl.DataFrame, event: Event) -> pl.DataFrame:
    """``runner``, ``order``, ``chance`` for every visit after the last that a runner is known to have crossed.

    ``proofs`` keeps PROOFS; ``masks`` tells whether main and backup were at work for each runner and visit.
    """
    tries = to_tries(proofs, event).join(
        masks, on=["runner", "order"], how="left", validate="1:1", maintain_order="left"
    )
    frames = [pl.DataFrame(schema=SCHEMA)]
    for course in event.courses:
        rows = tries.filter(pl.col("course") == course.id).sort("runner", "order")
        if rows.height:
            frames.append(_of_course(_to_field(rows, course)))
    return pl.concat(frames).sort("runner", "order")


def _to_field(rows: pl.DataFrame, course: Course) -> _Field:
    visits = len(course.visits)

    def grid(values: pl.Series) -> Bools:
        return np.asarray(values.to_numpy().reshape(-1, visits))

    roles = [role.value for role in Role]
    silent = pl.col("main").is_null() & pl.col("backup").is_null()
    told = {role: grid(rows[role].is_not_null()) for role in roles}
    told["either"] = grid(rows.select(silent & pl.col("known")).to_series())
    read = {
        name: grid(rows.select(pl.coalesce(name, pl.lit(False))).to_series()) for name in [*roles, "either"]
    }
    at_work = {
        role: grid(rows.select(pl.coalesce(f"{role}_available", pl.lit(True))).to_series()) for role in roles
    }
    at_work["either"] = at_work["main"] | at_work["backup"]
    before = rows.select(pl.coalesce("time", "before_time").dt.epoch("us")).to_series()
    kinds = rows.group_by("order").agg(pl.col("kind").first()).sort("order")["kind"].to_list()
    return _Field(
        course=course,
        runners=rows["runner"].gather_every(visits).to_list(),
        weak=rows["weak"].gather_every(visits).to_numpy(),
        known=grid(rows["known"]),
        kind=kinds,
        read=read,
        told=told,
        later=grid(rows["later"]),
        available=at_work,
        passed=np.asarray(
            before.fill_null(0).to_numpy().reshape(-1, visits)
        ),  # a runner read nowhere is in no row
    )


def _of_course(field: _Field) -> pl.DataFrame:
    missed = _missed(field)
    last, visits = field.last, field.known.shape[1]
    blind = field.kind[-1] == Kind.NONE.value and visits > 1
    stop = np.zeros(visits)
    unread = np.ones((2, len(last), visits))
    if blind:
        # Before the last visit's misses can be told, those of the stretches before it have to be.
        end = visits - 2
        _run_back(field, missed, stop, unread, end)
        stop[end] = _stop_by_distance(field, stop)
        missed[:, :, -1] = _missed_near(field, float(stop[end]))
        unread[:, :, end] = stop[end] + (1 - stop[end]) * missed[:, :, -1]
        _run_back(field, missed, stop, unread, end)
    else:
        _run_back(field, missed, stop, unread, visits - 1)
    return _chances(field, missed, stop, unread)


def _run_back(field: _Field, missed: Floats, stop: Floats, unread: Floats, end: int) -> None:
    """Fill ``stop`` and ``unread`` of the stretches before column ``end``, the last stretch first."""
    last = field.last
    weights = np.stack([1 - field.weak, field.weak])
    for k in range(end - 1, -1, -1):
        came = last >= k
        lost = missed[:, :, k + 1] * unread[:, :, k + 1]
        by_chance = float((weights * lost)[:, came].sum())
        number, all_came = float((last == k).sum()), float(came.sum())
        stop[k] = min(max(number - by_chance, LEAST_STOP) / max(all_came - by_chance, 1.0), MOST)
        unread[:, :, k] = stop[k] + (1 - stop[k]) * lost


def _missed(field: _Field) -> Floats:
    """Chance of being missed by all lines of a visit, for either kind of tag: (kind, runner, visit).

    The lines' own chances multiplied; with both at work corrected by those whom later reads show to have been missed by
    both, as crowds and shared power make two lines miss together.
    """
    visits = field.known.shape[1]
    missed = np.ones((2, len(field.runners), visits))
    weak = _weak_rate(field)
    for k in range(visits):
        for name in ("main", "backup", "either"):
            tried = _tried(field, name, k)
            if not field.told[name][:, k].any():
                continue
            good = 1 - field.weak
            read = field.read[name][:, k]
            rate = (float(good[tried & read].sum()) + GOOD) / (float(good[tried].sum()) + 1)
            seen = float(field.weak[tried & read].sum()) + BORROWED * weak
            rate_weak = min(seen / (float(field.weak[tried].sum()) + BORROWED), rate)
            works = field.available[name][:, k]
            missed[0, :, k] *= 1 - rate * works
            missed[1, :, k] *= 1 - rate_weak * works
        _by_later_reads(field, missed, k)
    return missed


def _by_later_reads(field: _Field, missed: Floats, k: int) -> None:
    """Correct ``missed`` at visit ``k`` for the runners whom both lines, at work, could have read."""
    both = field.available["main"][:, k] & field.available["backup"][:, k]
    told = field.told["main"][:, k] & field.told["backup"][:, k]
    tried = field.later[:, k] & field.known[:, k] & both & told
    lost = tried & ~field.read["main"][:, k] & ~field.read["backup"][:, k]
    for kind, weight in enumerate((1 - field.weak, field.weak)):
        if tried.any():
            leaning = BORROWED * missed[kind, both, k]
            missed[kind, both, k] = (float(weight[lost].sum()) + leaning) / (
                float(weight[tried].sum()) + BORROWED
            )


def _tried(field: _Field, name: str, k: int) -> Bools:
    """Crossings that may judge a line: proven without it, while it was at work."""
    sibling = {"main": "backup", "backup": "main"}.get(name)
    by_sibling = np.zeros(len(field.runners), dtype=bool) if sibling is None else field.read[sibling][:, k]
    proven = field.later[:, k] if field.later[:, k].any() else by_sibling
    return np.asarray(field.told[name][:, k] & field.known[:, k] & field.available[name][:, k] & proven)


def _weak_rate(field: _Field) -> float:
    """Share of the tries of weak tags that were read, over all lines."""
    tried = read = 0.0
    for k in range(field.known.shape[1]):
        for name in ("main", "backup"):
            rows = _tried(field, name, k)
            tried += float(field.weak[rows].sum())
            read += float(field.weak[rows & field.read[name][:, k]].sum())
    return (read + USUAL_WEAK) / (tried + 1)


def _stop_by_distance(field: _Field, stop: Floats) -> float:
    """Share who stop on the last stretch, if they stop there as often for each metre as on the others."""
    at = np.array([visit.at_m for visit in field.course.visits])
    last, visits = field.last, len(at)
    came = np.array([float((last >= k).sum()) for k in range(visits - 2)])
    metres = float((came * np.diff(at)[:-1]).sum())
    if metres <= 0:
        return STOP_UNKNOWN
    return float(1 - np.exp(-(came * stop[: visits - 2]).sum() / metres * (at[-1] - at[-2])))


def _missed_near(field: _Field, stop: float) -> Floats:
    """Chance of being missed at the last visit, by how many of the runners around lack a read there."""
    last, visits = field.last, field.known.shape[1]
    due = np.flatnonzero(last >= visits - 2)
    order = due[np.argsort(field.passed[due, -2], kind="stable")]
    lacking = np.concatenate([[0.0], np.cumsum(last[order] < visits - 1)])
    place = np.arange(len(order))
    first, end = np.maximum(place - NEAR, 0), np.minimum(place + NEAR + 1, len(order))
    near = np.full(len(last), lacking[-1] / max(len(order), 1))
    near[order] = (lacking[end] - lacking[first]) / (end - first)
    return np.asarray(np.clip((near - stop) / (1 - stop), 1 - MOST, MOST))


def _chances(field: _Field, missed: Floats, stop: Floats, unread: Floats) -> pl.DataFrame:
    last, visits = field.last, field.known.shape[1]
    weights = np.stack([1 - field.weak, field.weak])
    way = np.ones((2, len(last)))
    begin = np.take_along_axis(unread, np.maximum(last, 0)[None, :, None], axis=2)[:, :, 0]
    found = np.zeros((len(last), visits))
    for k in range(1, visits):
        beyond = last < k
        way = np.where(beyond, way * (1 - stop[k - 1]) * missed[:, :, k], way)
        found[:, k] = (weights * way * unread[:, :, k] / begin).sum(axis=0)
    rows, columns = np.nonzero(np.arange(visits)[None, :] > last[:, None])
    orders = np.array([visit.order for visit in field.course.visits])
    return pl.DataFrame(
        {
            "runner": [field.runners[i] for i in rows],
            "order": orders[columns],
            "chance": np.clip(found[rows, columns], 0.0, MOST),
        },
        schema=SCHEMA,
    )
