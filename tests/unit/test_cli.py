"""The command line says what went wrong in one sentence and never shows a traceback."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from event_folders import write_folder


def run(*words: str | Path, **options: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "lineproof", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
        **options,  # type: ignore[call-overload]
    )


def test_help_names_the_commands() -> None:
    done = run("--help")
    assert done.returncode == 0
    for command in ("demo", "lab", "new", "review"):
        assert command in done.stdout


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("review", "nowhere"), 'there is no folder "nowhere"'),
        (("review", "."), "has no event.toml"),
        (("new", "nowhere"), "nowhere"),
    ],
)
def test_a_wrong_folder_is_one_sentence(words: tuple[str, ...], sentence: str, tmp_path: Path) -> None:
    done = run(*words, cwd=tmp_path)
    assert done.returncode == 1
    assert sentence in done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    assert len([line for line in done.stderr.splitlines() if line.strip()]) == 1


def test_a_fault_in_the_event_file_reaches_the_user_through_the_notebook(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "event", reads_csv="Tag,Time,Lin\nA1,2026-05-17T09:40:00,M1\n")
    done = run("review", folder)
    assert done.returncode == 1
    assert 'did you mean "Lin"?' in done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    assert not (folder / "review").exists() or not list((folder / "review").glob("review.html"))


def test_new_drafts_once_and_never_overwrites(tmp_path: Path) -> None:
    exports = tmp_path / "exports"
    exports.mkdir()
    rows = [f"A{i},2026-05-17T09:4{i % 10}:00Z,finish main" for i in range(20)]
    (exports / "finish.csv").write_text("Tag,Time,Line\n" + "\n".join(rows) + "\n")
    assert run("new", tmp_path).returncode == 0
    text = (tmp_path / "event.toml").read_text()
    again = run("new", tmp_path)
    assert again.returncode == 1
    assert "event.toml" in again.stderr
    assert (tmp_path / "event.toml").read_text() == text


def test_lost_rows_and_unsettled_lines_are_said_in_the_terminal(tmp_path: Path) -> None:
    folder = write_folder(
        tmp_path / "event",
        reads_csv="Tag,Time,Line\nA1,2026-05-17T09:55:00+01:00,M1\nA2,no time,M1\n",
    )
    toml = folder / "event.toml"
    toml.write_text(toml.read_text() + "# CHECK the distances\n")
    done = run("review", folder)
    assert done.returncode == 0, done.stderr
    assert "reads.csv: 1 of 2 rows could not be read; rejects.csv says why" in done.stderr
    assert "still has lines marked CHECK: rows" in done.stderr


def test_the_event_file_in_place_of_its_folder(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "event", reads_csv="Tag,Time,Line\n")
    done = run("review", folder / "event.toml")
    assert done.returncode == 1
    assert "give the folder that it lies in" in done.stderr
