"""From chances of a miss to unread crossings, and the sum of terms that gives back every set of steps."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from lineproof.replacement.misses import (
    ByTag,
    line_misses,
    split_by_tag,
    to_miss_curve,
    unread_shares,
    weak_odds_factor,
)
from lineproof.replacement.plan import Costs, Stops, WeakTags
from lineproof.replacement.store import KINDS, Beliefs, Change, Places, Season, count_misses
from lineproof.replacement.worth import count_avoided, to_money
from lineproof.vocabulary import PointKind

NO_STOPS = Stops(0.0, 0.0, 0.0)
NO_WEAK = WeakTags(0.0, 0.6, 0.5, 1.0)


def line(good: float, weak: float) -> ByTag:
    return ByTag(np.array([good]), np.array([weak]))


def test_two_in_a_hundred_weak_tags_make_nearly_all_of_what_both_lines_miss() -> None:
    """Plain arithmetic: 2 % of the tags read at 0.6, the others at 0.999, on both lines.

    0.98 * 0.001^2 + 0.02 * 0.4^2 = 0.00320098; a line misses 0.00898 of all, and reads of it alone are 2 * 0.00577902.
    """
    found = unread_shares(line(0.001, 0.4), line(0.001, 0.4), 0.02, NO_STOPS)
    assert found.unread[0] == pytest.approx(0.00320098, rel=1e-12)
    assert found.weak[0] == pytest.approx(0.0032, rel=1e-12)
    assert found.single[0] == pytest.approx(2 * 0.00577902, rel=1e-12)


def test_a_bad_day_falls_short_of_what_independence_promises() -> None:
    """1 % weak tags read at 0.6 among lines that read 98.5 and 97.5 %: 0.20 % are unread, not 0.04 %."""
    both = unread_shares(line(0.015, 0.4), line(0.025, 0.4), 0.01, NO_STOPS).unread
    assert both[0] == pytest.approx(0.99 * 0.015 * 0.025 + 0.01 * 0.16, rel=1e-12)
    assert round(1 - both[0], 3) == 0.998


def test_stops_pass_the_other_line_by() -> None:
    found = unread_shares(line(0.0, 0.0), line(0.0, 0.0), 0.0, Stops(0.1, 0.2, 0.0))
    assert found.unread[0] == pytest.approx(0.02)
    assert found.single[0] == pytest.approx(0.1 * 0.8 + 0.9 * 0.2)
    out = unread_shares(line(0.0, 0.0), line(0.0, 0.0), 0.0, Stops(0.0, 0.0, 0.3)).unread
    assert out[0] == pytest.approx(0.3)


def test_a_point_with_one_line_has_no_one_to_help() -> None:
    found = unread_shares(line(0.01, 0.4), None, 0.1, Stops(0.5, 0.9, 0.9))
    assert found.unread[0] == pytest.approx(0.5 + 0.5 * (0.9 * 0.01 + 0.1 * 0.4))
    assert found.single[0] == 0


@given(st.floats(1e-7, 1 - 1e-7), st.floats(0, 0.5), st.floats(1, 1e4))
def test_tags_together_give_back_the_line(missed, share, factor) -> None:
    by = split_by_tag(np.array([missed]), share, factor)
    assert (1 - share) * by.good[0] + share * by.weak[0] == pytest.approx(missed, rel=1e-9)
    assert by.weak[0] >= by.good[0] - 1e-15
    odds = by.good[0] / (1 - by.good[0])
    assert by.weak[0] / (1 - by.weak[0]) == pytest.approx(factor * odds, rel=1e-5)


def test_a_stated_weak_tag_is_read_as_stated_at_a_good_line() -> None:
    by = split_by_tag(np.array([0.01]), 0.0, weak_odds_factor(0.6))
    assert by.weak[0] == pytest.approx(0.4)


def test_scatter_raises_the_mean_of_rare_misses() -> None:
    """For rare misses the mean of exp(normal) is exp(mean + variance / 2)."""
    logits = np.array([-9.0])
    by = line_misses(logits, 0.3, NO_WEAK)
    assert by.good[0] / special.expit(-9.0) == pytest.approx(np.exp(0.3**2 / 2), rel=1e-3)


@pytest.mark.parametrize("scatter", [0.0, 0.4])
def test_the_table_of_misses_is_read_off_finely(scatter) -> None:
    tags = WeakTags(0.01, 0.6, 0.5, 1.0)
    logits = np.linspace(-12, 8, 997)
    read, exact = to_miss_curve(scatter, tags).at(logits), line_misses(logits, scatter, tags)
    assert read.good == pytest.approx(exact.good, rel=1e-5)
    assert read.weak == pytest.approx(exact.weak, rel=1e-5)


def small_season(draws: int = 3, seasons: int = 2) -> Season:
    """One point of two lines with two slots each: mats 0, 1 in the main line, 2, 3 in the backup; mat 0 is bad."""
    rng = np.random.default_rng(20260601)
    kept = rng.normal(0, 0.2, (draws, 4, seasons))
    kept[:, 0] += 2.0
    new = rng.normal(0, 0.1, (draws, seasons))
    return Season(
        Places(
            items=np.array([[0, -1, -1], [1, -1, -1], [2, -1, -1], [3, -1, -1]]),
            main=np.array([0, 1]),
            backup=np.array([2, 3]),
            crossings=np.array([4000.0, 1000.0]),
            kind=np.array([2, 2]),
            close=np.array([False, False]),
        ),
        Beliefs(np.full((draws, 4), -3.5), kept, 0.2),
        (Change(0, new), Change(2, new), Change(0, new * 0.5), Change(3, new), Change(None, None)),
        WeakTags(0.0015, 0.6, 0.5, 1.0),
        Stops(0.002, 0.002, 0.0001),
    )


def test_terms_give_back_every_set_of_steps() -> None:
    season = small_season()
    avoided = count_avoided(season)
    pairs = np.arange(2)
    for size in range(4):
        for steps in combinations((0, 1, 3, 4), size):
            after = count_misses(season, pairs, steps)
            assert avoided.by(steps) == pytest.approx(avoided.before - after, abs=1e-9)
    assert frozenset([0, 2]) not in avoided.terms  # replace and repair of the same mat
    assert frozenset([0, 3]) not in avoided.terms  # another stretch of the road
    assert frozenset([0, 1]) in avoided.terms


def test_two_steps_at_one_stretch_are_worth_less_together() -> None:
    """With a good mat below, a good mat above has less left to save."""
    term = count_avoided(small_season()).terms[frozenset([0, 1])]
    assert (term[:, :, KINDS.index(PointKind.FINISH), 0] != 0).all()


def test_crossings_count_at_their_kind_of_point_and_in_proportion() -> None:
    season = small_season()
    found = count_misses(season, np.arange(2))
    assert found[:, :, :2].sum() == 0
    alone = count_misses(season, np.array([0])) + count_misses(season, np.array([1]))
    assert found == pytest.approx(alone)


def test_a_place_whose_mat_is_not_recorded_reads_like_a_middling_one() -> None:
    season = small_season()
    unknown = replace(
        season, places=replace(season.places, items=np.array([[-1] * 3, *season.places.items[1:]]))
    )
    kept = season.beliefs.kept.copy()
    kept[:, 0] = 0.0
    middling = replace(season, beliefs=replace(season.beliefs, kept=kept))
    pairs = np.arange(2)
    assert count_misses(unknown, pairs) == pytest.approx(count_misses(middling, pairs), rel=1e-12)


def test_money_is_unread_crossings_at_the_end_of_their_season() -> None:
    costs = {kind: Costs(0, 0, 1, 10, 0, 0) for kind in PointKind}
    crossings = np.zeros((1, 2, 3, 3))
    crossings[0, :, 2, 0] = [3, 4]
    crossings[0, :, 2, 1] = 100  # seen by the other line: costs nothing
    assert to_money(crossings, costs, 0.25)[0] == pytest.approx(30 / 1.25 + 40 / 1.25**2)


def test_what_a_miss_costs() -> None:
    costs = Costs(
        staff_per_hour=30, look_up_minutes=10, complaint_share=0.2, complaint=15, refund_share=0.05, refund=40
    )
    assert costs.per_unseen == pytest.approx(5 + 3 + 2)
