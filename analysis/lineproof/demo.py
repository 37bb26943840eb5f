"""The demo season: made once from its seed, then reviewed event by event."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from lineproof.event import EVENT_FILE
from lineproof.reports import render_review
from lineproof.results import replacing


def review_season(folder: Path, progress: Callable[[str], None]) -> Iterator[Path]:
    """Yield the page of each event as it is written."""
    if not _events(folder):
        from lineproof.simulate import write_season

        progress("demo season: simulating its events")
        with replacing(folder) as scratch:
            write_season(scratch)
    for event in _events(folder):
        yield render_review(event, event / "review", _for_event(event.name, progress))


def _for_event(name: str, progress: Callable[[str], None]) -> Callable[[str], None]:
    return lambda step: progress(f"{name}: {step}")


def _events(folder: Path) -> list[Path]:
    return sorted(path.parent for path in folder.glob(f"*/{EVENT_FILE}"))
