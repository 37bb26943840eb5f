"""Charts, change points, hand tests, comparisons and line rates on seasons small enough to be checked by eye."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest
from scipy import stats

from lineproof.season.change_points import (
    adjusted_chances,
    changed_facts,
    clearest_cut,
    estimate_change_points,
    estimate_season_trends,
)
from lineproof.season.comparisons import compare_habits, compare_models, compare_seasons
from lineproof.season.control_charts import cusum_chart, ewma_chart, funnel, laney_chart
from lineproof.season.effects import ItemModel, estimate_items
from lineproof.season.hand_test import estimate_concordance, estimate_hand_test
from lineproof.season.line_rates import to_line_history, to_line_season
from lineproof.season.matched import Unit, estimate_common_odds
from lineproof.season.monitoring import monitor_season, to_funnel, to_scores
from lineproof.season.shrinkage import between_variance, shrink_normal, shrink_shares
from lineproof.season_result_tables import COMPARISONS
from lineproof.tables import RATES
from unit.season_cells import cell, season, turning

MATS = ["M1", "M2", "M3", "M4", "M5", "M6"]


@pytest.fixture(scope="module")
def model() -> ItemModel:
    """Mat M3 misses 1 of 100 up to its eighth event and 12 from then on, wherever it lies."""
    rows = []
    for line in ("p1-main", "p2-main"):
        for row in turning(16, MATS if line == "p1-main" else MATS[::-1], {}, line):
            late = row["mat"] == "M3" and row["event"] >= "e08"
            missed = 12.0 if late else 1.0 + (int(row["event"][1:]) + row["slot"]) % 3
            spacing = 3.0 if row["event"] < "e08" else 5.0
            rows.append(
                row
                | {"missed": missed, "missed_at_work": missed, "spacing_m": spacing, "reader": "R" + line[1]}
            )
    return estimate_items(season(*rows))


def test_scores_are_normal_scores_of_mid_p() -> None:
    missed, expected = np.array([0.0, 3.0, 12.0]), np.array([1.0, 3.0, 4.0])
    middle = (stats.poisson.cdf(missed, expected) + stats.poisson.cdf(missed - 1, expected)) / 2
    np.testing.assert_allclose(to_scores(missed, expected, expected), stats.norm.ppf(middle), atol=1e-6)
    shape = expected**2 / (2 * expected - expected)
    wide = stats.nbinom(shape, shape / (shape + expected))
    middle = (wide.cdf(missed) + wide.cdf(missed - 1)) / 2
    np.testing.assert_allclose(to_scores(missed, expected, 2 * expected), stats.norm.ppf(middle), atol=1e-6)


def test_fractional_counts_lie_between_whole_ones() -> None:
    low, middle, high = (
        to_scores(np.array([x]), np.array([2.0]), np.array([3.0]))[0] for x in (0.0, 0.5, 1.0)
    )
    assert low < middle < high


def test_a_lasting_change_is_found_with_its_date_and_what_changed_then(model: ItemModel) -> None:
    changes = estimate_change_points(model)
    row = changes.filter(pl.col("name") == "M3").row(0, named=True)
    assert row["found"]
    assert row["event"] == "e08"
    assert row["date"] == dt.date(2031, 4, 6) + dt.timedelta(weeks=8)
    assert row["factor"] > 2
    assert row["changed"] == "spacing 3 m, then 5 m"
    assert not changes.filter(pl.col("subject") == "mat", pl.col("name") != "M3", pl.col("factor") > 1)[
        "found"
    ].any()


def test_the_charts_speak_of_that_mat(model: ItemModel) -> None:
    watched = monitor_season(model)
    spoken = watched.filter(pl.col("signal").str.contains("lastingly worse"))
    assert spoken["name"].unique().to_list() == ["M3"]
    early = watched.filter(pl.col("name") == "M3", pl.col("date") < dt.date(2031, 6, 1))
    assert not early["signal"].str.contains("worse").any()


def test_the_trend_and_the_funnel_see_it_too(model: ItemModel) -> None:
    trends = estimate_season_trends(model)
    mats = trends.filter(pl.col("subject") == "mat")
    assert mats.filter("found")["name"].to_list() == ["M3"]
    assert set(trends["subject"].cast(pl.String)) >= {"mat", "line"}
    assert to_funnel(model).filter(side="worse")["name"].to_list() in ([], ["M3"])


def test_cuts_leave_three_events_on_either_side() -> None:
    scores = np.array([[9.0, 0, 0, 0, 0, 0, 0], [0, 0, 0, 0, 5, 5, 5]])
    _, before = clearest_cut(scores)
    assert before.tolist() == [3, 4]


def test_adjusted_chances_by_hand() -> None:
    np.testing.assert_allclose(
        adjusted_chances(np.array([0.01, 0.04, 0.03, 0.5])), [0.04, 0.16 / 3, 0.16 / 3, 0.5]
    )


def test_only_facts_that_ruled_count_as_changed() -> None:
    before = season(*(cell(k, "p1-main", 1, "M1", covers=True, surface="road") for k in range(3)))
    after = season(
        cell(4, "p1-main", 1, "M1", covers=False, surface="road"),
        cell(5, "p1-main", 1, "M1", covers=False, surface="gravel"),
        cell(6, "p1-main", 1, "M1", covers=False, surface="grass"),
    )
    assert changed_facts(before, after, ("covers", "surface")) == "covers yes, then no"


def test_charts_of_a_season_without_misses_have_no_signal() -> None:
    assert not laney_chart(np.zeros(5), np.full(5, 50)).out.any()
    assert funnel(np.zeros(4), np.full(4, 50)).tau2 == 0.0
    with pytest.raises(ValueError, match="without crossings"):
        laney_chart([1], [0])


def test_smoothed_and_summed_charts_by_hand() -> None:
    smooth = ewma_chart([10.0, 0.0], 0.0, 1.0, 0.5)
    assert smooth.mean.tolist() == [5.0, 2.5]
    assert smooth.high[0] == pytest.approx(3 * np.sqrt(1 / 3))
    summed = cusum_chart([2.0, 2.0, -5.0], 0.0, 0.5, 2.5)
    assert summed.high.tolist() == [1.5, 3.0, 0.0]
    assert summed.low.tolist() == [0.0, 0.0, 4.5]
    assert summed.out.tolist() == [False, True, True]


def test_equal_estimates_are_drawn_together_wholly() -> None:
    found = shrink_normal([1.0, 1.01, 0.99, 1.0], [0.5] * 4)
    assert between_variance(np.array([1.0, 1.01, 0.99, 1.0]), np.full(4, 0.5)) == 0.0
    assert np.ptp(found.mean) < 0.02
    assert shrink_normal([1.0, 3.0], [1.0, 1.0]).mean.tolist() == [1.0, 3.0]


def test_a_share_alone_is_not_shrunken() -> None:
    with pytest.raises(ValueError, match="one share alone"):
        shrink_shares([1], [10])


def unit(rows: list[tuple[float, float, bool, int, int]]) -> Unit:
    missed, tried, first, stratum, witness = (np.array(column) for column in zip(*rows, strict=True))
    return Unit(missed.astype(float), tried.astype(float), first.astype(bool), stratum, witness)


def test_matched_odds_leave_out_strata_with_one_side_and_refuse_few_witnesses() -> None:
    rows = [(2, 100, True, 0, 0), (4, 100, False, 0, 0), (50, 100, True, 1, 1)]
    found = estimate_common_odds(unit(rows))
    assert (found.strata, found.witnesses) == (1, 1)
    assert found.factor == pytest.approx((2 * 96) / (4 * 98))
    assert np.isnan(found.low)


def test_matched_odds_of_alike_events_have_a_narrow_interval_around_the_truth() -> None:
    rows = [
        row
        for event in range(8)
        for row in ((4 + event % 2, 200, True, event, event), (8 + event % 2, 200, False, event, event))
    ]
    found = estimate_common_odds(unit(rows))
    assert found.low < 0.52 < found.high < 1


def lines(events: range, missed_if: dict[bool, float], **more: object) -> list[dict]:
    """Two main lines at each event, one with covers; their slot 0."""
    return [
        cell(
            event,
            f"p{1 + number}-main",
            0,
            None,
            missed_if[covers] + event % 2,
            tried=500,
            covers=covers,
            **more,
        )
        for event in events
        for number, covers in enumerate((bool(event % 2), not event % 2))
    ]


def test_a_habit_is_compared_within_events() -> None:
    found = compare_habits(season(*lines(range(10), {True: 4.0, False: 12.0})))
    row = found.row(0, named=True)
    assert row["question"] == "mats taped or covered"
    assert row["matched"] == "within each event, role and kind of point"
    assert row["strata"] == 10
    assert row["verdict"] == "fewer misses"
    assert row["factor"] == pytest.approx(4.5 / 12.5, rel=0.03)


def test_a_habit_of_whole_events_is_compared_within_lines_and_says_so() -> None:
    rows = [*lines(range(6), {True: 5.0, False: 5.0}, two_tags=True)]
    rows += lines(range(6, 12), {True: 5.0, False: 5.0}, two_tags=False)
    found = compare_habits(season(*rows)).filter(pl.col("question").str.starts_with("two tags"))
    row = found.row(0, named=True)
    assert row["matched"] == "within each line"
    assert row["verdict"] == "cannot tell"
    assert "weather" in row["reason"]


def test_a_measured_habit_is_cut_where_it_is_told_to() -> None:
    rows = [
        row | {"covers": None, "spacing_m": 2.0 + (number % 2) * 3}
        for number, row in enumerate(lines(range(10), {True: 5.0, False: 5.0}))
    ]
    row = compare_habits(season(*rows), {"spacing_m": 4.0}).row(0, named=True)
    assert (row["a"], row["b"]) == ("4 m or more", "under 4 m")


def test_nothing_recorded_both_ways_is_no_row() -> None:
    assert compare_habits(season(cell(1, "p1-main", 0, None))).equals(COMPARISONS.empty())


def test_seasons_share_no_event() -> None:
    early, late = (season(*lines(events, {True: 5.0, False: 5.0})) for events in (range(6), range(6, 12)))
    assert compare_seasons(early, late)["verdict"].to_list() == ["cannot tell"]
    with pytest.raises(ValueError, match="in both seasons"):
        compare_seasons(early, early)


def test_two_mats_are_no_proof_about_a_model() -> None:
    rows = season(*turning(12, MATS, {"M1": 14, "M2": 5}))
    register = pl.DataFrame({"item": MATS, "model": ["old", "old", "new", "new", "new", "new"]})
    row = compare_models(rows, register).row(0, named=True)
    assert (row["a"], row["b"]) == ("new", "old")
    assert row["factor"] < 0.3  # 1 of 100 against 5 and 14
    assert row["witnesses"] == 6
    few = pl.DataFrame({"item": MATS, "model": ["old", None, "new", None, None, None]})
    assert compare_models(rows, few).row(0, named=True)["verdict"] == "cannot tell"


def with_tests(events: int, low: set[str], missed_low: float) -> pl.DataFrame:
    """Mats with low hand tests miss ``missed_low`` of 100, others one or two; tests differ by a little each day."""
    rows = []
    for row in turning(events, MATS, {}):
        day = int(row["event"][1:])
        bad = row["mat"] in low
        missed = missed_low if bad else 1.0 + day % 2
        ceiling = (110.0 if bad else 165.0) + (7 * day + row["slot"]) % 11
        rows.append(row | {"missed": missed, "missed_at_work": missed, "hand_ceiling_cm": ceiling})
    return season(*rows)


def test_a_low_hand_test_foretells_misses_and_gives_a_limit() -> None:
    found = estimate_hand_test(with_tests(12, {"M2", "M5"}, 9.0))
    assert found.foretells
    assert found.factor is not None
    assert found.factor.low > 1.1
    assert found.concordance is not None
    assert found.concordance.estimate > 0.7
    assert found.limit_cm is not None
    assert 110 < found.limit_cm.estimate < 170
    limit = found.limits.filter(pl.col("limit_cm").is_between(121, 165)).row(0, named=True)
    assert limit["failed"] == 24


def test_a_hand_test_that_tells_nothing_gives_no_limit() -> None:
    found = estimate_hand_test(with_tests(12, {"M2", "M5"}, 1.5))
    assert not found.foretells
    assert found.limit_cm is None
    assert "no limit" in (found.reason or "")


def test_few_hand_tests_are_refused() -> None:
    found = estimate_hand_test(with_tests(2, {"M2"}, 5.0))
    assert found.factor is None
    assert "30 are needed" in (found.reason or "")
    assert found.limits.is_empty()


def test_concordance_by_hand() -> None:
    """One miss over the lower of two slots, one read over each: it lies lower than 1 of 2 reads and ties with 1."""
    rows = season(
        cell(1, "p1-main", 1, "M1", 1, tried=2, hand_ceiling_cm=100.0),
        cell(1, "p1-main", 2, "M2", 0, tried=1, hand_ceiling_cm=150.0),
        cell(2, "p1-main", 1, "M1", 1, tried=2, hand_ceiling_cm=100.0),
        cell(2, "p1-main", 2, "M2", 0, tried=1, hand_ceiling_cm=150.0),
    )
    found = estimate_concordance(rows)
    assert found is not None
    assert found.estimate == 0.75


def rate(event: str, level: str, detected: int, proven: int, **more: object) -> dict:
    return {
        "event": event,
        "quantity": "achieved",
        "level": level,
        "evidence": "seen later",
        "proven": proven,
        "detected": detected,
        "doubtful": 0,
        "method": "counted",
        **more,
    }


def test_line_history_has_lines_points_and_segments_in_one_table() -> None:
    rows = [
        rate("e1", "line", 98, 100, point="p", line="p-main", role="main"),
        rate("e1", "line", 90, 100, point="p", line="p-main", role="main", course="c", order=1),
        rate("e1", "segment", 95, 100, course="c", from_point="p", point="q"),
        rate("e2", "line", 198, 200, point="p", line="p-main", role="main"),
        rate("e3", "line", 199, 200, point="p", line="p-main", role="main"),
        rate("e3", "point", 0, 0, point="p", reason="the export does not tell"),
    ]
    events = pl.DataFrame(
        {"event": ["e1", "e2", "e3"], "date": [dt.date(2031, 5, day) for day in (4, 11, 18)]}
    )
    history = to_line_history(RATES.conform(pl.DataFrame(rows, infer_schema_length=None)), events)
    assert history.select(pl.col("level").cast(pl.String), "name", "event").rows() == [
        ("line", "p-main", "e1"),
        ("line", "p-main", "e2"),
        ("line", "p-main", "e3"),
        ("point", "p", "e3"),
        ("segment", "c: p to q", "e1"),
    ]
    first = history.row(0, named=True)
    assert first["rate"] == 0.98
    assert 0.98 < first["shrunken"] < 0.995
    assert history.filter(level="point")["reason"][0] == "the export does not tell"
    over = to_line_season(history).row(0, named=True)
    assert (over["events"], over["proven"], over["detected"]) == (3, 500, 495)
    assert over["low"] < 0.99 < over["high"]
    assert over["worst_event"] == "e1"
