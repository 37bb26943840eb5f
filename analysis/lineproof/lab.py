"""JupyterLab on working copies of the notebooks, set to one event or ledger: on this computer only, without network.

The shipped notebooks are copied once beside the data and never again over a copy that a person has changed.
Configuration, kernel and runtime files of this session are its own, so that other set-ups of Jupyter on the computer
do not reach into it; the person's settings of JupyterLab itself (theme, shortcuts) are kept.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from lineproof.errors import EventError, LineproofError
from lineproof.event import EVENT_FILE
from lineproof.reports import notebook_folder
from lineproof.results import replacing

if TYPE_CHECKING:
    from nbformat import NotebookNode

FOLDER = "notebooks"
LEDGER_FILE = "ledger.json"
PATIENCE_S = 90.0  # a cold start from a slow disk
_MARK = "lineproof"  # metadata of a working copy: what it was when it was written
_FLAGS = (
    "--ServerApp.ip=127.0.0.1",
    "--ServerApp.port_retries=50",
    "--ServerApp.allow_remote_access=False",
    "--ServerApp.answer_yes=True",
    "--ServerApp.allow_root=True",  # a container's only user; the server answers this computer alone
    "--LabApp.news_url=None",
    "--LabApp.check_for_updates_class=jupyterlab.handlers.announcements.NeverCheckForUpdate",
    "--LabApp.extension_manager=readonly",
)
Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Desk:
    """Where to work: ``root`` is what JupyterLab shows, ``copies`` lie in it, ``values`` go into their parameters."""

    root: Path
    copies: Path
    values: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Lab:
    """A running JupyterLab; ``url`` holds the token of this session."""

    process: subprocess.Popen[bytes]
    url: str


def find_desk(folder: Path) -> Desk:
    """An event folder has its notebooks inside, a ledger beside it.  Raises ``EventError`` where there is neither."""
    if folder.is_file():
        raise EventError(f'"{folder.name}" is a file', todo="give the folder that it lies in")
    if not folder.is_dir():
        raise EventError(f'there is no folder "{folder.name}"', todo="check the path")
    folder = folder.resolve()
    if (folder / EVENT_FILE).exists():
        beside = folder.parent / "ledger"
        ledger = {"LEDGER_DIR": "../../ledger"} if (beside / LEDGER_FILE).exists() else {}
        return Desk(folder, folder / FOLDER, {"EVENT_DIR": "..", **ledger})
    if (folder / LEDGER_FILE).exists():
        return Desk(folder.parent, folder.parent / FOLDER, {"LEDGER_DIR": f"../{folder.name}"})
    if (folder / "ledger" / LEDGER_FILE).exists():
        return Desk(folder, folder / FOLDER, {"LEDGER_DIR": "../ledger"})
    raise EventError(
        f'the folder "{folder.name}" holds neither {EVENT_FILE} nor a ledger',
        todo=f"draft the event first: lineproof new {folder.name}",
    )


def copy_notebooks(desk: Desk) -> tuple[list[Path], list[str]]:
    """Working copies of the notebooks that fit the desk, and sentences on those that were left as they are.

    A copy is written anew only where nobody has changed it since it was written.  Raises ``OutputError``.
    """
    import nbformat

    copies, sentences = [], []
    for path in sorted(notebook_folder().glob("*.ipynb")):
        fresh: NotebookNode = nbformat.read(path, as_version=4)  # type: ignore[no-untyped-call]
        if not set_values(fresh, desk.values):
            continue
        fresh.metadata[_MARK] = {"as_written": digest(fresh)}
        target = desk.copies / path.name
        copies.append(target)
        if not target.exists():
            _write(fresh, target)
            continue
        state = _state(target, fresh)
        if state == "older":
            _write(fresh, target)
        elif state == "changed":
            sentences.append(
                f"{FOLDER}/{path.name} is your changed copy and was left as it is; rename it to get a fresh one."
            )
    return copies, sentences


def set_values(notebook: NotebookNode, values: Mapping[str, str]) -> bool:
    """Set the parameters of a notebook that ``values`` names, remarks kept; False where it names none."""
    found = False
    for cell in notebook.cells:
        if "parameters" not in cell.metadata.get("tags", []):
            continue
        lines = cell.source.splitlines()
        for i, line in enumerate(lines):
            told = re.match(r"(\w+)\s*=\s*(?:\"[^\"]*\"|'[^']*')(.*)$", line)
            if told and told[1] in values:
                lines[i] = f"{told[1]} = {json.dumps(values[told[1]], ensure_ascii=False)}{told[2]}"
                found = True
        cell.source = "\n".join(lines)
    return found


def digest(notebook: NotebookNode) -> str:
    """A hash of what a person writes in a notebook: its cells' kinds and sources, not their outputs."""
    told = [(cell.cell_type, cell.source) for cell in notebook.cells]
    return hashlib.sha256(json.dumps(told, ensure_ascii=False).encode()).hexdigest()


def _state(target: Path, fresh: NotebookNode) -> str:
    """``same`` as a fresh copy, ``older`` (unchanged since it was written), or ``changed`` by a person."""
    import nbformat

    try:
        there: Any = nbformat.read(target, as_version=4)  # type: ignore[no-untyped-call]
        now, written = digest(there), there.metadata.get(_MARK, {}).get("as_written")
    except Exception:  # whatever it is, it is not ours to overwrite
        return "changed"
    if now == digest(fresh):
        return "same"
    return "older" if now == written else "changed"


def _write(notebook: NotebookNode, target: Path) -> None:
    import nbformat

    with replacing(target.parent) as scratch:
        (scratch / target.name).write_text(nbformat.writes(notebook), encoding="utf-8", newline="\n")  # type: ignore[no-untyped-call]


def run_lab(folder: Path, say: Say, browser: bool = True) -> None:
    """Open JupyterLab on the working copies and wait until it is closed (Ctrl+C, or its menu File, Shut Down)."""
    desk = find_desk(Path(folder))
    copies, sentences = copy_notebooks(desk)
    for sentence in sentences:
        say(sentence)
    with open_lab(desk.root, copies[0] if copies else None, browser) as lab:
        say(f"JupyterLab is open on this computer only: {lab.url}")
        say(f"Your copies of the notebooks lie in {desk.copies}.  Close it with Ctrl+C in this window.")
        with suppress(KeyboardInterrupt):
            lab.process.wait()
    say("JupyterLab is closed; your notebooks stay where they lie.")


@contextmanager
def open_lab(root: Path, notebook: Path | None, browser: bool) -> Iterator[Lab]:
    """A running JupyterLab on ``root`` that opens ``notebook``; closed with the block."""
    with tempfile.TemporaryDirectory(prefix="lineproof-lab-", ignore_cleanup_errors=True) as scratch:
        where = "/lab"
        if notebook is not None:
            where += "/tree/" + quote(notebook.relative_to(root).as_posix())
        command = [sys.executable, "-m", "jupyterlab", *_FLAGS, f"--ServerApp.root_dir={root}"]
        command += [f"--LabApp.default_url={where}", *([] if browser else ["--no-browser"])]
        log = Path(scratch, "lab.log")
        with log.open("wb") as said:
            process = subprocess.Popen(
                command,
                env=_environment(Path(scratch)),
                cwd=root,
                stdin=subprocess.DEVNULL,
                stdout=said,
                stderr=said,
            )
            try:
                yield Lab(process, _address(process, where, Path(scratch, "runtime"), log))
            finally:
                _close(process)


def _environment(scratch: Path) -> dict[str, str]:
    """Jupyter's own folders for this session: a fresh configuration, and this very Python as its kernel."""
    from jupyter_core.paths import jupyter_config_dir

    spec = scratch / "data" / "kernels" / "python3"
    spec.mkdir(parents=True)
    argv = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
    kernel = {"argv": argv, "display_name": "Python 3 (lineproof)", "language": "python"}
    (spec / "kernel.json").write_text(json.dumps(kernel), encoding="utf-8")
    for name in ("config", "runtime", "workspaces"):
        (scratch / name).mkdir(mode=0o700)
    settings = os.environ.get("JUPYTERLAB_SETTINGS_DIR") or str(
        Path(jupyter_config_dir(), "lab", "user-settings")
    )
    own = {
        "JUPYTER_CONFIG_DIR": scratch / "config",
        "JUPYTER_RUNTIME_DIR": scratch / "runtime",
        "JUPYTER_PATH": scratch / "data",
        "JUPYTERLAB_WORKSPACES_DIR": scratch / "workspaces",
    }
    kept = {name: value for name, value in os.environ.items() if name != "JUPYTER_TOKEN_FILE"}
    return {
        **kept,
        **{name: str(path) for name, path in own.items()},
        "JUPYTERLAB_SETTINGS_DIR": settings,
        "JUPYTER_TOKEN": secrets.token_hex(24),
        "PYDEVD_DISABLE_FILE_VALIDATION": "1",
        "PYTHONIOENCODING": "utf-8",
    }


def _address(process: subprocess.Popen[bytes], where: str, runtime: Path, log: Path) -> str:
    """The address of the page with the token of this session, once the server answers."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end and process.poll() is None:
        for path in runtime.glob("jpserver-*.json"):
            try:
                told = json.loads(path.read_text(encoding="utf-8"))
            except (OSError, ValueError):
                continue  # it is being written
            if not told["token"]:
                raise LineproofError(
                    "a Jupyter configuration of this computer lets everybody in without a token",
                    todo="take the line that sets an empty token out of it",
                )
            return f"{told['url'].rstrip('/')}{where}?token={told['token']}"
        time.sleep(0.2)
    lines = log.read_text(encoding="utf-8", errors="replace").strip().splitlines()
    raise LineproofError(
        f"JupyterLab did not start ({lines[-1].strip() if lines else 'it said nothing'})",
        todo="try again, or install lineproof again into a fresh environment",
    )


def _close(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is not None:
        return
    process.terminate()
    try:
        process.wait(timeout=15)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
