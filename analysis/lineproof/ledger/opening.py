"""Reading the ledger: tables over all events, scanned lazily from the parts that count."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

import polars as pl

from lineproof.errors import LedgerError
from lineproof.ledger.manifest import PART_FILE, PARTS, Entry, read_manifest
from lineproof.ledger.migration import to_present
from lineproof.season_tables import KEPT


@dataclass(frozen=True, slots=True)
class Ledger:
    """A ledger as it stood when it was opened: ``entries`` are its current parts, by date and event."""

    folder: Path
    entries: tuple[Entry, ...]

    @property
    def events(self) -> pl.DataFrame:
        """The events (contract EVENTS), by date and id."""
        return read_whole(self.scan("events").sort("date", "event"))

    def scan(self, table: str) -> pl.LazyFrame:
        """A table of ``season_tables.KEPT`` over all events, lazily; its rows come in no promised order.

        Crossings are there for the events of which they were kept.  Raises ``LedgerError`` where a file is missing,
        ``KeyError`` for a name that is none of the ledger's.
        """
        contract = KEPT[table]
        frames = []
        by_version = sorted(self.entries, key=lambda entry: entry.schema)
        for version, entries in groupby(by_version, key=lambda entry: entry.schema):
            paths = [path for entry in entries if (path := self._file(entry, table)) is not None]
            if paths:
                with _damage_said():
                    frames.append(to_present(pl.scan_parquet(paths, glob=False), contract, table, version))
        return pl.concat(frames) if frames else contract.empty().lazy()

    def _file(self, entry: Entry, table: str) -> Path | None:
        """None for a table that the event has none of: crossings not asked for, or one that came later."""
        path = self.folder / PARTS / entry.part / f"{table}.parquet"
        if path.is_file():
            return path
        try:
            described = json.loads((path.parent / PART_FILE).read_bytes())["files"]
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            described = None
        if not isinstance(described, dict) or path.name in described:
            raise LedgerError(
                f'the ledger\'s part of the event "{entry.event}" is damaged: {path.name} is missing',
                todo=f"run: lineproof ledger check {self.folder}",
            )
        return None


def read_whole(rows: pl.LazyFrame) -> pl.DataFrame:
    """Rows of ``Ledger.scan``, collected.  Raises ``LedgerError`` where one of the files cannot be read to its end."""
    with _damage_said():
        return rows.collect()


@contextmanager
def _damage_said() -> Iterator[None]:
    try:
        yield
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError):
        raise LedgerError(
            "a table of the ledger is damaged and cannot be read to its end",
            todo="run: lineproof ledger check DIR, which names the file",
        ) from None


def open_ledger(folder: str | Path) -> Ledger:
    """The ledger in ``folder``, read without a lock: what another process writes never shows by halves.

    Events kept after this do not show.  Raises ``LedgerError`` where there is none, or where it is damaged or
    of a newer lineproof.
    """
    home = Path(folder)
    return Ledger(home, read_manifest(home).current)
