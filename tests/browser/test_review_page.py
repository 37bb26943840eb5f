"""The page in a browser that has no network: charts drawn, nothing asked for, nothing complained of."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from chromium import needs_chromium, start, wait_for
from review_page import sample_page

pytestmark = [pytest.mark.xdist_group("sample page"), needs_chromium]


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    driver = start(tmp_path_factory.mktemp("profile"))
    driver.get(sample_page().as_uri())
    wait_for(driver, "return document.querySelectorAll('.drawing.live svg').length")
    yield driver
    driver.quit()


def test_every_chart_is_drawn_and_answers_the_pointer(browser: Any) -> None:
    figures = browser.execute_script("return document.querySelectorAll('figure.chart').length")
    live = browser.execute_script("return document.querySelectorAll('figure.chart .drawing.live svg').length")
    marks = browser.execute_script(
        "return Array.from(document.querySelectorAll('.drawing.live svg')).map("
        "s => s.querySelectorAll('.role-mark path, .role-mark line').length)"
    )
    assert figures == live >= 6
    assert all(count > 0 for count in marks)
    heights = browser.execute_script(
        "return Array.from(document.querySelectorAll('.drawing.live svg')).map(s => s.getBoundingClientRect().height)"
    )
    assert min(heights) > 40


def test_nothing_but_the_page_itself_is_asked_for(browser: Any) -> None:
    entries = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [e["params"]["request"]["url"] for e in entries if e["method"] == "Network.requestWillBeSent"]
    ours = sample_page().as_uri()
    # The browser's own start page comes before ours.
    assert asked[asked.index(ours) :] == [ours]


def test_the_browser_complains_of_nothing(browser: Any) -> None:
    assert browser.get_log("browser") == []


def test_a_name_with_a_script_in_it_does_not_run(browser: Any) -> None:
    assert (
        browser.execute_script("return document.querySelectorAll('main script:not(.definition)').length") == 0
    )


def test_the_pointer_brings_up_the_counts(browser: Any) -> None:
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.by import By

    dot = browser.find_elements(By.CSS_SELECTOR, ".drawing.live .mark-symbol.role-mark path")[0]
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", dot)
    ActionChains(browser).move_to_element(dot).perform()
    wait_for(browser, "return document.querySelector('#vg-tooltip-element.visible') !== null", 5)
    tooltip = browser.find_element(By.ID, "vg-tooltip-element").text
    assert "of 400" in tooltip


@pytest.mark.parametrize(("width", "height"), [(8.27, 11.69), (8.5, 11.0)], ids=["A4", "Letter"])
def test_it_prints_with_nothing_beyond_the_edge(browser: Any, width: float, height: float) -> None:
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"paperWidth": width, "paperHeight": height})
    pdf = base64.b64decode(printed["data"])
    assert pdf.startswith(b"%PDF-")
    assert pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page/") >= 5
    inside = width * 96 - 2 * 15 / 25.4 * 96  # the margins of the style sheet
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": int(inside), "height": 1000, "deviceScaleFactor": 1, "mobile": False},
    )
    try:
        beyond = browser.execute_script(
            "return Array.from(document.querySelectorAll('main table, main svg, main p, main li'))"
            ".filter(e => e.getBoundingClientRect().right > window.innerWidth + 1).map(e => e.outerHTML.slice(0, 200))"
        )
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert beyond == []


def test_on_a_phone_the_page_itself_does_not_scroll_sideways(browser: Any) -> None:
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 360, "height": 700, "deviceScaleFactor": 2, "mobile": True},
    )
    try:
        assert browser.execute_script("return document.documentElement.scrollWidth") <= 360
        size = browser.execute_script("return getComputedStyle(document.querySelector('main p')).fontSize")
        assert float(size.removesuffix("px")) >= 14
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_without_scripts_the_static_drawings_stand(tmp_path: Path) -> None:
    driver = start(tmp_path, scripts=False)
    try:
        driver.get(sample_page().as_uri())
        from selenium.webdriver.common.by import By

        drawings = driver.find_elements(By.CSS_SELECTOR, "figure.chart .drawing:not(.live) svg")
        assert len(drawings) >= 6
        assert all(drawing.size["height"] > 40 for drawing in drawings)
    finally:
        driver.quit()
