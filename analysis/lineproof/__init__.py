"""Post-event quality analytics for races timed with passive tags and mats.

>>> import lineproof
>>> review = lineproof.review_event("my-event")           # doctest: +SKIP
>>> lineproof.write_results(review, "my-event/review")    # doctest: +SKIP
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from lineproof.late_grammars import let_grammars_sleep

if TYPE_CHECKING:
    from lineproof.draft import write_draft
    from lineproof.errors import LineproofError
    from lineproof.event import load_event
    from lineproof.pipeline import Review, review_event
    from lineproof.reports import render_review
    from lineproof.results import write_results
    from lineproof.simulate import simulate_event

# Loaded when first asked for: the command line answers at once, and nobody pays for what they do not use.
_HOMES = {
    "LineproofError": "errors",
    "Review": "pipeline",
    "load_event": "event",
    "render_review": "reports",
    "review_event": "pipeline",
    "simulate_event": "simulate",
    "write_draft": "draft",
    "write_results": "results",
}

let_grammars_sleep()

__all__ = [
    "LineproofError",
    "Review",
    "load_event",
    "render_review",
    "review_event",
    "simulate_event",
    "write_draft",
    "write_results",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return __all__
