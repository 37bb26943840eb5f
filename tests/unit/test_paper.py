"""Pages as PDF by the computer's own browser, and one sentence where there is none or where it fails."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from chromium import CHROMIUM, needs_poppler
from lineproof import paper
from lineproof.errors import OutputError
from lineproof.paper import Paper, find_browser, write_pdf

PAGE = """<!DOCTYPE html><html lang="en"><head><title>t</title><style>
@media print { @page { margin: 18mm; } }</style></head><body><p>One sheet.</p></body></html>"""
# ISO 216: A4 is 210 mm by 297 mm; ANSI/ASME Y14.1: letter is 8.5 in by 11 in.  A point is 1/72 in.
POINTS = {Paper.A4: (595.3, 841.9), Paper.LETTER: (612.0, 792.0)}


@needs_poppler
@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed")
@pytest.mark.parametrize("size", Paper)
def test_a_page_is_printed_on_the_paper_that_was_asked_for(tmp_path: Path, size: Paper) -> None:
    page = tmp_path / "review.html"
    page.write_text(PAGE, encoding="utf-8")
    pdf = write_pdf(page, size)
    assert pdf == tmp_path / "review.pdf"
    told = subprocess.run(["pdfinfo", str(pdf)], capture_output=True, text=True, check=True).stdout
    width, height = (float(word) for word in told.split("Page size:")[1].split("pts")[0].split("x"))
    assert (width, height) == (pytest.approx(POINTS[size][0], abs=1), pytest.approx(POINTS[size][1], abs=1))
    assert page.read_text(encoding="utf-8") == PAGE
    assert sorted(path.name for path in tmp_path.iterdir()) == ["review.html", "review.pdf"]


def test_without_a_browser_one_sentence_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(paper.BROWSER_SETTING, raising=False)
    monkeypatch.setattr(paper.shutil, "which", lambda _name: None)
    monkeypatch.setattr(paper, "_homes", list)
    with pytest.raises(OutputError) as problem:
        find_browser()
    assert str(problem.value) == (
        "no browser was found that can print a PDF; open the page and print it, or name a browser in LINEPROOF_BROWSER."
    )


def test_a_browser_that_is_named_and_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(paper.BROWSER_SETTING, "no-such-browser")
    with pytest.raises(
        OutputError, match='LINEPROOF_BROWSER names "no-such-browser", which is no program here'
    ):
        find_browser()


def test_a_program_that_does_not_print(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv(paper.BROWSER_SETTING, sys.executable)
    page = tmp_path / "review.html"
    page.write_text(PAGE, encoding="utf-8")
    with pytest.raises(OutputError, match="did not print the page; open the page and print it"):
        write_pdf(page, Paper.A4)
    assert [path.name for path in tmp_path.iterdir()] == ["review.html"]


def test_browsers_off_the_path_are_found_in_the_usual_folders(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv(paper.BROWSER_SETTING, raising=False)
    monkeypatch.setattr(paper.shutil, "which", lambda _name: None)
    monkeypatch.setattr(paper, "_homes", lambda: [tmp_path])
    there = tmp_path / paper.PLACES[0]
    there.parent.mkdir(parents=True)
    there.touch()
    assert find_browser() == there
