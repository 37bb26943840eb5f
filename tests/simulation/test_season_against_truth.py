"""The item model on seasons with known truth; few seasons, so that a change that breaks it fails.

The limits are those of ``benchmarks/season.py`` (200 seasons), less two Monte Carlo standard errors of these few.
"""

from __future__ import annotations

import polars as pl
import pytest

from lineproof.season.effects import ItemModel, estimate_items
from lineproof.season.hand_test import estimate_hand_test
from lineproof.simulate.season_cells import CellPlan, TrueItems, simulate_cells

SEEDS = range(6201, 6207)


@pytest.fixture(scope="module")
def seasons() -> list[tuple[ItemModel, TrueItems]]:
    """30 events, 60 items, 3 bad, 5 decaying; two mats never leave bad places, two are only taken out in rain."""
    plan = CellPlan(settled=2, rain_mats=2, bad_places=2)
    truths = [simulate_cells(plan, seed) for seed in SEEDS]
    return [(estimate_items(truth.cells), truth) for truth in truths]


def beside_truth(seasons: list[tuple[ItemModel, TrueItems]]) -> pl.DataFrame:
    return pl.concat(
        model.items.join(
            truth.items.select("item", "class", true="rate"), on="item", how="inner", validate="1:1"
        ).with_columns(
            season=pl.lit(number),
            place=pl.col("effect").rank("ordinal", descending=True),
            grows=pl.col("item").is_in([item for item, trend in model.trends.items() if trend.found]),
        )
        for number, (model, truth) in enumerate(seasons)
    )


def test_bad_and_decaying_items_are_named_and_sound_ones_are_not_accused(seasons: list) -> None:
    rows = beside_truth(seasons)
    bad, decaying = rows.filter(pl.col("class") == "bad"), rows.filter(pl.col("class") == "decaying")
    assert (bad["place"] <= 5).mean() >= 0.95
    assert (bad["verdict"] == "repair or retire").mean() >= 0.9
    assert decaying["grows"].mean() >= 0.8 - 2 * (0.8 * 0.2 / decaying.height) ** 0.5
    sound = rows.filter(pl.col("class") == "sound")
    assert not (sound["verdict"] == "repair or retire").any()
    assert sound["grows"].mean() < 0.03


def test_bad_places_and_bad_weather_are_not_held_against_an_item(seasons: list) -> None:
    rows = beside_truth(seasons).filter(pl.col("class") == "sound")
    settled = rows.filter(pl.col("item").is_in(["M001", "M002"]))
    assert (settled["verdict"] == "cannot tell").all()
    assert settled["bound_to"].str.starts_with("p1-main slot").all()
    assert settled["rate"].null_count() == settled.height
    rainy = rows.filter(pl.col("item").is_in(["M003", "M004"]))
    assert rainy["verdict"].is_in(["sound", "cannot tell"]).all()


def test_true_rates_lie_in_their_intervals(seasons: list) -> None:
    told = beside_truth(seasons).drop_nulls("rate")
    inside = told["true"].is_between(told["rate_low"], told["rate_high"]).mean()
    assert inside >= 0.92 - 2 * (0.95 * 0.05 / told.height) ** 0.5


def test_the_hand_test_foretells_what_it_was_made_to_foretell() -> None:
    """25 cm less for one logit, with scatter of 6 cm: about 1.3 times the odds for 10 cm; without, nothing."""
    found = [estimate_hand_test(simulate_cells(CellPlan(), seed).cells) for seed in (6301, 6302, 6303)]
    assert all(one.foretells for one in found)
    assert all(one.factor is not None and one.factor.low < 1.45 and one.factor.high > 1.2 for one in found)
    nothing = [
        estimate_hand_test(simulate_cells(CellPlan(test_slope=0.0), seed).cells)
        for seed in (6301, 6302, 6303)
    ]
    assert not any(one.foretells for one in nothing)
