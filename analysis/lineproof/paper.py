"""A page as a PDF, printed by a browser that this computer has anyway; the browser is given no network.

Any browser built on Chromium can print without a window.  Where none is found, one sentence says so, and the page can
still be printed by hand.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from enum import StrEnum
from pathlib import Path

from lineproof.errors import OutputError

BROWSER_SETTING = "LINEPROOF_BROWSER"
LONGEST_S = 180
COMMANDS = (
    "chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge", "microsoft-edge", "brave-browser",
)  # fmt: skip
# Where browsers lie that are not on the path, inside the usual folders for programs.
PLACES = (
    "Google/Chrome/Application/chrome.exe",
    "Microsoft/Edge/Application/msedge.exe",
    "Chromium/Application/chrome.exe",
    "Google Chrome.app/Contents/MacOS/Google Chrome",
    "Chromium.app/Contents/MacOS/Chromium",
    "Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
)
TODO = f"open the page and print it, or name a browser in {BROWSER_SETTING}"


class Paper(StrEnum):
    A4 = "A4"
    LETTER = "Letter"


def find_browser() -> Path:
    """The program that prints: the one named in ``LINEPROOF_BROWSER``, else the first that is found.

    Raises ``OutputError`` where there is none.
    """
    named = os.environ.get(BROWSER_SETTING)
    if named:
        found = shutil.which(named)
        if found is None:
            raise OutputError(f'{BROWSER_SETTING} names "{named}", which is no program here', todo=TODO)
        return Path(found)
    for command in COMMANDS:
        if (found := shutil.which(command)) is not None:
            return Path(found)
    for place in (home / name for home in _homes() for name in PLACES):
        if place.is_file():
            return place
    raise OutputError("no browser was found that can print a PDF", todo=TODO)


def _homes() -> list[Path]:
    if sys.platform == "win32":
        words = (os.environ.get(name) for name in ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA"))
        return [Path(word) for word in words if word]
    return [Path("/Applications"), Path.home() / "Applications"] if sys.platform == "darwin" else []


def write_pdf(page: Path, paper: Paper) -> Path:
    """Print ``page`` on ``paper`` and write the PDF beside it, under the same name; returns its path.

    Raises ``OutputError`` where no browser is found, or where it does not print.
    """
    from lineproof.results import replacing  # late: the command line asks this room for its words only

    browser = find_browser()
    out = page.with_suffix(".pdf")
    with replacing(page.parent) as new, tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as scratch:
        sized = Path(scratch) / "page.html"
        sized.write_text(_on_paper(page.read_text(encoding="utf-8"), paper), encoding="utf-8")
        _print(browser, sized, new / out.name, Path(scratch) / "profile")
    return out


def _on_paper(text: str, paper: Paper) -> str:
    """The page with the size of the paper in its style: the browser's command line knows none."""
    return re.sub(r"@page \{", f"@page {{ size: {paper.value.lower()};", text, count=1)


def _print(browser: Path, page: Path, pdf: Path, profile: Path) -> None:
    command = [
        str(browser), "--headless=new", "--disable-gpu", "--no-first-run", "--disable-background-networking",
        "--disable-extensions", "--host-resolver-rules=MAP * ~NOTFOUND", "--no-pdf-header-footer",
        "--virtual-time-budget=15000", f"--user-data-dir={profile}", f"--print-to-pdf={pdf}", page.as_uri(),
    ]  # fmt: skip
    if sys.platform != "win32" and os.geteuid() == 0:
        command.insert(1, "--no-sandbox")  # the browser's own guard does not work for the administrator
    try:
        done = subprocess.run(command, capture_output=True, timeout=LONGEST_S, check=False)
    except (OSError, subprocess.TimeoutExpired):
        done = None
    if done is None or done.returncode or not pdf.is_file():
        raise OutputError(f'the browser "{browser.name}" did not print the page', todo=TODO)
