"""Build the site: the pages of this folder, with the reference pages made from the code.

    python docs/build.py [OUT]

``OUT`` is where the site is written, ``build/docs`` if it is not given.  Any warning stops the build.  The source
folder is only read.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from sphinx.cmd.build import build_main

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))

from reference_pages import write_pages  # noqa: E402  beside this file

# What the theme leaves out for those who read by ear or by keyboard.
MENDED = (
    ('role="heading"><span class="caption-text"', 'role="heading" aria-level="2"><span class="caption-text"'),
    ('<aside class="sidebar-drawer">', '<aside class="sidebar-drawer" aria-label="Pages">'),
    ('<aside class="toc-drawer">', '<aside class="toc-drawer" aria-label="On this page">'),
    ("<pre><span></span>", '<pre tabindex="0"><span></span>'),
    ('<div class="table-wrapper', '<div tabindex="0" class="table-wrapper'),
)


def list_further_pages(source: Path) -> None:
    """Give a page that the start page does not list a place at the end of its last list."""
    start = source / "index.md"
    text = start.read_text(encoding="utf-8")
    listed = set(text.split())
    names = sorted(page.stem for page in source.glob("*.md") if page.stem not in ("index", "README"))
    further = [name for name in names if name not in listed]
    head, _, tail = text.rpartition("```")
    start.write_text(head + "".join(f"{name}\n" for name in further) + "```" + tail, encoding="utf-8")


def mend_pages(out: Path) -> None:
    """Name the parts of each page, and let everything that scrolls be reached by keyboard."""
    for page in out.rglob("*.html"):
        text = page.read_text(encoding="utf-8")
        for found, better in MENDED:
            text = text.replace(found, better)
        page.write_text(text, encoding="utf-8")


def build_site(out: Path) -> int:
    """Write the site into ``out``; the exit code is 0 where nothing was wrong."""
    with tempfile.TemporaryDirectory(prefix="lineproof-docs-") as scratch:
        source = Path(scratch) / "docs"
        shutil.copytree(HERE, source, ignore=shutil.ignore_patterns("__pycache__", "build.py"))
        write_pages(source / "reference")
        list_further_pages(source)
        options = ["-q", "-E", "-W", "--keep-going", "-b", "html", "-d", str(Path(scratch) / "doctrees")]
        code = int(build_main([*options, str(source), str(out)]))
    if code == 0:
        mend_pages(out)
    return code


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "build" / "docs"
    code = build_site(target)
    if code == 0:
        print(f"written: {target / 'index.html'}")
    sys.exit(code)
