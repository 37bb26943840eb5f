"""Take the pictures of the documents again, from a folder in which the pages' commands ran.

    python docs/pictures.py FOLDER

``FOLDER`` holds ``demo_data`` and ``next-evening`` as they are after the pages' commands.  Needs Chromium with its driver,
and the test extra.
"""

from __future__ import annotations

import base64
import shutil
import sys
from pathlib import Path
from typing import Any

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

PICTURES = Path(__file__).resolve().parent / "pictures"
EVENING, OWL = "demo_data/10-canal-evening-1", "demo_data/unfamiliar/owl-night"
TOP = "document.body"
# name: page, width in CSS pixels, element whose top is the picture's, height
SHOTS: dict[str, tuple[str, int, str, int]] = {
    "review": (f"{EVENING}/review/review.html", 960, TOP, 760),
    "lines": (f"{OWL}/review/review.html", 960, "document.querySelector('figure.chart')", 520),
    "clipboard": ("next-evening/setup-sheets.html", 800, TOP, 1000),
    "ready": (f"{EVENING}/review/ready.html", 400, TOP, 700),
    "season": ("demo_data/season/season.html", 960, TOP, 760),
    "purchase": ("demo_data/purchase/purchase.html", 960, TOP, 900),
}


def take(driver: Any, page: Path, width: int, element: str, height: int) -> bytes:
    """A picture of ``height`` CSS pixels from the top of the element on."""
    size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    driver.get(page.as_uri())
    driver.implicitly_wait(5)
    top = driver.execute_script(f"return Math.max(0, {element}.getBoundingClientRect().top + scrollY - 8)")
    clip = {"x": 0, "y": top, "width": width, "height": height, "scale": 1}
    shot = driver.execute_cdp_cmd("Page.captureScreenshot", {"clip": clip, "captureBeyondViewport": True})
    return base64.b64decode(shot["data"])


def main(folder: Path) -> None:
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or ""
    for word in ("--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"):
        options.add_argument(word)
    driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    try:
        for name, (page, width, element, height) in SHOTS.items():
            path = PICTURES / f"{name}.png"
            path.write_bytes(take(driver, (folder / page).resolve(), width, element, height))
            print(f"written: {path}")
    finally:
        driver.quit()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
