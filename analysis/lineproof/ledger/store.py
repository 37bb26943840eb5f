"""Writing to the ledger: one process at a time, and old or new after a stop at any moment, never half.

    ledger.json            what the ledger holds; replaced in one step, and last
    ledger.lock            held by the one process that writes
    parts/<part>/          the files of one event; never changed once ledger.json names them
    .writing-<part>        an empty mark: that part is being written or removed

A part counts only once ``ledger.json`` names it.  A mark is made before the first byte of a part and taken away
after the manifest stands, so whatever a stopped run left is known by its mark and swept by the next one.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from filelock import FileLock, Timeout

from lineproof.errors import LedgerError
from lineproof.ledger.manifest import (
    MANIFEST,
    PART_FILE,
    PART_NAME,
    PARTS,
    SCHEMA_VERSION,
    Entry,
    Manifest,
    hash_of,
    now_utc,
    read_manifest,
    to_bytes,
)
from lineproof.ledger.part import OF_THE_SYSTEM, Part, find_damage, remove_part

LOCK = "ledger.lock"
MARK = ".writing-"
NEW_MANIFEST = ".ledger.json.new"
WAIT_S = 600.0
REPLACE_TRIES = 50  # of 0.1 s each: on Windows a file that somebody reads cannot be replaced


def require_place(folder: Path) -> None:
    """Refuse a folder that is something else, before anything is written into it.

    Raises ``LedgerError`` for a file, for a folder with other things in it, and for a ledger that lost its manifest.
    """
    try:
        if folder.exists() and not folder.is_dir():
            raise LedgerError(f'"{folder.name}" is a file', todo="name a folder with --ledger")
        if not folder.is_dir() or (folder / MANIFEST).exists():
            return
        refusal = _refusal(folder)
        # Another process may have made its first part meanwhile.
        if refusal is not None and not (folder / MANIFEST).exists():
            raise refusal
    except OSError as problem:
        raise cannot_write(folder, problem) from None


def _refusal(folder: Path) -> LedgerError | None:
    marked = set(_marked(folder))
    parts = folder / PARTS
    if parts.is_dir() and {path.name for path in parts.iterdir()} - {*marked, *OF_THE_SYSTEM}:
        return LedgerError(
            f'the ledger in "{folder.name}" holds parts and has lost its {MANIFEST}',
            todo="restore that file from a copy, or keep all events again into a new folder",
        )
    ours = {LOCK, PARTS, NEW_MANIFEST, *OF_THE_SYSTEM}
    others = [p.name for p in folder.iterdir() if p.name not in ours and not p.name.startswith(MARK)]
    if not others:
        return None
    return LedgerError(
        f'the folder "{folder.name}" holds other things ("{min(others)}") and is no ledger',
        todo="name a new folder with --ledger",
    )


def holds(folder: Path, event: str, key: str) -> bool:
    """Whether the event's current part was made of exactly this, and is whole on the disk."""
    if not (folder / MANIFEST).exists():
        return False
    entry = read_manifest(folder).of_event(event)
    return entry is not None and entry.key == key and not find_damage(folder, entry)


def require_date(folder: Path, event: str, date: str) -> None:
    """Refuse an id that another event has already: last year's, most often.

    Raises ``LedgerError``.
    """
    if not (folder / MANIFEST).exists():
        return
    entry = read_manifest(folder).of_event(event)
    if entry is not None and entry.date != date:
        raise LedgerError(
            f'the ledger has an event "{event}" of {entry.date} already, and this one is of {date}',
            todo="give this event an id of its own in event.toml, or add --new-date if the date was corrected",
        )


def place(folder: Path, part: Part, *, new_date: bool = False) -> bool:
    """Make ``part`` its event's current one; False where it was already, and nothing was written.

    Safe with other processes at once and with a stop at any moment.  Raises ``LedgerError`` where the disk is full
    or the folder cannot be written; the ledger is then as it was before.
    """
    require_place(folder)
    with _locked(folder):
        try:
            _sweep(folder)
            if holds(folder, part.event, part.key):
                return False
            if not new_date:
                require_date(folder, part.event, part.date)
            _write(folder, part)
        except OSError as problem:
            with contextlib.suppress(OSError):
                _sweep(folder)
            raise cannot_write(folder, problem) from None
    return True


def _write(folder: Path, part: Part) -> None:
    manifest = read_manifest(folder) if (folder / MANIFEST).exists() else Manifest()
    alike = [entry for entry in manifest.entries if entry.event == part.event and entry.key == part.key]
    damaged = tuple(entry for entry in alike if find_damage(folder, entry))
    whole = [entry for entry in alike if entry not in damaged]
    for entry in damaged:
        _mark(folder, entry.part)
    back = replace(whole[0], kept=now_utc(), replaced=None) if whole else None
    new = back or _write_part(folder, part)
    _replace_manifest(folder, manifest.with_current(new, without=damaged))
    # What is left now was left out of the manifest on purpose; the next run sweeps it as well.
    with contextlib.suppress(OSError):
        _sweep(folder)


def _write_part(folder: Path, part: Part) -> Entry:
    name = _free_name(folder, part)
    _mark(folder, name)
    home = folder / PARTS / name
    home.mkdir(parents=True)
    description = part.to_description()
    for file, data in (*part.files.items(), (PART_FILE, description)):
        _write_file(home / file, data)
    for above in (home, home.parent):
        _settle(above)
    return Entry(part.event, part.date, name, part.key, SCHEMA_VERSION, hash_of(description), now_utc())


def _free_name(folder: Path, part: Part) -> str:
    """The part's own name, or that with a number where a damaged one, or a stranger, has it."""
    name, number = part.folder_name, 1
    while (folder / PARTS / name).exists():
        number += 1
        name = f"{part.folder_name}-{number}"
    return name


def _replace_manifest(folder: Path, manifest: Manifest) -> None:
    new = folder / NEW_MANIFEST
    new.unlink(missing_ok=True)
    _write_file(new, to_bytes(manifest))
    for left in range(REPLACE_TRIES, -1, -1):
        try:
            new.replace(folder / MANIFEST)
            break
        except PermissionError:
            if not left:
                raise
            time.sleep(0.1)
    _settle(folder)


def _sweep(folder: Path) -> None:
    """Remove what marks name and the manifest does not; then the marks themselves."""
    (folder / NEW_MANIFEST).unlink(missing_ok=True)
    marked = _marked(folder)
    if not marked:
        return
    known = read_manifest(folder).entries if (folder / MANIFEST).exists() else ()
    named = {entry.part for entry in known}
    for name in marked:
        if name not in named and (folder / PARTS / name).is_dir():
            remove_part(folder / PARTS / name)
        (folder / f"{MARK}{name}").unlink(missing_ok=True)


def _marked(folder: Path) -> list[str]:
    names = (path.name.removeprefix(MARK) for path in folder.iterdir() if path.name.startswith(MARK))
    return sorted(name for name in names if PART_NAME.fullmatch(name))


def _mark(folder: Path, name: str) -> None:
    (folder / f"{MARK}{name}").touch()
    _settle(folder)


def _write_file(path: Path, data: bytes) -> None:
    with path.open("xb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _settle(folder: Path) -> None:
    """Make the names in a folder outlast a power cut, where the system can be asked to."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextlib.contextmanager
def _locked(folder: Path) -> Iterator[None]:
    try:
        if not folder.is_dir():
            folder.mkdir(parents=True, exist_ok=True)
            _settle(folder.parent)
        # A lock of the system itself: it goes with the process that holds it, however that ends.
        lock = FileLock(folder / LOCK, timeout=WAIT_S, fallback_to_soft=False, preserve_lock_file=True)
        lock.acquire()
    except Timeout:
        raise LedgerError(
            f'another process has been writing to the ledger "{folder.name}" for {WAIT_S / 60:.0f} minutes',
            todo="wait for it or end it, then run this again",
        ) from None
    except NotImplementedError:
        raise LedgerError(
            f'the disk of the ledger "{folder.name}" knows no locks of files',
            todo="keep the ledger on a disk of this machine, and copy it to the other one",
        ) from None
    except OSError as problem:
        raise cannot_write(folder, problem) from None
    try:
        yield
    finally:
        lock.release()


def cannot_write(folder: Path, problem: OSError) -> LedgerError:
    cause = (problem.strerror or str(problem) or type(problem).__name__).lower()
    return LedgerError(
        f'the ledger "{folder.name}" cannot be written ({cause})',
        todo="free space or look at its rights, then run this again; what it held is unchanged",
    )
