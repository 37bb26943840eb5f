"""The season's report on a small ledger of known truth: rows, words, and the sums that must add up."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl
import pytest

from ledger_parts import small_part, small_tables
from ledger_writer import key_of
from lineproof.errors import LedgerError
from lineproof.ledger.packing import to_part
from lineproof.ledger.store import place
from lineproof.season_report import rows, words
from lineproof.season_report.files import write_season_results
from lineproof.season_report.flow import SeasonReview, review_season
from lineproof.season_report.items import URGENCY
from lineproof.season_tables import KEPT
from purchase_ledger import make_ledger


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> SeasonReview:
    folder = tmp_path_factory.mktemp("season") / "ledger"
    make_ledger(folder)
    return review_season(folder)


@pytest.fixture(scope="module")
def explained(tmp_path_factory: pytest.TempPathFactory) -> SeasonReview:
    """Two events: one with a finding of 7 of 10 misses at a recorded slot, one without a record."""
    folder = tmp_path_factory.mktemp("explained") / "ledger"
    tables = small_tables("spring", 10.0)
    miss = {
        "event": "spring", "point": "finish", "line": "finish-main", "role": "main", "course": "c", "order": 1,
    }  # fmt: skip
    tables["miss_counts"] = KEPT["miss_counts"].shape_rows(
        [
            {**miss, "cause": "silent antenna", "finding": 1, "both": False, "misses": 6},
            {**miss, "cause": "silent antenna", "finding": 1, "both": True, "misses": 1},
            {**miss, "cause": None, "finding": None, "both": False, "misses": 3},
        ]
    )
    tables["diagnosis"] = KEPT["diagnosis"].shape_rows(
        [
            {
                "event": "spring", "finding": 1, "cause": "silent antenna", "point": "finish", "line": "finish-main",
                "slot": 1, "antenna": 1, "items": "mat M1, cable C1", "tried": 40, "missed": 8, "usual": 1.0,
                "explained": 7, "chance": 1e-6, "false_share": 1e-4, "agree": "no walk test", "detail": "…",
            }
        ]
    )  # fmt: skip
    tables["laid_mats"] = KEPT["laid_mats"].shape_rows(
        [
            {
                "event": "spring", "line": "finish-main", "slot": 1, "mat": "M1", "cable": "C1",
                "file": "setup.xlsx", "sheet": "mats", "row": 4,
            }
        ]
    )  # fmt: skip
    day = dt.date(2026, 3, 1)
    place(folder, to_part("spring", day.isoformat(), key_of("spring", 1), tables))
    place(folder, small_part("summer", 2, dt.date(2026, 7, 1)))
    return review_season(folder)


def test_every_item_has_one_row_and_the_urgent_ones_come_first(season: SeasonReview) -> None:
    table = rows.to_item_table(season)
    assert table["item"].is_unique().all()
    ranks = [URGENCY.index(word) for word in table["verdict"].cast(pl.String)]
    assert ranks == sorted(ranks)


def test_what_is_drawn_is_the_share_missed_with_its_ends_in_order(season: SeasonReview) -> None:
    drawn = rows.to_item_rows(season)
    assert drawn.height
    assert drawn.filter(~pl.col("rate").is_between("rate_low", "rate_high")).is_empty()


def test_the_reasons_add_up_to_all_misses(explained: SeasonReview) -> None:
    causes = rows.to_cause_rows(explained)
    assert causes.select("label", "misses", "both", "events").rows() == [
        ("silent antenna", 7, 1, 1),
        ("no reason found", 3, 0, 1),
    ]
    assert "no reason was found for 3 (30.0\u00a0%)" in words.say_causes(explained)


def test_a_finding_leads_to_the_row_of_its_record_and_to_its_items(explained: SeasonReview) -> None:
    finding = rows.to_explained_rows(explained).row(0, named=True)
    assert finding["record"] == "setup.xlsx, sheet mats, row 4"
    assert finding["where"] == "finish-main, slot 1"
    assert rows.to_item_causes(explained).rows() == [
        ("cable C1", "silent antenna", 7, 1),
        ("mat M1", "silent antenna", 7, 1),
    ]


def test_without_a_record_no_item_is_judged_and_the_page_says_why(explained: SeasonReview) -> None:
    assert explained.items is None
    assert "no set-up record" in words.say_items(explained)
    assert rows.to_item_rows(explained).is_empty()


def test_a_folder_without_a_ledger_is_said_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match="ledger"):
        review_season(tmp_path)


def test_the_tables_are_written_beside_the_page(season: SeasonReview, tmp_path: Path) -> None:
    paths = write_season_results(season, tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {path.name for path in paths}
    items = pl.read_csv(tmp_path / "season_items.csv")
    assert items.height == rows.to_item_table(season).height
