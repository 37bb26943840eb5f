"""Detection rates of lines, points, courses, waves, times and flows, in both senses of the word.

*achieved*: the share of today's crossings that was read.  Nearly a census: the interval covers only
the crossings that nothing proves.  *capability*: the share that would be read next time with this
set-up, an inference from a sample.  Every rate has its denominator, its kind of evidence and, where
there is none, the reason.
"""

from __future__ import annotations

import polars as pl

from lineproof.detection.counts import count
from lineproof.detection.estimates import Grouping, estimate_achieved, estimate_capability, named, to_rows
from lineproof.detection.segments import estimate_segments
from lineproof.detection.targets import TargetComparison, compare_with_target
from lineproof.detection.tries import to_tries, untold
from lineproof.event import Event
from lineproof.tables import RATES
from lineproof.vocabulary import Evidence, Quantity, Role

__all__ = ["TargetComparison", "compare_with_target", "estimate_rates"]


GROUPINGS = (
    Grouping("point", ("course", "order", "point"), by_line=True),
    Grouping("point", ("point",), by_line=True),  # all visits of all courses
    Grouping("course", ("course",)),
    Grouping("wave", ("wave", "course"), "wave"),
    Grouping("wave", ("wave", "course", "order", "point"), "wave"),
    # Too few weak tags in ten minutes, and who crossed unseen has no time to be counted by.
    Grouping("time", ("point", "bin"), "bin", by_line=True, by_runner=False),
    Grouping("flow", ("point", "flow"), "flow", by_line=True, by_runner=False),
)


def estimate_rates(proofs: pl.DataFrame, event: Event, counted: pl.DataFrame | None = None) -> pl.DataFrame:
    """RATES of one event from PROOFS: both quantities at every level, sorted.

    Rows with ``course`` null pool all courses and visits of a point; ``group`` is the wave, the begin
    of the time bin (local time with offset) or one of ``tries.FLOW_LABELS``.  ``counted`` (runner, order) are the
    crossings that count, where not all do.
    """
    tries = to_tries(proofs, event, counted)
    if tries.is_empty():
        return RATES.empty()
    confidence = event.setting("confidence")
    frames = estimate_segments(tries, confidence)
    for grouping in GROUPINGS:
        frames.extend(_of_rows(tries, grouping, None, event, refuse=False))
        if grouping.by_line:
            frames.extend(frame for role in Role for frame in _of_lines(tries, grouping, role, event))
    levels = pl.concat(frames, how="diagonal").with_columns(pl.lit(event.id).alias("event"))
    order = ["level", "quantity", "course", "order", "point", "from_point", "group", "role"]
    return RATES.conform(levels).sort(order, nulls_last=False)


def _of_lines(tries: pl.DataFrame, grouping: Grouping, role: Role, event: Event) -> list[pl.DataFrame]:
    """Both quantities of one grouping, of the lines of one role; refused where the export does not tell."""
    lines = {line.point: line.id for line in event.lines if line.role is role}
    dark = [point for point in lines if untold(tries, point, role) is None]
    here = tries.filter(pl.col("point").is_in(list(lines)))
    parts = [
        frame
        for rows, refuse in (
            (here.filter(~pl.col("point").is_in(dark)), False),
            (here.filter(pl.col("point").is_in(dark)), True),
        )
        if rows.height
        for frame in _of_rows(rows, grouping, role, event, refuse=refuse)
    ]
    named_lines = pl.DataFrame(
        {"point": list(lines), "line": list(lines.values())}, schema={"point": pl.String, "line": pl.String}
    )
    level = "line" if grouping.level == "point" else grouping.level
    return [
        frame.join(named_lines, on="point", how="left", validate="m:1").with_columns(
            pl.lit(level).alias("level"), pl.lit(role.value).alias("role")
        )
        for frame in parts
    ]


def _of_rows(
    tries: pl.DataFrame, grouping: Grouping, role: Role | None, event: Event, *, refuse: bool
) -> list[pl.DataFrame]:
    hit = "either" if role is None else role.value
    if refuse:
        return [_refused(tries, grouping)]
    if grouping.group is not None and tries[grouping.group].null_count() == tries.height:
        return []
    counted = count(tries, grouping.keys, hit, by_runner=grouping.by_runner)
    confidence = event.setting("confidence")
    return [
        to_rows(counted, estimate_achieved(counted, confidence), Quantity.ACHIEVED, grouping, role),
        to_rows(counted, estimate_capability(counted, role, confidence), Quantity.CAPABILITY, grouping, role),
    ]


def _refused(tries: pl.DataFrame, grouping: Grouping) -> pl.DataFrame:
    """Rows of lines of which the export does not tell whom they read; one for each quantity."""
    keys = grouping.keys
    groups = (
        tries.filter(*(pl.col(key).is_not_null() for key in keys))
        .group_by(keys)
        .agg(pl.col("doubtful").sum())
        .sort(keys)
    )
    return pl.concat(
        named(groups, grouping).with_columns(
            pl.lit(quantity.value).alias("quantity"),
            pl.lit(Evidence.NONE.value).alias("evidence"),
            pl.lit(0, dtype=pl.Int64).alias("proven"),
            pl.lit(0, dtype=pl.Int64).alias("detected"),
            pl.col("doubtful"),
            pl.lit("not counted").alias("method"),
            pl.lit("the export does not tell which line read a runner").alias("reason"),
        )
        for quantity in Quantity
    )
