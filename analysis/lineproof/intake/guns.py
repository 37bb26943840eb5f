"""What elapsed times count from: the gun of the runner's wave, or the runner's own start."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from lineproof.errors import EventError
from lineproof.event import EVENT_FILE, Event

if TYPE_CHECKING:
    from lineproof.intake.sources import Source


def _us(instant: dt.datetime) -> int:
    return round((instant - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)) / dt.timedelta(microseconds=1))


@dataclass(frozen=True, slots=True)
class Guns:
    """The gun of every wave, and of every bib and tag by way of entries and tags."""

    event: Event
    by_bib: pl.DataFrame  # bib, base_us
    by_tag: pl.DataFrame  # tag, base_us

    @classmethod
    def of(cls, event: Event, entries: pl.DataFrame, tags: pl.DataFrame) -> Guns:
        """Resolve bibs and tags; a tag or bib of runners with different guns has none."""
        guns = pl.DataFrame(
            [(wave.id, None if wave.gun is None else _us(wave.gun)) for wave in event.waves],
            schema={"wave": pl.String, "base_us": pl.Int64},
            orient="row",
        )
        runners = entries.select("runner", "bib", "wave").join(guns, on="wave", how="left", validate="m:1")
        held = tags.select("tag", "runner").join(runners, on="runner", how="inner", validate="m:1")
        return cls(event, _only(runners, "bib"), _only(held, "tag"))

    def with_base(self, frame: pl.LazyFrame, source: Source) -> pl.LazyFrame:
        """Add ``base_us`` where it is not there yet.  Raises ``EventError`` where no wave has a gun."""
        if "base_us" in frame.collect_schema().names():
            return frame
        guns = {None if wave.gun is None else _us(wave.gun) for wave in self.event.waves}
        if guns == {None}:
            raise EventError(
                f"the elapsed times of {source.table.file} count from the gun, but no wave has one",
                todo="write gun = 09:30:00 under [[wave]]",
                file=EVENT_FILE,
            )
        if len(guns) == 1:
            return frame.with_columns(pl.lit(guns.pop(), dtype=pl.Int64).alias("base_us"))
        key = "bib" if "bib" in source.columns else "tag"
        table = (self.by_bib if key == "bib" else self.by_tag).lazy()
        return frame.join(table, on=key, how="left", validate="m:1", maintain_order="left")


def _only(frame: pl.DataFrame, key: str) -> pl.DataFrame:
    """One gun for each key; keys with several guns are left out."""
    return (
        frame.filter(pl.col(key).is_not_null())
        .group_by(key)
        .agg(pl.col("base_us").min(), pl.col("base_us").n_unique().alias("guns"))
        .filter(pl.col("guns") == 1)
        .select(key, "base_us")
        .sort(key)
    )
