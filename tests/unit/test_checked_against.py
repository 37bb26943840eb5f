"""The page that says what the numbers are checked against says neither more nor less than the reference tests hold."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "checked_against.md"
FILES = {path.name: path for path in sorted((ROOT / "tests" / "reference").glob("test_*.py"))}
PARTS = ("Event review", "Inference", "Diagnosis", "Season", "Purchase")
GROUPS = {
    "published": "test_published_",
    "recomputed": "test_recomputed_",
    "from memory": "test_from_memory_",
}
# What names a source: years and words with a capital; programs that write themselves small.
NAME = re.compile(
    r"\b1[89]\d\d\b|\b20\d\d\b|\b[A-Z][A-Za-z/']{3,}|\b(?:scipy|statsmodels|numpy-financial|numpy|numpyro|zoneinfo)\b"
)


class Row(NamedTuple):
    part: str
    what: str
    source: str
    group: str
    file: str


def rows_of(page: str) -> list[Row]:
    """The rows of the tables with four columns below the headings of the parts."""
    found, part = [], ""
    for line in page.splitlines():
        if line.startswith("## "):
            part = line[3:].strip()
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        is_row = line.startswith("|") and len(cells) == 4 and cells[0] not in ("what is checked", "---")
        if part and is_row:
            found.append(Row(part, cells[0], cells[1], cells[2], cells[3].strip("`")))
    return found


def group_of(test: str) -> str | None:
    return next((group for group, start in GROUPS.items() if test.startswith(start)), None)


def reference_tests(path: Path) -> list[ast.FunctionDef]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.name.startswith("test_")]


ROWS = rows_of(PAGE.read_text(encoding="utf-8"))


def test_every_reference_test_says_how_its_value_is_known() -> None:
    unnamed = [
        f"{f}: {t.name}" for f, p in FILES.items() for t in reference_tests(p) if group_of(t.name) is None
    ]
    assert unnamed == []


def test_the_page_names_every_file_in_every_group_that_it_has_and_no_other() -> None:
    told = {(row.file, row.group) for row in ROWS}
    held = {(name, group_of(test.name)) for name, path in FILES.items() for test in reference_tests(path)}
    assert told - held == set(), "on the page, but no such test"
    assert held - told == set(), "tests that the page does not name"


def test_rows_are_of_known_parts_and_groups_and_say_everything() -> None:
    assert {row.part for row in ROWS} == set(PARTS)
    assert {row.group for row in ROWS} == set(GROUPS)
    assert all(row.what and row.source and row.file in FILES for row in ROWS)
    assert len(set(ROWS)) == len(ROWS)


def test_the_page_explains_each_group() -> None:
    text = PAGE.read_text(encoding="utf-8")
    for group, start in GROUPS.items():
        assert f"| {group} | `{start}…` |" in text


def test_inference_is_held_to_twenty_sources_at_least() -> None:
    sources: dict[str, set[str]] = defaultdict(set)
    for row in ROWS:
        sources[row.part].add(row.source)
    assert len(sources["Inference"]) >= 20
    assert len({row.source for row in ROWS if (row.part, row.group) == ("Inference", "published")}) >= 15
    assert all(sources[part] for part in PARTS)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.file}-{row.source[:40]}")
def test_the_source_of_a_row_stands_in_its_file(row: Row) -> None:
    """Every name and year of it; what is published has one at least, while plain arithmetic and common practice have none."""
    text, names = FILES[row.file].read_text(encoding="utf-8"), NAME.findall(row.source)
    assert [n for n in names if n not in text] == []
    assert names or row.group != "published"


@pytest.mark.parametrize("name", sorted({row.file for row in ROWS if row.group == "published"}))
def test_a_file_with_published_values_says_where_they_were_seen(name: str) -> None:
    """In its docstring, in a test's or in a comment."""
    text = FILES[name].read_text(encoding="utf-8")
    said = [ast.get_docstring(ast.parse(text)) or ""]
    said += [ast.get_docstring(test) or "" for test in reference_tests(FILES[name])]
    said += [line for line in text.splitlines() if "# " in line]
    assert re.search(r"\bseen\b|\bSources?\b", "\n".join(said))


def test_the_page_is_in_the_list_of_the_documents() -> None:
    index = (ROOT / "docs" / "index.md").read_text(encoding="utf-8")
    assert "\nchecked_against\n" in index


def test_the_reader_of_the_page_finds_what_is_wrong() -> None:
    """A made-up page: one row is read, heading and rule are not."""
    page = "| a | b | c | d |\n## Season\n| what is checked | source | group | file |\n| --- | --- | --- | --- |\n"
    page += "| a chart | Book 1931 | published | `test_x.py` |\n"
    assert rows_of(page) == [Row("Season", "a chart", "Book 1931", "published", "test_x.py")]
    assert group_of("test_published_chart") == "published"
    assert group_of("test_chart") is None
