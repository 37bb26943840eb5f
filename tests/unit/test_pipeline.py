"""One event through the whole flow, twice: the reviewer's decisions are applied and shown at the next review."""

from __future__ import annotations

import hashlib
from pathlib import Path

import polars as pl

from event_folders import write_folder
from lineproof.pipeline import review_event
from lineproof.results import write_results

READS = """Tag,Time,Line
A1,2026-05-17T09:55:00+01:00,M1
A1,2026-05-17T10:20:00+01:00,F1
A1,2026-05-17T10:20:02+01:00,F2
A2,2026-05-17T09:30:40+01:00,F1
A2,2026-05-17T09:58:00+01:00,M1
A2,not a time,F1
A9,2026-05-17T10:01:00+01:00,M1
"""


def hashes(folder: Path) -> dict[str, str]:
    files = [folder / "event.toml", folder / "entries.csv", *(folder / "exports").iterdir()]
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def test_a_review_accounts_for_every_row_and_changes_no_file(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "event", reads_csv=READS)
    before = hashes(folder)
    review = review_event(folder)
    assert hashes(folder) == before
    exports = review.account.filter(pl.col("file") == "exports/reads.csv")
    assert exports.select("rows_read", "kept", "blank", "rejected").row(0) == (7, 6, 0, 1)
    assert review.rejects.select("row", "column", "value").row(0) == (7, "Time", "not a time")
    assert review.crossings.select("runner", "point").rows() == [
        ("1", "mill"),
        ("1", "finish"),
        ("2", "mill"),
        # Ten kilometres in 40 seconds: the only read there, so it stands, and the checks name it.
        ("2", "finish"),
    ]
    found = review.findings.filter(pl.col("runner") == "2")["check"].to_list()
    assert "out of order" in found
    assert review.unused.select("tag", "why").rows() == [("A9", "unknown tag")]


def test_decisions_are_applied_and_shown_at_the_next_review(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "event", reads_csv=READS)
    first = review_event(folder)
    key = first.findings.filter(pl.col("check") == "out of order")["key"][0]
    (folder / "decisions.csv").write_text(
        f"key,decision,time,who,when,why\n{key},void,,Referee,2026-05-18,tag lay beside the line\n"
    )
    second = review_event(folder)
    assert second.crossings.select("runner", "point").rows() == [
        ("1", "mill"),
        ("1", "finish"),
        ("2", "mill"),
    ]
    assert second.decisions.select("key", "decision", "rows").row(0) == (key, "void", 1)
    assert "out of order" not in second.findings["check"].to_list()


def test_results_are_the_promised_files(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "event", reads_csv=READS)
    written = {path.name for path in write_results(review_event(folder), tmp_path / "out")}
    assert written >= {
        "findings.csv",
        "rates.csv",
        "lookups.csv",
        "rejects.csv",
        "crossings.parquet",
        "checks.json",
        "account.csv",
        "unused.csv",
    }
    assert pl.read_csv(tmp_path / "out" / "rejects.csv")["row"].to_list() == [7]
