"""The page of the sample event, made once for all the tests that look at it."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

from lineproof.reports import render_review
from sample_review import write_event


@cache
def sample_folder() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="lineproof-sample-")) / "spring-half"
    folder.mkdir()
    return write_event(folder)


@cache
def told_steps() -> list[str]:
    return []


@cache
def sample_page() -> Path:
    return render_review(sample_folder(), sample_folder() / "review", told_steps().append)
