"""Numbers in words: counts, shares and lists as a race director reads them.

A share is rounded as finely as one more or one fewer miss would show, never finer, and never up to
100 % while something was missed.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence

HARD_SPACE = "\u00a0"
_SMALL = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def say_number(number: int) -> str:
    """``2345`` as ``2,345``."""
    return f"{number:,}"


def say_count(number: int, one: str, many: str | None = None) -> str:
    """``1 runner``, ``2,345 runners``, ``no runners``."""
    noun = one if number == 1 else many or f"{one}s"
    return f"no {noun}" if number == 0 else f"{number:,}{HARD_SPACE}{noun}"


def say_small(number: int, one: str, many: str | None = None) -> str:
    """As ``say_count``, with the numbers below ten as words: ``one line``, ``three lines``."""
    noun = one if number == 1 else many or f"{one}s"
    return f"{_SMALL[number]} {noun}" if number < len(_SMALL) else f"{number:,} {noun}"


def say_list(words: Sequence[str], limit: int = 6) -> str:
    """``a, b and c``; beyond ``limit`` words the rest is counted."""
    if len(words) > limit:
        words = [*words[: limit - 1], f"{len(words) - limit + 1} more"]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def say_days(first: dt.date, last: dt.date) -> str:
    """``from 3 May 2026 to 24 October 2026``, or ``on 3 May 2026`` where it is one day."""
    words = [f"{day.day}{HARD_SPACE}{day:%B %Y}" for day in (first, last)]
    return f"on {words[0]}" if first == last else f"from {words[0]} to {words[1]}"


def start_sentence(words: str) -> str:
    """The first letter large, the rest as it stands."""
    return words[:1].upper() + words[1:]


def share_digits(whole: int) -> int:
    """Digits after the point of a percentage: those that one of ``whole`` would change, 1 to 2."""
    return 2 if whole >= 1000 else 1


def say_share(share: float, whole: int) -> str:
    """A share counted over ``whole`` as a percentage, cut where rounding would say 0 or 100 wrongly."""
    digits = share_digits(whole)
    scale = 10**digits
    percent = round(share * 100 * scale) / scale
    if percent >= 100 and share < 1:
        percent = math.floor(share * 100 * scale) / scale
    elif percent <= 0 and share > 0:
        percent = math.ceil(share * 100 * scale) / scale
    text = f"{percent:.{digits}f}"
    return f"{text.rstrip('0').rstrip('.') if share in (0, 1) else text}{HARD_SPACE}%"


def say_interval(low: float, high: float, whole: int) -> str:
    """``97.12 to 98.90 %``: the lower end rounded down, the upper end up, so that it never shrinks."""
    digits = share_digits(whole)
    scale = 10**digits
    below = math.floor(round(low * 100 * scale, 6)) / scale
    above = math.ceil(round(high * 100 * scale, 6)) / scale
    return f"{below:.{digits}f} to {above:.{digits}f}{HARD_SPACE}%"


def say_target(share: float) -> str:
    """``0.998`` as ``99.8 %``, with the digits that it was stated in."""
    return f"{share * 100:.6g}{HARD_SPACE}%"
