"""Numbers of the season as its tables say them; a dash where there is none."""

from __future__ import annotations

from lineproof.figures import Row
from lineproof.wording import HARD_SPACE, say_interval, say_number, say_share


def said_count(count: float | None) -> str:
    return "–" if count is None else say_number(round(count))


def said_share(share: float | None, whole: float) -> str:
    return "–" if share is None else say_share(share, max(int(whole), 1))


def said_interval(row: Row, low: str, high: str, whole: float) -> str:
    if row[low] is None or row[high] is None:
        return "–"
    return say_interval(row[low], row[high], max(int(whole), 1))


def said_whole(share: float) -> str:
    """A chance or share in whole per cent."""
    return f"{100 * share:.0f}{HARD_SPACE}%"
