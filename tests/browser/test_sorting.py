"""Tables of a page and of a notebook are sorted by their headings: by pointer, by keyboard, and told to a screen reader."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from importlib.resources import files
from typing import Any

import polars as pl
import pytest

from lineproof.figures import Head, number, show_table, use_figures

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
pytestmark = pytest.mark.skipif(
    not (CHROMIUM and DRIVER), reason="Chromium and its driver (chromedriver) are not installed"
)
# Each column and the order in which its cells must come.
PLACES = ["5 km, main", "Start, main", "10 km, main", "Zealot's gate"]
COUNTS = ["1,600 of 1,602", "97 of 400", "–", "203 of 9,000"]
SHARES = ["99.4 %", "−0.5 %", "100 %", "9.98 %"]
CLOCKS = ["10:31:07", "9:05:00", "10:02:00", "11:00:00"]


def page() -> str:
    frame = pl.DataFrame({"place": PLACES, "count": COUNTS, "share": SHARES, "clock": CLOCKS})
    heads = [
        Head("Place", lambda row: row["place"]),
        number("Counts", lambda row: row["count"]),
        number("Share", lambda row: row["share"]),
        Head("Clock", lambda row: row["clock"]),
    ]
    own = files("lineproof") / "report_page"
    table = show_table(frame, heads, "Four rows").html
    script = (own / "sort.js").read_text("utf-8")
    style = (own / "page.css").read_text("utf-8")
    return (
        f'<!DOCTYPE html><html lang=en><meta charset=utf-8><meta name=viewport content="width=device-width"><title>t</title><style>{style}</style>'
        f"<body><main>{table}</main><script>{script}</script><script>{script}</script></body></html>"
    )


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    folder = tmp_path_factory.mktemp("sorting")
    (folder / "page.html").write_text(page(), encoding="utf-8")
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM or ""
    for word in (
        "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run",
        "--host-resolver-rules=MAP * ~NOTFOUND", "--window-size=1000,900", f"--user-data-dir={folder / 'profile'}",
    ):  # fmt: skip
        options.add_argument(word)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    driver.folder = folder
    yield driver
    driver.quit()


@pytest.fixture
def opened(browser: Any) -> Any:
    browser.get((browser.folder / "page.html").as_uri())
    return browser


def column(browser: Any, index: int) -> list[str]:
    found: list[str] = browser.execute_script(
        "return Array.from(document.querySelector('table').tBodies[0].rows).map(r => r.cells[arguments[0]].textContent)",
        index,
    )
    return found


def orders(browser: Any) -> list[str]:
    found: list[str] = browser.execute_script(
        "return Array.from(document.querySelectorAll('thead th')).map(h => h.getAttribute('aria-sort'))"
    )
    return found


@pytest.mark.parametrize(
    ("index", "rising"),
    [
        (0, ["5 km, main", "10 km, main", "Start, main", "Zealot's gate"]),
        (1, ["97 of 400", "203 of 9,000", "1,600 of 1,602", "–"]),
        (2, ["−0.5 %", "9.98 %", "99.4 %", "100 %"]),
        (3, ["9:05:00", "10:02:00", "10:31:07", "11:00:00"]),
    ],
)
def test_three_presses_of_a_heading(index: int, rising: list[str], opened: Any) -> None:
    from selenium.webdriver.common.by import By

    button = opened.find_elements(By.CSS_SELECTOR, "thead th > button.sort")[index]
    before = column(opened, index)
    button.click()
    assert column(opened, index) == rising
    assert orders(opened) == ["ascending" if i == index else "none" for i in range(4)]
    button.click()
    told = [cell for cell in rising if cell != "–"]
    assert column(opened, index) == [*reversed(told), *(["–"] if "–" in rising else [])]
    assert orders(opened)[index] == "descending"
    button.click()
    assert column(opened, index) == before
    assert orders(opened) == ["none"] * 4


def test_by_keyboard_alone(opened: Any) -> None:
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.keys import Keys

    ActionChains(opened).send_keys(Keys.TAB, Keys.TAB, Keys.ENTER).perform()
    assert orders(opened) == ["none", "ascending", "none", "none"]
    assert opened.execute_script("return document.activeElement.textContent") == "Counts"
    outline = opened.execute_script("return getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"


def test_rows_stay_whole(opened: Any) -> None:
    from selenium.webdriver.common.by import By

    opened.find_elements(By.CSS_SELECTOR, "button.sort")[2].click()
    rows = list(zip(*(column(opened, i) for i in range(4)), strict=True))
    assert sorted(rows) == sorted(zip(PLACES, COUNTS, SHARES, CLOCKS, strict=True))


def test_a_table_that_comes_later_can_be_sorted_too(opened: Any) -> None:
    opened.execute_script(
        "const copy = document.createElement('div');"
        "copy.innerHTML = '<div class=table><table><thead><tr><th>A</th></tr></thead><tbody><tr><td>2</td></tr><tr><td>1</td></tr></tbody></table></div>';"
        "document.body.appendChild(copy)"
    )
    end = time.monotonic() + 5
    while time.monotonic() < end and not opened.execute_script(
        "return document.querySelectorAll('table[data-sortable]').length === 2"
    ):
        time.sleep(0.05)
    assert opened.execute_script("return document.querySelectorAll('table[data-sortable]').length") == 2
    assert opened.get_log("browser") == []


def test_on_a_phone_where_headings_are_not_shown_there_are_no_buttons(browser: Any) -> None:
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 360, "height": 700, "deviceScaleFactor": 2, "mobile": True},
    )
    try:
        browser.get((browser.folder / "page.html").as_uri())
        assert browser.execute_script("return document.querySelectorAll('button').length") == 0
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_the_notebook_gets_the_same_script_and_the_page_leaves_it_out() -> None:
    data, about = use_figures()._repr_mimebundle_()
    assert "lineproofSort" in data["text/html"]
    assert about == {"lineproof": {"notebook": True}}
    template = (files("lineproof") / "report_page" / "index.html.j2").read_text("utf-8")
    assert 'get("notebook")' in template
