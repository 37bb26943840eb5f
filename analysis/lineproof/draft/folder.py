"""Which files of a folder are exports and which is the start list: by their place, their names and what they hold."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.draft.columns import Ids
from lineproof.draft.looking import Sighting, look
from lineproof.draft.words import START_LIST, plain
from lineproof.errors import EventError, InputError
from lineproof.event import EVENT_FILE
from lineproof.intake.files import relative_name

_SUFFIXES = (".csv", ".tsv", ".txt", ".parquet", ".pq", ".xlsx", ".xlsm", ".xls", ".ods", "")
_OWN = (
    EVENT_FILE,
    "decisions.csv",
    "sightings.csv",
    "setup.csv",
    "setup.xlsx",
    "equipment.csv",
    "pseudonyms.key",
)
BIGGEST_LIST = 50_000_000  # bytes; a start list is smaller
_OWN_FOLDERS = ("review", "notebooks", "ledger")


@dataclass(frozen=True, slots=True)
class Found:
    """What lies in an event folder.  ``passed_over``: sentences on files that were not understood.

    ``all_files``: every file beside an export, understood or not, so that no pattern catches too many.
    """

    exports: tuple[Sighting, ...]
    entries: Sighting | None
    passed_over: tuple[str, ...]
    all_files: tuple[str, ...]
    loose: bool  # there is no folder exports: the files lie in the event folder itself


def look_around(folder: Path) -> Found:
    """Look at every file of the folder.

    Raises ``EventError`` where there is no folder, ``InputError`` where no export can be made out.
    """
    if folder.is_file():
        raise EventError(f'"{folder.name}" is a file', todo="give the folder that it lies in")
    if not folder.is_dir():
        raise EventError(f'there is no folder "{folder.name}"', todo="check the path")
    loose = not (folder / "exports").is_dir()
    paths = _paths(folder if loose else folder / "exports", folder)
    beside = [] if loose else [p for p in _paths(folder, folder, deep=False) if p not in paths]
    if not paths:
        raise InputError(
            f'the folder "{folder.resolve().name}" holds no export'
            if loose
            else 'the folder "exports" is empty',
            todo='put the files of the day into it, or into a folder "exports" in it, as they came',
        )
    entries, said = _find_entries([*beside, *paths], folder)
    exports, passed_over = [], list(said)
    for path in paths:
        name = relative_name(path, folder)
        if entries is not None and name == entries.file:
            continue
        try:
            exports.append(look(path, folder, as_entries=False, known=_ids(entries)))
        except InputError as problem:
            passed_over.append(str(problem))
    if not exports:
        why = f" ({passed_over[0].rstrip('.')})" if passed_over else ""
        place = "the folder" if loose else '"exports"'
        raise InputError(
            f"no export in {place} can be made out{why}", todo="describe them in event.toml by hand"
        )
    names = tuple(relative_name(path, folder) for path in paths)
    return Found(tuple(exports), entries, tuple(passed_over), names, loose)


def _paths(place: Path, folder: Path, deep: bool = True) -> list[Path]:
    found = []
    for path in sorted(place.rglob("*") if deep else place.glob("*")):
        parts = path.relative_to(folder).parts
        hidden = any(part.startswith(("~$", ".")) for part in parts)
        own = parts[0] in _OWN_FOLDERS or (len(parts) == 1 and path.name.casefold() in _OWN)
        if path.is_file() and not hidden and not own and path.suffix.casefold() in _SUFFIXES:
            found.append(path)
    return found


def _find_entries(paths: list[Path], folder: Path) -> tuple[Sighting | None, list[str]]:
    """The start list: named so, else the only file without times in which every row is another runner."""
    named = [path for path in paths if START_LIST.search(plain(path.stem))]
    named.sort(key=lambda p: (not p.stem.casefold().startswith("entries"), len(p.parts)))
    for path in named:
        found = _as_entries(path, folder, named=True)
        if found is not None:
            others = [
                relative_name(p, folder) for p in named if p != path and _as_entries(p, folder, named=True)
            ]
            return found, [f"{other}: a second start list; join the two into one file" for other in others]
    small = [path for path in paths if path.stat().st_size < BIGGEST_LIST]
    listed = [found for path in small if (found := _as_entries(path, folder, named=False)) is not None]
    return (listed[0], []) if len(listed) == 1 else (None, [])


def _as_entries(path: Path, folder: Path, named: bool) -> Sighting | None:
    """The file as a start list; None where it is none.  Only one that is ``named`` so may hold times."""
    try:
        found = look(path, folder, as_entries=True)
    except InputError:
        return None
    people = {"course", "wave", "sex", "age", "class", "tag", "bib"} & set(found.columns)
    who = next((name for name in ("bib", "tag", "runner") if name in found.columns), None)
    if who is None or len(people) < 2 or not found.cells.height:
        return None
    times = [i for i in found.time_columns if found.column(i).len() > 0.2 * found.cells.height]
    different = found.values(who).n_unique()
    # Two tags may stand in two rows; more rows for each runner are times and not entries.
    return found if (named or not times) and different >= 0.45 * found.cells.height else None


def _ids(entries: Sighting | None) -> Ids:
    if entries is None:
        return Ids()

    def ids(*names: str) -> frozenset[str]:
        lists = [entries.values(name) for name in names if name in entries.columns]
        return frozenset(pl.concat([v.rename("id") for v in lists]).to_list()) if lists else frozenset()

    return Ids(ids("bib"), ids("tag", "tag_2"))
