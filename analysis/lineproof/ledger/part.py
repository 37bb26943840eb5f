"""One event as the ledger stores it: files in memory, their hashes, and proof that a stored one is whole."""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from lineproof.ledger.manifest import PART_FILE, PARTS, SCHEMA_VERSION, Entry, hash_of

STRANGER = "the file is none of the ledger's"
OF_THE_SYSTEM = (".DS_Store", "Thumbs.db", "desktop.ini")  # left by programs that show folders
TABLE_SUFFIX = ".parquet"
KEY_DIGITS = 12
NAME_LENGTH = 60


@dataclass(frozen=True, slots=True)
class Part:
    """``files`` by name; ``key`` is the hash of everything that they were made of."""

    event: str
    date: str
    key: str
    files: Mapping[str, bytes]

    @property
    def folder_name(self) -> str:
        """Readable, and safe on every file system; two events never share it."""
        word = re.sub(r"[^A-Za-z0-9._-]", "_", self.event)[:NAME_LENGTH]
        return f"{word}-{self.key[:KEY_DIGITS]}"

    def to_description(self) -> bytes:
        """``part.json``: the hash and length of every file."""
        files = {
            name: {"bytes": len(data), "sha256": hash_of(data)} for name, data in sorted(self.files.items())
        }
        told = {"event": self.event, "date": self.date, "key": self.key, "schema": SCHEMA_VERSION}
        return (json.dumps({**told, "files": files}, indent=1, sort_keys=True) + "\n").encode()


@dataclass(frozen=True, slots=True)
class Trouble:
    """One file that is not what it should be: ``file`` relative to the ledger, and what is wrong with it."""

    file: str
    problem: str


def find_damage(ledger: Path, entry: Entry) -> list[Trouble]:
    """Every file of a part that is missing, cut short or altered; empty where the part is whole."""
    folder = ledger / PARTS / entry.part
    place = f"{PARTS}/{entry.part}"
    if not folder.is_dir():
        return [Trouble(place, "the folder is missing")]
    description = _read(folder / PART_FILE)
    if isinstance(description, str):
        return [Trouble(f"{place}/{PART_FILE}", description)]
    if hash_of(description) != entry.sha256:
        return [Trouble(f"{place}/{PART_FILE}", "the file does not have the hash that ledger.json states")]
    return [
        Trouble(f"{place}/{name}", problem)
        for name, facts in json.loads(description)["files"].items()
        if (problem := _problem(folder / name, facts["bytes"], facts["sha256"])) is not None
    ]


def find_strangers(ledger: Path, entry: Entry) -> list[Trouble]:
    """Files in the folder of a part that it does not name."""
    folder = ledger / PARTS / entry.part
    description = _read(folder / PART_FILE)
    if isinstance(description, str) or hash_of(description) != entry.sha256:
        return []
    known = {PART_FILE, *OF_THE_SYSTEM, *json.loads(description)["files"]}
    unknown = sorted({path.name for path in folder.iterdir()} - known)
    return [Trouble(f"{PARTS}/{entry.part}/{name}", STRANGER) for name in unknown]


def remove_part(folder: Path) -> None:
    """Take away a part's own files, and its folder unless somebody put something else there."""
    for path in folder.iterdir():
        if path.name == PART_FILE or path.suffix == TABLE_SUFFIX or path.name in OF_THE_SYSTEM:
            path.unlink()
    with contextlib.suppress(OSError):
        folder.rmdir()


def _read(path: Path) -> bytes | str:
    """The contents, or why they cannot be had."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return "the file is missing"
    except OSError as problem:
        return f"the file cannot be read ({(problem.strerror or 'unknown').lower()})"


def _problem(path: Path, size: int, sha256: str) -> str | None:
    data = _read(path)
    if isinstance(data, str):
        return data
    if len(data) < size:
        return f"the file was cut short ({len(data):,} of {size:,} bytes)"
    if len(data) > size:
        return f"the file has grown ({len(data):,} bytes instead of {size:,})"
    return (
        None
        if hash_of(data) == sha256
        else "the file was altered: it does not have the hash of when it was kept"
    )
