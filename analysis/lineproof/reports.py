"""From a notebook to one page: run it with parameters in a kernel of its own, then export what it shows.

The notebook is the report: whoever opens it in JupyterLab sees the same.  The page needs no network
and holds everything it uses: style, drawings, and one script that makes the drawings answer the pointer.
Nothing is left behind but the page and what the notebook itself writes.
"""

from __future__ import annotations

import base64
import csv
import hashlib
import os
import re
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lineproof import errors
from lineproof.errors import LineproofError
from lineproof.event import EVENT_FILE, load_event
from lineproof.intake.names import UNUSED
from lineproof.ledger import open_ledger
from lineproof.replacement.plan_reading import load_plan
from lineproof.results import replacing

if TYPE_CHECKING:
    from nbformat import NotebookNode

Progress = Callable[[str], None]
REVIEW_NOTEBOOK = "1_event_review.ipynb"
REVIEW_PAGE = "review.html"
SEASON_NOTEBOOK = "2_season_report.ipynb"
SEASON_PAGE = "season.html"
PURCHASE_NOTEBOOK = "3_purchase_case.ipynb"
PURCHASE_PAGE = "purchase.html"
LONGEST_SOCKET_FOLDER = 90  # the path of a local socket has 104 bytes on some systems


def render_review(event_dir: Path, out: Path, progress: Progress) -> Path:
    """Review the event in ``event_dir`` by its notebook; write its results and ``review.html`` to ``out``.

    Returns the page.  Raises ``LineproofError`` with one sentence for the user.
    """
    out = Path(out)
    load_event(event_dir)  # a wrong folder is said at once, without waiting for a kernel
    parameters = {"EVENT_DIR": str(Path(event_dir).resolve()), "OUT": str(out.resolve())}
    return _render(REVIEW_NOTEBOOK, parameters, out, REVIEW_PAGE, progress)


def render_season(ledger: Path, out: Path, progress: Progress) -> Path:
    """Report the season kept in ``ledger`` by its notebook; write its tables and ``season.html`` to ``out``.

    Returns the page.  Raises ``LineproofError`` with one sentence for the user.
    """
    open_ledger(ledger)  # a wrong folder is said at once, without waiting for a kernel
    parameters = {"LEDGER_DIR": str(Path(ledger).resolve()), "OUT": str(Path(out).resolve())}
    return _render(SEASON_NOTEBOOK, parameters, Path(out), SEASON_PAGE, progress)


def render_purchase(plan: Path, ledger: Path, out: Path, progress: Progress) -> Path:
    """Weigh a purchase plan by its notebook; write its files and ``purchase.html`` to ``out``.

    Returns the page.  Raises ``LineproofError`` with one sentence for the user.
    """
    open_ledger(ledger)  # a wrong folder or plan is said at once, without waiting for a kernel
    load_plan(plan)
    parameters = {
        "PLAN": str(Path(plan).resolve()),
        "LEDGER_DIR": str(Path(ledger).resolve()),
        "OUT": str(Path(out).resolve()),
    }
    return _render(PURCHASE_NOTEBOOK, parameters, Path(out), PURCHASE_PAGE, progress)


def _render(name: str, parameters: Mapping[str, str], out: Path, file: str, progress: Progress) -> Path:
    notebook = run_notebook(name, parameters, progress)
    progress("writing the report")
    page = to_page(notebook)
    with replacing(out) as new:
        (new / file).write_text(page, encoding="utf-8")
    return out / file


def remarks_on(event_dir: Path, out: Path) -> list[str]:
    """What a person should know before reading the page: lines still to check, and rows that were lost."""
    text = (Path(event_dir) / EVENT_FILE).read_text(encoding="utf-8-sig")
    marked = [str(i) for i, line in enumerate(text.splitlines(), start=1) if "# CHECK" in line]
    remarks = [f"{EVENT_FILE} still has lines marked CHECK: rows {', '.join(marked)}"] if marked else []
    with (Path(out) / "account.csv").open(encoding="utf-8-sig", newline="") as file:
        for row in csv.DictReader(file):
            if int(row["rejected"]):
                remarks.append(
                    f"{row['file']}: {row['rejected']} of {row['rows_read']} rows could not be read; rejects.csv says why"
                )
            remarks.extend(f"{row['file']}: {said}" for said in row["remarks"].split("; ") if UNUSED in said)
    return remarks


def notebook_folder() -> Path:
    """The shipped notebooks: inside the installed package, else beside the source tree."""
    package = Path(__file__).resolve().parent
    for folder in (package / "notebooks", package.parents[1] / "notebooks"):
        if folder.is_dir():
            return folder
    raise LineproofError("the notebooks of lineproof are missing", todo="install lineproof again")


def run_notebook(name: str, parameters: Mapping[str, str], progress: Progress) -> NotebookNode:
    """Run a shipped notebook with the values of its cell tagged ``parameters`` replaced.

    ``progress`` is told each heading, and each line that the notebook prints.  Raises
    ``LineproofError``: with the sentence of the notebook's own, where that was the cause.
    """
    import nbformat
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    notebook: NotebookNode = nbformat.read(notebook_folder() / name, as_version=4)  # type: ignore[no-untyped-call]
    set_parameters(notebook, parameters)
    with _kernel() as (manager, environment, scratch):
        client = _client_class()(notebook, km=manager, timeout=None, allow_errors=False)
        client.progress = progress
        try:
            with Path(os.devnull).open("w", encoding="utf-8") as nowhere:
                client.execute(cleanup_kc=True, env=environment, cwd=scratch, stdout=nowhere, stderr=nowhere)
        except CellExecutionError as problem:
            if os.environ.get("LINEPROOF_TRACEBACK"):
                raise
            raise _own_sentence(problem, client.heading) from None
        except (DeadKernelError, CellTimeoutError, RuntimeError) as problem:
            raise LineproofError(
                f"the analysis was stopped from outside ({client.heading or type(problem).__name__})",
                todo="most often memory ran out: close other programs and try again",
            ) from None
    return notebook


def set_parameters(notebook: NotebookNode, parameters: Mapping[str, str]) -> None:
    """Replace the source of the cell tagged ``parameters``."""
    cells = [cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", [])]
    if len(cells) != 1:
        raise LineproofError(
            'the notebook needs one cell tagged "parameters"', todo="install lineproof again"
        )
    cells[0].source = "\n".join(f"{name} = {value!r}" for name, value in parameters.items())


def _own_sentence(problem: Any, heading: str) -> LineproofError:
    """The user's error of the kernel as it was raised there; any other fault as a fault of ours."""
    kind = getattr(errors, str(problem.ename), None)
    if isinstance(kind, type) and issubclass(kind, LineproofError):
        own: LineproofError = kind(str(problem.evalue).strip())
        return own
    if problem.ename == "MemoryError":
        return LineproofError("the analysis ran out of memory", todo="close other programs and try again")
    return LineproofError(
        f'a fault of the program itself at "{heading}" ({problem.ename}: {_first_line(problem.evalue)}); nothing was lost',
        todo="set LINEPROOF_TRACEBACK=1, run it again and report what it prints",
    )


def _first_line(text: str) -> str:
    return (str(text).strip().splitlines() or [""])[0][:200]


@cache
def _client_class() -> type[Any]:
    """A notebook client that tells its progress (made late: nbclient takes a while to import)."""
    from nbclient import NotebookClient

    class TellingClient(NotebookClient):
        progress: Progress = staticmethod(lambda _step: None)
        heading = ""

        async def async_execute_cell(self, cell: Any, cell_index: int, *options: Any, **more: Any) -> Any:
            titles = re.findall(r"^#+\s+(.*)$", cell.source, re.M) if cell.cell_type == "markdown" else []
            if titles:
                self.heading = titles[-1]
                self.progress(self.heading.lower())
            return await super().async_execute_cell(cell, cell_index, *options, **more)

        def process_message(self, msg: Any, cell: Any, cell_index: int) -> Any:
            if msg["msg_type"] == "stream" and msg["content"]["name"] == "stdout":
                for step in msg["content"]["text"].strip().splitlines():
                    self.progress(step)
            return super().process_message(msg, cell, cell_index)

    return TellingClient


@contextmanager
def _kernel() -> Iterator[tuple[Any, dict[str, str], str]]:
    """A kernel of this very Python that keeps all its files in a folder that is removed afterwards."""
    from jupyter_client.kernelspec import KernelSpec, KernelSpecManager
    from jupyter_client.manager import AsyncKernelManager

    argv = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]

    class OwnSpec(KernelSpecManager):
        def get_kernel_spec(self, kernel_name: str) -> KernelSpec:
            return KernelSpec(argv=argv, display_name=kernel_name, language="python")

    with tempfile.TemporaryDirectory(prefix="lineproof-", ignore_cleanup_errors=True) as scratch:
        manager = AsyncKernelManager(
            kernel_name="lineproof",
            kernel_spec_manager=OwnSpec(),
            connection_file=str(Path(scratch, "kernel.json")),
        )
        if os.name == "posix" and len(scratch) < LONGEST_SOCKET_FOLDER:
            manager.transport, manager.ip = "ipc", str(Path(scratch, "k"))
        environment = {
            **os.environ,
            "IPYTHONDIR": scratch,
            "JUPYTER_RUNTIME_DIR": scratch,
            "PYDEVD_DISABLE_FILE_VALIDATION": "1",
            "PYTHONIOENCODING": "utf-8",
        }
        yield manager, environment, scratch


def to_page(notebook: NotebookNode) -> str:
    """The executed notebook as one HTML text: headings and outputs, no code, no outside reference."""
    import vl_convert
    from nbconvert import HTMLExporter

    own = files("lineproof") / "report_page"
    title, contents = page_title(notebook), to_contents(notebook)
    drawing = vl_convert.javascript_bundle().replace("</script", "<\\/script")  # type: ignore[call-arg]
    scripts = [drawing, *((own / name).read_text("utf-8") for name in ("upgrade.js", "sort.js"))]
    page = {
        "title": title,
        "version": _own_version(),
        "contents": contents,
        "places": {entry["cell"]: entry["id"] for entry in contents},
        "style": (own / "page.css").read_text("utf-8").replace("PAGE_HEADER", _css_text(title)),
        "scripts": scripts,
        "allowed": " ".join(_hash_for_policy(script) for script in scripts),
    }
    with as_file(own) as folder:
        exporter = HTMLExporter(  # type: ignore[no-untyped-call]
            template_name=folder.name,
            extra_template_basedirs=[str(folder.parent)],
            exclude_anchor_links=True,
        )
        body, _ = exporter.from_notebook_node(notebook, {"lineproof": page})
    return str(body)


def _hash_for_policy(script: str) -> str:
    """What a page's policy allows to run: these scripts and no other (W3C Content Security Policy, level 2)."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'"


def page_title(notebook: NotebookNode) -> str:
    """What the notebook's own outputs call the page."""
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            title = output.get("metadata", {}).get("lineproof", {}).get("title")
            if title:
                return str(title)
    return "Report"


def to_contents(notebook: NotebookNode) -> list[dict[str, Any]]:
    """The second-level headings: text, the cell that each begins, and the id of its place on the page."""
    headings = [
        (heading, place)
        for place, cell in enumerate(notebook.cells)
        if cell.cell_type == "markdown" and "notebook" not in cell.metadata.get("tags", [])
        for heading in re.findall(r"^##\s+(.*?)\s*$", cell.source, re.M)
    ]
    return [
        {"text": heading, "cell": place, "id": f"part-{number}"}
        for number, (heading, place) in enumerate(headings, start=1)
    ]


def _css_text(text: str) -> str:
    """Text for a quoted string of a style sheet: nothing in it can end the string or the sheet."""
    return "".join(c if c.isalnum() or c in " ,.:-" else f"\\{ord(c):x} " for c in text)


def _own_version() -> str:
    try:
        return version("lineproof")
    except PackageNotFoundError:
        return "(not installed)"
