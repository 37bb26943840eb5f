"""Every reader of outside data, given valid files that were changed at random; an hour of it is ``benchmarks/fuzz.py``.

What broke in such hours stands below as a file of its own, and is held to ever since.
"""

from __future__ import annotations

import random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fuzzing import ENTRIES, PLAN, READERS, REGISTER, SETUP, TABLES, mutate, run_reader, to_parquet
from lineproof.errors import LineproofError

SHORT = settings(
    deadline=None, max_examples=15, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@pytest.mark.parametrize("name", READERS)
def test_the_seed_itself_is_taken(name: str) -> None:
    """Else the changes below would try the refusal alone."""
    assert run_reader(name, READERS[name][1]()) == "taken"


@pytest.mark.parametrize("name", READERS)
@SHORT
@given(seed=st.integers(0, 2**32 - 1))
def test_a_changed_file_is_taken_or_refused_in_one_sentence(name: str, seed: int) -> None:
    chance = random.Random(seed)
    data = READERS[name][1]()
    for _ in range(chance.choice((1, 2, 3))):
        data = mutate(data, chance)
    run_reader(name, data)


@pytest.mark.parametrize("name", READERS)
@SHORT
@given(data=st.binary(max_size=300))
def test_any_bytes_are_taken_or_refused_in_one_sentence(name: str, data: bytes) -> None:
    run_reader(name, data)


def _cut(data: bytes) -> bytes:
    return data[:-60] + data[-40:]


# Found by the coverage-guided engine.  (Places in workbooks that no sheet has are in test_hostile_files.py.)
FOUND = {
    "headers without end": ("passings csv", ("x" * 40 + ",").encode() * 2000 + b"\n1,2\n"),
    "a header of one endless word": ("wide csv", b"x" * 5000 + b",Start\n1,2\n"),
    "an endless word in event.toml": ("event.toml", b"[event]\nname = " + b"x" * 3000 + b"\n"),
    "an endless word in plan.toml": ("plan.toml", PLAN.replace('"EUR"', "x" * 3000).encode()),
    "an archive of another age": ("wide xlsx", None),
    "damaged pages of a Parquet file": ("reads parquet", _cut(to_parquet(TABLES["reads"]))),
    "a manifest of numbers": ("ledger manifest", b'{"sha256": "0",\n"schema": 1, "parts": [1.5]}\n'),
    "a manifest without a list": ("ledger manifest", b'{"sha256": "0",\n"schema": 1, "parts": {"a": 2}}\n'),
    "a part that is a number": ("ledger part", b"7"),
    "a part nested without end": ("ledger part", b'{"files": ' + b"[" * 100_000),
    "signs that turn the text around": ("register", REGISTER.replace("Item", "iTEM\u202c").encode()),
    "an unknown line in many rows": ("setup csv", SETUP.replace("mill-main", "mill\u2028main").encode()),
    "an export without any place": ("draft", b"Tag,Time\nA1,\nA2,\n"),
    "entries of nobody": ("entries", ENTRIES.replace("1", "\0").encode()),
}


@pytest.mark.parametrize("name", FOUND)
def test_what_once_broke(name: str) -> None:
    reader, data = FOUND[name]
    if data is None:  # the version that is needed to unpack it stands in the directory of an archive
        whole = bytearray(READERS[reader][1]())
        at = whole.index(b"PK\x01\x02")
        whole[at + 6] = 255
        data = bytes(whole)
    run_reader(reader, data)


def test_the_hunt_sees_what_breaks(monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader that raises, or refuses in two lines, does not pass."""

    def raising(*_: object) -> None:
        raise ValueError("a fault")

    def rambling(*_: object) -> None:
        problem = LineproofError("one")
        monkeypatch.setattr(LineproofError, "__str__", lambda _self: "one.\ntwo.")
        raise problem

    monkeypatch.setitem(READERS, "entries", (raising, ENTRIES.encode))
    with pytest.raises(ValueError, match="a fault"):
        run_reader("entries", b"")
    monkeypatch.setitem(READERS, "entries", (rambling, ENTRIES.encode))
    with pytest.raises(AssertionError):
        run_reader("entries", b"")
