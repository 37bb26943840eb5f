"""The purchase page of a small invented ledger, made once for all the tests that look at it."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from lineproof.ledger import open_ledger
from lineproof.replacement import write_plan
from lineproof.reports import render_purchase
from purchase_ledger import make_ledger


@cache
def purchase_page() -> Path:
    series = Path(mkdtemp(prefix="lineproof-test-"))
    make_ledger(series / "ledger")
    plan = write_plan(open_ledger(series / "ledger"), series)
    return render_purchase(plan, series / "ledger", series / "purchase", lambda _step: None)
