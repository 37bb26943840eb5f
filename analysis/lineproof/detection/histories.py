"""A course as a matrix of times: one row per runner, one column per visit, the gun in front.

Everything that is asked of a runner's whole day (was there a later read, is it plausible for the
distance, when would they have come by) is then a running minimum or maximum along the rows.
Column 0 is the gun, column ``k + 1`` the visit of order ``k``.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineproof.clock_trust import clocks_to_trust
from lineproof.event import Course, Event
from lineproof.records import shortest_segment_us

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

NO_TIME = np.iinfo(np.int64).min
FEWEST_PAIRS = 10  # runners read at both ends of a stretch, to judge the stretch and not the runners
FEWEST_TYPICAL = 5  # of these, to state how long the field takes for it


@dataclass(frozen=True, slots=True)
class History:
    """Times (us since 1970 UTC; ``NO_TIME`` where ``seen`` is False), shape (runners, 1 + visits).

    ``sound`` are the seen times that can be those of the runner: not sooner than the distance from
    the gun allows, and by a clock that agrees with the other points' (``trusted``, by column).
    ``kind`` indexes the first axis of ``shortest``, the least time (us) from column to column.
    """

    course: Course
    runners: list[str]
    at_m: Floats
    times: Ints
    seen: Bools
    sound: Bools
    trusted: Bools
    kind: Ints
    shortest: Ints

    def too_soon(self, before: Ints, after: Ints) -> Bools:
        """Whether ``after`` came sooner after ``before`` than the distance allows; (runners, visits) indices."""
        since = np.take_along_axis(self.times, after, axis=1) - np.take_along_axis(self.times, before, axis=1)
        return np.asarray(since < self.shortest[self.kind[:, None], before, after])


def to_history(rows: pl.DataFrame, entries: pl.DataFrame, course: Course, event: Event) -> History:
    """``rows``: runner, order, time of one course, one row per entry and visit, time null where not read."""
    visits = len(course.visits)
    ordered = rows.select("runner", "order", pl.col("time").dt.epoch("us")).sort("runner", "order")
    times = ordered["time"].fill_null(NO_TIME).to_numpy().reshape(-1, visits)
    runners = ordered["runner"].gather_every(visits).to_list()
    people = pl.DataFrame({"runner": runners}, schema={"runner": pl.String}).join(
        entries, on="runner", how="left", validate="1:1", maintain_order="left"
    )
    times = np.column_stack([_guns(people["wave"].to_list(), times[:, 0], event), times])
    at_m = np.array([0.0, *(visit.at_m for visit in course.visits)])
    kind, shortest = _bounds(people, at_m, event)
    seen = times != NO_TIME
    trusted = _trusted(times, seen, kind, shortest, event.setting("whole_line_share"))
    from_gun = times - times[:, :1] < shortest[kind, 0, :]
    sound = seen & trusted & ~(from_gun & seen[:, :1])
    sound[:, 0] = seen[:, 0]
    return History(course, runners, at_m, times, seen, sound, trusted, kind, shortest)


def _guns(waves: list[str], starts: Ints, event: Event) -> Ints:
    """Gun of each runner's wave; where it is not known, the first read of the wave at the first visit."""
    named = np.array(waves, dtype=object)
    guns = np.full(len(waves), NO_TIME, dtype=np.int64)
    for wave in event.waves:
        members = named == wave.id
        read = starts[members & (starts != NO_TIME)]
        if wave.gun is not None:
            guns[members] = round(wave.gun.timestamp() * 1e6)
        elif len(read):
            guns[members] = read.min()
    return guns


def _bounds(people: pl.DataFrame, at_m: Floats, event: Event) -> tuple[Ints, Ints]:
    """Kind of each runner (class and sex), and the least time of each kind from column to column."""
    pairs = people.select(pl.col("runner_class", "sex").cast(pl.String)).rows()
    kinds = sorted(set(pairs), key=str)
    number = {pair: i for i, pair in enumerate(kinds)}
    metres = np.maximum(at_m[None, :] - at_m[:, None], 0.0)
    shortest = np.empty((max(len(kinds), 1), len(at_m), len(at_m)), dtype=np.int64)
    for i, (runner_class, sex) in enumerate(kinds):
        shortest[i] = shortest_segment_us(metres, runner_class, sex, event)
    # Where the bound says nothing, the later clock may still be behind; a start may lead the gun.
    shortest[shortest == 0] = -event.setting_us("clock_tolerance_s")
    starting = shortest[:, 0, :] < 0
    shortest[:, 0, :][starting] = -event.setting_us("early_start_s")
    return np.array([number[pair] for pair in pairs], dtype=np.int64), shortest


def _trusted(times: Ints, seen: Bools, kind: Ints, shortest: Ints, whole_line_share: float) -> Bools:
    """By column: whether its clock agrees with the others; the gun's is taken to be right.

    A stretch on which more than ``whole_line_share`` of the runners are too fast has a clock (or a
    stated distance) at fault at one of its ends.  The column with the most such stretches is set
    aside until none is left; its reads still show that a runner came by, its times show nothing.
    """
    columns = times.shape[1]
    faulty = np.zeros((columns, columns))
    for a in range(columns - 1):
        for b in range(a + 1, columns):
            both = seen[:, a] & seen[:, b]
            if both.sum() >= FEWEST_PAIRS:
                fast = times[both, b] - times[both, a] < shortest[kind[both], a, b]
                share = float(fast.mean())
                faulty[a, b] = faulty[b, a] = share if share > whole_line_share else 0.0
    return clocks_to_trust(faulty)


def nearest_before(marked: Bools) -> Ints:
    """For each place in a row, the last marked column before it, -1 where there is none."""
    last = np.maximum.accumulate(np.where(marked, np.arange(marked.shape[1]), -1), axis=1)
    return np.column_stack([np.full(len(marked), -1), last[:, :-1]])


def nearest_after(marked: Bools) -> Ints:
    """For each place in a row, the first marked column after it, -1 where there is none."""
    columns = marked.shape[1]
    mirrored = nearest_before(marked[:, ::-1])[:, ::-1]
    return np.asarray(columns - 1 - np.where(mirrored < 0, columns, mirrored))


def typical_times(history: History) -> Floats:
    """Seconds from the gun at which the typical runner reaches each column.

    The sum of the field's median times between neighbouring columns that were read; where one was
    not (a silent line), distance divides the stretch.
    """
    live = [0]
    gaps = [0.0]
    for column in range(1, len(history.at_m)):
        both = history.sound[:, live[-1]] & history.sound[:, column]
        if both.sum() >= FEWEST_TYPICAL:
            since = np.median(history.times[both, column] - history.times[both, live[-1]]) / 1e6
            live.append(column)
            gaps.append(max(float(since), 1e-6))
    reached = np.cumsum(gaps)
    at_m = history.at_m
    pace = reached[-1] / at_m[live[-1]] if at_m[live[-1]] > 0 and reached[-1] > 0 else 1 / 3.0
    place = at_m.copy()
    place[0] = -1.0  # the gun lies before a start at 0 m
    beyond = reached[-1] + np.maximum(at_m - at_m[live[-1]], 0.0) * pace
    return np.asarray(np.where(at_m > at_m[live[-1]], beyond, np.interp(place, place[live], reached)))


def to_instant(micros: Ints) -> pl.Series:
    """UTC instants from us since 1970, null at ``NO_TIME``."""
    series = pl.Series(micros.ravel(), dtype=pl.Int64)
    return series.set(series == NO_TIME, None).cast(pl.Datetime("us")).dt.replace_time_zone("UTC")


def instant_us(instant: dt.datetime) -> int:
    """Whole microseconds since 1970 UTC."""
    return (instant - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)) // dt.timedelta(microseconds=1)
