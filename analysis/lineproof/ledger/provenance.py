"""What an event's numbers rest on: the hash of every input, the settings, and the program.

The key of a part is the hash of all that.  The same inputs under the same program have the same key, so that keeping
them again is known to change nothing before anything is computed.
"""

from __future__ import annotations

import functools
import hashlib
import json
import platform
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

import polars as pl

import lineproof
from lineproof.decisions import DECISIONS_FILE
from lineproof.errors import InputError
from lineproof.event import EVENT_FILE, Event
from lineproof.intake.files import find_files
from lineproof.ledger.manifest import SCHEMA_VERSION, hash_of
from lineproof.season_tables import PROVENANCE

CHUNK = 1 << 20
BESIDE = (EVENT_FILE, DECISIONS_FILE, "setup.*", "sightings*", "equipment.*")
OF_THE_SERIES = "equipment.*"
PROGRAMS = ("lineproof", "polars", "numpy", "scipy")


@dataclass(frozen=True, slots=True)
class Basis:
    """``inputs``: SHA-256 by path; ``key`` names the whole."""

    inputs: dict[str, str]
    key: str
    key_print: str
    crossings: bool


def to_basis(event: Event, key: bytes, *, crossings: bool) -> Basis:
    """Hash all inputs of the event, and what else its part is made of.

    ``key`` is that of the pseudonyms; only a print of it is kept.  Raises ``InputError`` where a file cannot be read.
    """
    inputs = hash_inputs(event)
    key_print = hash_of(b"print of the key" + key)[:16]
    made_of = {
        "inputs": inputs,
        "settings": {**event.settings},
        "pseudonyms": key_print,
        "crossings": crossings,
        "program": code_print(),
        "schema": SCHEMA_VERSION,
    }
    return Basis(inputs, hash_of(json.dumps(made_of, sort_keys=True).encode()), key_print, crossings)


def hash_inputs(event: Event) -> dict[str, str]:
    """SHA-256 of every file that a review of the event reads, by its path in the event folder (``../`` above it)."""
    layouts = [source.layout for source in event.inputs]
    layouts += [event.entries] if event.entries is not None else []
    found = {path for layout in layouts for path in find_files(event, layout)}
    found |= {path for pattern in BESIDE for path in event.folder.glob(pattern) if path.is_file()}
    named = {path.relative_to(event.folder).as_posix(): path for path in found}
    series = event.folder.resolve().parent
    named |= {f"../{path.name}": path for path in series.glob(OF_THE_SERIES) if path.is_file()}
    return {name: _hash_file(path) for name, path in sorted(named.items())}


def _hash_file(path: Path) -> str:
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while chunk := file.read(CHUNK):
                digest.update(chunk)
    except OSError as problem:
        raise InputError(
            f"the file cannot be read ({(problem.strerror or 'unknown').lower()})",
            todo="close it elsewhere, or look at its rights",
            file=path,
        ) from None
    return digest.hexdigest()


@functools.cache
def code_print() -> str:
    """A hash of the program's own sources: numbers of a changed program are not taken for the same."""
    root = Path(lineproof.__file__).parent
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*")):
        if path.suffix in (".py", ".csv") and path.is_file():
            digest.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()


def to_provenance(event: Event, basis: Basis) -> pl.DataFrame:
    """PROVENANCE of the event."""
    facts = {
        "input": basis.inputs,
        "setting": {name: f"{value:g}" for name, value in event.settings.items()},
        "version": {
            **{name: version(name) for name in PROGRAMS},
            "python": platform.python_version(),
            "program": code_print(),
            "schema": str(SCHEMA_VERSION),
        },
        "part": {
            "key": basis.key,
            "print of the pseudonyms' key": basis.key_print,
            "crossings kept": "yes" if basis.crossings else "no",
        },
    }
    rows: list[dict[str, object]] = [
        {"event": event.id, "kind": kind, "name": name, "value": value}
        for kind, found in facts.items()
        for name, value in sorted(found.items())
    ]
    return PROVENANCE.check(PROVENANCE.shape_rows(rows))
