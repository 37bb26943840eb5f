"""A real Chromium for the tests that look at pages: no network, its complaints and requests on record."""

from __future__ import annotations

import base64
import shutil
import time
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
needs_chromium = pytest.mark.skipif(
    not (CHROMIUM and DRIVER), reason="Chromium and its driver (chromedriver) are not installed"
)
needs_poppler = pytest.mark.skipif(
    not (shutil.which("pdftotext") and shutil.which("pdfinfo")), reason="poppler's tools are not installed"
)
OPTIONS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run",
    "--host-resolver-rules=MAP * ~NOTFOUND", "--window-size=1000,1400",
)  # fmt: skip


def start(profile: Path, *, scripts: bool = True) -> Any:
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM or ""
    for word in (*OPTIONS, f"--user-data-dir={profile}"):
        options.add_argument(word)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    if not scripts:
        options.add_experimental_option("prefs", {"profile.managed_default_content_settings.javascript": 2})
    return webdriver.Chrome(options=options, service=Service(DRIVER))


def wait_for(driver: Any, script: str, seconds: float = 30) -> None:
    end = time.monotonic() + seconds
    while not driver.execute_script(script) and time.monotonic() < end:
        time.sleep(0.1)
    time.sleep(1)


def show_at(driver: Any, page: Path, width: int, height: int = 900) -> None:
    """Open ``page`` in a window of that many CSS pixels, a phone's width too."""
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False},
    )
    driver.get(page.as_uri())


def print_page(driver: Any, page: Path, width: float, height: float, out: Path) -> Path:
    """Print ``page`` on paper of that many inches, with the margins of its own style sheet."""
    driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    driver.get(page.as_uri())
    wait_for(driver, "return document.querySelectorAll('.drawing.live svg').length")
    printed = driver.execute_cdp_cmd("Page.printToPDF", {"paperWidth": width, "paperHeight": height})
    out.write_bytes(base64.b64decode(printed["data"]))
    return out


def violations(driver: Any) -> list[str]:
    """What the accessibility engine axe finds against WCAG 2.2, levels A and AA, and good practice."""
    found = find_spec("axe_playwright_python")
    assert found
    assert found.origin
    engine = next(Path(found.origin).parent.rglob("axe.min.js"))
    driver.execute_script(engine.read_text("utf-8"))
    driver.set_script_timeout(120)
    result = driver.execute_async_script(
        "const done = arguments[0];"
        "axe.run(document, {preload: false, runOnly: {type: 'tag', values: "
        "['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}}).then(done)"
    )
    return [f"{v['id']}: {node['html'][:120]}" for v in result["violations"] for node in v["nodes"]]


def complaints(driver: Any) -> list[str]:
    return [
        entry["message"] for entry in driver.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")
    ]
