"""A review writes the forms, a person fills them in, and the next review rests on what was seen."""

from __future__ import annotations

import csv
from pathlib import Path

import polars as pl
import pytest

from event_folders import write_folder
from lineproof.errors import EventError
from lineproof.pipeline import Review, review_event
from lineproof.results import write_results

FIELD = 60


def export() -> str:
    """Sixty runners at mill and both lines of the finish; 1 is missed at the finish, 2 stopped after mill."""
    rows = ["Tag,Time,Line"]
    for i in range(1, FIELD + 1):
        rows.append(f"A{i},2026-05-17T09:55:{i % 60:02}+01:00,M1")
        if i > 2:
            rows += [
                f"A{i},2026-05-17T10:20:{i % 60:02}+01:00,F1",
                f"A{i},2026-05-17T10:20:{i % 60:02}.9+01:00,F2",
            ]
    return "\n".join(rows) + "\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    entries = "bib,tag\n" + "".join(f"{i},A{i}\n" for i in range(1, FIELD + 1))
    return write_folder(tmp_path_factory.mktemp("seen") / "event", entries=entries, reads_csv=export())


@pytest.fixture(scope="module")
def first(folder: Path) -> Review:
    review = review_event(folder)
    write_results(review, folder / "review")
    return review


def fill_in(form: Path, copy: Path, cells: dict[str, dict[str, str]], key: str) -> None:
    with form.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    with copy.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        for row in rows:
            writer.writerow(row | cells.get(row[key], {}))


def test_the_first_review_leaves_two_runners_open(first: Review) -> None:
    assert sorted(first.lookups.select("runner", "point").rows()) == [("1", "finish"), ("2", "finish")]
    assert first.audit.height > 2
    assert first.sightings.is_empty()


def test_a_filled_in_copy_settles_them_and_the_audit_goes_on_with_its_draw(
    folder: Path, first: Review
) -> None:
    who = {"who": "Ada", "when": "18 May"}
    seen = {"1": {"outcome": "seen", "time_seen": "10:20:31", **who}, "2": {"outcome": "not there", **who}}
    fill_in(folder / "review" / "lookups.csv", folder / "sightings.csv", seen, "runner")
    with (folder / "review" / "audit.csv").open(encoding="utf-8-sig", newline="") as file:
        counts = {row["begin"]: {"crossed": row["flow"], "missed": "0"} for row in csv.DictReader(file)}
    busy = (
        next(begin for begin in counts if "T10:20" in begin)
        if any("T10:20" in b for b in counts)
        else next(iter(counts))
    )
    counts[busy] = {"crossed": "59", "missed": "1"}
    fill_in(folder / "review" / "audit.csv", folder / "sightings-audit.csv", counts, "begin")
    second = review_event(folder)
    assert second.lookups.is_empty()
    assert second.proofs.filter(runner="1", point="finish")["proof"].item() == "camera"
    assert second.proofs.filter(runner="2", point="finish")["proof"].item() == "not there"
    finish = second.rates.filter(
        pl.col("level") == "point",
        pl.col("quantity") == "achieved",
        pl.col("course").is_null(),
        pl.col("point") == "finish",
    ).row(0, named=True)
    assert (finish["evidence"], finish["proven"], finish["detected"]) == ("camera", 59, 58)
    unseen = second.unseen.filter(pl.col("point") == "finish").row(0, named=True)
    assert (unseen["missed_seen_later"], unseen["hidden"], unseen["reason"]) == (1, 0.0, None)
    assert second.audit.drop("crossed", "missed").equals(first.audit.drop("crossed", "missed"))
    result = second.audit_results.row(0, named=True)
    assert (result["minutes"], result["missed"]) == (first.audit.height, 1)
    written = {path.name for path in write_results(second, folder / "review")}
    assert {"audit.csv", "audit_results.csv", "sighted.csv", "mats.csv"} <= written


def test_a_bad_cell_stops_the_review_with_its_row(folder: Path, first: Review) -> None:
    copy = folder / "sightings-bad.csv"
    copy.write_text("bib,point,outcome,time_seen,who,when\n3,finish,sean,,Ada,today\n")
    with pytest.raises(EventError, match=r'sightings-bad\.csv, row 2, column "outcome"'):
        review_event(folder)
    copy.unlink()
