"""What the ledger holds: the one small file that is ever replaced, and what it says of each part.

``ledger.json`` names every part, current or replaced, with the hash of its ``part.json``, which holds the hashes of
its tables.  The file carries a hash of itself, so that a flipped byte anywhere is found.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

from lineproof.errors import LedgerError

MANIFEST = "ledger.json"
PARTS = "parts"
PART_FILE = "part.json"
PART_NAME = re.compile(r"[A-Za-z0-9._-]+-[0-9a-f]{12}(-[0-9]+)?")

# Raise it with every change of a contract of season_tables.KEPT, and say in migration.py how older parts are read.
SCHEMA_VERSION = 2


@dataclass(frozen=True, slots=True)
class Entry:
    """One part: ``key`` tells what it was made of, ``sha256`` is that of its part.json; times are UTC."""

    event: str
    date: str
    part: str
    key: str
    schema: int
    sha256: str
    kept: str
    replaced: str | None = None


@dataclass(frozen=True, slots=True)
class Manifest:
    """Parts in the order in which they were kept."""

    entries: tuple[Entry, ...] = ()

    @property
    def current(self) -> tuple[Entry, ...]:
        """The part of each event that counts, by date and event."""
        now = (entry for entry in self.entries if entry.replaced is None)
        return tuple(sorted(now, key=lambda entry: (entry.date, entry.event)))

    def of_event(self, event: str) -> Entry | None:
        return next((entry for entry in self.current if entry.event == event), None)

    def with_current(self, new: Entry, without: tuple[Entry, ...] = ()) -> Manifest:
        """``new`` counts from now on; the event's other parts stay as history, those of ``without`` leave."""
        names = {new.part, *(entry.part for entry in without)}
        kept = [entry for entry in self.entries if entry.part not in names]
        history = [
            replace(entry, replaced=new.kept)
            if entry.event == new.event and entry.replaced is None
            else entry
            for entry in kept
        ]
        return Manifest((*history, new))


def now_utc() -> str:
    return dt.datetime.now(dt.UTC).isoformat(timespec="seconds")


def hash_of(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def to_bytes(manifest: Manifest) -> bytes:
    """One line per part, led by a line with the hash of all that follows."""
    rows = ",\n".join(json.dumps(asdict(entry), sort_keys=True) for entry in manifest.entries)
    body = f'"schema": {SCHEMA_VERSION}, "parts": [\n{rows}\n]}}\n'.encode()
    return f'{{"sha256": "{hash_of(body)}",\n'.encode() + body


def read_manifest(folder: Path) -> Manifest:
    """The manifest of the ledger in ``folder``.

    Raises ``LedgerError`` where there is none, where it is damaged or of a newer version, and ``FileNotFoundError`` never.
    """
    path = folder / MANIFEST
    if path.exists() and not path.is_file():
        raise LedgerError("this is no plain file", todo="restore it from a copy", file=path)
    try:
        data = path.read_bytes()
    except (FileNotFoundError, NotADirectoryError):
        raise LedgerError(
            f'the folder "{folder.name}" holds no ledger ({MANIFEST} is not there)',
            todo="make one with: lineproof keep EVENT_DIR --ledger DIR; a lost file, restore from a copy",
        ) from None
    except OSError as problem:
        raise LedgerError(
            f"the file cannot be read ({(problem.strerror or 'unknown').lower()})",
            todo="look at its rights and the disk",
            file=path,
        ) from None
    return _parse(data, path)


def _parse(data: bytes, path: Path) -> Manifest:
    first, _, body = data.partition(b"\n")
    try:
        told: dict[str, Any] = json.loads(data)
        schema = told["schema"]
        if isinstance(schema, int) and schema > SCHEMA_VERSION:
            raise newer(schema, path)
        whole = hash_of(body) == told["sha256"] and first == f'{{"sha256": "{told["sha256"]}",'.encode()
        names = {field.name for field in fields(Entry)}
        entries = tuple(
            Entry(**{key: value for key, value in row.items() if key in names}) for row in told["parts"]
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        whole, entries = False, ()
    if not whole or not all(PART_NAME.fullmatch(entry.part) for entry in entries):
        raise LedgerError(
            "the file is damaged: its contents do not have the hash that it states",
            todo="restore it from a copy, or keep all events again into a new folder",
            file=path,
        )
    return Manifest(entries)


def newer(schema: int, path: Path) -> LedgerError:
    return LedgerError(
        f"the ledger was written by a newer lineproof (its version is {schema}, this one reads up to "
        f"{SCHEMA_VERSION})",
        todo="update lineproof; the ledger is unchanged",
        file=path,
    )
