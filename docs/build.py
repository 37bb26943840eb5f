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


def build_site(out: Path) -> int:
    """Write the site into ``out``; the exit code is 0 where nothing was wrong."""
    with tempfile.TemporaryDirectory(prefix="lineproof-docs-") as scratch:
        source = Path(scratch) / "docs"
        shutil.copytree(HERE, source, ignore=shutil.ignore_patterns("__pycache__", "build.py"))
        write_pages(source / "reference")
        options = ["-q", "-E", "-W", "--keep-going", "-b", "html", "-d", str(Path(scratch) / "doctrees")]
        return int(build_main([*options, str(source), str(out)]))


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "build" / "docs"
    code = build_site(target)
    if code == 0:
        print(f"written: {target / 'index.html'}")
    sys.exit(code)
