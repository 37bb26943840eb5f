"""Words of the results where a time would stand: kept as a statement, neither a time nor lost."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from event_folders import MERGED, WIDE, load, write_folder
from lineproof.intake.stated import stated_in
from lineproof.pipeline import review_event

WIDE_TABLE = """Bib;Start;5 km;Finish;Status
1;09:30:02;09:52:10;10:15:00;
2;09:30:04;09:55:00;DNF;
3;DNS;;;
4;09:30:05;;;did not finish
5;09:30:06;09:56:00;DSQ;
"""


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ("DNF", "did not finish"), ("d.n.f.", "did not finish"), (" dnf ", "did not finish"), ("(DNF)", "did not finish"),
        ("Did not finish", "did not finish"), ("retired", "did not finish"), ("DNS", "did not start"), ("no-show", "did not start"),
        ("DSQ", None), ("10:15:00", None), ("", None), ("finished", None), ("-", None),
    ],
)  # fmt: skip
def test_words(cell: str, word: str | None) -> None:
    assert pl.DataFrame({"cell": [cell]}).select(stated_in(pl.col("cell"))).item() == word


def test_a_wide_table_states_who_stopped(tmp_path: Path) -> None:
    folder = write_folder(
        tmp_path / "event", WIDE, more='times = "clock"', entries=None, results_csv=WIDE_TABLE
    )
    intake = load(folder)
    assert intake.stated.rows() == [("2", "did not finish"), ("3", "did not start"), ("4", "did not finish")]
    assert intake.rejects.is_empty()
    assert intake.passings.height == 8


def test_merged_rows_with_a_word_are_kept_and_hold_no_time(tmp_path: Path) -> None:
    rows = "Bib,Place,Time\n1,Half way,2026-05-17 09:52:00\n1,finish,2026-05-17 10:15:00\n2,finish,DNF\n3,finish,soon\n"
    folder = write_folder(tmp_path / "event", MERGED, merged_csv=rows)
    intake = load(folder)
    assert intake.stated.rows() == [("2", "did not finish")]
    assert intake.rejects.select("row", "value").rows() == [(5, "soon")]
    exports = intake.account.filter(pl.col("file") == "exports/merged.csv")
    assert exports.select("rows_read", "kept", "rejected", "times").row(0) == (4, 3, 1, 2)
    assert intake.passings.height == 2


def test_a_word_for_nobody_who_is_entered_says_nothing(tmp_path: Path) -> None:
    rows = "Bib,Place,Time\n1,finish,2026-05-17 10:15:00\n99,finish,DNF\n"
    assert load(write_folder(tmp_path / "event", MERGED, merged_csv=rows)).stated.is_empty()


def test_the_review_says_it_beside_the_look_up(tmp_path: Path) -> None:
    folder = write_folder(
        tmp_path / "event", WIDE, more='times = "clock"', entries=None, results_csv=WIDE_TABLE
    )
    lookups = review_event(folder).lookups
    by_runner = {
        row["runner"]: row["evidence"] for row in lookups.filter(point="finish").iter_rows(named=True)
    }
    assert "By the results the runner stopped." in by_runner["2"]
    assert "By the results" not in by_runner["5"]
