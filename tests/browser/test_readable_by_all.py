"""The pages read without eyes, by keyboard and on a phone: an accessibility engine finds nothing."""

from __future__ import annotations

import json
import re
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from chromium import (
    complaints,
    needs_chromium,
    needs_poppler,
    print_page,
    show_at,
    start,
    violations,
    wait_for,
)
from lineproof.morning_files import write_ready, write_sheets
from purchase_page import purchase_page
from review_page import sample_folder, sample_page
from season_page import season_page

pytestmark = needs_chromium
PHONE, DESK = 380, 1280
TABLET = (704, 768, 860, 960)
PAPER = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}
LIVE = "return document.querySelectorAll('.drawing.live svg').length"


def ready_page() -> Path:
    return write_ready(sample_folder(), sample_folder() / "ready").paths[0]


def clipboard_page() -> Path:
    return next(path for path in write_sheets(sample_folder()).paths if path.suffix == ".html")


PAGES = {"review": sample_page, "season": season_page, "purchase": purchase_page}
MORNING = {"ready": ready_page, "clipboard": clipboard_page}
every_page = pytest.mark.parametrize("page", PAGES.values(), ids=PAGES)
on_paper = pytest.mark.parametrize("paper", PAPER.values(), ids=PAPER)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    driver = start(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


@every_page
@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_engine_finds_nothing_against_the_guidelines(
    browser: Any, page: Callable[[], Path], width: int
) -> None:
    show_at(browser, page(), width)
    wait_for(browser, "return document.querySelectorAll('.drawing.live svg').length")
    assert violations(browser) == []
    assert complaints(browser) == []


@every_page
@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_page_itself_never_scrolls_sideways(browser: Any, page: Callable[[], Path], width: int) -> None:
    show_at(browser, page(), width)
    wait_for(browser, "return document.querySelectorAll('.drawing.live svg').length")
    wide = browser.execute_script(
        "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert wide <= 0


@every_page
def test_on_a_phone_each_cell_says_what_it_is(browser: Any, page: Callable[[], Path]) -> None:
    show_at(browser, page(), PHONE)
    said = browser.execute_script(
        "return Array.from(document.querySelectorAll('td')).map(c => getComputedStyle(c, '::before').content)"
    )
    assert said
    assert all(len(words.strip('"')) > 1 for words in said)
    cut = browser.execute_script(
        "return Array.from(document.querySelectorAll('.table')).filter(t => t.scrollWidth > t.clientWidth + 1).length"
    )
    assert cut == 0


@pytest.mark.parametrize("page", MORNING.values(), ids=MORNING)
@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_pages_of_the_morning_too(browser: Any, page: Callable[[], Path], width: int) -> None:
    show_at(browser, page(), width)
    assert violations(browser) == []
    assert complaints(browser) == []


@every_page
def test_nothing_but_the_page_itself_is_asked_for(browser: Any, page: Callable[[], Path]) -> None:
    browser.get_log("performance")
    show_at(browser, page(), DESK)
    wait_for(browser, LIVE)
    entries = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = {e["params"]["request"]["url"] for e in entries if e["method"] == "Network.requestWillBeSent"}
    assert asked == {page().as_uri()}


@every_page
@pytest.mark.parametrize("width", [*TABLET, DESK])
def test_no_table_scrolls_sideways(browser: Any, page: Callable[[], Path], width: int) -> None:
    show_at(browser, page(), width)
    wide = browser.execute_script(
        "return Array.from(document.querySelectorAll('.table')).filter(t => t.scrollWidth > t.clientWidth + 1)"
        ".map(t => t.querySelector('caption').innerText)"
    )
    assert wide == []


def sheets_of(browser: Any, page: Path, paper: tuple[float, float], folder: Path) -> list[str]:
    """The words on each sheet of paper, blanks evened out."""
    pdf = print_page(browser, page, *paper, folder / "page.pdf")
    done = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, check=True)
    return [evened(sheet) for sheet in done.stdout.decode("utf-8").split("\f")[:-1]]


def evened(text: str) -> str:
    return re.sub(r"\s+", "", text)


@needs_poppler
@every_page
@on_paper
def test_no_chart_is_cut_by_the_edge_of_a_sheet(
    browser: Any, page: Callable[[], Path], paper: tuple[float, float], tmp_path: Path
) -> None:
    sheets = sheets_of(browser, page(), paper, tmp_path)
    figures = browser.execute_script(
        "return Array.from(document.querySelectorAll('figure.chart')).map(f => ["
        "f.querySelector('.title').innerText, f.querySelector('figcaption').innerText,"
        "...Array.from(f.querySelectorAll('svg .role-axis-title text')).map(t => t.textContent)])"
    )
    assert len(figures) >= 3
    for words in figures:
        assert any(all(evened(each) in sheet for each in words) for sheet in sheets), words


@needs_poppler
@on_paper
def test_the_treasurers_first_sheet_holds_decision_money_certainty_and_three_pictures(
    browser: Any, paper: tuple[float, float], tmp_path: Path
) -> None:
    sheets = sheets_of(browser, purchase_page(), paper, tmp_path)
    for words in ("Decision", "Spending today", "Chance that it saves money", "not financial advice"):
        assert evened(words) in sheets[0]
    captions = browser.execute_script(
        "return Array.from(document.querySelectorAll('figure.chart')).map(f => f.querySelector('figcaption').innerText)"
    )
    assert all(evened(caption) in sheets[0] for caption in captions[:3])
    assert evened("2. What will go unread, and why") not in sheets[0]
    assert evened("2. What will go unread, and why") in sheets[1]
