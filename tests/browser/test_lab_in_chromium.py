"""JupyterLab in a real browser without network: the notebook opens, runs from top to bottom, and shows what it should."""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit

import pytest

from lineproof.lab import Lab, copy_notebooks, find_desk, open_lab
from sample_review import write_event

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
pytestmark = pytest.mark.skipif(
    not (CHROMIUM and DRIVER), reason="Chromium and its driver (chromedriver) are not installed"
)
OPTIONS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1", "--window-size=1400,1400",
)  # fmt: skip
PANEL = ".jp-NotebookPanel:not(.lm-mod-hidden)"
SEEN = f"""
    const panel = document.querySelector('{PANEL} .jp-WindowedPanel-outer');
    window.seen = window.seen || {{charts: new Set(), low: [], errors: [], tables: new Set()}};
    document.querySelectorAll('{PANEL} figure.chart').forEach(f => {{
        const drawing = f.querySelector('svg');
        const title = f.querySelector('.title').textContent;
        const box = drawing ? drawing.getBoundingClientRect() : {{height: 0, width: 0}};
        if (box.height > 40 && box.width > 100) window.seen.charts.add(title); else window.seen.low.push(title);
    }});
    document.querySelectorAll('{PANEL} .table caption').forEach(c => window.seen.tables.add(c.textContent));
    document.querySelectorAll('{PANEL} .jp-OutputArea-output[data-mime-type="application/vnd.jupyter.stderr"], '
        + '{PANEL} .jp-RenderedText[data-mime-type="application/vnd.jupyter.error"]')
        .forEach(e => window.seen.errors.push(e.textContent.slice(0, 400)));
    panel.scrollBy(0, 500);
    return [panel.scrollTop + panel.clientHeight >= panel.scrollHeight - 2, window.seen.charts.size,
            Array.from(window.seen.tables), window.seen.errors, window.seen.low];
"""


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Lab]:
    folder = tmp_path_factory.mktemp("lab") / "spring half"
    folder.mkdir()
    write_event(folder)
    desk = find_desk(folder)
    copies, said = copy_notebooks(desk)
    assert not said
    with open_lab(desk.root, copies[0], browser=False) as running:
        yield running


@pytest.fixture(scope="module")
def browser(lab: Lab, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM or ""
    for word in (*OPTIONS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(word)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    driver.get(lab.url)
    wait_for(driver, f"return document.querySelectorAll('{PANEL} .jp-Cell').length > 3", 120)
    wait_for(driver, idle(), 120)
    yield driver
    driver.quit()


def idle() -> str:
    return (
        f"return document.querySelector('{PANEL} .jp-Notebook-ExecutionIndicator')?.dataset.status === 'idle'"
    )


def wait_for(driver: Any, script: str, seconds: float) -> None:
    end = time.monotonic() + seconds
    while not driver.execute_script(script):
        assert time.monotonic() < end, f"not in {seconds} s: {script}"
        time.sleep(0.25)


def press_menu(driver: Any, menu: str, item: str) -> None:
    from selenium.webdriver.common.by import By

    driver.find_element(By.XPATH, f"//div[contains(@class,'lm-MenuBar-itemLabel')][text()='{menu}']").click()
    wait_for(driver, "return document.querySelector('.lm-Menu') !== null", 10)
    driver.find_element(By.XPATH, f"//div[contains(@class,'lm-Menu-itemLabel')][text()='{item}']").click()


@pytest.fixture(scope="module")
def run(browser: Any) -> Any:
    """Everything run by the menu; what was seen on the way down the page."""
    press_menu(browser, "Run", "Run All Cells")
    numbered = (
        f"return Array.from(document.querySelectorAll('{PANEL} .jp-InputPrompt'))"
        ".some(p => /^\\[\\d+\\]:/.test(p.textContent))"
    )
    wait_for(browser, numbered, 120)
    wait_for(browser, idle(), 400)
    time.sleep(2)
    browser.execute_script(f"document.querySelector('{PANEL} .jp-WindowedPanel-outer').scrollTop = 0")
    for _ in range(200):
        time.sleep(0.15)
        told = browser.execute_script(SEEN)
        if told[0]:
            break
    return told


def test_all_cells_run_and_every_chart_and_table_shows(run: Any) -> None:
    _, charts, tables, errors, _ = run
    assert errors == []
    assert charts >= 6
    assert any("Crossings read by each line" in caption for caption in tables)


def test_a_table_is_sorted_by_pointer_and_by_keyboard(browser: Any, run: Any) -> None:
    from selenium.webdriver.common.by import By
    from selenium.webdriver.common.keys import Keys

    panel = f"document.querySelector('{PANEL} .jp-WindowedPanel-outer')"
    browser.execute_script(f"{panel}.scrollTop = 0")
    find = (
        f"{panel}.scrollBy(0, 200); return Array.from(document.querySelectorAll('{PANEL} .table table[data-sortable]'))"
        ".some(t => t.caption.textContent.includes('Crossings read by each line'))"
    )
    wait_for(browser, find, 30)
    table = browser.find_element(
        By.XPATH, "//table[@data-sortable][caption[contains(., 'Crossings read by each line')]]"
    )
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", table)
    time.sleep(0.5)

    def first_words() -> list[str]:
        return [cell.text for cell in table.find_elements(By.CSS_SELECTOR, "tbody tr > th")]

    before = first_words()
    button = table.find_elements(By.CSS_SELECTOR, "thead button.sort")[0]
    head = button.find_element(By.XPATH, "..")
    button.click()
    assert head.get_attribute("aria-sort") == "ascending"
    assert first_words() == sorted(before, key=_natural)
    button.send_keys(Keys.ENTER)
    assert head.get_attribute("aria-sort") == "descending"
    assert first_words() == sorted(before, key=_natural, reverse=True)
    button.send_keys(Keys.SPACE)
    assert head.get_attribute("aria-sort") == "none"
    assert first_words() == before


def _natural(word: str) -> tuple[Any, ...]:
    import re

    return tuple(
        (0, int(p), "") if p.isdigit() else (1, 0, p.casefold()) for p in re.findall(r"\d+|\D+", word)
    )


def test_nothing_is_asked_of_another_computer_and_nothing_complained_of(
    lab: Lab, browser: Any, run: Any
) -> None:
    entries = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [e["params"]["request"]["url"] for e in entries if e["method"] == "Network.requestWillBeSent"]
    sockets = [e["params"]["url"] for e in entries if e["method"] == "Network.webSocketCreated"]
    away = [
        url
        for url in (*asked, *sockets)
        if urlsplit(url).hostname != "127.0.0.1"
        and not url.startswith(("data:", "blob:", "about:", "chrome:"))
    ]
    assert away == []
    assert sockets, "the kernel was never spoken to"
    complaints = [entry for entry in browser.get_log("browser") if entry["level"] in ("SEVERE", "ERROR")]
    assert complaints == []


def test_without_the_token_there_is_no_way_in(lab: Lab) -> None:
    import urllib.error
    import urllib.request

    parts = urlsplit(lab.url)
    assert parts.hostname == "127.0.0.1"
    assert len(parts.query) > len("token=") + 32
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(f"http://{parts.netloc}/api/contents", timeout=20)
    assert refused.value.code == 403
    refused.value.close()
