"""The event review notebook is thin, stored clean, and makes a page that is safe to send on."""

from __future__ import annotations

import ast
import re
from html.parser import HTMLParser
from pathlib import Path

import nbformat
import polars as pl
import pytest

from lineproof.errors import LineproofError
from lineproof.reports import notebook_folder, render_review
from review_page import sample_folder, sample_page, told_steps
from sample_review import BIBS, MISSED

pytestmark = pytest.mark.xdist_group("sample page")
NOTEBOOKS = sorted(notebook_folder().glob("*.ipynb"))
MOST_LINES = 15


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_notebooks_are_thin_and_stored_without_outputs(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    for cell in (cell for cell in notebook.cells if cell.cell_type == "code"):
        assert not cell.outputs
        assert cell.execution_count is None
        assert len(cell.source.splitlines()) <= MOST_LINES
        kinds = {type(node) for node in ast.walk(ast.parse(cell.source))}
        assert not kinds & {
            ast.FunctionDef,
            ast.AsyncFunctionDef,
            ast.ClassDef,
            ast.Lambda,
            ast.For,
            ast.While,
        }
        numbers = [
            n
            for n in ast.walk(ast.parse(cell.source))
            if isinstance(n, ast.Constant) and type(n.value) in (int, float)
        ]
        assert not numbers, "numbers belong into event.toml or vocabulary.py"
    assert len([c for c in notebook.cells if "parameters" in c.metadata.get("tags", [])]) == 1


class Outline(HTMLParser):
    """Headings, ids, links, references and tables of a page."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.levels: list[int] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.references: list[str] = []
        self.tags: list[str] = []
        self.lang: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.tags.append(tag)
        if re.fullmatch(r"h[1-6]", tag):
            self.levels.append(int(tag[1]))
        if tag == "html":
            self.lang = given.get("lang")
        if "id" in given and tag != "svg":
            self.ids.append(given["id"] or "")
        if tag == "a" and (given.get("href") or "").startswith("#"):
            self.links.append((given["href"] or "")[1:])
        self.references += [
            f"{tag} {name}={value}"
            for name, value in attrs
            if name in ("src", "href", "srcset", "action", "data", "poster", "xlink:href", "background")
            and not (value or "").startswith("#")
        ]


@pytest.fixture(scope="module")
def page() -> str:
    return sample_page().read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def outline(page: str) -> Outline:
    parser = Outline()
    parser.feed(page)
    return parser


def body_text(page: str) -> str:
    """What a reader sees, and what the stored definitions hold; without the drawing script."""
    return page[page.index("<main") : page.index("</main>")]


def test_headings_come_in_order(outline: Outline) -> None:
    assert outline.levels[0] == 1
    assert outline.levels.count(1) == 1
    assert all(after - before <= 1 for before, after in zip(outline.levels, outline.levels[1:], strict=False))
    assert outline.lang == "en"


def test_every_entry_of_the_contents_leads_somewhere(outline: Outline) -> None:
    assert len(outline.links) >= 9
    assert set(outline.links) <= set(outline.ids)
    assert len(set(outline.ids)) == len(outline.ids)


def test_the_page_refers_to_nothing_outside_itself(page: str, outline: Outline) -> None:
    assert outline.references == []
    assert not {"link", "iframe", "object", "embed", "base", "img", "form"} & set(outline.tags)
    styles = "".join(re.findall(r"<style>(.*?)</style>", page, re.S))
    assert "@import" not in styles
    assert "url(" not in styles
    assert "default-src 'none'" in page


def test_the_page_names_no_runner_and_no_place_of_the_maker(page: str) -> None:
    text = body_text(page)
    # Numbers that an SVG path could hold by chance are left out with the drawings themselves.
    told = re.sub(r"<svg.*?</svg>", "", text, flags=re.S)
    assert not set(BIBS) & set(re.findall(r"\d+", told))
    assert "TAG7" not in page
    assert "STRAY1" not in page
    assert str(sample_folder()) not in page
    assert str(Path.home()) not in page
    assert str(sample_folder().parent.name) not in page


def test_names_with_mark_up_are_shown_as_text(page: str) -> None:
    assert "<script>alert(1)</script>" not in page
    assert "Bridge &lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_the_page_tells_the_planted_misses(page: str) -> None:
    told = re.sub(r"<svg.*?</svg>|<script.*?</script>", "", body_text(page), flags=re.S)
    cells = re.findall(r'<tr[^>]*><th[^>]*scope="row"[^>]*>(.*?)</th>((?:<td[^>]*>.*?</td>)+)</tr>', told)
    by_line = {
        name: re.findall(r"<td[^>]*>(.*?)</td>", rest)
        for name, rest in reversed(cells)  # the first table, of the whole day, counts
        if ", main" in name or ", backup" in name
    }
    planted = {
        "Start, backup": len(MISSED["S2"]), "5 km, main": len(MISSED["A1"]), "15 km, main": len(MISSED["C1"]),
        "Finish, backup": len(MISSED["F2"]), "Start, main": 0,
    }  # fmt: skip
    assert {name: int(by_line[name][2]) for name in planted} == planted
    assert "11 of 1,600\u00a0crossings" in told  # 2 at the bridge, 9 at 15 km


def test_code_is_hidden_and_figures_stand_without_script(page: str, outline: Outline) -> None:
    assert "review_event" not in page
    assert "pip install" not in page
    assert outline.tags.count("svg") == outline.tags.count("figure") >= 6
    assert outline.tags.count("figcaption") == outline.tags.count("figure")


def test_progress_is_told_in_words() -> None:
    sample_page()
    assert "counting detection rates" in told_steps()
    assert told_steps()[-1] == "writing the report"


def test_the_working_copies_lie_beside_the_page() -> None:
    out = sample_page().parent
    names = {path.name for path in out.iterdir()}
    assert {
        "review.html",
        "findings.csv",
        "rates.csv",
        "lookups.csv",
        "rejects.csv",
        "crossings.parquet",
        "checks.json",
    } <= names
    assert not [name for name in names if name.startswith(".")]
    lookups = pl.read_csv(out / "lookups.csv", schema_overrides={"bib": pl.String})
    assert {BIBS[0], BIBS[1]} <= set(lookups["bib"])  # missed by both lines at the bridge


def test_a_broken_event_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(LineproofError) as caught:
        render_review(tmp_path / "nowhere", tmp_path / "out", lambda _step: None)
    assert "\n" not in str(caught.value)
    assert "Traceback" not in str(caught.value)
    assert not (tmp_path / "out").exists()
