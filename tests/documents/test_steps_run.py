"""Every command and snippet of the documents and the README runs, in its order, and prints what the page says."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
import typer.main

from lineproof.cli import app
from lineproof.event import load_event
from page_steps import Step, steps_of
from terminal import talk

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo_data"
# Pages in the order of the year: what one leaves behind the next goes on with.
YEAR = (
    "index",
    "morning",
    "monday",
    "season",
    "ledger",
    "winter",
    "limits",
    "safety",
    "methods",
    "event-file",
)
KINDS = {"run", "python", "toml", "by hand", "prints", "save as", "copy", "answers", "text", "toctree", ""}
NEEDED = ("10-canal-evening-1", "11-canal-evening-2", "12-canal-evening-3", "unfamiliar", "equipment.csv")


def pages() -> dict[str, Path]:
    return {page.stem: page for page in sorted((ROOT / "docs").glob("*.md"))}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what the pages use of the demo data, as it is committed."""
    home = tmp_path_factory.mktemp("reader")
    ignored = shutil.ignore_patterns("review", "event.toml", "setup-sheets.html", "pseudonyms.key")
    for name in NEEDED:
        source, target = DEMO / name, home / "demo_data" / name
        target.parent.mkdir(exist_ok=True)
        if source.is_dir():
            shutil.copytree(source, target, ignore=ignored)
            if (source / "event.toml").exists():
                shutil.copy(source / "event.toml", target)
        else:
            shutil.copy(source, target)
    return home


def test_every_page_is_walked() -> None:
    walked = set(YEAR)
    told = {
        name for name, page in pages().items() if any(s.kind in ("run", "python") for s in steps_of(page))
    }
    assert told <= walked
    assert walked <= set(pages())


def test_few_commands_are_left_to_a_person() -> None:
    found = [(page.name, s.about) for page in pages().values() for s in steps_of(page) if s.kind == "by hand"]
    assert len(found) <= 4, found
    assert all(about for _, about in found)
    assert {s.kind for page in pages().values() for s in steps_of(page)} <= KINDS


@pytest.mark.skipif(sys.platform == "win32", reason="a pseudo-terminal is a thing of POSIX")
@pytest.mark.parametrize("name", YEAR)
def test_the_steps_of_a_page_run(name: str, folder: Path) -> None:
    printed = ""
    for step in steps_of(pages()[name]):
        where = f"{name}.md row {step.row}"
        if step.kind == "run":
            printed = "".join(run(command, step, folder, where) for command in step.commands)
        elif step.kind == "prints":
            hold(step, printed, where)
        elif step.kind == "python":
            printed = run_words([sys.executable, "-W", "error", "-c", step.text], folder, where)
        elif step.kind == "toml":
            tomllib.loads(step.text)
        elif step.kind == "save as":
            (folder / step.about).write_text(step.text + "\n", encoding="utf-8")
        elif step.kind == "copy":
            source, target = (folder / word for word in step.about.split(" to "))
            target.parent.mkdir(exist_ok=True)
            shutil.copy(source, target)


def run(command: str, step: Step, folder: Path, where: str) -> str:
    words = shlex.split(command)
    assert words[0] == "lineproof", f"{where}: only lineproof runs everywhere, not {words[0]}"
    own = [sys.executable, "-m", "lineproof", *words[1:]]
    if step.answers:
        asked: list[str] = []
        said = talk(own, {q.split(" … ")[0]: a for q, a in step.answers.items()}, folder, asked)
        unasked = [q for q in step.answers if not any(q.split(" … ")[0] in each for each in asked)]
        assert not unasked, f"{where}: never asked: {unasked}"
        return said
    return run_words(own, folder, where)


def run_words(words: list[str], folder: Path, where: str) -> str:
    done = subprocess.run(
        words, cwd=folder, capture_output=True, text=True, encoding="utf-8", timeout=1200, check=False,
        env={**os.environ, "PYTHONUTF8": "1"},
    )  # fmt: skip
    assert done.returncode == 0, f"{where}: {done.stdout}{done.stderr}"
    return done.stdout + done.stderr


def hold(step: Step, printed: str, where: str) -> None:
    """Each line of the block is a part of a line that was printed, one after the other."""
    rest = iter(printed.splitlines())
    for line in step.text.splitlines():
        assert any(line.strip() in each for each in rest), f"{where}: not printed: {line}\n{printed}"


def test_the_short_event_file_of_its_page_loads(tmp_path: Path) -> None:
    text = next(step.text for step in steps_of(pages()["event-file"]) if step.kind == "toml")
    (tmp_path / "event.toml").write_text(text, encoding="utf-8")
    event = load_event(tmp_path)
    assert [course.distance_m for course in event.courses] == [10_000]
    assert event.setting("target") == 0.995


def test_the_event_file_page_names_every_word() -> None:
    """The words are those that the reader of event.toml lets through."""
    page = pages()["event-file"].read_text(encoding="utf-8")
    source = "".join(
        (ROOT / "analysis" / "lineproof" / "event" / f"{name}.py").read_text(encoding="utf-8")
        for name in ("loading", "inputs")
    )
    lists = re.findall(r"\.only\(\s*\(([^)]*)\)", source) + re.findall(r"_LAYOUT_KEYS = \(([^)]*)\)", source)
    words = {word for each in lists for word in re.findall(r'"(\w+)"', each)}
    assert len(words) > 30
    assert {word for word in words if not re.search(rf"\b{word}\b", page)} == set()


README = ROOT / "README.md"


def test_the_commands_of_the_readme_are_commands_of_the_program() -> None:
    """Its two long commands are run by the checks on a bare machine; each command in its tables is one of the program's."""
    known = set(typer.main.get_command(app).commands)  # type: ignore[attr-defined]
    named = set(re.findall(r"`lineproof (\w+)", README.read_text(encoding="utf-8")))
    assert named
    assert named <= known
    assert known - named <= {"demo", "ledger"}
