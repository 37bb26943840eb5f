"""The rules that a row of merged passing data keeps, each named and worded once.

Both the checks (which label the rows that break a rule) and the validation gate (which asks what
share of the rows keeps it) use these expressions.  An expression is true where the row keeps the
rule, false where it breaks it, and null where the row cannot be judged.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import polars as pl

from lineproof.event import Event
from lineproof.records import shortest_segments
from lineproof.tables import INSTANT
from lineproof.vocabulary import RunnerClass

NEIGHBOURS = 51  # runners before and after in gun time, who began at about the same place of the wave
FEWEST_NEIGHBOURS = 5
PILE_FACTOR = 8  # times the busiest other instant: no flow of runners does that
SOME_WAY = 0.25  # of filled_start_s: where seven in eight starts at the gun are filled in

# Days that clocks and programs show when they know no date: counting from 0 in common epochs (also
# one day earlier in zones west of Greenwich), the first days of spreadsheets, the last of databases.
PLACEHOLDER_DAYS = tuple(
    dt.date(*day)
    for day in (
        (1, 1, 1), (1601, 1, 1), (1899, 12, 30), (1899, 12, 31), (1900, 1, 1), (1904, 1, 1), (1969, 12, 31),
        (1970, 1, 1), (1980, 1, 1), (1980, 1, 6), (2000, 1, 1), (9999, 12, 31),
    )
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rule:
    """``holds`` builds the expression for an event; it needs the columns of ``to_judged``."""

    name: str
    text: str
    holds: Callable[[Event], pl.Expr]


def to_judged(crossings: pl.DataFrame, event: Event, entries: pl.DataFrame | None = None) -> pl.DataFrame:
    """Crossings with what the rules need, rows in the same order.

    Adds ``runner_class`` and ``sex`` (null where not known), ``stretch_us`` and ``stretch_m`` (since
    the previous crossing, else since the gun), ``shortest_us`` (the least time for it by class; class
    not known: the fastest class), ``foot_us`` (the least on foot), ``typical_delay_us`` and ``gun_pile``.
    """
    who = _who(crossings, event, entries).with_columns(
        stretch_us=pl.coalesce("segment_us", pl.when(pl.col("at_m") > 0).then("gun_us")),
        stretch_m=pl.coalesce("segment_m", pl.when(pl.col("at_m") > 0).then("at_m")),
    )
    on_foot = who.with_columns(runner_class=pl.lit("foot"))
    bounded = who.with_columns(
        shortest_segments(who, "stretch_m", event).alias("shortest_us"),
        shortest_segments(on_foot, "stretch_m", event).alias("foot_us"),
    )
    return bounded.with_columns(typical_delay_us(bounded), gun_pile(event))


def _who(crossings: pl.DataFrame, event: Event, entries: pl.DataFrame | None) -> pl.DataFrame:
    if entries is None:
        return crossings.with_columns(
            runner_class=pl.lit(None, dtype=pl.String), sex=pl.lit(None, dtype=pl.String)
        )
    stated = class_is_stated(event, entries)
    known = pl.col("runner_class").cast(pl.String) if stated else pl.lit(None, dtype=pl.String)
    people = entries.select("runner", known.alias("runner_class"), pl.col("sex").cast(pl.String))
    return crossings.join(people, on="runner", how="left", validate="m:1", maintain_order="left")


def class_is_stated(event: Event, entries: pl.DataFrame) -> bool:
    """Whether the entries tell runners on foot from wheels; without that, anybody may be on wheels."""
    layouts = [source.layout for source in event.inputs] + ([event.entries] if event.entries else [])
    named = any("class" in layout.columns for layout in layouts)
    return named or bool((entries["runner_class"] != RunnerClass.FOOT.value).any())


def typical_delay_us(judged: pl.DataFrame) -> pl.Series:
    """Median start delay (gun less net, us) of the runners around each runner in gun time.

    Of the same wave, at each runner's first visit after the start, among those whose own delay is not
    zero.  Null where too few are known.  For a table of gun and net times alone see ``around``.
    """
    after = (
        judged.filter((pl.col("order") > 0) & pl.col("gun_us").is_not_null() & pl.col("net_us").is_not_null())
        .sort("course", "wave", "order", "gun_us", "runner")
        .with_columns(typical_delay_us=around().over("course", "wave", "order"))
        .sort("runner", "order")
        .unique("runner", keep="first", maintain_order=True)
        .select("runner", "typical_delay_us")
    )
    return judged.select("runner").join(
        after, on="runner", how="left", validate="m:1", maintain_order="left"
    )["typical_delay_us"]


def gun_pile(event: Event) -> pl.Expr:
    """Whether far more runners of the wave start with the gun, to the last digit, than at any other instant."""
    start = (pl.col("order") == 0) & pl.col("gun_us").is_not_null()
    alike = pl.len().over("wave", "order", "gun_us")
    with_gun = (start & (pl.col("gun_us") == 0)).sum().over("wave")
    other = pl.when(start & (pl.col("gun_us") != 0)).then(alike).max().over("wave")
    piled = (with_gun >= event.setting("pile_rows")) & (with_gun >= PILE_FACTOR * other)
    return piled.fill_null(False).alias("gun_pile")


def around() -> pl.Expr:
    """Median of the non-zero start delays of the neighbours; rows must be sorted by ``gun_us``."""
    delay = pl.col("gun_us") - pl.col("net_us")
    known = pl.when(delay > 0).then(delay)
    return known.cast(pl.Float64).rolling_median(NEIGHBOURS, min_samples=FEWEST_NEIGHBOURS, center=True)


def start_not_filled_in(event: Event) -> pl.Expr:
    """False where net equals gun to the last digit although the runners around took long to the line."""
    equal = pl.col("net_us") == pl.col("gun_us")
    far = pl.col("typical_delay_us") > event.setting_us("filled_start_s")
    return ~(equal & far.fill_null(False))


def start_read(event: Event) -> pl.Expr:
    """``start_not_filled_in`` on start rows; where the gun's own instant is crowded, near the front too."""
    equal = pl.col("net_us") == pl.col("gun_us")
    some_way = pl.col("typical_delay_us") > event.setting_us("filled_start_s") * SOME_WAY
    crowded = pl.col("gun_pile") & equal & some_way.fill_null(False)
    return pl.when(pl.col("order") == 0).then(start_not_filled_in(event) & ~crowded)


def net_within_gun(event: Event) -> pl.Expr:
    """False where net is longer than gun by more than the clocks may differ."""
    return pl.col("net_us") <= pl.col("gun_us") + event.setting_us("clock_tolerance_s")


def times_in_order(_event: Event) -> pl.Expr:
    return pl.col("segment_us") > 0


def pace_possible(_event: Event) -> pl.Expr:
    return pl.when(pl.col("stretch_us") > 0).then(pl.col("stretch_us") >= pl.col("shortest_us"))


def inside_event(event: Event) -> pl.Expr:
    opens, closes = (pl.lit(t).cast(INSTANT) for t in (event.opens, event.closes))
    return pl.col("time").is_between(opens, closes)


def not_placeholder(event: Event, time: str = "time") -> pl.Expr:
    """False on the days that clocks and programs show for "not known", and at midnight before the gun."""
    day = pl.col(time).dt.date().is_in(PLACEHOLDER_DAYS)
    return ~(day | pl.col(time).is_in(pl.Series(_midnights(event), dtype=INSTANT).implode()))


def _midnights(event: Event) -> list[dt.datetime]:
    """Local midnights around the day of the event that lie before the first gun, UTC."""
    if event.first_gun is None:
        return []
    days = [event.date + dt.timedelta(days=step) for step in (-1, 0, 1)]
    nights = [dt.datetime.combine(day, dt.time(0), ZoneInfo(event.zone)).astimezone(dt.UTC) for day in days]
    return [night for night in nights if night < event.first_gun]


RULES: tuple[Rule, ...] = (
    Rule(
        "times_in_order",
        "each crossing of a runner comes after the one before it on the course",
        times_in_order,
    ),
    Rule(
        "pace_possible",
        "no stretch is covered faster than the best mark for its distance, class and sex allows, "
        "clock and distance tolerance taken off",
        pace_possible,
    ),
    Rule(
        "net_within_gun",
        "net time is not longer than gun time by more than the clocks may differ",
        net_within_gun,
    ),
    Rule(
        "start_not_filled_in",
        "net time does not equal gun time to the last digit where the runners around began well after the gun",
        start_read,
    ),
    Rule("inside_event", "the time lies between the opening and the close of the event", inside_event),
    Rule(
        "not_placeholder",
        "the time is none of those that stand for \"not known\" (first day of an epoch, midnight before the gun)",
        not_placeholder,
    ),
)  # fmt: skip


def rule(name: str) -> Rule:
    return next(rule for rule in RULES if rule.name == name)


def broken(name: str, event: Event) -> pl.Expr:
    """True on the rows that break the rule; false also where they cannot be judged."""
    return (~rule(name).holds(event)).fill_null(False)
