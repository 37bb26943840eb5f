"""Main against backup, misses that go together, weak tags by batch: counts small enough to check by hand."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from lineproof.detection.line_pairs import compare_all_lines
from lineproof.event_report import pair_page, shown
from lineproof.tables import PROOFS
from lineproof.unseen_tables import LINE_PAIRS, WEAK_SHARES
from sample_review import make_line_pairs, make_review, make_unseen, make_weak_shares
from unit.small_event import at, small_event

STOPS = (("start", 0.0), ("finish", 10000.0))


def crossing(runner: int, main: bool | None, backup: bool | None, order: int = 0) -> dict[str, object]:
    point, at_m = STOPS[order]
    seen = bool(main or backup)
    return {
        "runner": f"{runner:04d}", "course": "road", "wave": "A", "point": point, "order": order, "visit": 1,
        "at_m": at_m, "seen_later": not seen, "proof": "seen" if seen else "proven", "seen_main": main,
        "seen_backup": backup, "time": at("09:30:00") if seen else None, "about": at("09:30:00"),
    }  # fmt: skip


def proofs_of(both: int, main: int, backup: int, neither: int, order: int = 0) -> pl.DataFrame:
    flags = (
        [(True, True)] * both + [(True, False)] * main + [(False, True)] * backup + [(False, False)] * neither
    )
    return PROOFS.shape_rows([crossing(i, *pair, order) for i, pair in enumerate(flags)])


def test_lines_are_compared_by_those_whom_one_alone_read() -> None:
    """12 against 4: two-sided binomial 2 * (1 + 16 + 120 + 560 + 1820) / 65536 = 0.0768; ratio 92/84."""
    found = LINE_PAIRS.check(compare_all_lines(proofs_of(80, 12, 4, 3), small_event(STOPS)))
    start, finish, whole = found.rows(named=True)
    assert (start["both"], start["main_only"], start["backup_only"], start["neither"]) == (80, 12, 4, 3)
    assert start["chance"] == pytest.approx(2 * 2517 / 65536)
    assert start["ratio"] == pytest.approx(92 / 84)
    assert start["ratio_low"] < 92 / 84 < start["ratio_high"]
    assert start["hidden"] == pytest.approx(12 * 4 / 80)
    assert start["reason"] is None
    # All 99 but the 96 read here are known by later reads alone: no runner read here is, so nothing goes together.
    assert (whole["point"], whole["both"], whole["together"]) == (None, 80, None)
    assert finish["reason"] == "no crossing tells what both lines did"
    assert finish["ratio"] is None


def test_crossings_of_which_one_line_is_not_told_are_not_counted() -> None:
    rows = pl.concat([proofs_of(20, 2, 2, 0), PROOFS.shape_rows([crossing(99, True, None)])])
    assert compare_all_lines(rows, small_event(STOPS))["both"].to_list() == [20, 0, 20]


def test_misses_go_together_as_far_as_later_reads_show() -> None:
    """Of 100 read later: 80 * 6 / (10 * 4) = 12; Woolf's interval, exp(log 12 +- 1.96 sqrt(1/80 + 1/10 + 1/4 + 1/6))."""
    rows = proofs_of(80, 10, 4, 6).with_columns(seen_later=pl.lit(value=True))
    start, _, whole = compare_all_lines(rows, small_event(STOPS)).rows(named=True)
    assert start["together"] == whole["together"] == pytest.approx(12.0)
    half = 1.959964 * (1 / 80 + 1 / 10 + 1 / 4 + 1 / 6) ** 0.5
    assert start["together_low"] == pytest.approx(12.0 * 2.718281828**-half, rel=1e-6)
    assert start["together_high"] == pytest.approx(12.0 * 2.718281828**half, rel=1e-6)


def test_a_line_that_only_fills_in_is_not_compared() -> None:
    row = compare_all_lines(proofs_of(0, 90, 10, 0), small_event(STOPS)).row(0, named=True)
    assert "filled in" in row["reason"]
    assert row["chance"] is None


def test_the_words_say_which_line_read_more_and_only_beyond_luck(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    assert "At no point" in pair_page.say_pairs(review)
    far = make_line_pairs().with_columns(
        chance=pl.when(pl.col("point") == "finish").then(1e-5).otherwise(0.4),
        ratio=pl.when(pl.col("point") == "finish").then(0.9).otherwise(1.0),
    )
    assert (
        pair_page.say_pairs(make_review(tmp_path, line_pairs=far))
        == "Backup read more at Finish, by more than luck."
    )
    assert (
        "under 1 in 1,000"
        in pair_page.pair_table(shown.to_pair_rows(make_review(tmp_path, line_pairs=far))).html
    )
    assert pair_page.say_pairs(make_review(tmp_path, line_pairs=LINE_PAIRS.empty())) == ""


def test_hidden_misses_grow_with_the_odds_and_the_model_stands_beside(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    rows = shown.to_together_rows(review)
    # 19 * 21 / 360 = 1.108 if unrelated; only the finish is the end of a course
    assert rows["label"].unique().to_list() == ["Finish"]
    assert rows.filter(pl.col("times") == 10)["hidden"].item() == pytest.approx(10 * 19 * 21 / 360)
    (sentence,) = pair_page.say_together(rows)
    assert "1.1 crossings were missed by both" in sentence
    assert "do not tell which" in sentence  # the sample's finish is refused
    told = make_unseen().with_columns(hidden=pl.lit(3.0), hidden_low=pl.lit(1.0), hidden_high=pl.lit(7.0))
    rows = shown.to_together_rows(make_review(tmp_path, unseen=told))
    assert "whole records say 3 (1 to 7)" in pair_page.say_together(rows)[0]
    assert pair_page.together_chart(rows).to_dict()["usermeta"]["caption"].startswith("Line with dots")
    assert "missed by the other 12 times as readily (in odds; 4.2 to 34)" in pair_page.say_dependence(review)
    assert "No finish" in pair_page.together_chart(rows.clear()).html


def test_weak_tags_by_batch_are_shown_where_there_are_two(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    html = pair_page.weak_table(shown.to_weak_rows(review)).html
    assert html.index("batch spring 2") < html.index("batch spring 1")
    one = make_review(tmp_path, weak_shares=make_weak_shares().head(1))
    assert "does not name two" in pair_page.weak_table(shown.to_weak_rows(one)).html


def test_sample_frames_keep_their_contracts() -> None:
    LINE_PAIRS.check(make_line_pairs())
    WEAK_SHARES.check(make_weak_shares())
