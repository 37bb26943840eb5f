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
    from lineproof.passings.kernel import Array, Batch, Goes

WORD = pl.Categorical()
CHUNK = 1 << 18  # reads taken at once
GO_TYPES = {
    **{"line": np.uint32, "tag": np.uint32, "first": np.int64, "strongest": np.int64, "last": np.int64},
    **{"reads": np.uint32, "antenna": np.int32, "antennas": np.uint64, "strength": np.float32},
    **{"file": np.uint32, "row": np.int64, "first_antenna": np.int32, "first_strength": np.float32},
    **{"last_antenna": np.int32, "last_strength": np.float32, "tied": np.int32},
}
TIE_TYPES = {"antenna": np.int32, "strength": np.float32, "before": np.int32}


class UnfitError(Exception):
    """The reads are not what the compiled loop can take."""


class DisorderError(Exception):
    """A read came after a later one of its tag at its line."""


def join_flowing(reads: pl.LazyFrame, event: Event) -> list[pl.DataFrame] | None:
    """The passings (all columns of PASSINGS but the number) in one part; None where only the plain way serves."""
    anchor = pl.Series([""], dtype=WORD)  # polars forgets its numbers of words when no column holds any
    lines, files = _words(reads, "line"), _words(reads, "file")
    gap = event.setting_us("passing_gap_s")
    try:
        try:
            joining = _Joining(lines, files, gap)
            joining.add(reads.collect_batches(chunk_size=CHUNK, maintain_order=True))
        except DisorderError:
            joining = _Joining(lines, files, gap)
            joining.add(_by_line(reads, lines))
    except UnfitError:
        return None
    found = _to_passings(joining, event)
    del anchor
    return [found]


def _words(reads: pl.LazyFrame, name: str) -> pl.Series:
    """The different words of a column in their order."""
    return reads.select(pl.col(name).unique()).collect().to_series().sort()


def _by_line(reads: pl.LazyFrame, lines: pl.Series) -> Iterator[pl.DataFrame]:
    for line in lines.cast(pl.String):
        ordered = reads.filter(pl.col("line") == line).collect().sort("time")
        yield from ordered.iter_slices(CHUNK)


class _Joining:
    """The passings so far, in arrays that grow as they fill."""

    def __init__(self, lines: pl.Series, files: pl.Series, gap: int) -> None:
        self.lines, self.files, self.gap = lines, files, gap
        self.goes = {name: np.empty(0, dtype) for name, dtype in GO_TYPES.items()}
        self.ties = {name: np.empty(0, dtype) for name, dtype in TIE_TYPES.items()}
        self.opened = np.empty((len(lines), 0), np.int32)
        self.count = self.knots = 0

    def add(self, chunks: Iterable[pl.DataFrame]) -> None:
        """Join the reads of ``chunks``; raises where they are out of order or unfit for the loop."""
        from lineproof.passings import kernel

        line_of, file_of = _places(self.lines), _places(self.files)
        for chunk in chunks:
            batch = _to_batch(chunk, line_of, file_of)
            self._make_room(batch)
            goes, ties = kernel.Goes(**self.goes), kernel.Ties(**self.ties)
            end, self.count, self.knots = kernel.join(
                batch, goes, ties, self.opened, self.gap, self.count, self.knots
            )
            if end == kernel.OUT_OF_ORDER:
                raise DisorderError
            if end == kernel.TOO_TIED:
                raise UnfitError

    def _make_room(self, batch: Batch) -> None:
        reads, tags = len(batch.time), int(batch.tag.max(initial=0)) + 1
        self.goes = _grown(self.goes, self.count + reads)
        self.ties = _grown(self.ties, self.knots + reads)
        more = max(tags, 2 * self.opened.shape[1]) - self.opened.shape[1]
        if tags > self.opened.shape[1]:
            self.opened = np.pad(self.opened, ((0, 0), (0, more)), constant_values=-1)


def _grown(arrays: dict[str, Array], need: int) -> dict[str, Array]:
    room = len(next(iter(arrays.values())))
    if need <= room:
        return arrays
    more = max(need, room + room // 2) - room
    return {name: np.concatenate([old, np.empty(more, old.dtype)]) for name, old in arrays.items()}


def _places(words: pl.Series) -> Array:
    """From the number that polars gives a word to its place in the order of words."""
    numbers = words.to_physical().to_numpy()
    places = np.zeros(int(numbers.max(initial=0)) + 1, np.uint32)
    places[numbers] = np.arange(len(numbers), dtype=np.uint32)
    return places


def _to_batch(chunk: pl.DataFrame, line_of: Array, file_of: Array) -> Batch:
    from lineproof.passings.kernel import LAST_ANTENNA, NO_ANTENNA, Batch

    antennas = chunk["antenna"]
    if not antennas.drop_nulls().is_between(0, LAST_ANTENNA).all() or chunk["strength"].is_nan().any():
        raise UnfitError
    return Batch(
        line_of[chunk["line"].to_physical().to_numpy()],
        chunk["tag"].to_physical().to_numpy(),
        chunk["time"].to_physical().to_numpy(),
        antennas.fill_null(NO_ANTENNA).to_numpy(),
        chunk["strength"].fill_null(np.nan).to_numpy(),
        file_of[chunk["file"].to_physical().to_numpy()],
        chunk["row"].to_numpy(),
    )


def _to_passings(joining: _Joining, event: Event) -> pl.DataFrame:
    goes = pl.DataFrame({name: values[: joining.count] for name, values in joining.goes.items()})
    point_of = {line.id: line.point for line in event.lines}
    lines, files = joining.lines.cast(pl.String), joining.files.cast(pl.String)
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
