"""The ledger's folder: equal, changed and damaged parts, strangers, dates, and the one manifest."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pytest
from filelock import FileLock

from ledger_parts import small_part
from lineproof.errors import LedgerError
from lineproof.ledger import check_ledger, open_ledger, store
from lineproof.ledger.manifest import MANIFEST, SCHEMA_VERSION, hash_of, read_manifest
from lineproof.ledger.part import Part
from lineproof.ledger.store import holds, place


def snapshot(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def missed(ledger: Path) -> dict[str, float]:
    """Misses of the whole line by event: small_part's version number."""
    rows = open_ledger(ledger).scan("cells").filter(slot=0).collect()
    return dict(rows.select("event", "missed").iter_rows())


def test_the_same_event_twice_changes_no_byte(tmp_path: Path) -> None:
    assert place(tmp_path / "ledger", small_part("mill"))
    before = snapshot(tmp_path / "ledger")
    assert not place(tmp_path / "ledger", small_part("mill"))
    assert snapshot(tmp_path / "ledger") == before


def test_a_changed_event_replaces_its_part_and_the_old_one_stays(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill", 1))
    place(tmp_path, small_part("weir", 4))
    before = snapshot(tmp_path)
    place(tmp_path, small_part("mill", 2))
    assert missed(tmp_path) == {"mill": 2.0, "weir": 4.0}
    assert {
        name: data for name, data in snapshot(tmp_path).items() if name in before and name != MANIFEST
    } == {name: data for name, data in before.items() if name != MANIFEST}
    states = [(e.event, e.replaced is None) for e in read_manifest(tmp_path).entries]
    assert states == [("mill", False), ("weir", True), ("mill", True)]
    assert check_ledger(tmp_path).passed


def test_back_to_what_was_before_uses_the_part_that_is_there(tmp_path: Path) -> None:
    for version in (1, 2, 1):
        assert place(tmp_path, small_part("mill", version))
    assert missed(tmp_path) == {"mill": 1.0}
    assert len(list((tmp_path / "parts").iterdir())) == 2
    assert check_ledger(tmp_path).passed


def test_a_damaged_part_is_made_good_by_keeping_again(tmp_path: Path) -> None:
    part = small_part("mill")
    place(tmp_path, part)
    (tmp_path / "parts" / part.folder_name / "cells.parquet").write_bytes(b"PAR1")
    assert not holds(tmp_path, "mill", part.key)
    assert place(tmp_path, part)
    assert check_ledger(tmp_path).passed
    assert [path.name for path in (tmp_path / "parts").iterdir()] == [f"{part.folder_name}-2"]


def test_what_somebody_put_beside_the_tables_is_never_removed(tmp_path: Path) -> None:
    part = small_part("mill")
    place(tmp_path, part)
    home = tmp_path / "parts" / part.folder_name
    (home / "my notes.txt").write_text("do not touch")
    assert not place(tmp_path, part)
    (home / "cells.parquet").unlink()
    assert place(tmp_path, part)
    assert (home / "my notes.txt").read_text() == "do not touch"
    assert check_ledger(tmp_path).faults == (
        f"parts/{part.folder_name}: the file is none of the ledger's; move it elsewhere.",
    )


def test_what_programs_that_show_folders_leave_is_no_fault(tmp_path: Path) -> None:
    (tmp_path / ".DS_Store").touch()
    place(tmp_path, small_part("mill"))
    for folder in (tmp_path / "parts", tmp_path / "parts" / small_part("mill").folder_name):
        (folder / "Thumbs.db").touch()
    assert check_ledger(tmp_path).passed
    assert not place(tmp_path, small_part("mill"))


def test_whoever_waits_too_long_is_told_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store, "WAIT_S", 0.1)
    with (
        FileLock(tmp_path / store.LOCK),
        pytest.raises(LedgerError, match="another process has been writing to the ledger"),
    ):
        place(tmp_path, small_part("mill"))
    assert place(tmp_path, small_part("mill"))


def test_a_disk_without_locks_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(_self: FileLock) -> None:
        raise NotImplementedError

    monkeypatch.setattr(FileLock, "acquire", none)
    with pytest.raises(
        LedgerError, match="knows no locks of files; keep the ledger on a disk of this machine"
    ):
        place(tmp_path, small_part("mill"))


def test_an_id_with_another_date_is_refused_unless_it_was_corrected(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill"))
    moved = small_part("mill", 2, dt.date(2027, 3, 1))
    with pytest.raises(
        LedgerError, match='an event "mill" of 2026-03-01 already, and this one is of 2027-03-01'
    ):
        place(tmp_path, moved)
    assert missed(tmp_path) == {"mill": 1.0}
    place(tmp_path, moved, new_date=True)
    assert missed(tmp_path) == {"mill": 2.0}


@pytest.mark.parametrize("event", ["Lauf 2026/27 – Nord", "..", "CON", "a" * 200, "läuft.", "-"])
def test_any_event_id_gives_a_safe_folder_name(tmp_path: Path, event: str) -> None:
    part = small_part(event)
    place(tmp_path, part)
    assert [path.name for path in (tmp_path / "parts").iterdir()] == [part.folder_name]
    assert len(part.folder_name) <= 73
    assert check_ledger(tmp_path).passed
    assert open_ledger(tmp_path).events["event"].to_list() == [event]


def test_a_folder_that_is_something_else_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "photo.jpg").write_bytes(b"x")
    with pytest.raises(LedgerError, match=r'holds other things \("photo.jpg"\) and is no ledger'):
        place(tmp_path, small_part("mill"))
    assert [path.name for path in tmp_path.iterdir()] == ["photo.jpg"]
    with pytest.raises(LedgerError, match=r'"photo.jpg" is a file'):
        place(tmp_path / "photo.jpg", small_part("mill"))


def test_a_ledger_that_lost_its_manifest_is_not_begun_anew(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill"))
    (tmp_path / MANIFEST).unlink()
    with pytest.raises(LedgerError, match=r"holds parts and has lost its ledger.json"):
        place(tmp_path, small_part("weir"))
    with pytest.raises(LedgerError, match="holds no ledger"):
        check_ledger(tmp_path)


def test_a_stranger_in_the_place_of_a_part_is_left_alone_and_named(tmp_path: Path) -> None:
    place(tmp_path, small_part("weir"))
    part = small_part("mill")
    stranger = tmp_path / "parts" / part.folder_name
    stranger.mkdir()
    (stranger / "mine.txt").write_text("do not touch")
    place(tmp_path, part)
    assert (stranger / "mine.txt").read_text() == "do not touch"
    assert check_ledger(tmp_path).faults == (
        f"parts/{part.folder_name}: the file is none of the ledger's; move it elsewhere.",
    )


def test_leftovers_of_a_stopped_run_are_swept_by_the_next(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill"))
    (tmp_path / ".writing-weir-0123456789ab").touch()
    (tmp_path / "parts" / "weir-0123456789ab").mkdir()
    (tmp_path / "parts" / "weir-0123456789ab" / "cells.parquet").write_bytes(b"half")
    (tmp_path / ".ledger.json.new").write_bytes(b"half")
    result = check_ledger(tmp_path)
    assert result.passed
    assert len(result.remarks) == 2
    assert not place(tmp_path, small_part("mill"))
    assert check_ledger(tmp_path).remarks == ()
    assert [path.name for path in (tmp_path / "parts").iterdir()] == [small_part("mill").folder_name]


def test_a_newer_ledger_is_refused_in_one_sentence(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill"))
    text = (tmp_path / MANIFEST).read_bytes().partition(b"\n")[2]
    newer = text.replace(f'"schema": {SCHEMA_VERSION}, "parts"'.encode(), b'"schema": 99, "parts"')
    (tmp_path / MANIFEST).write_bytes(f'{{"sha256": "{hash_of(newer)}",\n'.encode() + newer)
    before = snapshot(tmp_path)
    for use in (open_ledger, check_ledger, lambda folder: place(folder, small_part("weir"))):
        with pytest.raises(LedgerError, match=r"newer lineproof \(its version is 99, this one reads up to"):
            use(tmp_path)
    assert snapshot(tmp_path) == before


def test_a_manifest_that_somebody_reads_is_replaced_when_they_are_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On Windows a file that is open elsewhere cannot be replaced for a moment."""
    place(tmp_path, small_part("mill"))
    tries = []
    real = Path.replace

    def busy(self: Path, target: Path) -> Path:
        tries.append(target)
        if len(tries) < 3:
            raise PermissionError(13, "in use")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", busy)
    assert place(tmp_path, small_part("weir"))
    assert len(tries) == 3
    assert check_ledger(tmp_path).passed


def test_the_manifest_tells_a_person_what_it_holds(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill"))
    told = json.loads((tmp_path / MANIFEST).read_text())
    assert told["schema"] == SCHEMA_VERSION
    assert told["parts"][0]["event"] == "mill"
    assert told["parts"][0]["date"] == "2026-03-01"


def test_a_part_is_the_same_bytes_whoever_makes_it(tmp_path: Path) -> None:
    first, second = small_part("mill"), small_part("mill")
    assert isinstance(first, Part)
    assert first.to_description() == second.to_description()
