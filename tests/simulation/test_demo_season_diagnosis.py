"""The diagnosis of the demo season agrees with its truth: every silent line is found, nothing is named that is not so."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from lineproof.pipeline import Review, review_event
from lineproof.vocabulary import Cause

SEASON = Path(__file__).parents[2] / "demo_data"
EVENTS = sorted(path.name for path in SEASON.iterdir() if (path / "event.toml").is_file())
SILENT = {Cause.INTERRUPTION.value, Cause.BOTH_LINES.value}
# What the truth calls the causes that the diagnosis may name.
TRUE_CAUSES = {
    Cause.INTERRUPTION.value: {"line silent"},
    Cause.BOTH_LINES.value: {"line silent"},
    Cause.SILENT_ANTENNA.value: {"dead mat"},
    Cause.WEAK_ANTENNA.value: {"weak mat", "dead mat"},
}


@pytest.fixture(scope="module", params=EVENTS)
def reviewed(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Review, dict[str, Any]]:
    season = tmp_path_factory.mktemp("season")
    shutil.copytree(SEASON / request.param, season / request.param, ignore=shutil.ignore_patterns("review"))
    shutil.copy(SEASON / "equipment.csv", season)
    truth = json.loads((SEASON / "truth" / f"{request.param}.json").read_text(encoding="utf-8"))
    return review_event(season / request.param), truth


def can_be_seen(fault: dict[str, Any], faults: list[dict[str, Any]], review: Review) -> bool:
    """A results table shows no line that stopped while the other line of its point read on."""
    lines = {line.id for line in review.event.lines_at(fault["point"])}
    silent = {f["line"] for f in faults if f["kind"] == "line silent" and f["begin"] == fault["begin"]}
    here = review.crossings.filter(pl.col("point") == fault["point"])
    return lines <= silent or here["seen_main"].null_count() == 0


def test_every_finding_has_its_fault_and_every_silent_line_its_finding(
    reviewed: tuple[Review, dict[str, Any]],
) -> None:
    review, truth = reviewed
    faults = truth["faults"]
    for row in review.diagnosis.iter_rows(named=True):
        if row["cause"] == Cause.WEAK_TAG.value:
            assert truth["poor_tags"] or any("tag" in fault["kind"] for fault in faults)
            continue
        there = [f for f in faults if f.get("point") == row["point"] and row["line"] in (None, f.get("line"))]
        assert {f["kind"] for f in there} & TRUE_CAUSES[row["cause"]], row["detail"]
    found = review.diagnosis.filter(pl.col("cause").cast(pl.String).is_in(sorted(SILENT)))
    for fault in faults:
        if fault["kind"] == "line silent" and can_be_seen(fault, faults, review):
            assert found.filter(pl.col("point") == fault["point"]).height, fault


def test_the_shares_add_up(reviewed: tuple[Review, dict[str, Any]]) -> None:
    review, _ = reviewed
    explained = int(review.diagnosis["explained"].sum())
    assert explained + review.misses["cause"].null_count() == review.misses.height


def test_clocks_agree_with_the_truth(reviewed: tuple[Review, dict[str, Any]]) -> None:
    review, truth = reviewed
    wrong = {f["line"]: f["value"] for f in truth["faults"] if f["kind"] == "line clock wrong"}
    for row in review.clock_faults.iter_rows(named=True):
        if row["line"] in wrong:
            assert row["looks_like"] == "zone"
            assert abs(row["correction_us"] / 1e6 + wrong[row["line"]]) < 0.1
        else:
            assert row["looks_like"] in ("sound", "cannot tell"), row
