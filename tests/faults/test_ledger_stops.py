"""The ledger when things go wrong: killed processes, full disks, many writers at once, damaged files.

Whatever happens, it holds the old or the new state, never half, and what was said to be kept is kept.
"""

from __future__ import annotations

import errno
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from ledger_kills import kill_at_random
from ledger_parts import small_part, write_models
from ledger_writer import start_writer
from lineproof.errors import LedgerError
from lineproof.ledger import check_ledger, open_ledger
from lineproof.ledger.manifest import MANIFEST, read_manifest
from lineproof.ledger.store import place

TESTS = Path(__file__).parents[1]
posix = pytest.mark.skipif(os.name != "posix", reason="needs the signals and limits of a POSIX system")


@posix
def test_killed_at_random_moments_nothing_is_lost(tmp_path: Path) -> None:
    """Real processes, real SIGKILL; benchmarks/ledger.py does the same 200 times."""
    kills = list(kill_at_random(tmp_path, 25, seed=11))
    assert sum(kill.stored for kill in kills) > 10
    assert any(kill.leftovers for kill in kills), "no kill met a part half written: the test tests nothing"


STOPPED_AT_EVERY_STEP = '''
import sys
from pathlib import Path
from ledger_parts import small_part
from lineproof.ledger import check_ledger
from lineproof.ledger.manifest import read_manifest
from lineproof.ledger.store import place

class Stopped(BaseException):
    """Like a kill: after it this process does nothing to any file."""

steps, allowed = 0, None
def watch(name, _details):
    global steps
    if allowed is None or name not in FILE_STEPS:
        return
    steps += 1
    if steps > allowed:
        raise Stopped

FILE_STEPS = {"open", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.truncate", "os.link"}
ledger = Path(sys.argv[1])
parts = [small_part("mill", version) for version in range(200)]
place(ledger, parts[0])
sys.addaudithook(watch)
old = 0
for number in range(1, 200):
    steps, allowed = 0, number - 1
    try:
        place(ledger, parts[number])
        finished = True
    except Stopped:
        finished = False
    allowed = None
    result = check_ledger(ledger)
    assert result.passed, (number, result.faults)
    current = read_manifest(ledger).of_event("mill").key
    assert current in {parts[old].key, parts[number].key}, number
    if finished:
        assert current == parts[number].key
        break
    old = old if current == parts[old].key else number
place(ledger, parts[199])
assert check_ledger(ledger).remarks == ()
print(number)
'''


def test_stopped_before_every_single_step_nothing_is_lost(tmp_path: Path) -> None:
    """Every open, rename, making and removing of a file in turn is the one that does not happen any more."""
    environment = {**os.environ, "PYTHONPATH": str(TESTS)}
    words = [sys.executable, "-c", STOPPED_AT_EVERY_STEP, str(tmp_path / "ledger")]
    done = subprocess.run(words, capture_output=True, text=True, check=False, env=environment)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 30


@pytest.fixture
def tiny_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A disk of its own of one megabyte; where none may be mounted, one that refuses to settle more than that."""
    disk = tmp_path / "disk"
    disk.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(disk)]
    mounted = (
        shutil.which("mount") is not None
        and subprocess.run(words, capture_output=True, check=False).returncode == 0
    )
    if not mounted:
        monkeypatch.setattr(os, "fsync", settle_within(disk, 1 << 20, os.fsync))
    yield disk
    if mounted:
        subprocess.run(["umount", str(disk)], check=True)


def settle_within(disk: Path, limit: int, settle: Callable[[int], None]) -> Callable[[int], None]:
    """As a disk that takes bytes late: the lack of room shows when they are to be settled."""

    def settle_or_refuse(handle: int) -> None:
        if sum(path.stat().st_size for path in disk.rglob("*") if path.is_file()) > limit - (1 << 12):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        settle(handle)

    return settle_or_refuse


def test_a_full_disk_leaves_what_was_kept(tiny_disk: Path) -> None:
    ledger = tiny_disk / "ledger"
    number = 0
    with pytest.raises(LedgerError, match="cannot be written \\(no space left on device\\)"):
        for number in range(1000):
            place(ledger, small_part("mill", number))
    assert number > 2
    result = check_ledger(ledger)
    assert result.passed
    assert result.remarks == ()
    assert len(read_manifest(ledger).entries) == number
    (rows,) = open_ledger(ledger).scan("cells").filter(slot=0).collect()["missed"].to_list()
    assert rows == float(number - 1)


def test_a_disk_that_was_full_from_the_beginning(tiny_disk: Path) -> None:
    (tiny_disk / "video").write_bytes(b"x" * (1 << 20))
    with pytest.raises(LedgerError, match="no space left on device"):
        place(tiny_disk / "ledger", small_part("mill"))
    (tiny_disk / "video").unlink()
    assert place(tiny_disk / "ledger", small_part("mill"))
    assert check_ledger(tiny_disk / "ledger").passed


LIMITED = """
import resource, signal, sys
from pathlib import Path
from ledger_parts import small_part
from lineproof.errors import LedgerError
from lineproof.ledger.store import place
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
part = small_part("mill", 2)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), int(sys.argv[2])))
try:
    place(Path(sys.argv[1]), part)
except LedgerError as problem:
    print(problem)
"""


@posix
@pytest.mark.parametrize("limit", [0, 100, 1500, 4000])
def test_files_that_may_not_grow(tmp_path: Path, limit: int) -> None:
    """A real limit of the system cuts the writing off in the middle of a file."""
    place(tmp_path, small_part("mill", 1))
    environment = {**os.environ, "PYTHONPATH": str(TESTS)}
    words = [sys.executable, "-c", LIMITED, str(tmp_path), str(limit)]
    done = subprocess.run(words, capture_output=True, text=True, check=False, env=environment)
    assert "cannot be written (file too large); free space" in done.stdout, done.stderr
    assert check_ledger(tmp_path).passed
    assert check_ledger(tmp_path).remarks == ()
    assert [entry.key for entry in read_manifest(tmp_path).entries] == [small_part("mill", 1).key]


@posix
def test_a_folder_that_may_not_be_written(tmp_path: Path) -> None:
    tmp_path.chmod(0o555)
    code = (
        "import os, sys\nfrom pathlib import Path\nfrom ledger_parts import small_part\n"
        "from lineproof.errors import LedgerError\nfrom lineproof.ledger.store import place\n"
        "part = small_part('mill')\n"
        # The superuser may write anywhere, so the child gives its rights up first.
        "if os.geteuid() == 0: os.setuid(65534)\n"
        "try: place(Path(sys.argv[1]) / 'ledger', part)\nexcept LedgerError as problem: print(problem)\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(TESTS)}
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
        env=environment,
    )
    assert 'the ledger "ledger" cannot be written (permission denied)' in done.stdout, done.stderr


def test_sixteen_processes_keep_equal_and_different_events_at_once(tmp_path: Path) -> None:
    """Eight keep the same three events, eight an event each and one of the three."""
    ledger = tmp_path / "ledger"
    shared = ["mill", "weir", "lane"]
    events = [shared if n % 2 else [f"own-{n}", shared[n % 3]] for n in range(16)]
    models = [
        write_models(tmp_path / f"models-{n}", *(small_part(event) for event in job))
        for n, job in enumerate(events)
    ]
    children = [start_writer("once", ledger, ready) for ready in models]
    said = [child.communicate()[1] for child in children]
    assert [child.returncode for child in children] == [0] * 16, said
    result = check_ledger(ledger)
    assert result.passed
    assert result.remarks == ()
    kept = [entry.event for entry in read_manifest(ledger).entries]
    assert sorted(kept) == sorted([*shared, *(f"own-{n}" for n in range(0, 16, 2))])
    assert open_ledger(ledger).scan("cells").collect().height == 2 * len(kept)


def _files(ledger: Path) -> list[Path]:
    return sorted(path for path in ledger.rglob("*") if path.is_file() and path.name != "ledger.lock")


def test_every_flipped_byte_is_found_and_named(tmp_path: Path) -> None:
    """One byte in the middle, at the beginning and at the end of every file, one file at a time."""
    place(tmp_path, small_part("mill", 1))
    place(tmp_path, small_part("mill", 2))
    for path in _files(tmp_path):
        data = path.read_bytes()
        for at in {0, len(data) // 2, len(data) - 1}:
            path.write_bytes(data[:at] + bytes([data[at] ^ 0x20]) + data[at + 1 :])
            (fault,) = _faults(tmp_path)
            assert path.name in fault, fault
            assert re.search("altered|does not have the hash|do not have the hash", fault), fault
            path.write_bytes(data)
    assert check_ledger(tmp_path).passed


def test_every_cut_grown_and_missing_file_is_found_and_named(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill", 1))
    for path in _files(tmp_path):
        data = path.read_bytes()
        for left in (b"", data[: len(data) // 2], data[:-1], data + b"x", None):
            if left is None:
                path.unlink()
            else:
                path.write_bytes(left)
            (fault,) = _faults(tmp_path)
            assert path.name in fault, fault
            path.write_bytes(data)
    assert check_ledger(tmp_path).passed


def _faults(ledger: Path) -> tuple[str, ...]:
    try:
        return check_ledger(ledger).faults
    except LedgerError as problem:
        return (str(problem),)


def test_strangers_and_lost_parts_are_named(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill", 1))
    place(tmp_path, small_part("weir", 1))
    (tmp_path / "notes.txt").write_text("x")
    (tmp_path / "parts" / small_part("mill").folder_name / "copy of cells.parquet").write_text("x")
    shutil.rmtree(tmp_path / "parts" / small_part("weir").folder_name)
    faults = check_ledger(tmp_path).faults
    assert [fault.split(":")[0] for fault in faults] == [
        f"parts/{small_part('mill').folder_name}/copy of cells.parquet",
        f"parts/{small_part('weir').folder_name}",
        "notes.txt",
    ]
    assert 'the folder is missing; keep the event "weir" again' in faults[1]


def test_a_table_that_went_missing_is_not_read_as_empty(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill", 1))
    (tmp_path / "parts" / small_part("mill").folder_name / "rates.parquet").unlink()
    with pytest.raises(LedgerError, match=r'part of the event "mill" is damaged: rates.parquet is missing'):
        open_ledger(tmp_path).scan("rates")


def test_a_manifest_cut_to_nothing_says_what_to_do(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill", 1))
    (tmp_path / MANIFEST).write_bytes(b"")
    with pytest.raises(LedgerError, match=r"ledger.json: the file is damaged.*restore it from a copy"):
        open_ledger(tmp_path)
    with pytest.raises(LedgerError, match="the file is damaged"):
        place(tmp_path, small_part("mill", 2))
