"""The ledger of a season: what every event leaves behind, kept so that no crash and no second process can harm it.

review -> gather (cells, histories, named) -> part -> store (lock, manifest)
                                                         -> opening (lazy tables of all events), checking

ledger = open_ledger("ledger")
ledger.events                                   one row per event
ledger.scan("cells").filter(...).collect()      any table of season_tables.KEPT, over all events
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lineproof.ledger.checking import CheckResult, check_ledger
    from lineproof.ledger.histories import load_histories
    from lineproof.ledger.keeping import Kept, keep_event
    from lineproof.ledger.opening import Ledger, open_ledger, read_whole

# Loaded when first asked for: a season's report, or a check, needs nothing of what reviews an event.
_HOMES = {
    "CheckResult": "checking",
    "Kept": "keeping",
    "Ledger": "opening",
    "check_ledger": "checking",
    "keep_event": "keeping",
    "load_histories": "histories",
    "open_ledger": "opening",
    "read_whole": "opening",
}

__all__ = [
    "CheckResult",
    "Kept",
    "Ledger",
    "check_ledger",
    "keep_event",
    "load_histories",
    "open_ledger",
    "read_whole",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    return __all__
