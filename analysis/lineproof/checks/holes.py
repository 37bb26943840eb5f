"""Holes: runners on their way to the last point of a course who were never read there, many in a row.

Nothing later proves them, so each may be a drop-out; but drop-outs are spread over the day.  When each
was due is foretold from the visit before: as much longer since the gun as the field took.
"""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import polars as pl

from lineproof.checks.bursts import Burst, count_windows, estimate_bursts
from lineproof.checks.material import Material, to_rows
from lineproof.event import Course, Event
from lineproof.tables import INSTANT
from lineproof.wording import say_count, say_share

FEWEST_TIMED = 10


def find_holes(material: Material) -> pl.DataFrame:
    """One finding for each window in which runners were due at the end of a course and were not read."""
    event = material.event
    bin_us = event.setting_us("burst_bin_s")
    due = {course: _due(material, course) for course in event.courses}
    windows = sum(count_windows(rows["due"].to_numpy(), bin_us) for rows in due.values())
    found: list[dict[str, object]] = []
    for course, rows in due.items():
        bursts = estimate_bursts(
            rows["due"].to_numpy(),
            rows["missed"].to_numpy(),
            bin_us,
            event.setting("burst_chance") / max(windows, 1),
            int(event.setting("burst_misses")),
        )
        found += [_row(course, burst, event) for burst in bursts]
    return to_rows(found)


def _due(material: Material, course: Course) -> pl.DataFrame:
    """Runners read at the last visit but one: when they were ``due`` at the last (us), and ``missed`` there."""
    last = course.visits[-1]
    guns = pl.DataFrame(
        {
            "wave": [wave.id for wave in material.event.waves],
            "gun": [wave.gun for wave in material.event.waves],
        },
        schema={"wave": pl.String, "gun": INSTANT},
    )
    rows = (
        material.proofs.filter(
            (pl.col("course") == course.id)
            & (pl.col("order") == last.order)
            & (pl.col("before_order") == last.order - 1)
        )
        .join(guns, on="wave", how="inner", validate="m:1")
        .with_columns(
            before=(pl.col("before_time") - pl.col("gun")).dt.total_microseconds(),
            here=(pl.col("time") - pl.col("gun")).dt.total_microseconds(),
        )
        .filter(pl.col("before") > 0)
        .with_columns(stretched=pl.col("here") / pl.col("before"))
    )
    if rows["here"].count() < FEWEST_TIMED:
        return pl.DataFrame(schema={"due": pl.Int64, "missed": pl.Boolean})
    # Read or not, everybody is placed by the same foretelling.
    due = pl.col("gun").dt.epoch("us") + pl.col("before") * pl.col("stretched").median()
    return rows.select(due=due.round().cast(pl.Int64), missed=pl.col("time").is_null()).sort("due")


def _row(course: Course, burst: Burst, event: Event) -> dict[str, object]:
    zone = ZoneInfo(event.zone)
    begin, end = (
        dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(microseconds=us)
        for us in (burst.begin_us, burst.end_us)
    )
    return {
        "point": course.visits[-1].point,
        "course": course.id,
        "order": course.visits[-1].order,
        "time": begin,
        "value": burst.missed / burst.crossed,
        "limit": burst.usual,
        "unit": "share",
        "rows": burst.missed,
        "detail": f"Of {say_count(burst.crossed, 'runner')} due from about {begin.astimezone(zone):%H:%M} to "
        f"{end.astimezone(zone):%H:%M}, {burst.missed} were not read ({say_share(burst.usual, 1000)} in the rest of the day): "
        "consistent with both lines being out.",
    }
