"""The purchase notebook on a small ledger: plan drafted, page made, files written, nothing from outside."""

from __future__ import annotations

import re
from pathlib import Path

import polars as pl
import pytest

from lineproof.errors import LineproofError
from lineproof.reports import PURCHASE_PAGE, render_purchase
from purchase_ledger import make_ledger
from purchase_page import purchase_page

pytestmark = pytest.mark.xdist_group("purchase page")


def told() -> str:
    """What a reader sees, drawings and definitions left out."""
    text = purchase_page().read_text(encoding="utf-8")
    body = text[text.index("<main") : text.index("</main>")]
    return re.sub(r"<svg.*?</svg>|<script.*?</script>", "", body, flags=re.S)


def test_the_first_page_decides_and_cautions() -> None:
    text = told()
    assert re.search(r"(Buy|Do not buy|Cannot tell yet): ", text)
    assert "no new mat, cable or reader can cure" in text
    assert "not financial advice" in text
    assert "better habits" in text
    first = text[text.rindex("1. For the treasurer") : text.rindex("2. What will go unread")]
    assert first.count("<figure") == 3
    # What no mat can cure is said before any money.
    assert first.index("can cure") < first.index("save")


def test_evidence_faults_and_repairs_stand_per_item() -> None:
    text = told()
    assert "weak antenna at 10 events" in text
    assert "2030-04-01 joint pressed anew" in text
    assert "ASSUMPTION" not in text


def test_the_page_refers_to_nothing_outside() -> None:
    page = purchase_page().read_text(encoding="utf-8")
    assert "default-src 'none'" in page
    body = page[page.index("<main") : page.index("</main>")]
    assert not re.findall(r'(?:src|href)="(?!#)[^"]+"', body)
    assert str(purchase_page().parent) not in page


def test_the_files_lie_beside_the_page() -> None:
    folder = purchase_page().parent
    names = {path.name for path in folder.iterdir()}
    assert names == {PURCHASE_PAGE, "cash_flows.csv", "wishes.csv", "purchase.xlsx"}
    flows = pl.read_csv(folder / "cash_flows.csv")
    assert flows["season"].to_list() == [0, 1, 2, 3, 4, 5]


def test_wrong_paths_are_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(LineproofError) as caught:
        render_purchase(tmp_path / "plan.toml", tmp_path / "none", tmp_path / "out", lambda _step: None)
    assert "\n" not in str(caught.value)
    make_ledger(tmp_path / "ledger")
    with pytest.raises(LineproofError, match="there is no plan"):
        render_purchase(tmp_path / "plan.toml", tmp_path / "ledger", tmp_path / "out", lambda _step: None)
    assert not (tmp_path / "out").exists()
