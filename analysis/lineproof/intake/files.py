"""Which files belong to which input, and proof that a file did not change while it was read.

Patterns of ``event.toml`` are looked up inside the event folder only.  Every file is stamped with
its size, time of change and SHA-256 before it is read; ``verify`` looks again afterwards, because a
reader or a sync program may still be writing to an export while it is being reviewed.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from lineproof.errors import EventError, InputError
from lineproof.event import EVENT_FILE, Event, FileLayout

CHUNK = 1 << 20
_NOT_EXPORTS = ("~$", ".")  # lock files of an open spreadsheet, hidden files


@dataclass(frozen=True, slots=True)
class Stamp:
    size: int
    mtime_ns: int
    sha256: str


def find_files(event: Event, layout: FileLayout) -> list[Path]:
    """The files that match ``layout.files`` inside the event folder, sorted by name.

    Raises ``EventError`` for a pattern that leaves the folder, ``InputError`` where nothing matches or
    a folder does.
    """
    pattern = layout.files.replace("\\", "/")
    parts = Path(pattern).parts
    if Path(pattern).is_absolute() or ".." in parts or pattern[1:2] == ":":
        raise EventError(
            f'files = "{layout.files}" leads out of the event folder',
            todo='copy the files into it and write files = "exports/…"',
            file=EVENT_FILE,
        )
    try:
        matches = sorted(event.folder.glob(pattern))
    except (ValueError, NotImplementedError, IndexError, OSError):
        raise EventError(
            f'files = "{layout.files}" is no file pattern',
            todo='write files = "exports/*.csv"',
            file=EVENT_FILE,
        ) from None
    found = [path for path in matches if not path.name.startswith(_NOT_EXPORTS)]
    if not found:
        raise InputError(f'no file matches "{layout.files}"', todo=_what_is_there(event.folder, pattern))
    for path in found:
        _check_place(path, event.folder)
    return found


def _check_place(path: Path, folder: Path) -> None:
    if not path.name.isascii() and any("\ud800" <= sign <= "\udfff" for sign in str(path)):
        raise InputError(
            "the name of the file is no text", todo="rename it", file=relative_name(path, folder)
        )
    if not path.is_file():
        raise InputError(
            "this is a folder, not a file" if path.is_dir() else "this is no plain file",
            todo='write its name with "/*" in files' if path.is_dir() else "take it out of the folder",
            file=relative_name(path, folder),
        )
    if not path.resolve().is_relative_to(folder.resolve()):
        raise InputError(
            "the file is a link that leads out of the event folder",
            todo="copy the file itself",
            file=relative_name(path, folder),
        )


def _what_is_there(folder: Path, pattern: str) -> str:
    place = (folder / pattern).parent
    if not place.is_dir():
        return f'there is no folder "{Path(pattern).parent}"'
    names = sorted(p.name for p in place.iterdir() if not p.name.startswith(_NOT_EXPORTS))
    where = f'"{Path(pattern).parent}"' if Path(pattern).parent != Path() else "the event folder"
    if not names:
        return f"{where} is empty"
    shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
    return f"{where} holds {shown}"


def relative_name(path: Path, folder: Path) -> str:
    """The export's name in every table: relative to the event folder, with forward slashes."""
    return path.relative_to(folder).as_posix()


def chunks(path: Path) -> Iterator[bytes]:
    """The bytes of a file, in pieces; raises ``InputError`` where it cannot be opened."""
    try:
        with path.open("rb") as stream:
            while piece := stream.read(CHUNK):
                yield piece
    except OSError as problem:
        raise InputError(
            f"the file cannot be read ({problem.strerror})",
            todo="check its permissions and the disk",
            file=path,
        ) from None


def stamp(path: Path) -> Stamp:
    """Size, time of change and hash as they are now."""
    digest = hashlib.sha256()
    for piece in chunks(path):
        digest.update(piece)
    status = path.stat()
    return Stamp(status.st_size, status.st_mtime_ns, digest.hexdigest())


def verify(path: Path, before: Stamp) -> None:
    """Raise ``InputError`` if the file is no longer what ``before`` says."""
    try:
        after: Stamp | None = stamp(path)
    except (OSError, InputError):
        after = None
    if after is None or (after.size, after.sha256) != (before.size, before.sha256):
        raise InputError(
            "the file changed while it was read", todo="wait until it is complete and review again", file=path
        )


def check_claims(claims: Sequence[tuple[str, str, str]]) -> None:
    """Raise ``EventError`` where two sections of ``event.toml`` claim one file and sheet.

    ``claims`` holds (section, file, sheet); counted twice, a file would double every read in it.
    """
    seen: list[tuple[str, str, str]] = []
    for section, file, sheet in claims:
        for other, other_file, other_sheet in seen:
            if file == other_file and (sheet == other_sheet or not sheet or not other_sheet):
                raise EventError(
                    f'"{file}" is matched by both {other} and {section}',
                    todo="narrow one of their file patterns"
                    + (", or name the sheet in each" if sheet or other_sheet else ""),
                    file=EVENT_FILE,
                )
        seen.append((section, file, sheet))
