"""What the course model says and what it refuses, on histories that a reader can picture."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from lineproof.detection.course_model import CourseModelResult, estimate_course_model
from lineproof.detection.course_model.capability import MissChance
from lineproof.detection.course_model.estimate import fit_family
from lineproof.detection.course_model.families import ONE_KIND, TWO_KINDS
from lineproof.detection.course_model.fit import fit
from lineproof.detection.course_model.goodness import estimate_goodness
from lineproof.detection.course_model.hidden_crossings import Hidden, independence_figure, lower_bound
from lineproof.detection.course_model.histories import CourseHistories, Occasion, compress
from lineproof.detection.course_model.outcomes import NOTHING_TOLD, READ, SILENT, to_outcome
from lineproof.detection.course_model.posterior import (
    choose_to_retire,
    estimate_weak_shares,
    to_weak_chances,
)
from lineproof.detection.course_model.problem import make_problem
from lineproof.detection.course_model.refusal import why_no_chance, why_not_by_information
from lineproof.detection.course_model.structure import make_structure

TARGET = 0.998


def field(
    runners: int, points: int = 5, *, weak: float = 0.01, lines: int = 2, stop: float = 0.004, seed: int = 1
) -> tuple[CourseHistories, np.ndarray, np.ndarray]:
    """Good tags read at 0.985, weak ones at 0.6; also who has a weak tag, and crossings that no line read per point."""
    rng = np.random.default_rng(seed)
    is_weak = rng.random(runners) < weak
    chance = np.where(is_weak, 0.6, 0.985)[:, None]
    stops = rng.random((runners, points)) < stop
    stops[:, 0] = False
    going = np.cumsum(stops, axis=1) == 0
    said = [((rng.random((runners, points)) < chance) & going).astype(np.int8) for _ in range(lines)]
    second = said[1] if lines == 2 else np.full_like(said[0], SILENT)
    outcome = to_outcome(said[0], second)
    seen = np.any([s == READ for s in said], axis=(0, 2))
    missed = (going & ~np.any([s == READ for s in said], axis=0)).sum(axis=0)
    unread = np.full_like(outcome, 0 if lines == 2 else SILENT)
    names = np.array([f"r{i:05d}" for i in range(runners)])
    occasions = tuple(Occasion(f"p{k}", k, ("main", "backup")[:lines]) for k in range(points))
    histories = compress(occasions, outcome[seen], unread[seen], runners=tuple(names[seen]))
    return histories, is_weak[seen], missed


@pytest.fixture(scope="module")
def event() -> tuple[CourseHistories, np.ndarray, np.ndarray, CourseModelResult]:
    histories, weak, missed = field(6000)
    return histories, weak, missed, estimate_course_model(histories, "c")


def test_visible_misses_are_exact_and_hidden_ones_in_range(event) -> None:
    _, _, missed, result = event
    assert result.reason is None
    for point, true in zip(result.points, missed, strict=True):
        assert point.missed + point.hidden_low <= true <= point.missed + point.hidden_high
        assert point.rate_low <= point.rate <= point.rate_high
        assert point.lower_bound <= true
    finish = result.points[-1]
    assert finish.missed == 0
    assert finish.independence < finish.hidden / 3  # 1 % weak tags: unrelated misses promise far too much
    assert result.both_missed == pytest.approx(sum(missed), rel=0.25)


def test_weak_share_and_strength_come_back_with_standard_errors(event) -> None:
    result = event[3]
    two = next(f for f in result.families if f.name == "two kinds")
    assert abs(two.weak_share.estimate - 0.01) < 4 * two.weak_share.std_error
    shift = np.log(0.985 / 0.015) - np.log(0.6 / 0.4)
    assert abs(two.weak_shift.estimate - shift) < 4 * two.weak_shift.std_error
    assert all(abs(line.estimate - 0.985) < 4 * line.std_error for line in two.lines)
    assert all(abs(s.estimate - 0.996) < 4 * s.std_error for s in two.segments)
    assert result.families[0].aic <= result.families[1].aic


def test_the_model_that_made_the_data_fits_and_one_kind_of_tag_does_not(event) -> None:
    histories, _, _, result = event
    two = next(f for f in result.families if f.name == "two kinds")
    assert two.goodness.p_value > 0.01
    # Most of its 24 values rest on rare histories, which are pooled: they cost the 16 common ones little.
    assert two.goodness.cells - 1 - two.parameters < 1 <= two.goodness.df < two.goodness.cells - 1
    assert estimate_goodness(fit_family(histories, ONE_KIND)).p_value < 1e-3


def test_with_one_common_history_the_fit_cannot_be_judged() -> None:
    words = np.array([[4] * 4, [4, 4, 3, 4]], dtype=np.int8)
    occasions = tuple(Occasion(f"p{k}", k, ("main", "backup")) for k in range(4))
    histories = compress(occasions, words, np.zeros_like(words), count=np.array([300, 1]))
    assert np.isnan(estimate_goodness(fit_family(histories, TWO_KINDS)).p_value)


def test_weak_tags_are_found_and_the_list_keeps_its_promise(event) -> None:
    _, weak, _, result = event
    retire = choose_to_retire(result)
    assert retire.false_share <= 0.1
    is_weak = dict(zip(result.runners, weak, strict=True))
    false = sum(not is_weak[runner] for runner in retire.runners)
    assert false / len(retire.runners) < 0.25
    assert len(retire.runners) - false > 0.5 * weak.sum()
    assert result.weak_chance.sum() == pytest.approx(weak.sum(), rel=0.35)


def test_shares_by_batch_point_at_the_bad_one(event) -> None:
    _, weak, _, result = event
    batch = ["bad" if w or i % 50 == 0 else f"good {i % 3}" for i, w in enumerate(weak)]
    tags = pl.DataFrame({"tag": list(result.runners), "runner": list(result.runners), "batch": batch})
    twice = pl.DataFrame({"tag": ["second"], "runner": [result.runners[1]], "batch": ["bad"]})
    shares = estimate_weak_shares(to_weak_chances(result), pl.concat([tags, twice]), ["batch"])
    assert shares["batch"].to_list() == ["bad", "good 0", "good 1", "good 2"]
    assert shares["n"].sum() == len(result.runners) - 1  # who has two tags does not tell which
    bad, *good = shares.rows(named=True)
    assert bad["conf_low"] > max(row["conf_high"] for row in good)
    assert all(row["conf_low"] <= row["estimate"] <= row["conf_high"] for row in shares.rows(named=True))


def test_one_line_per_point_is_refused_at_the_last_and_answered_before() -> None:
    result = estimate_course_model(field(4000, lines=1)[0])
    assert result.reason is not None
    assert "one line at the last point" in result.reason
    assert np.isnan(result.points[-1].rate)
    assert result.points[1].reason is None
    assert np.isnan(result.points[1].independence)


def test_a_list_of_finishers_answers_what_one_line_cannot() -> None:
    histories = field(4000, lines=1)[0]
    finished = histories.known == 4
    # Every tenth of those not read at the finish is on the list, nobody else of them.
    given = finished | (np.arange(len(finished)) % 10 == 0)
    last = len(histories.occasions) - 1
    listed = replace(
        histories,
        given=given,
        known=np.where(given, last, histories.known),
        until=np.where(given, last, np.maximum(histories.known, last - 1)),
    )
    result = estimate_course_model(listed)
    assert result.reason is None
    assert result.points[-1].hidden == pytest.approx(0, abs=0.5)


def test_a_fill_in_feed_is_refused() -> None:
    histories = field(3000)[0]
    outcome = np.where(histories.outcome == 4, 3, histories.outcome).astype(np.int8)
    filled = compress(histories.occasions, outcome, histories.unread, count=histories.count)
    result = estimate_course_model(filled)
    assert result.reason is not None
    assert "only where the main line missed" in result.reason


def test_both_lines_out_with_nothing_later_is_refused() -> None:
    histories = field(3000)[0]
    row = int(np.argmax(histories.count))
    outcome, unread, count = histories.outcome.copy(), histories.unread.copy(), histories.count.copy()
    dark = outcome[row].copy()
    dark[-1] = NOTHING_TOLD
    unlit = unread[row].copy()
    unlit[-1] = NOTHING_TOLD
    count[row] -= 200
    result = estimate_course_model(
        compress(
            histories.occasions,
            np.vstack([outcome, dark]),
            np.vstack([unread, unlit]),
            count=np.append(count, 200),
        )
    )
    assert result.reason is not None
    assert "200 runners would have come by" in result.reason


def test_a_small_field_with_hardly_a_miss_cannot_tell_what_the_set_up_would_miss() -> None:
    words = np.array([[4] * 5, [4, 4, 3, 4, 4]], dtype=np.int8)
    occasions = tuple(Occasion(f"p{k}", k, ("main", "backup")) for k in range(5))
    small, large = (
        estimate_course_model(compress(occasions, words, np.zeros_like(words), count=np.array([n, 1])))
        for n in (199, 20_000)
    )
    assert small.points[-1].miss_chance_reason is not None
    assert large.points[-1].miss_chance_reason is None
    assert large.points[-1].miss_chance_high < 1 - TARGET
    # Everybody was read at the finish: nobody is hidden there today, however small the field.
    assert small.points[-1].hidden_high == 0


def test_a_wide_range_is_refused_only_where_it_matters() -> None:
    harmless = Hidden(0.1, 0.01, 0.9, 0, 2)
    wide = Hidden(6.0, 1.0, 20.0, 1, 24)
    few = Hidden(3.0, 0.8, 9.5, 0, 11)
    narrow = Hidden(30.0, 20.0, 45.0, 18, 50)
    other = Hidden(150.0, 100.0, 190.0, 95, 210)
    assert why_not_by_information([harmless], 3000, TARGET, 0.95) is None
    assert why_not_by_information([few], 3000, TARGET, 0.95) is None  # soon looked up
    assert "between 0.8 and 9.5 hidden" in str(
        why_not_by_information([few], 200, TARGET, 0.95)
    )  # but not of 200
    assert why_not_by_information([narrow], 3000, TARGET, 0.95) is None
    assert "between 1.0 and 20 hidden" in str(why_not_by_information([wide], 3000, TARGET, 0.95))
    assert "30 and 150 hidden crossings" in str(why_not_by_information([narrow, other], 3000, TARGET, 0.95))


def test_a_chance_is_open_only_about_the_target() -> None:
    assert why_no_chance([MissChance(1e-4, 1e-5, 1e-3)], TARGET) is None
    assert why_no_chance([MissChance(1.5e-3, 9e-4, 3e-3)], TARGET) is None  # known within a factor of four
    assert why_no_chance([MissChance(1e-3, 5e-4, 2.1e-3)], TARGET) is not None
    assert why_no_chance([MissChance(0.02, 0.005, 0.08)], TARGET) is None
    assert "0.01 % to 0.5 %" in str(why_no_chance([MissChance(1e-3, 1e-4, 5e-3)], TARGET))


def test_the_lower_bound_sees_what_independence_does_not() -> None:
    """Half of the runners never missed before, a few often: within groups alike misses say more than over all."""
    occasions = tuple(Occasion(f"p{k}", k, ("main", "backup")) for k in range(2))
    rows = {(4, 4): 1000, (4, 3): 10, (4, 1): 10, (0, 4): 20, (0, 3): 10, (0, 1): 10}
    words = np.array(list(rows), dtype=np.int8)
    histories = compress(occasions, words, np.zeros_like(words), count=np.array(list(rows.values())))
    assert independence_figure(histories, 1) == pytest.approx(20 * 20 / 1020)
    assert lower_bound(histories, 1) == pytest.approx(10 * 10 / 1000 + 10 * 10 / 20)
    assert lower_bound(histories, 0) == 40


def test_three_lines_are_too_few_for_kinds_of_tag() -> None:
    result = estimate_course_model(field(2000, points=3, lines=1)[0])
    assert [f.name for f in result.families] == ["one kind"]
    assert not result.weak_chance.any()
    assert any("too few lines" in note for note in result.notes)


def test_runners_mixed_give_the_same_answer() -> None:
    histories = field(1500)[0]
    assert histories.history_of is not None
    order = np.random.default_rng(3).permutation(len(histories.runners))
    rows = histories.history_of[order]
    mixed = compress(
        histories.occasions,
        histories.outcome[rows],
        histories.unread[rows],
        runners=tuple(histories.runners[i] for i in order),
    )
    one, two = estimate_course_model(histories), estimate_course_model(mixed)
    assert [p.hidden for p in one.points] == pytest.approx([p.hidden for p in two.points], rel=1e-9)
    assert dict(zip(one.runners, one.weak_chance, strict=True)) == pytest.approx(
        dict(zip(two.runners, two.weak_chance, strict=True)), rel=1e-6
    )


def test_cost_goes_by_histories_not_by_runners() -> None:
    histories = field(2000)[0]
    many = replace(histories, count=histories.count * 1000, runners=(), history_of=None)
    few_fit, many_fit = (fit(make_problem(h, make_structure(h, TWO_KINDS))) for h in (histories, many))
    assert many_fit.problem.uses.shape == few_fit.problem.uses.shape
    assert many_fit.settled
    ratio = few_fit.std_error()[0] / many_fit.std_error()[0]
    assert ratio == pytest.approx(1000**0.5, rel=1e-3)
