"""The demo season: made once from its seed, reviewed event by event, kept in a ledger, reported as a season, and a purchase weighed."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from lineproof.event import EVENT_FILE
from lineproof.ledger import keep_event, open_ledger
from lineproof.replacement import write_plan
from lineproof.reports import render_purchase, render_review, render_season
from lineproof.results import replacing

LEDGER, PLAN = "ledger", "plan.toml"
AT_ONCE = 4  # each review has a process of its own, of up to a gigabyte


def run_season(folder: Path, progress: Callable[[str], None]) -> Iterator[Path]:
    """Yield the page of each event as it is written, then the season's and the purchase case's."""
    if not _events(folder):
        from lineproof.simulate import write_season

        progress("demo season: simulating its events")
        with replacing(folder) as scratch:
            write_season(scratch)
    events = _events(folder)
    with ThreadPoolExecutor(min(len(events), os.cpu_count() or 1, AT_ONCE)) as pool:
        yield from pool.map(lambda event: _review(event, progress), events)
    for event in events:
        keep_event(event, folder / LEDGER, progress=_for_event(event.name, progress))
    ledger, plan = folder / LEDGER, folder / PLAN
    yield render_season(ledger, folder / "season", lambda step: progress(f"season: {step}"))
    if not plan.exists():
        write_plan(open_ledger(ledger), folder)
    yield render_purchase(plan, ledger, folder / "purchase", lambda step: progress(f"purchase: {step}"))


def _review(event: Path, progress: Callable[[str], None]) -> Path:
    return render_review(event, event / "review", _for_event(event.name, progress))


def _for_event(name: str, progress: Callable[[str], None]) -> Callable[[str], None]:
    return lambda step: progress(f"{name}: {step}")


def _events(folder: Path) -> list[Path]:
    return sorted(path.parent for path in folder.glob(f"*/{EVENT_FILE}"))
