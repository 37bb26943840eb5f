"""The pages read without eyes, by keyboard and on a phone: an accessibility engine finds nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from chromium import complaints, needs_chromium, show_at, start, violations, wait_for
from review_page import sample_page
from season_page import season_page

pytestmark = needs_chromium
PHONE, DESK = 380, 1280
PAGES = {"review": sample_page, "season": season_page}
every_page = pytest.mark.parametrize("page", PAGES.values(), ids=PAGES)


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
