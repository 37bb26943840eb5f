"""The season page of a small invented ledger, made once for all the tests that look at it."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path

from lineproof.reports import render_season
from purchase_ledger import make_ledger


@cache
def season_page() -> Path:
    home = Path(tempfile.mkdtemp(prefix="lineproof-season-"))
    make_ledger(home / "ledger")
    return render_season(home / "ledger", home / "season", lambda _step: None)
