"""The demo season's report names the items that ail, and neither the rain nor the bad place is taken for one.

What ails stands in ``demo_data/truth/equipment.csv``: ``loss`` is what an item costs in read chance (logit).
"""

from __future__ import annotations

import shutil
from pathlib import Path

import polars as pl
import pytest

from lineproof.ledger import keep_event
from lineproof.season_report import rows
from lineproof.season_report.flow import SeasonReview, review_season

SEASON = Path(__file__).parents[2] / "demo_data"
LEFT_OUT = (
    "04-valley-half",
    "06-fennick-skyline",
    "07-kestrin-marathon",
    "08-harvest-runs",
)  # no antennas there
AILING = {"M17", "M31", "M44", "C09"}
SURE = ["repair or retire", "test"]


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> SeasonReview:
    home = tmp_path_factory.mktemp("season")
    shutil.copytree(SEASON, home / "events", ignore=shutil.ignore_patterns("review", "truth", *LEFT_OUT))
    for event in sorted(path.parent for path in (home / "events").glob("*/event.toml")):
        keep_event(event, home / "ledger")
    return review_season(home / "ledger")


def verdicts(season: SeasonReview) -> dict[str, str]:
    table = rows.to_item_table(season)
    return dict(zip(table["item"], table["verdict"].cast(pl.String), strict=True))


def test_truth_is_as_this_test_believes() -> None:
    laid = pl.read_csv(SEASON / "truth" / "equipment.csv").filter(pl.col("loss") > 1)
    assert set(laid["mat"]) & AILING == {"M17", "M31", "M44"}
    assert set(laid.filter(pl.col("loss") > 100)["cable"]) == {"C09"}


def test_the_dead_cable_and_the_weak_mat_are_called_for(season: SeasonReview) -> None:
    said = verdicts(season)
    assert said["C09"] == "repair or retire"
    assert said["M17"] in SURE
    assert {said["M31"], said["M44"]} <= {*SURE, "watch"}


def test_nothing_sound_is_to_be_repaired_or_retired(season: SeasonReview) -> None:
    called = {item for item, word in verdicts(season).items() if word == "repair or retire"}
    assert called <= AILING


def test_what_lay_in_the_rain_or_in_the_gutter_is_not_called_for(season: SeasonReview) -> None:
    laid = pl.read_csv(SEASON / "truth" / "equipment.csv")
    gutter = (
        (pl.col("line") == "finish-main") & (pl.col("slot") == 1) & pl.col("event").str.contains("evening")
    )
    rain = pl.col("event").is_in(["03-weir-10-mile", "13-canal-evening-4"])
    decoys = set(laid.filter(gutter | rain)["mat"]) - AILING
    said = verdicts(season)
    # A sound mat that lay on C09 may be watched or tested with it; it is never the one to be replaced.
    assert all(said.get(mat) != "repair or retire" for mat in decoys)


def test_the_worst_of_their_kind_come_first(season: SeasonReview) -> None:
    table = rows.to_item_table(season).filter(pl.col("effect").is_not_null()).sort("effect", descending=True)
    assert set(table.filter(kind="mat")["item"].head(3)) & {"M17", "M31", "M44"}
    assert table.filter(kind="cable")["item"].head(1).item() == "C09"


def test_a_lower_hand_test_foretells_misses(season: SeasonReview) -> None:
    """Common practice: below 150 cm a mat, its cable or a joint is bad; the simulation's heights follow the loss."""
    test = season.hand_test
    assert test.factor is not None
    assert test.factor.estimate > 1
