"""How fast can a stretch be covered at all?  A dated table of best marks, and the bound between them.

``records.csv`` holds distance, class, sex, mark, date (as far as known), place and whether the mark was *seen* in a
public text or is stated from *memory*; marks change, so the table is data and not logic.  Three
thoughts turn marks into a bound that no honest runner beats:

* Who averages a speed over a long distance covers some part of it at least as fast.  So a shorter
  stretch is bounded by the best average speed over it or over anything longer.
* A stretch inside a race begins at full speed.  A standing start costs the difference between
  9.58 s and the 8.05 s of a flying 100 m at 12.42 m/s, the fastest 20 m ever measured in a race
  (mean of 0.805 s per 10 m, biomechanics report of the 2009 world championships); that is taken
  off every mark on foot.  Below the shortest mark the flying speed is constant.
* Beyond the longest mark the speed stays that of the longest: speed only falls with distance, so
  this errs on the runner's side, where a continued slope could become slower than the truth.

Between marks the logarithm of time is linear in the logarithm of distance (a straight line over
each decade: P. Riegel, "Athletic Records and Human Endurance", American Scientist 69, 1981).
Wheels have bounds of their own.  The foot marks hold on level ground: a course that falls steeply
throughout can beat them, and wheels going downhill can beat theirs (checks ask, not accuse, there).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib import resources

import numpy as np
import numpy.typing as npt
import polars as pl

from lineproof.event import Event
from lineproof.vocabulary import RunnerClass

FLYING_SPEED = 12.42  # m/s
STANDING_START_S = 9.58 - 100 / FLYING_SPEED
SHORT_COURSE = 0.001  # a measured course may err by this share: rules of competition, course measurement

Labels = Sequence[str | None] | npt.NDArray[np.object_] | str | None


@cache
def load_records() -> pl.DataFrame:
    """The marks: ``distance_m, runner_class, sex, seconds, date, source, state``, one row each."""
    text = resources.files("lineproof").joinpath("records.csv").read_bytes()
    return pl.read_csv(
        text, schema_overrides={"distance_m": pl.Float64, "seconds": pl.Float64, "date": pl.String}
    )


@cache
def _curve(runner_class: str, sex: str) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Distances (m) and bounding times (s) of one class and sex."""
    marks = load_records().filter(runner_class=runner_class)
    if sex in marks["sex"]:
        marks = marks.filter(sex=sex)
    marks = marks.sort("distance_m")
    distance = marks["distance_m"].to_numpy()
    standing = STANDING_START_S if runner_class == RunnerClass.FOOT else 0.0
    speed = distance / (marks["seconds"].to_numpy() - standing)
    best_from_here_on = np.maximum.accumulate(speed[::-1])[::-1]
    return distance, distance / best_from_here_on


def _bound(distance_m: npt.NDArray[np.float64], runner_class: str, sex: str) -> npt.NDArray[np.float64]:
    distance, seconds = _curve(runner_class, sex)
    inside = np.clip(distance_m, distance[0], distance[-1])
    between = np.exp(np.interp(np.log(inside), np.log(distance), np.log(seconds)))
    # Outside the table the speed of its nearer end stays constant.
    return np.asarray(between * distance_m / inside)


def _fastest_of(
    distance_m: npt.NDArray[np.float64], runner_class: str | None, sex: str | None
) -> npt.NDArray[np.float64]:
    classes = [word.value for word in RunnerClass] if runner_class is None else [runner_class]
    sexes = ["f", "m"] if sex is None else [sex]
    bounds = [_bound(distance_m, word, letter) for word in classes for letter in sexes]
    return np.asarray(np.min(bounds, axis=0), dtype=np.float64)


def fastest_seconds(
    distance_m: npt.ArrayLike, runner_class: Labels = None, sex: Labels = None
) -> npt.NDArray[np.float64]:
    """Shortest believable time in seconds for a stretch, from the record table; no tolerance in it.

    ``distance_m`` any shape (metres, 0 and above); ``runner_class`` (``foot``, ``wheel``,
    ``handcycle``) and ``sex`` (``f``, ``m``) are one word for all, one per distance, or None.
    Sex unknown is the faster sex, class unknown the fastest class.

    >>> fastest_seconds([100.0, 42195.0], "foot", "m").round(2).tolist()
    [8.05, 7168.47]
    """
    distance = np.asarray(distance_m, dtype=np.float64)
    classes = np.broadcast_to(np.asarray(runner_class, dtype=object), distance.shape)
    sexes = np.broadcast_to(np.asarray(sex, dtype=object), distance.shape)
    seconds = np.empty(distance.shape)
    for word in set(classes.ravel().tolist()):
        for letter in set(sexes.ravel().tolist()):
            rows = np.equal(classes, word) & np.equal(sexes, letter)
            seconds[rows] = _fastest_of(distance[rows], word, letter)
    return seconds


def shortest_segment_us(
    distance_m: npt.ArrayLike, runner_class: Labels, sex: Labels, event: Event
) -> npt.NDArray[np.int64]:
    """The bound of ``fastest_seconds`` with the event's tolerances taken off once, in microseconds.

    The stretch may be shorter than stated by ``distance_tolerance_m`` and the course error of
    0.1 %, and the two clocks may differ by ``clock_tolerance_s``.  A stretch shorter than the
    tolerance has the bound 0: nothing can be said.
    """
    metres = np.asarray(distance_m, dtype=np.float64)
    sure = np.maximum(metres * (1 - SHORT_COURSE) - event.setting("distance_tolerance_m"), 0.0)
    seconds = fastest_seconds(sure, runner_class, sex) - event.setting("clock_tolerance_s")
    return np.maximum(np.floor(seconds * 1e6), 0).astype(np.int64)


def shortest_segments(frame: pl.DataFrame, distance: str, event: Event) -> pl.Series:
    """``shortest_segment_us`` for the columns ``distance``, ``runner_class`` and ``sex`` of a frame.

    Worked out once for each different row, so that it costs nothing on a large frame; null where
    the distance is null.
    """
    columns = [distance, "runner_class", "sex"]
    keys = frame.select(pl.col(distance), pl.col("runner_class", "sex").cast(pl.String))
    kinds = keys.unique().sort(columns).drop_nulls(distance)
    bounds = shortest_segment_us(
        kinds[distance].to_numpy(),
        np.array(kinds["runner_class"].to_list(), dtype=object),
        np.array(kinds["sex"].to_list(), dtype=object),
        event,
    )
    return keys.join(
        kinds.with_columns(shortest_us=pl.Series(bounds, dtype=pl.Int64)),
        on=columns,
        how="left",
        nulls_equal=True,
        validate="m:1",
        maintain_order="left",
    )["shortest_us"]
