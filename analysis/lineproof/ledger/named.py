"""Rows that speak of one runner, tag or row of the data, under keyed pseudonyms.

A tag has the same pseudonym at every event of the series, so that it can be followed.  A runner's is of one event
only: the same bib is another person at the next one.  What a reviewer wrote is not kept.
"""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl

from lineproof.decisions import CLOCK
from lineproof.event import Event
from lineproof.pseudonyms import pseudonym
from lineproof.season_tables import KEPT_CROSSINGS, KEPT_DECISIONS, KEPT_TAGS


def _names(ids: Iterable[str], key: bytes, realm: str, letter: str) -> dict[str, str]:
    """Pseudonyms by id; those of one realm say nothing of those of another."""
    return {word: letter + pseudonym(key, f"{realm}\n{word}")[1:] for word in ids}


def _renamed(frame: pl.DataFrame, column: str, key: bytes, realm: str, letter: str) -> pl.Expr:
    names = _names(frame[column].unique().sort().to_list(), key, realm, letter)
    return pl.col(column).replace_strict(names, return_dtype=pl.String)


def to_kept_tags(
    tags: pl.DataFrame, weak_tags: pl.DataFrame, line_tries: pl.DataFrame, event: Event, key: bytes
) -> pl.DataFrame:
    """KEPT_TAGS of every tag whose runner was seen, from TAGS, WEAK_TAGS and ``cells.to_line_tries``."""
    record = line_tries.group_by("runner").agg(
        pl.len().alias("tried"), (~pl.col("read")).sum().alias("missed")
    )
    chances = weak_tags.select("runner", "weak", "late", "retire")
    carried = tags.with_columns(pl.col("tag").n_unique().over("runner").alias("tags"))
    rows = carried.join(chances, on="runner", how="inner", validate="m:1").join(
        record, on="runner", how="left", validate="m:1"
    )
    rows = rows.sort("tag", "since", "runner", nulls_last=False).with_columns(
        pl.int_range(1, pl.len() + 1).over("tag").alias("holder")
    )
    # A runner without a row crossed no line that can be judged.
    told = rows.with_columns(
        pl.col("tried", "missed").fill_null(0),
        pl.lit(event.id).alias("event"),
        _renamed(rows, "tag", key, "tag", "T"),
    )
    return KEPT_TAGS.conform(told).sort("tag", "holder")


def to_kept_decisions(decisions: pl.DataFrame, event: Event, key: bytes) -> pl.DataFrame:
    """KEPT_DECISIONS from APPLIED: neither who decided, nor why, nor whose row it is."""
    clock = pl.col("key").str.starts_with(CLOCK)
    places = {row: _place(row, event) for row in decisions["key"].to_list()}
    rows = decisions.with_columns(
        pl.when(clock).then(pl.lit("clock")).otherwise(pl.lit("row")).alias("about"),
        pl.col("key").replace_strict(places, return_dtype=pl.String).alias("place"),
        _renamed(decisions, "key", key, f"row of {event.id}", "K").alias("row"),
        pl.lit(event.id).alias("event"),
    )
    return KEPT_DECISIONS.conform(rows).sort("row")


def _place(row: str, event: Event) -> str | None:
    """The line or point that a key of a row begins with; its rest names a tag or a bib."""
    ids = [*(line.id for line in event.lines), *(point.id for point in event.points)]
    within = f"{row.removeprefix(CLOCK)}/"
    return max((word for word in ids if within.startswith(f"{word}/")), key=len, default=None)


def to_kept_crossings(crossings: pl.DataFrame, event: Event, key: bytes) -> pl.DataFrame:
    """KEPT_CROSSINGS: the merged data without bibs and keys, runners under pseudonyms of this event."""
    rows = crossings.with_columns(
        _renamed(crossings, "runner", key, f"runner of {event.id}", "R"), pl.lit(event.id).alias("event")
    )
    return KEPT_CROSSINGS.conform(rows).sort("runner", "order")
