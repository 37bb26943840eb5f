"""Is the ledger what it was when it was kept?  Every byte of every part against its hash, in sentences."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.ledger.manifest import MANIFEST, PARTS, SCHEMA_VERSION, Entry, newer, read_manifest
from lineproof.ledger.packing import stored_schema
from lineproof.ledger.part import OF_THE_SYSTEM, STRANGER, find_damage, find_strangers
from lineproof.ledger.store import LOCK, MARK, NEW_MANIFEST
from lineproof.season_tables import KEPT
from lineproof.wording import say_count


@dataclass(frozen=True, slots=True)
class CheckResult:
    """``faults``: a sentence for each file that is not what it should be.  ``summary``: what was looked at."""

    faults: tuple[str, ...]
    remarks: tuple[str, ...]
    summary: str

    @property
    def passed(self) -> bool:
        return not self.faults


def check_ledger(folder: str | Path) -> CheckResult:
    """Hold every file of the ledger against the hash, length and columns that it must have.

    Raises ``LedgerError`` where there is no ledger, or its manifest itself is damaged or of a newer lineproof.
    """
    home = Path(folder)
    manifest = read_manifest(home)
    faults: list[str] = []
    for entry in manifest.entries:
        damage = find_damage(home, entry)
        faults += [_sentence(found.file, found.problem, _todo(entry)) for found in damage]
        faults += [
            _sentence(found.file, found.problem, "move it elsewhere") for found in find_strangers(home, entry)
        ]
        if not damage:
            faults += _wrong_columns(home, entry)
    strangers, leftovers = _others(home)
    faults += [_sentence(name, STRANGER, "move it elsewhere") for name in strangers]
    history = len(manifest.entries) - len(manifest.current)
    summary = (
        f"{say_count(len(manifest.current), 'event')} and {say_count(history, 'replaced part')} in {home}: "
        + ("everything is as it was kept." if not faults else f"{say_count(len(faults), 'fault')}.")
    )
    return CheckResult(tuple(faults), tuple(leftovers), summary)


def _todo(entry: Entry) -> str:
    if entry.replaced is not None:
        return f'it is a replaced part of the event "{entry.event}": restore it from a copy'
    return f'keep the event "{entry.event}" again, or restore the file from a copy'


def _sentence(file: str, problem: str, todo: str) -> str:
    return f"{file}: {problem}; {todo}."


def _wrong_columns(home: Path, entry: Entry) -> list[str]:
    """A part of today's version whose tables do not keep today's contract was written by another program."""
    if entry.schema > SCHEMA_VERSION:
        return [str(newer(entry.schema, home / MANIFEST))]
    if entry.schema < SCHEMA_VERSION:
        return []
    faults = []
    for name, table in KEPT.items():
        path = home / PARTS / entry.part / f"{name}.parquet"
        file = f"{PARTS}/{entry.part}/{path.name}"
        try:
            there = pl.read_parquet_schema(path) if path.is_file() else None
        except (OSError, pl.exceptions.PolarsError):
            faults.append(_sentence(file, "the file is no Parquet table", _todo(entry)))
            continue
        if there is None and name != "crossings":
            faults.append(_sentence(file, "the table is missing from the part", _todo(entry)))
        elif there is not None and pl.Schema(there) != stored_schema(table):
            problem = f"the table does not have the columns of version {SCHEMA_VERSION}"
            faults.append(_sentence(file, problem, _todo(entry)))
    return faults


def _others(home: Path) -> tuple[list[str], list[str]]:
    """Names that the ledger does not know, and sentences on what stopped runs left behind.

    Looked up in the order parts, marks, manifest: a part that another process is just finishing has a mark or a
    place in the manifest.
    """
    parts = home / PARTS
    inside = {path.name for path in parts.iterdir()} if parts.is_dir() else set()
    names = {path.name for path in home.iterdir()}
    marks = sorted(name for name in names if name.startswith(MARK))
    known = {entry.part for entry in read_manifest(home).entries}
    unfinished = {name.removeprefix(MARK) for name in marks}
    strangers = sorted(names - {MANIFEST, LOCK, PARTS, NEW_MANIFEST, *marks, *OF_THE_SYSTEM})
    strangers += [f"{PARTS}/{name}" for name in sorted(inside - known - unfinished - set(OF_THE_SYSTEM))]
    leftovers = [
        f"{name}: left by a run that was stopped or is still writing; the next lineproof keep removes it."
        for name in (*marks, *({NEW_MANIFEST} & names))
    ]
    return strangers, leftovers
