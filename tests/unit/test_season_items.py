"""The item model and what stands around it, on seasons small enough to be checked by eye."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from lineproof.season.cell_likelihood import binomial_curve, scattered_curve
from lineproof.season.connectivity import estimate_connectivity, to_swaps
from lineproof.season.crossed_model import Cells, Factor, Spreads, estimate_crossed, estimate_given_spreads
from lineproof.season.design import to_conditions, to_design, to_item_cells
from lineproof.season.effects import estimate_items, level_shift, season_settings
from lineproof.season.item_table import among_worst
from lineproof.season.standardising import to_common_conditions, to_rates
from lineproof.season.trends import false_discovery, own_evidence, to_uses
from lineproof.season.verdicts import Known, Verdict, accused, to_verdicts
from unit.season_cells import cell, season, turning

MATS = ["M1", "M2", "M3", "M4", "M5", "M6"]


@given(st.floats(-6, 2), st.floats(0.05, 2), st.integers(1, 400), st.floats(0, 1))
def test_slope_and_curvature_are_those_of_the_likelihood(
    eta: float, spread: float, tried: int, share: float
) -> None:
    missed = np.array([float(round(share * tried))])
    n, width = np.array([float(tried)]), 1e-4
    low, here, high = (
        scattered_curve(np.array([eta + by]), missed, n, spread) for by in (-width, 0.0, width)
    )
    assert here.slope[0] == pytest.approx((high.value[0] - low.value[0]) / (2 * width), rel=1e-4, abs=1e-4)
    bend = (low.slope[0] - high.slope[0]) / (2 * width)
    if bend > 1e-3:
        assert here.weight[0] == pytest.approx(bend, rel=1e-3, abs=1e-4)


def test_little_scatter_is_nearly_binomial() -> None:
    eta, missed, tried = np.array([-3.0, -1.0]), np.array([2.0, 9.0]), np.array([50.0, 40.0])
    close, exact = scattered_curve(eta, missed, tried, 0.011), binomial_curve(eta, missed, tried)
    np.testing.assert_allclose(close.value, exact.value, atol=5e-3)
    np.testing.assert_array_equal(scattered_curve(eta, missed, tried, 0.0).value, exact.value)


def test_with_known_spreads_and_one_factor_it_is_penalised_regression() -> None:
    """Two levels, no scatter of cells: the mode solves the two score equations; checked by hand-made Newton."""
    missed, tried = np.array([2.0, 8.0]), np.array([100.0, 100.0])
    cells = Cells(
        missed,
        tried,
        np.ones((2, 1)),
        ("usual",),
        np.zeros(1),
        (Factor("mat", ("a", "b"), np.array([0, 1])),),
    )
    found = estimate_given_spreads(cells, Spreads({"mat": 0.5}, 1.0, 1e-3))
    # The two effects are opposite, u and -u, and the scores balance.
    u = 0.3
    for _ in range(50):
        p = special.expit(found.fixed[0] + np.array([-u, u]))
        u += ((missed - tried * p)[1] - u / 0.25) / (tried * p * (1 - p))[1] / 2
    p = special.expit(found.fixed[0] + np.array([-u, u]))
    assert (missed - tried * p).sum() == pytest.approx(0, abs=1e-3)


def test_a_nested_factor_gives_the_same_as_the_same_factor_not_nested() -> None:
    rng = np.random.default_rng(5)
    index, day = np.arange(60) % 6, np.arange(60) // 6
    tried = np.full(60, 200.0)
    missed = rng.binomial(200, special.expit(-3 + rng.normal(0, 0.5, 6)[index] + rng.normal(0, 0.4, 10)[day]))
    mat = Factor("mat", tuple("abcdef"), index)
    days = Factor("day", tuple(f"d{k}" for k in range(10)), day)
    fixed = (np.ones((60, 1)), ("usual",), np.zeros(1))
    plain = estimate_crossed(Cells(missed.astype(float), tried, *fixed, (mat, days)))
    nested = estimate_crossed(Cells(missed.astype(float), tried, *fixed, (mat,), days))
    np.testing.assert_allclose(plain.of("mat")[0], nested.of("mat")[0], atol=5e-3)
    np.testing.assert_allclose(plain.of("mat")[1], nested.of("mat")[1], atol=5e-3)
    assert plain.spreads.factors["day"] == pytest.approx(nested.spreads.nested, rel=0.03)


def test_a_cell_never_tried_is_refused() -> None:
    cells = Cells(np.zeros(1), np.zeros(1), np.ones((1, 1)), ("usual",), np.zeros(1), ())
    with pytest.raises(ValueError, match="crossings tried"):
        estimate_crossed(cells)


def test_a_line_counts_by_its_slots_else_as_a_whole() -> None:
    rows = season(
        cell(1, "p1-main", 0, None, 3, tried=200),
        cell(1, "p1-main", 1, "M1", 1),
        cell(1, "p1-main", 2, "M2", 2),
        cell(1, "p1-backup", 0, None, 4, tried=200),
        cell(2, "p1-main", 1, "M1", 0, tried=0),
    )
    used = to_item_cells(rows)
    assert used.select("line", "slot", "place").rows() == [
        ("p1-backup", 0, "p1-backup"),
        ("p1-main", 1, "p1-main slot 1"),
        ("p1-main", 2, "p1-main slot 2"),
    ]


def test_conditions_have_the_commonest_level_as_base_and_name_what_was_not_recorded() -> None:
    rows = season(
        cell(1, "p1-main", 1, "M1", weather="dry", flow=20.0),
        cell(1, "p1-main", 2, "M2", weather="dry", flow=40.0),
        cell(2, "p1-main", 1, "M1", weather="rain", flow=None),
        cell(3, "p1-main", 1, "M1", weather=None, flow=40.0),
    )
    fixed, names = to_conditions(to_item_cells(rows))
    assert names == ("usual", "weather: not recorded", "weather: rain", "flow, doubled", "flow: not recorded")
    np.testing.assert_allclose(fixed[:, 3], np.array([-2 / 3, 1 / 3, 0, 1 / 3]))


def test_what_never_moved_is_bound_to_its_place() -> None:
    fixed = [cell(event, "p2-main", 1, "M9") for event in range(6)]
    used = to_item_cells(season(*turning(6, MATS, {}), *fixed))
    found = estimate_connectivity(used)
    assert found["M9"].bound_places == ("p2-main slot 1",)
    assert "exchange M9 and M" in (found["M9"].swap or "")
    assert not any(found[mat].bound for mat in MATS)
    assert to_swaps(found)["item"].to_list() == ["M9"]


def test_a_mat_and_its_own_cable_are_named_as_a_pair() -> None:
    rows = season(*(row | {"cable": "C" + row["mat"][1:]} for row in turning(6, MATS, {})))
    found = estimate_connectivity(to_item_cells(rows))
    assert found["M2"].bound_items == ("cable C2",)
    assert found["C2"].bound_items == ("mat M2",)


def test_one_exchange_separates_a_pair() -> None:
    rows = [row | {"cable": "C" + row["mat"][1:]} for row in turning(6, MATS, {})]
    swapped = {"M1": "C2", "M2": "C1"}
    rows = [
        row | {"cable": swapped.get(row["mat"], row["cable"])} if row["event"] == "e03" else row
        for row in rows
    ]
    found = estimate_connectivity(to_item_cells(season(*rows)))
    assert not found["M1"].bound
    assert found["M3"].bound


def test_common_conditions_keep_the_mean_of_the_season() -> None:
    rest, tried = np.array([-4.0, -2.0, -3.0]), np.array([100.0, 50.0, 50.0])
    conditions = to_common_conditions("mat", rest, tried)
    mean = np.average(rest, weights=tried)
    assert conditions.logits.mean() == pytest.approx(mean)
    rate = to_rates(conditions, np.array([0.0]))[0]
    assert rate == pytest.approx(1 - np.average(special.expit(rest), weights=tried), abs=1e-6)
    assert to_rates(conditions, np.array([1.0]))[0] < rate


def test_the_level_makes_expected_misses_equal_those_counted() -> None:
    eta, tried, missed = np.array([-3.0, -2.0]), np.array([100.0, 100.0]), np.array([7.0, 20.0])
    shift = level_shift(eta, missed, tried)
    assert (tried * special.expit(eta + shift)).sum() == pytest.approx(27)
    assert level_shift(eta, np.zeros(2), tried) == 0.0


def test_false_discovery_follows_the_steps() -> None:
    """0.20 of five: limits 0.04, 0.08, 0.12, 0.16, 0.20; the third passes, so the first three stand."""
    chances = np.array([0.5, 0.05, 0.11, 0.03, 0.9])
    assert false_discovery(chances, 0.2).tolist() == [False, True, True, True, False]


def test_the_prior_is_taken_off_again() -> None:
    """Estimate 1 with error 0.5 under a prior of spread 1 is 0.8 with variance 0.2."""
    estimate, error = own_evidence(np.array([0.8, 0.3]), np.array([0.2, 1.0]), 1.0)
    assert estimate[0] == pytest.approx(1.0)
    assert error[0] == pytest.approx(0.5)
    assert np.isinf(error[1])


def test_uses_count_the_events_of_an_item() -> None:
    rows = season(
        cell(1, "p1-main", 1, "M1"),
        cell(1, "p2-main", 1, "M2"),
        cell(3, "p1-main", 1, "M2"),
        cell(5, "p1-main", 1, "M1"),
        cell(6, "p1-main", 1, None),
    )
    assert to_uses(to_item_cells(rows), "mat")["use"].to_list() == [1, 1, 2, 2, None]


def test_among_worst_takes_a_fifth_at_most() -> None:
    draws = np.array([[3.0, 2.0, 1.0, 0.0, -1.0], [2.0, 3.0, 1.0, 0.0, -1.0]])
    assert among_worst(draws, 5).tolist() == [0.5, 0.5, 0.0, 0.0, 0.0]


def known(worse: float, **more: object) -> Known:
    facts: dict = {
        "above": 0.95,
        "error": 0.2,
        "grows": False,
        "bound_items": False,
        "bound_places": False,
        "alone": False,
    }
    return Known(worse, **{**facts, **more})


@pytest.mark.parametrize(
    ("one", "word"),
    [
        (known(0.999), Verdict.REPAIR),
        (known(0.7), Verdict.TEST),
        (known(0.2), Verdict.WATCH),
        (known(0.2, above=0.6), Verdict.CANNOT_TELL),
        (known(0.01), Verdict.SOUND),
        (known(0.01, error=0.8), Verdict.CANNOT_TELL),
        (known(0.01, grows=True), Verdict.TEST),
        (known(0.999, bound_places=True), Verdict.CANNOT_TELL),
        (known(0.01, bound_places=True), Verdict.SOUND),
        (known(0.999, bound_items=True), Verdict.TEST),
        (known(0.0, alone=True), Verdict.CANNOT_TELL),
    ],
)
def test_words(one: Known, word: Verdict) -> None:
    assert to_verdicts([one], 0.05, np.log(2)) == [word]


def test_the_accused_share_one_allowance() -> None:
    worse = np.array([0.97, 0.99, 0.98, 0.5])
    assert accused(worse, 0.05).tolist() == [False, True, True, False]


def test_a_bad_mat_is_named_and_the_row_order_does_not_matter() -> None:
    rows = season(*turning(12, MATS, {"M3": 15}), *turning(12, MATS[::-1], {"M3": 15}, "p2-main"))
    model = estimate_items(rows)
    items = model.items.filter(pl.col("kind") == "mat")
    assert items.sort("effect", descending=True)["item"][0] == "M3"
    assert items.filter(pl.col("item") == "M3")["verdict"][0] == "repair or retire"
    assert (items.filter(pl.col("item") != "M3")["verdict"] == "sound").all()
    again = estimate_items(rows.sample(fraction=1.0, shuffle=True, seed=3))
    assert again.items.equals(model.items)


def test_few_crossings_are_no_proof_of_soundness() -> None:
    rows = season(
        *turning(8, MATS, {}), *turning(8, MATS, {}, "p2-main"), cell(9, "p1-main", 1, "M7", 0, tried=5)
    )
    row = estimate_items(rows).items.filter(pl.col("item") == "M7").row(0, named=True)
    assert row["verdict"] == "cannot tell"


def test_the_only_reader_has_nothing_to_be_compared_with() -> None:
    rows = season(*(row | {"reader": "R1"} for row in turning(6, MATS, {})))
    row = estimate_items(rows).items.filter(pl.col("item") == "R1").row(0, named=True)
    assert row["rate"] is None
    assert row["verdict"] == "cannot tell"
    assert "only one" in row["reason"]


def test_no_cells_is_said() -> None:
    with pytest.raises(ValueError, match="no line of the season"):
        estimate_items(season(cell(1, "p1-main", 1, "M1", 0, tried=0)))


def test_an_unknown_setting_is_refused() -> None:
    with pytest.raises(KeyError, match="no season setting"):
        season_settings({"worst": 3})


def test_a_season_without_any_miss_accuses_nobody() -> None:
    rows = season(*(row | {"missed": 0.0, "missed_at_work": 0.0} for row in turning(6, MATS, {})))
    items = estimate_items(rows).items
    assert set(items["verdict"].unique()) <= {"sound", "cannot tell"}


def test_design_leaves_out_a_factor_of_one_level() -> None:
    design = to_design(to_item_cells(season(*turning(3, MATS, {}))))
    assert [factor.name for factor in design.cells.factors] == ["mat", "event", "place"]
