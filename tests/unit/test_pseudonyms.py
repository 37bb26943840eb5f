"""Pseudonyms are keyed, stable under one key, and tell nothing without it."""

from __future__ import annotations

import threading
from pathlib import Path

import polars as pl
import pytest

from lineproof.errors import EventError
from lineproof.pseudonyms import KEY_FILE, load_key, load_key_in, pseudonym, to_pseudonyms


def test_known_answer_of_the_keyed_hash() -> None:
    # RFC 4231, test case 2: HMAC-SHA-256 of "what do ya want for nothing?" under "Jefe" begins
    # 5bdcc146bf60754e… (from memory); in base 32 (RFC 4648) these bytes begin LPOMCRV7MB2U.
    assert pseudonym(b"Jefe", "what do ya want for nothing?") == "R-LPOMCRV7"


def test_the_key_is_made_once_private_and_kept(tmp_path) -> None:
    event = tmp_path / "series" / "event"
    event.mkdir(parents=True)
    key = load_key(event)
    assert load_key(event) == key
    assert len(key) == 32
    assert (event / KEY_FILE).stat().st_mode & 0o077 == 0


def test_a_series_shares_one_key(tmp_path) -> None:
    (tmp_path / "plan.toml").write_text("")
    events = [tmp_path / "spring", tmp_path / "autumn"]
    for event in events:
        event.mkdir()
    assert load_key(events[0]) == load_key(events[1])
    assert (tmp_path / KEY_FILE).exists()


def test_two_keys_give_two_names(tmp_path) -> None:
    assert pseudonym(b"a" * 32, "101") != pseudonym(b"b" * 32, "101")


def test_a_broken_key_is_said_and_never_replaced(tmp_path) -> None:
    (tmp_path / KEY_FILE).write_text("not a key")
    with pytest.raises(EventError, match=r"pseudonyms\.key: the file is not a key"):
        load_key(tmp_path)
    assert (tmp_path / KEY_FILE).read_text() == "not a key"


def test_a_frame_of_pseudonyms_has_each_runner_once() -> None:
    frame = to_pseudonyms(pl.Series(["2", "1", "2"]), b"k" * 32)
    assert frame["runner"].to_list() == ["1", "2"]
    assert frame["pseudonym"].n_unique() == 2


def test_a_key_that_another_process_is_just_writing_is_waited_for(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    key = load_key_in(tmp_path / "elsewhere")
    path = tmp_path / KEY_FILE
    path.touch()
    writer = threading.Timer(0.2, lambda: path.write_text(key.hex() + "\n", encoding="ascii"))
    writer.start()
    assert load_key_in(tmp_path) == key
    writer.join()


def test_a_key_that_stays_half_written_is_refused(tmp_path: Path) -> None:
    (tmp_path / KEY_FILE).write_text("abcd\n", encoding="ascii")
    with pytest.raises(EventError, match="not a key of pseudonyms"):
        load_key_in(tmp_path)
