"""The site of the documents, built once for all the tests that look at it."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from functools import cache
from pathlib import Path

DOCS = Path(__file__).resolve().parents[1] / "docs"


@cache
def site() -> Path:
    out = Path(tempfile.mkdtemp(prefix="lineproof-site-")) / "site"
    done = subprocess.run(
        [sys.executable, str(DOCS / "build.py"), str(out)],
        capture_output=True, text=True, check=False, timeout=600,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "WARNING" not in done.stderr
    return out
