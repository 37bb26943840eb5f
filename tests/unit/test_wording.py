"""Days in words."""

from __future__ import annotations

import datetime as dt

from lineproof.wording import say_days


def test_one_day_is_one_day() -> None:
    day = dt.date(2026, 10, 24)
    assert say_days(day, day).replace("\u00a0", " ") == "on 24 October 2026"
    assert say_days(dt.date(2026, 5, 3), day).replace("\u00a0", " ") == "from 3 May 2026 to 24 October 2026"
