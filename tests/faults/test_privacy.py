"""Nothing leaves this computer, a report says nothing of its maker, and pseudonyms give nobody away.

Every command that writes is run with all ways out watched: opening any connection but to this computer itself is
written down and refused, in the command and in the processes that it starts.
"""

from __future__ import annotations

import ast
import base64
import hashlib
import hmac
import importlib.metadata
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import tomllib
from functools import cache
from pathlib import Path

import pytest

import lineproof
from lineproof.pseudonyms import KEY_FILE, pseudonym
from purchase_ledger import make_ledger
from sample_review import BIBS, write_event

WATCH = '''
import os, socket, sys

def _tell(what, where):
    host = where[0] if isinstance(where, tuple) else where
    if isinstance(host, str) and (host in ("localhost", "::1", "") or host.startswith("127.") or host.startswith("/")):
        return
    with open(os.environ["WATCHED"], "a") as log:
        log.write(f"{what} {where!r} {sys.argv[:3]}\\n")
    raise OSError("no way out")

def _watch(event, details):
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg", "socket.bind"):
        if details[0].family != socket.AF_UNIX:
            _tell(event, details[1])
    elif event in ("socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr"):
        _tell(event, details[0])
    elif event in ("urllib.Request", "http.client.connect", "ftplib.connect", "smtplib.connect", "webbrowser.open"):
        _tell(event, str(details[:2]))

sys.addaudithook(_watch)
'''  # fmt: skip
MAKER = "Quirinalda"  # the user, in the name of the home folder and of the place of the events


def _ways_out() -> list[str]:
    """Before a command: a network of its own with nothing in it, where the system grants one."""
    words = ["unshare", "--map-root-user", "--net"]
    if shutil.which("unshare") is None:
        return []
    done = subprocess.run([*words, "true"], capture_output=True, check=False)
    return words if done.returncode == 0 else []


@cache
def written() -> tuple[Path, str, dict[str, str]]:
    """The folder of everything that the commands wrote, what the watch saw, and each command that failed."""
    home = Path(tempfile.mkdtemp(prefix="lineproof-privacy-")) / MAKER
    event, watch = home / "spring-half", home / "watch"
    for folder in (event, watch, home / "fresh"):
        folder.mkdir(parents=True)
    write_event(event)
    make_ledger(home / "season-ledger")
    shutil.copytree(event / "exports", home / "fresh" / "exports")
    (watch / "sitecustomize.py").write_text(WATCH, encoding="utf-8")
    log = home / "watched"
    environment = {
        **os.environ, "PYTHONPATH": str(watch), "WATCHED": str(log), "HOME": str(home), "USER": MAKER, "LOGNAME": MAKER,
    }  # fmt: skip
    commands = [
        ["sheet", event], ["ready", event], ["review", event], ["keep", event, "--ledger", home / "ledger", "--crossings"],
        ["season", "--ledger", home / "season-ledger"], ["plan", "--ledger", home / "season-ledger"],
        ["purchase", home / "plan.toml", "--ledger", home / "season-ledger"], ["new", home / "fresh", "--yes"],
        ["ledger", "check", home / "ledger"],
    ]  # fmt: skip
    failed = {}
    for words in commands:
        done = subprocess.run(
            [*_ways_out(), sys.executable, "-m", "lineproof", *map(str, words)],
            capture_output=True, text=True, check=False, timeout=900, env=environment, cwd=home,
        )  # fmt: skip
        if done.returncode:
            failed[str(words[0])] = done.stderr
    return home, log.read_text() if log.exists() else "", failed


def test_no_command_opens_a_connection() -> None:
    _, seen, failed = written()
    assert failed == {}
    assert seen == ""


def test_the_watch_sees_what_goes_out(tmp_path: Path) -> None:
    (tmp_path / "sitecustomize.py").write_text(WATCH, encoding="utf-8")
    log = tmp_path / "watched"
    code = "import socket\ntry: socket.create_connection(('192.0.2.1', 80), 1)\nexcept OSError as problem: print(problem)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONPATH": str(tmp_path), "WATCHED": str(log)},
    )  # fmt: skip
    assert "no way out" in done.stdout
    assert "192.0.2.1" in log.read_text()


def results() -> list[Path]:
    """What may be sent on, or lies in a ledger that is shared."""
    home, _, _ = written()
    folders = (
        "spring-half/review",
        "season",
        "purchase",
        "ledger",
        "spring-half/setup-sheets.html",
        "plan.toml",
    )
    paths = [path for name in folders for path in [home / name, *(home / name).rglob("*")] if path.is_file()]
    assert {path.suffix for path in paths} >= {".html", ".csv", ".parquet", ".json", ".xlsx", ".toml"}
    return paths


def test_no_file_says_who_made_it_where() -> None:
    import zipfile

    home, _, _ = written()
    host = [name for name in [socket.gethostname()] if len(name) > 5]  # a shorter one stands in any text
    words = [
        MAKER,
        str(home.parent),
        home.parent.name,
        sys.prefix,
        str(Path(lineproof.__file__).parent),
        *host,
    ]
    found = []
    for path in results():
        data = path.read_bytes()
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(path) as archive:
                data = b"".join(archive.read(name) for name in archive.namelist())
        if path.suffix == ".parquet":  # its pages are compressed
            import polars as pl

            data += pl.read_parquet(path).write_json().encode() if path.name != "crossings.parquet" else b""
        found += [(path.name, word) for word in words if word.encode() in data]
    assert found == []


def test_without_the_key_a_pseudonym_fits_no_bib() -> None:
    """Somebody who knows that bibs run from 1 to 99999 tries them all, with every key that needs no stealing."""
    home, _, _ = written()
    page = (home / "spring-half" / "review" / "review.html").read_text(encoding="utf-8")
    names = set(re.findall(r"\bR-[A-Z2-7]{8}\b", page))
    assert names, "the page names nobody: the test tests nothing"
    key_file = home / "spring-half" / KEY_FILE  # the event was reviewed before there was a ledger beside it
    key = bytes.fromhex(key_file.read_text().strip())
    assert names <= {pseudonym(key, bib) for bib in BIBS}
    assert key_file.stat().st_mode & 0o077 == 0
    bibs = [str(bib) for bib in range(1, 100_000)]
    for guess in (b"", b"\0" * 32, b"lineproof", b"spring-half"):
        assert not names & {pseudonym(guess, bib) for bib in bibs}
    for plain in (hashlib.sha256, hashlib.sha1, hashlib.md5):
        tries = {"R-" + base64.b32encode(plain(bib.encode()).digest()).decode()[:8] for bib in bibs}
        assert not names & tries
    assert hmac.new(key, b"x", hashlib.sha256).digest() != hmac.new(b"", b"x", hashlib.sha256).digest()


def test_a_page_that_may_be_sent_on_names_no_runner_and_holds_no_key() -> None:
    home, _, _ = written()
    keys = {path.read_text().strip() for path in home.rglob(KEY_FILE)}
    assert keys
    for path in results():
        data = path.read_bytes()
        assert not [key for key in keys if key.encode() in data or bytes.fromhex(key) in data], path
        if path.suffix == ".html" or "ledger" in path.parts:
            named = {word.decode() for word in re.findall(rb"(?<![\w.])7[0-9]{4}(?!\w|\.\d)", data)} & set(
                BIBS
            )
            in_tables = path.suffix == ".parquet"  # compressed pages hold any digits
            assert in_tables or not named, (path, named)


def test_the_ledger_names_no_bib() -> None:
    import polars as pl

    home, _, _ = written()
    for path in (home / "ledger").rglob("*.parquet"):
        frame = pl.read_parquet(path)
        texts = {word for column in frame.select(pl.col(pl.String)) for word in column.drop_nulls()}
        assert not texts & set(BIBS), path
        assert not texts & {f"TAG{bib}" for bib in BIBS}, path


def test_what_is_imported_is_what_is_declared() -> None:
    """Each package that our code imports stands among the dependencies, and none stands there for nothing."""
    root = Path(lineproof.__file__).parents[2]
    if not (root / "pyproject.toml").is_file():
        pytest.skip("needs the source tree")
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    declared = {re.split(r"[<>=\[ ]", word)[0].lower() for word in project["dependencies"]}
    owners = importlib.metadata.packages_distributions()
    imported: set[str] = set()
    for path in Path(lineproof.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom) and not node.level:
                names = [node.module or ""]
            imported |= {name.split(".")[0] for name in names}
    ours = {name for name in imported if name not in sys.stdlib_module_names and name != "lineproof"}
    packages = {owner.lower().replace("_", "-") for name in ours for owner in owners.get(name, [name])}
    # What comes with jupyterlab and nbclient, and with great-expectations.
    brought = {"jupyter-client", "jupyter-core", "nbformat", "traitlets", "ipykernel", "ipython", "pandas"}
    assert packages - brought <= declared, packages - brought - declared
    run_only = {"jupyterlab", "tzdata"}  # started as a program; the zones of Windows
    assert declared - run_only <= packages, declared - run_only - packages
