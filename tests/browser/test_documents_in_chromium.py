"""The documents in a browser without network, from disk: readable by all, and their search finds."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from chromium import complaints, needs_chromium, show_at, start, violations, wait_for
from documents_site import site

pytestmark = needs_chromium
PAGES = ("index.html", "monday.html", "reference/commands.html", "reference/words.html")
LONG = (
    "reference/columns.html",
    "reference/settings.html",
    "reference/files.html",
    "methods.html",
    "event-file.html",
)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    driver = start(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


@pytest.mark.parametrize("width", [380, 1280])
@pytest.mark.parametrize("page", PAGES)
def test_a_page_is_readable_by_all(browser: Any, page: str, width: int) -> None:
    show_at(browser, site() / page, width)
    wait_for(browser, "return document.readyState === 'complete'")
    assert violations(browser) == []


@pytest.mark.parametrize("width", [380, 1280])
@pytest.mark.parametrize("page", [*PAGES, *LONG])
def test_a_page_never_scrolls_sideways(browser: Any, page: str, width: int) -> None:
    show_at(browser, site() / page, width)
    wait_for(browser, "return document.readyState === 'complete'")
    wide = browser.execute_script(
        "return document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert wide <= 0
    assert complaints(browser) == []


@pytest.mark.parametrize(
    ("words", "page"),
    [
        ("backup", "reference/words.html"),
        ("repeated_hour", "event-file.html"),
        ("decision", "monday.html"),
        ("treasurer", "winter.html"),
        ("look_from", "reference/columns.html"),
    ],
)
def test_the_search_finds_from_disk(browser: Any, words: str, page: str) -> None:
    browser.get_log("performance")
    address = (site() / "search.html").as_uri()
    browser.get(f"{address}?q={words}")
    wait_for(browser, "return document.querySelectorAll('#search-results ul.search li').length")
    hits = browser.execute_script(
        "return Array.from(document.querySelectorAll('#search-results ul.search a')).map(a => a.href)"
    )
    assert any((site() / page).as_uri() in hit for hit in hits), hits
    entries = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [e["params"]["request"]["url"] for e in entries if e["method"] == "Network.requestWillBeSent"]
    assert all(url.startswith(("file:", "data:")) for url in asked), asked
    assert complaints(browser) == []
