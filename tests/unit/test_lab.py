"""Working copies of the notebooks: set to the data, never written over what a person changed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import nbformat
import pytest

from lineproof.errors import EventError, LineproofError
from lineproof.lab import copy_notebooks, digest, find_desk, open_lab, set_values
from lineproof.reports import notebook_folder

NAME = "1_event_review.ipynb"


def event_folder(folder: Path) -> Path:
    folder.mkdir()
    (folder / "event.toml").write_text("")
    return folder


def parameters(path: Path) -> str:
    cells = nbformat.read(path, as_version=4).cells
    return "".join(cell.source for cell in cells if "parameters" in cell.metadata.get("tags", []))


def test_a_copy_is_set_to_the_event_and_keeps_its_remarks(tmp_path: Path) -> None:
    desk = find_desk(event_folder(tmp_path / "räce 1"))
    copies, said = copy_notebooks(desk)
    assert desk.copies / NAME in copies
    assert said == []
    told = parameters(desk.copies / NAME)
    assert 'EVENT_DIR = ".."' in told
    assert 'OUT = ""  # where the results go' in told
    # The folder can be moved: the copy says where the event lies from where it lies itself.
    assert str(tmp_path) not in (desk.copies / NAME).read_text(encoding="utf-8")


def test_a_changed_copy_stays_and_is_named_once(tmp_path: Path) -> None:
    desk = find_desk(event_folder(tmp_path / "race"))
    copy_notebooks(desk)
    path = desk.copies / NAME
    mine = nbformat.read(path, as_version=4)
    mine.cells.append(nbformat.v4.new_markdown_cell("My own remark"))
    nbformat.write(mine, path)
    before = path.read_bytes()
    _, said = copy_notebooks(desk)
    assert said == [
        f"notebooks/{NAME} is your changed copy and was left as it is; rename it to get a fresh one."
    ]
    assert path.read_bytes() == before


def test_a_copy_with_outputs_only_stays_without_a_word(tmp_path: Path) -> None:
    desk = find_desk(event_folder(tmp_path / "race"))
    copy_notebooks(desk)
    path = desk.copies / NAME
    ran = nbformat.read(path, as_version=4)
    ran.cells[2].outputs = [nbformat.v4.new_output("stream", text="counting")]
    nbformat.write(ran, path)
    before = path.read_bytes()
    assert copy_notebooks(desk)[1] == []
    assert path.read_bytes() == before


def test_an_untouched_copy_of_an_older_version_is_renewed(tmp_path: Path) -> None:
    desk = find_desk(event_folder(tmp_path / "race"))
    copy_notebooks(desk)
    path = desk.copies / NAME
    old = nbformat.read(path, as_version=4)
    old.cells[0].source = "# Event review, as it once was"
    old.metadata["lineproof"] = {"as_written": digest(old)}
    nbformat.write(old, path)
    assert copy_notebooks(desk)[1] == []
    assert nbformat.read(path, as_version=4).cells[0].source == "# Event review"


def test_a_file_that_is_no_notebook_stays(tmp_path: Path) -> None:
    desk = find_desk(event_folder(tmp_path / "race"))
    desk.copies.mkdir()
    (desk.copies / NAME).write_text("not a notebook")
    assert len(copy_notebooks(desk)[1]) == 1
    assert (desk.copies / NAME).read_text() == "not a notebook"


def test_a_ledger_has_its_notebooks_beside_it(tmp_path: Path) -> None:
    ledger = tmp_path / "ledger"
    ledger.mkdir()
    (ledger / "ledger.json").write_text("{}")
    for folder in (ledger, tmp_path):
        desk = find_desk(folder)
        assert desk.copies == tmp_path.resolve() / "notebooks"
        assert desk.values == {"LEDGER_DIR": "../ledger"}
    race = find_desk(event_folder(tmp_path / "race"))
    assert race.values == {"EVENT_DIR": "..", "LEDGER_DIR": "../../ledger"}


def test_values_with_quotation_marks(tmp_path: Path) -> None:
    notebook = nbformat.read(notebook_folder() / NAME, as_version=4)
    assert set_values(notebook, {"EVENT_DIR": 'a "quoted" \\ place'})
    cell = next(c for c in notebook.cells if "parameters" in c.metadata.get("tags", []))
    place: dict[str, str] = {}
    exec(cell.source, place)
    assert place["EVENT_DIR"] == 'a "quoted" \\ place'
    assert not set_values(notebook, {"SOMETHING_ELSE": "x"})


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda f: None, "there is no folder"),
        (lambda f: f.mkdir(), "holds neither event.toml nor a ledger; draft the event first: lineproof new"),
        (lambda f: f.write_text(""), "is a file; give the folder that it lies in"),
    ],
)
def test_a_folder_that_is_none_is_one_sentence(make: object, sentence: str, tmp_path: Path) -> None:
    folder = tmp_path / "race"
    make(folder)  # type: ignore[operator]
    with pytest.raises(EventError, match=sentence):
        find_desk(folder)


def test_a_server_that_does_not_start_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lineproof.lab._FLAGS", ("--ServerApp.port=nonsense",))
    with (
        pytest.raises(LineproofError, match=r"JupyterLab did not start \("),
        open_lab(tmp_path, None, browser=False),
    ):
        pass


def test_the_command_says_what_is_wrong_in_one_sentence(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "lineproof", "lab", str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 1
    assert "holds neither event.toml nor a ledger" in done.stderr
    assert "Traceback" not in done.stderr
