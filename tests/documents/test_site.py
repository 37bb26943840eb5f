"""The site of the documents: it builds without a warning, its reference is that of the code, its pictures and links are there."""

from __future__ import annotations

import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import polars as pl
import pytest
import typer.main

from documents_site import DOCS, site
from lineproof.cli import app
from lineproof.vocabulary import GLOSSARY, SETTINGS
from review_page import sample_page

sys.path.insert(0, str(DOCS))
from reference_pages import FILES, REVIEW


def text_of(page: str) -> str:
    html = (site() / page).read_text(encoding="utf-8")
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


def test_it_builds_without_a_warning_and_links_to_nothing_outside() -> None:
    for page in site().rglob("*.html"):
        html = page.read_text(encoding="utf-8")
        loaded = re.findall(r'<(?:script|img|iframe|link)[^>]*(?:src|href)="(https?:[^"]+)"', html)
        assert not loaded, page.name
    for sheet in site().rglob("*.css"):
        assert not re.findall(r"url\(['\"]?https?:", sheet.read_text(encoding="utf-8")), sheet.name


def test_a_broken_link_stops_the_build(tmp_path: Path) -> None:
    import shutil

    broken = tmp_path / "docs"
    shutil.copytree(DOCS, broken, ignore=shutil.ignore_patterns("__pycache__"))
    with (broken / "limits.md").open("a", encoding="utf-8") as page:
        page.write("\nSee [nothing](nowhere.md).\n")
    done = subprocess.run(
        [sys.executable, str(broken / "build.py"), str(tmp_path / "out")],
        capture_output=True, text=True, check=False, timeout=600,
    )  # fmt: skip
    assert done.returncode != 0
    assert "nowhere" in done.stderr


def test_every_command_option_setting_word_and_file_is_there() -> None:
    commands = text_of("reference/commands.html")
    group = typer.main.get_command(app)
    for name, command in group.commands.items():  # type: ignore[attr-defined]
        assert f"lineproof {name}" in commands
        for each in command.params:
            assert all(option in commands for option in each.opts if option.startswith("--")), each.opts
    settings = text_of("reference/settings.html")
    assert all(name in settings for name in SETTINGS)
    words = text_of("reference/words.html")
    assert all(meaning.split(":")[0].replace("'", "") in words.replace("’", "").replace("'", "") for meaning in GLOSSARY.values())  # fmt: skip


@cache
def written() -> dict[str, list[str]]:
    """The files of a review with the headers of the tables."""
    folder = sample_page().parent
    return {
        path.name: pl.read_csv(path, infer_schema=False).columns if path.suffix == ".csv" else []
        for path in sorted(folder.iterdir())
    }


def test_every_file_of_a_review_is_listed() -> None:
    listed = {file.name for file in FILES if file.by == REVIEW}
    assert set(written()) - {"ready.html"} == listed


@pytest.mark.parametrize("file", [f for f in FILES if f.by == REVIEW and f.table], ids=lambda f: f.name)
def test_a_file_has_the_columns_that_are_promised(file: object) -> None:
    name, table = file.name, file.table  # type: ignore[attr-defined]
    if name.endswith(".parquet"):
        assert pl.read_parquet_schema(sample_page().parent / name).keys() == table.columns.keys()
    else:
        assert written()[name] == list(table.columns)


def test_the_folder_of_documents_is_only_read() -> None:
    before = sorted(path.name for path in DOCS.rglob("*") if "__pycache__" not in path.parts)
    site()
    assert sorted(path.name for path in DOCS.rglob("*") if "__pycache__" not in path.parts) == before
