"""The review page read without eyes, by keyboard and on a phone: an accessibility engine finds nothing."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from chromium import complaints, needs_chromium, show_at, start, violations, wait_for
from review_page import sample_page

pytestmark = needs_chromium
PHONE, DESK = 380, 1280


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    driver = start(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_engine_finds_nothing_against_the_guidelines(browser: Any, width: int) -> None:
    show_at(browser, sample_page(), width)
    wait_for(browser, "return document.querySelectorAll('.drawing.live svg').length")
    assert violations(browser) == []
    assert complaints(browser) == []


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_page_itself_never_scrolls_sideways(browser: Any, width: int) -> None:
    show_at(browser, sample_page(), width)
    wait_for(browser, "return document.querySelectorAll('.drawing.live svg').length")
    wide = browser.execute_script(
        "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert wide <= 0


def test_on_a_phone_each_cell_says_what_it_is(browser: Any) -> None:
    show_at(browser, sample_page(), PHONE)
    said = browser.execute_script(
        "return Array.from(document.querySelectorAll('td')).map(c => getComputedStyle(c, '::before').content)"
    )
    assert said
    assert all(len(words.strip('"')) > 1 for words in said)
    cut = browser.execute_script(
        "return Array.from(document.querySelectorAll('.table')).filter(t => t.scrollWidth > t.clientWidth + 1).length"
    )
    assert cut == 0
