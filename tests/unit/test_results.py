"""Working copies: safe in a spreadsheet, and the old ones stay until the new ones are whole."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest

from lineproof.errors import OutputError
from lineproof.results import replacing, spreadsheet_safe
from unit.small_event import at


def test_times_are_local_and_formulas_are_disarmed() -> None:
    frame = pl.DataFrame(
        {
            "time": [at("09:00:00.25"), None],
            "bib": ["=1+1", "+49"],
            "note": ["@x", "fine = so"],
            "value": [-1.5, 2.0],
        },
        schema_overrides={"time": pl.Datetime("us", "UTC")},
    )
    assert spreadsheet_safe(frame, "Europe/London").to_dict(as_series=False) == {
        "time": ["2026-05-17T10:00:00.250000+01:00", None],
        "bib": ["'=1+1", "'+49"],
        "note": ["'@x", "fine = so"],
        "value": [-1.5, 2.0],
    }


def test_a_failed_writing_leaves_the_results_before(tmp_path: Path) -> None:
    (tmp_path / "rates.csv").write_text("old")
    with pytest.raises(OutputError, match="earlier results are unchanged"), replacing(tmp_path) as new:
        (new / "rates.csv").write_text("new")
        raise OSError(28, "No space left on device")
    assert (tmp_path / "rates.csv").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["rates.csv"]


def test_a_file_where_the_folder_should_be_is_said_in_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "review").write_text("in the way")
    with (
        pytest.raises(OutputError, match='cannot be written into the folder "review"'),
        replacing(tmp_path / "review"),
    ):
        pass


def run_in_child(code: str, folder: Path, **options: object) -> subprocess.CompletedProcess[str]:
    whole = (
        "import os, signal, sys\n"
        "from pathlib import Path\n"
        "import polars as pl\n"
        "from lineproof.results import replacing\n"
        "from lineproof.errors import OutputError\n"
        "try:\n" + "".join(f"    {line}\n" for line in code.splitlines()) + "except OutputError as problem:\n"
        "    print(problem)\n"
    )
    return subprocess.run(
        [sys.executable, "-c", whole, str(folder)], capture_output=True, text=True, check=False, **options
    )


@pytest.mark.skipif(not hasattr(os, "setuid"), reason="needs a system with user ids")
def test_a_folder_that_may_not_be_written(tmp_path: Path) -> None:
    tmp_path.chmod(0o555)
    # The superuser may write anywhere, so the child gives its rights up first.
    done = run_in_child(
        "if os.geteuid() == 0: os.setuid(65534)\nwith replacing(Path(sys.argv[1]) / 'review'): pass", tmp_path
    )
    assert "permission denied" in done.stdout, done.stderr


def test_a_full_disk_leaves_the_results_before(tmp_path: Path) -> None:
    """A real limit of the system: no file may grow beyond 64 kB in the child process."""
    (tmp_path / "rates.csv").write_text("old")

    resource = pytest.importorskip("resource", reason="needs a system with file size limits")

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (65_536, 65_536))

    done = run_in_child(
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "with replacing(Path(sys.argv[1])) as new:\n"
        "    pl.DataFrame({'a': range(100_000)}).write_csv(new / 'rates.csv')",
        tmp_path,
        preexec_fn=limit,
    )
    assert "the results cannot be written" in done.stdout, done.stderr
    assert (tmp_path / "rates.csv").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["rates.csv"]
