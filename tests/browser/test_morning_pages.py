"""The pages of the morning in a browser without network: readable on a phone, one sheet of paper for each line."""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from chromium import needs_chromium, start
from lineproof.morning_files import write_ready, write_sheets
from setup_folders import LINES, fill_good, row_of, write, write_event, write_register

pytestmark = needs_chromium
PAPER = [(8.27, 11.69), (8.5, 11.0)]


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    driver = start(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    series = tmp_path_factory.mktemp("series")
    write_register(series)
    folder = write_event(series / "harbour")
    fill_good(folder)
    book = openpyxl.load_workbook(folder / "setup.xlsx")
    write(book["Mats"], row_of("p1-main", 2), "Hand test up to (cm)", 90)
    write(
        book["Mats"],
        row_of("p2-main", 2),
        "Mat",
        "a-mat-with-a-very-long-name-that-nobody-should-have-given-to-it",
    )
    write(book["Lines"], row_of("p3-main"), "Walk test", None)
    book.save(folder / "setup.xlsx")
    return folder


def test_readiness_fits_a_phone(browser: Any, folder: Path) -> None:
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 380, "height": 800, "deviceScaleFactor": 2, "mobile": True},
    )
    browser.get(write_ready(folder).paths[0].as_uri())
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 380
    sizes = browser.execute_script(
        "return Array.from(document.querySelectorAll('main *')).map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    assert min(sizes) >= 14
    text = browser.execute_script("return document.body.innerText")
    assert "slot 2 (M10) up to 90 cm only" in text
    assert "whether a tag was walked over every mat" in text
    assert "closed road" in text
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


@pytest.mark.parametrize(("width", "height"), PAPER, ids=["A4", "Letter"])
def test_the_clipboard_prints_one_page_for_each_line(
    browser: Any, folder: Path, width: float, height: float
) -> None:
    browser.get(next(p for p in write_sheets(folder).paths if p.suffix == ".html").as_uri())
    assert count_pages(browser, width, height) == len(LINES)


@pytest.mark.parametrize(("width", "height"), PAPER, ids=["A4", "Letter"])
def test_readiness_prints(browser: Any, folder: Path, width: float, height: float) -> None:
    browser.get(write_ready(folder).paths[0].as_uri())
    assert 1 <= count_pages(browser, width, height) <= 4


def count_pages(browser: Any, width: float, height: float) -> int:
    printed = browser.execute_cdp_cmd(
        "Page.printToPDF", {"paperWidth": width, "paperHeight": height, "preferCSSPageSize": False}
    )
    return len(re.findall(rb"/Type\s*/Page\b", base64.b64decode(printed["data"])))
