"""Keeping one event: is it there already, else review it, gather what the ledger keeps, and put it in place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.errors import InputError, LedgerError
from lineproof.event import Event, load_event
from lineproof.ledger.gather import to_kept
from lineproof.ledger.manifest import MANIFEST, read_manifest
from lineproof.ledger.opening import open_ledger, read_whole
from lineproof.ledger.packing import to_part
from lineproof.ledger.part import Part
from lineproof.ledger.provenance import Basis, hash_inputs, to_basis
from lineproof.ledger.store import cannot_write, holds, place, require_date, require_place
from lineproof.pipeline import review_event
from lineproof.pseudonyms import KEY_FILE, load_key_in
from lineproof.wording import say_count, say_list

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Kept:
    """``changed`` is false where the ledger held exactly this already; ``replaced`` where an older part made way."""

    event: str
    changed: bool
    replaced: bool
    remarks: tuple[str, ...]


def keep_event(
    event_folder: str | Path,
    ledger: str | Path,
    *,
    crossings: bool = False,
    new_date: bool = False,
    progress: Progress = lambda _step: None,
) -> Kept:
    """Review the event and make what it leaves the event's current part of the ledger in ``ledger``.

    ``crossings`` keeps the merged data too, under pseudonyms.  The key of the pseudonyms lies beside the ledger.
    Keeping the same again changes nothing and computes nothing.  Raises ``LineproofError`` with one sentence; the
    ledger is then as it was.
    """
    home = Path(ledger)
    progress("looking into the ledger")
    require_place(home)
    event = load_event(event_folder)
    if not new_date:
        require_date(home, event.id, event.date.isoformat())
    key = _load_key(home)
    basis = to_basis(event, key, crossings=crossings)
    if holds(home, event.id, basis.key):
        return Kept(event.id, False, False, ())
    part = _to_part(event, key, basis, progress)
    progress("writing to the ledger")
    before = _known_events(home)
    changed = place(home, part, new_date=new_date)
    return Kept(event.id, changed, changed and event.id in before, _remarks(home, basis))


def _load_key(home: Path) -> bytes:
    """The key beside the ledger; one that could not be stored there would be another one at the next event."""
    series = home.resolve().parent
    try:
        series.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise cannot_write(home, problem) from None
    key = load_key_in(series)
    if not (series / KEY_FILE).is_file():
        raise LedgerError(
            f'the key of the pseudonyms cannot be written beside the ledger, into the folder "{series.name}"',
            todo="free space, look at its rights, or put the ledger into a folder that can be written",
        )
    return key


def in_words(kept: Kept, ledger: Path) -> tuple[str, ...]:
    """What a keep did, in sentences for the terminal."""
    if not kept.changed:
        return (f"{kept.event}: the ledger {ledger} holds exactly this already; nothing was changed.",)
    what = "its part was replaced, the old one stays as history" if kept.replaced else "kept"
    return (f"{kept.event}: {what} ({ledger}).", *kept.remarks)


def _to_part(event: Event, key: bytes, basis: Basis, progress: Progress) -> Part:
    review = review_event(event.folder, progress)
    progress("gathering what the ledger keeps")
    tables = to_kept(review, key, basis)
    if hash_inputs(event) != basis.inputs:
        raise InputError(
            f'a file of the event "{event.id}" changed while it was being reviewed',
            todo="let the other program finish, then keep the event again; the ledger is unchanged",
        )
    return to_part(event.id, event.date.isoformat(), basis.key, tables)


def _known_events(home: Path) -> set[str]:
    if not (home / MANIFEST).exists():
        return set()
    return {entry.event for entry in read_manifest(home).entries}


def _remarks(home: Path, basis: Basis) -> tuple[str, ...]:
    """Events whose tags cannot be followed to this one: their pseudonyms were made with another key."""
    try:
        facts = open_ledger(home).scan("provenance").filter(pl.col("name") == "print of the pseudonyms' key")
        others = read_whole(facts.filter(pl.col("value") != basis.key_print))["event"].sort().to_list()
    except LedgerError as problem:  # another event's part; this one is kept
        return (str(problem),)
    if not others:
        return ()
    sentence = (
        f"the key of the pseudonyms is not that of {say_count(len(others), 'other event')} ({say_list(others)}): tags "
        f"cannot be followed between them; restore {KEY_FILE}, or keep those events again"
    )
    return (sentence,)
