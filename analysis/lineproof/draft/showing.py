"""Draws what was understood: for each file a table of its columns with three sample rows each."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from lineproof.draft.looking import Sighting
from lineproof.draft.scene import is_aware
from lineproof.errors import printable
from lineproof.vocabulary import Level

MOST_COLUMNS = 24
SAMPLES = 3
_LEVELS = {
    Level.READS: "raw reads",
    Level.PASSINGS: "passings per line",
    Level.MERGED: "merged times, one row for each runner and place",
    Level.WIDE: "results, one row for each runner",
    None: "start list",
}


def show_sightings(sightings: Iterable[Sighting], console: Console) -> None:
    """One table for the first of the files that are laid out alike; of the others one line each."""
    drawn: dict[object, str] = {}
    for sighting in sightings:
        console.print(f"[bold]{escape(printable(sighting.file))}[/bold]: {describe(sighting)}", markup=True)
        first = drawn.setdefault(_layout(sighting), sighting.file)
        if first == sighting.file:
            console.print(to_table(sighting))
        else:
            console.print(f"  columns as in {escape(printable(first))}", markup=True)


def _layout(s: Sighting) -> object:
    taken = {index: name for name, index in s.columns.items()}
    return s.level, tuple(s.headers), tuple(_taken_for(s, i, taken) for i in range(len(s.headers)))


def to_table(s: Sighting) -> Table:
    """Rows: the columns of the file.  Columns: its header, what it is taken for, three sample rows."""
    table = Table()
    table.add_column("Column", overflow="fold", min_width=11)
    table.add_column("Taken for", overflow="fold", min_width=9)
    samples = s.cells.head(SAMPLES)
    for row in range(samples.height):
        table.add_column(f"Row {row + 1}", overflow="ellipsis", no_wrap=True, min_width=4, max_width=28)
    ours = {index: name for name, index in s.columns.items()}
    for i, header in enumerate(s.headers[:MOST_COLUMNS]):
        cells = [escape(printable(str(samples[row, f"c{i}"] or "–"))) for row in range(samples.height)]
        table.add_row(escape(printable(header)) or "–", escape(_taken_for(s, i, ours)), *cells)
    if len(s.headers) > MOST_COLUMNS:
        table.add_row(f"and {len(s.headers) - MOST_COLUMNS} more", "", *[""] * samples.height)
    return table


def describe(s: Sighting) -> str:
    """``raw reads, 12,345 rows, columns parted by semicolon, header in row 1, local times without offset``."""
    parts = [_LEVELS[s.level], f"{s.rows:,} rows"]
    if s.delimiter:
        parts.append(f"columns parted by {s.delimiter}")
    parts.append(f"header in row {s.header_row}" if s.header_row else "no header")
    if s.level is not None:
        parts.append(_times(s))
    return ", ".join(parts)


def _times(s: Sighting) -> str:
    if s.times == "elapsed":
        return "times counted from the gun"
    if s.times == "clock":
        return "times of day without a date"
    return "times with their offset from UTC, or since 1970" if is_aware(s) else "local times without offset"


def _taken_for(s: Sighting, index: int, ours: dict[int, str]) -> str:
    if index in s.results.places:
        return f"time at {s.results.places[index]}"
    if index in s.results.left:
        return f"left out: {s.results.left[index]}"
    return ours.get(index, "not used").replace("_", " ")
