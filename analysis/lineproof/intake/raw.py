"""One export as it stood, cell by cell: Parquet of text columns with the row number of each.

Everything behind this module sees the same shape, whatever the file was: ``row`` (as a spreadsheet
counts it), ``c0 … cN`` (text, null where nothing stood), and ``trouble`` (why a row cannot be split
into cells; null for a sound row).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

HEADER_DEPTH = 60  # rows searched for the header: a printed title block is shorter
BATCH = 50_000
ROW_GROUP = 1 << 16  # rows read at once; keeps the memory of millions of rows flat


@dataclass(frozen=True, slots=True)
class RawTable:
    """``parts`` are Parquet files in row order; ``header_row`` counts from 1, 0 where there is none."""

    file: str
    sheet: str
    headers: tuple[str, ...]
    header_row: int
    parts: tuple[Path, ...]
    sha256: str
    encoding: str | None = None
    remarks: tuple[str, ...] = field(default=())

    def scan(self) -> pl.LazyFrame:
        if not self.parts:
            return pl.LazyFrame(schema=raw_schema(len(self.headers)))
        return pl.scan_parquet(list(self.parts))


def raw_schema(width: int) -> pl.Schema:
    cells: dict[str, pl.DataType] = {f"c{i}": pl.String() for i in range(width)}
    return pl.Schema({"row": pl.Int64(), **cells, "trouble": pl.String()})


def normal(header: str) -> str:
    """A header for comparing: without case, byte order mark and superfluous blanks."""
    return " ".join(header.replace("\ufeff", "").split()).casefold()


def find_header(rows: Sequence[Sequence[str]], wanted: Iterable[str]) -> int:
    """Index of the row that holds most of the wanted words; the first wide row where none does."""
    words = {normal(word) for word in wanted}
    scores = [len(words & {normal(cell) for cell in row}) for row in rows]
    if scores and max(scores) > 0:
        return scores.index(max(scores))
    wide = [i for i, row in enumerate(rows) if sum(bool(cell.strip()) for cell in row) >= 2]
    return wide[0] if wide else 0


def numbered_headers(width: int) -> tuple[str, ...]:
    """Names for the columns of a table without header: their numbers, 1 first."""
    return tuple(str(i + 1) for i in range(width))


class PartWriter:
    """Collects checked rows and writes them as Parquet parts of bounded size."""

    def __init__(self, stem: Path, width: int) -> None:
        self._stem, self._width = stem, width
        self._rows: list[tuple[object, ...]] = []
        self.parts: list[Path] = []

    def add(self, row: int, cells: Sequence[str | None], trouble: str | None) -> None:
        """Add a row; cells beyond the header are trouble unless they are blank."""
        extra = [cell for cell in cells[self._width :] if cell and cell.strip()]
        if extra and trouble is None:
            trouble = f"the row has {len(cells)} fields where the header has {self._width}"
        filled = [*cells[: self._width], *([None] * (self._width - len(cells)))]
        self._rows.append((row, *filled, trouble))
        if len(self._rows) >= BATCH:
            self._flush()

    def close(self) -> tuple[Path, ...]:
        self._flush()
        return tuple(self.parts)

    def _flush(self) -> None:
        if not self._rows:
            return
        part = self._stem.with_name(f"{self._stem.name}.{len(self.parts)}.parquet")
        frame = pl.DataFrame(self._rows, schema=raw_schema(self._width), orient="row")
        frame.write_parquet(part, compression="lz4")
        self.parts.append(part)
        self._rows = []
