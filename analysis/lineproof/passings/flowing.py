"""The flowing way: reads as they come from the files, and at hand the open passing of each line and tag.

Nothing is sorted and no read is held: memory follows the passings.  It needs the reads of a tag at a line
in order of time, as a reader writes them; where they are not, the reads of one line at a time are put in
order first.  What the compiled loop cannot count, it leaves to the plain way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from lineproof.event import Event
from lineproof.tables import PASSINGS
from lineproof.vocabulary import Level

if TYPE_CHECKING:
    from lineproof.passings.kernel import Array, Batch

WORD = pl.Categorical()
CHUNK = 1 << 18  # reads taken at once
GO_TYPES = {
    "line": np.uint32, "tag": np.uint32, "first": np.int64, "strongest": np.int64, "last": np.int64,
    "reads": np.uint32, "antenna": np.int32, "antennas": np.uint64, "strength": np.float32,
    "file": np.uint32, "row": np.int64, "first_antenna": np.int32, "first_strength": np.float32,
    "last_antenna": np.int32, "last_strength": np.float32, "tied": np.int32,
}  # fmt: skip
TIE_TYPES = {"antenna": np.int32, "strength": np.float32, "before": np.int32}


class UnfitError(Exception):
    """The reads are not what the compiled loop can take."""


class DisorderError(Exception):
    """A read came after a later one of its tag at its line."""


def join_flowing(reads: pl.LazyFrame, event: Event) -> list[pl.DataFrame] | None:
    """The passings (all columns of PASSINGS but the number) in one part; None where only the plain way serves."""
    anchor = pl.Series([""], dtype=WORD)  # polars forgets its numbers of words when no column holds any
    gap = event.setting_us("passing_gap_s")
    try:
        try:
            joining = _Joining(gap)
            joining.add(reads.collect_batches(chunk_size=CHUNK, maintain_order=True))
        except DisorderError:
            joining = _Joining(gap)
            joining.add(_by_line(reads))
    except UnfitError:
        return None
    found = _to_passings(joining, event)
    del anchor
    return [found]


def _by_line(reads: pl.LazyFrame) -> Iterator[pl.DataFrame]:
    for line in reads.select(pl.col("line").unique()).collect().to_series().cast(pl.String):
        ordered = reads.filter(pl.col("line") == line).collect().sort("time")
        yield from ordered.iter_slices(CHUNK)


class _Places:
    """Few words numbered as they come, from the numbers that polars gives to all words."""

    def __init__(self) -> None:
        self.words: list[str] = []
        self._place_of = np.zeros(0, np.int64)

    def of(self, column: pl.Series) -> Array:
        fresh = [word for word in column.unique().cast(pl.String) if word not in self.words]
        if fresh:
            self.words += fresh
            numbers = pl.Series(self.words, dtype=WORD).to_physical().to_numpy()
            self._place_of = np.zeros(int(numbers.max()) + 1, np.uint32)
            self._place_of[numbers] = np.arange(len(numbers))
        places: Array = self._place_of[column.to_physical().to_numpy()]
        return places

    def ranks(self) -> Array:
        """The place of each word in their order."""
        return np.argsort(np.argsort(np.array(self.words, dtype=object))).astype(np.uint32)


class _Joining:
    """The passings so far, in arrays that grow as they fill."""

    def __init__(self, gap: int) -> None:
        self.lines, self.files, self.gap = _Places(), _Places(), gap
        self.goes = {name: np.empty(0, dtype) for name, dtype in GO_TYPES.items()}
        self.ties = {name: np.empty(0, dtype) for name, dtype in TIE_TYPES.items()}
        self.opened = np.empty((0, 0), np.int32)
        self.count = self.knots = 0

    def add(self, chunks: Iterable[pl.DataFrame]) -> None:
        """Join the reads of ``chunks``; raises where they are out of order or unfit for the loop."""
        from lineproof.passings import kernel

        for chunk in chunks:
            batch = self._to_batch(chunk)
            self._make_room(batch)
            goes, ties = kernel.Goes(**self.goes), kernel.Ties(**self.ties)
            end, self.count, self.knots = kernel.join(
                batch, goes, ties, self.opened, self.files.ranks(), self.gap, self.count, self.knots
            )
            if end == kernel.OUT_OF_ORDER:
                raise DisorderError
            if end == kernel.TOO_TIED:
                raise UnfitError

    def _to_batch(self, chunk: pl.DataFrame) -> Batch:
        from lineproof.passings.kernel import LAST_ANTENNA, NO_ANTENNA, Batch

        antennas = chunk["antenna"]
        if not antennas.drop_nulls().is_between(0, LAST_ANTENNA).all() or chunk["strength"].is_nan().any():
            raise UnfitError
        return Batch(
            self.lines.of(chunk["line"]),
            chunk["tag"].to_physical().to_numpy(),
            chunk["time"].to_physical().to_numpy(),
            antennas.fill_null(NO_ANTENNA).to_numpy(),
            chunk["strength"].fill_null(np.nan).to_numpy(),
            self.files.of(chunk["file"]),
            chunk["row"].to_numpy(),
        )

    def _make_room(self, batch: Batch) -> None:
        reads = len(batch.time)
        self.goes = _grown(self.goes, self.count + reads)
        self.ties = _grown(self.ties, self.knots + reads)
        lines, tags = self.opened.shape
        more_lines = max(len(self.lines.words) - lines, 0)
        need = int(batch.tag.max(initial=0)) + 1
        more_tags = max(need, tags + tags // 2) - tags if need > tags else 0
        if more_lines or more_tags:
            self.opened = np.pad(self.opened, ((0, more_lines), (0, more_tags)), constant_values=-1)


def _grown(arrays: dict[str, Array], need: int) -> dict[str, Array]:
    room = len(next(iter(arrays.values())))
    if need <= room:
        return arrays
    more = max(need, room + room // 2) - room
    return {name: np.concatenate([old, np.empty(more, old.dtype)]) for name, old in arrays.items()}


def _to_passings(joining: _Joining, event: Event) -> pl.DataFrame:
    goes = pl.DataFrame({name: values[: joining.count] for name, values in joining.goes.items()})
    point_of = {line.id: line.point for line in event.lines}
    lines, files = (pl.Series(places.words, dtype=pl.String) for places in (joining.lines, joining.files))
    points = pl.Series([point_of[line] for line in lines], dtype=pl.String)
    return goes.select(
        pl.col("tag").cat.to(WORD).cast(pl.String),
        *(pl.col(name).cast(PASSINGS.schema[name]) for name in ("first", "strongest", "last")),
        "reads",
        pl.col("antenna").replace(-1, None),
        pl.col("antennas").bitwise_count_ones().cast(pl.UInt16),
        pl.col("strength").fill_nan(None),
        pl.Series("file", files.gather(goes["file"])),
        "row",
        pl.Series("line", lines.gather(goes["line"])),
        pl.Series("point", points.gather(goes["line"])),
        pl.lit(Level.READS.value).cast(PASSINGS.schema["level"]).alias("level"),
    )
