"""Consoles that cannot write every letter: what is said may look plainer, and nothing fails."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import unfamiliar_exports as exports


def run(folder: Path, name: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "lineproof", "new", name, "--yes", "--zone", "Europe/Berlin"],
        cwd=folder, capture_output=True, check=False, timeout=300, env={**os.environ, **environment},
    )  # fmt: skip


@pytest.mark.parametrize("encoding", ["utf-8", "cp1252", "cp437", "ascii"])
def test_a_draft_on_any_console(tmp_path: Path, encoding: str) -> None:
    name = "Lauf am Fluß"
    exports.german_merged(tmp_path / name)
    done = run(tmp_path, name, PYTHONIOENCODING=encoding)
    assert done.returncode == 0, done.stderr
    said = done.stderr.decode(encoding, "replace")
    assert "drafted: " in said
    assert "fault of the program" not in said
    # The command to go on with can be typed as it stands: the name has blanks.
    assert 'lineproof review "Lauf am Flu' in said
    text = (tmp_path / name / "event.toml").read_text(encoding="utf-8")
    assert "Wende Süd" in text


@pytest.mark.skipif(sys.platform == "win32", reason="the language of the terminal is a thing of POSIX")
def test_a_terminal_without_a_language(tmp_path: Path) -> None:
    plain = {"PYTHONUTF8": "0", "LC_ALL": "C", "PYTHONCOERCECLOCALE": "0"}
    exports.german_merged(tmp_path / "lauf")
    assert run(tmp_path, "lauf", **plain).returncode == 0
    exports.german_merged(tmp_path / "Fluß")
    done = run(tmp_path, "Fluß", **plain)
    assert done.returncode == 1
    assert b"letters that this terminal cannot pass on; set PYTHONUTF8=1" in done.stderr
    assert not (tmp_path / "Fluß" / "event.toml").exists()
