"""Pseudonyms: names for runners in a report that only the holder of the key can trace back.

A keyed hash (HMAC-SHA-256, RFC 2104) of the runner's id, shortened for reading.  The key is a private
file: of the series where there is one, so that a tag can be followed over a season, else of the event.
Pseudonymous data are still personal data.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
import secrets
import time
from pathlib import Path

import polars as pl

from lineproof.errors import EventError

KEY_FILE = "pseudonyms.key"
SERIES_FILES = ("equipment.csv", "ledger", "plan.toml", KEY_FILE)
KEY_BYTES = 32
WRITING_TRIES = 20  # of 0.05 s each
# Eight base-32 characters are 40 bits: two of 10,000 runners share a name once in 20,000 events.
LETTERS = 8


def load_key(event_folder: Path) -> bytes:
    """The key of the series or event, made at its first use; kept in memory only on a read-only disk.

    Raises ``EventError`` where the file is not a key.
    """
    return load_key_in(key_folder(event_folder))


def load_key_in(folder: Path) -> bytes:
    """The key that lies in ``folder``, made at its first use.

    Raises ``EventError`` where the file is not a key.
    """
    path = folder / KEY_FILE
    try:
        key = _read_key(path)
    except FileNotFoundError:
        key = _new_key(path)
    except (ValueError, OSError):
        key = b""
    if len(key) != KEY_BYTES:
        raise EventError(
            "the file is not a key of pseudonyms",
            todo="restore it from a copy, or remove it to give all runners new pseudonyms",
            file=path,
        )
    return key


def _read_key(path: Path) -> bytes:
    """Waits a little for the words of a process that has just made the file."""
    for _ in range(WRITING_TRIES):
        text = path.read_text(encoding="ascii").strip()
        if len(text) == 2 * KEY_BYTES:
            break
        time.sleep(0.05)
    return bytes.fromhex(text)


def key_folder(event_folder: Path) -> Path:
    series = event_folder.resolve().parent
    is_series = any((series / name).exists() for name in SERIES_FILES)
    return series if is_series else event_folder


def _new_key(path: Path) -> bytes:
    key = secrets.token_bytes(KEY_BYTES)
    try:
        # Exclusive creation: of two reviews at once, the second uses the key that the first made.
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return _read_key(path)
    except OSError:
        return key
    try:
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(key.hex() + "\n")
    except OSError:  # a full disk: half a key would be none
        path.unlink(missing_ok=True)
    return key


def pseudonym(key: bytes, runner: str) -> str:
    digest = hmac.new(key, runner.encode(), hashlib.sha256).digest()
    return "R-" + base64.b32encode(digest).decode()[:LETTERS]


def to_pseudonyms(runners: pl.Series, key: bytes) -> pl.DataFrame:
    """A frame of ``runner`` and ``pseudonym``, sorted by runner."""
    ids = runners.unique().sort()
    names = [pseudonym(key, runner) for runner in ids]
    return pl.DataFrame(
        {"runner": ids, "pseudonym": names}, schema={"runner": pl.String, "pseudonym": pl.String}
    )
