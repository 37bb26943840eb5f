"""Checks on start times: before the gun, or filled in with it."""

from __future__ import annotations

import polars as pl

from lineproof.checks.material import Material, say_seconds, stack, to_rows
from lineproof.checks.rules import broken, to_judged
from lineproof.event import Event
from lineproof.tables import CROSSINGS
from lineproof.vocabulary import Severity

FEWEST_SHARED = 5
ROW = ["runner", "bib", "course", "point", "line", "order", "time", "key"]


def find_net_longer(material: Material) -> pl.DataFrame:
    """Per runner; one finding for a wave of which a large part started before its gun."""
    event = material.event
    rows = (
        material.judged.filter(broken("net_within_gun", event))
        .sort("runner", "order")
        .unique("runner", keep="first", maintain_order=True)
        .with_columns(over_s=(pl.col("net_us") - pl.col("gun_us")) / 1e6)
    )
    started = (
        material.judged.filter(pl.col("net_us").is_not_null() & pl.col("gun_us").is_not_null())
        .group_by("wave")
        .agg(started=pl.col("runner").n_unique())
    )
    marked = rows.join(started, on="wave", how="left", validate="m:1").with_columns(
        many=pl.len().over("wave")
    )
    shared = (pl.col("many") >= FEWEST_SHARED) & (
        pl.col("many") >= pl.col("started") * event.setting("shared_fast_share")
    )
    single = marked.filter(~shared).select(
        *ROW,
        severity=_weight(),
        value="over_s",
        limit=pl.lit(event.setting("clock_tolerance_s")),
        unit=pl.lit("s"),
        detail=pl.format(
            "Net time is {} s longer than gun time: the start crossing lies before the gun.",
            pl.col("over_s").round(1),
        ),
    )
    waves = [
        {
            "course": group["course"],
            "point": group["point"],
            "time": group["time"],
            "value": group["over_s"],
            "limit": event.setting("clock_tolerance_s"),
            "unit": "s",
            "rows": group["many"],
            "detail": f"{group['many']} of {group['started']} runners of wave {group['wave']} crossed the start before "
            f"its gun, typically by {say_seconds(group['over_s'])}: consistent with a wrong gun or start clock.",
        }
        for group in marked.filter(shared)
        .group_by("wave")
        .agg(
            pl.col("course", "point", "many", "started").first(),
            time=pl.col("time").min(),
            over_s=pl.col("over_s").median(),
        )
        .sort("wave")
        .iter_rows(named=True)
    ]
    return stack(single, to_rows(waves)) if waves else single


def _weight() -> pl.Expr:
    """Null (an error) where both lines, or an input without lines, set the start before the gun.

    A tag that waited on the mats of one line and then crossed them unread looks the same to that line:
    a warning where the other line is silent, a note where it has the crossing after the gun.
    """
    gun = pl.col("time") - pl.duration(microseconds="gun_us")
    lines = ("main_time", "backup_time")
    before = pl.sum_horizontal((pl.col(line) < gun).fill_null(False).cast(pl.Int8) for line in lines)
    after = pl.any_horizontal((pl.col(line) >= gun).fill_null(False) for line in lines)
    return (
        pl.when(after)
        .then(pl.lit(Severity.NOTE.value))
        .when(before == 1)
        .then(pl.lit(Severity.WARNING.value))
    )


def find_filled_in_starts(material: Material) -> pl.DataFrame:
    event = material.event
    rows = material.judged.filter(broken("start_not_filled_in", event)).with_columns(
        behind_s=pl.col("typical_delay_us") / 1e6
    )
    return rows.select(
        *ROW,
        value="behind_s",
        limit=pl.lit(event.setting("filled_start_s")),
        unit=pl.lit("s"),
        detail=pl.format(
            "The start time equals the gun to the last digit, while the runners around took about {} s to the line: "
            "consistent with a missed start that was filled in.",
            pl.col("behind_s").round(0).cast(pl.Int64),
        ),
    )


def without_filled_in_starts(crossings: pl.DataFrame, event: Event, entries: pl.DataFrame) -> pl.DataFrame:
    """The crossings less the starts that somebody filled in with the gun: nothing read those."""
    judged = to_judged(crossings, event, entries)
    return judged.filter(~broken("start_not_filled_in", event)).select(CROSSINGS.schema.names())
