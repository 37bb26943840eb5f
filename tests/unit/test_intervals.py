"""Properties that every interval must have, whatever the counts."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lineproof.detection.intervals import (
    clopper_pearson,
    estimate_share,
    jeffreys,
    mid_p,
    rao_scott,
    trials_to_demonstrate,
    wilson,
)

METHODS = pytest.mark.parametrize("method", [wilson, clopper_pearson, mid_p, jeffreys])


@st.composite
def counts(draw: st.DrawFn) -> tuple[int, int]:
    trials = draw(st.integers(1, 5000))
    return draw(st.integers(0, trials)), trials


@METHODS
@settings(max_examples=50, deadline=None)
@given(pair=counts())
def test_an_interval_holds_the_share_and_mirrors_itself(method, pair: tuple[int, int]) -> None:
    hits, trials = pair
    found, mirror = method(hits, trials), method(trials - hits, trials)
    assert 0 <= found.low <= hits / trials + 1e-12
    assert hits / trials - 1e-12 <= found.high <= 1
    assert float(mirror.high) == pytest.approx(1 - float(found.low), abs=1e-9)
    wider = method(hits, trials, 0.99)
    assert wider.low <= found.low + 1e-9
    assert wider.high >= found.high - 1e-9


@METHODS
def test_arrays_give_what_single_counts_give(method) -> None:
    hits, trials = np.array([0, 3, 998, 7]), np.array([20, 20, 1000, 7])
    found = method(hits, trials)
    alone = [method(h, t) for h, t in zip(hits, trials, strict=True)]
    np.testing.assert_allclose(found.low, [float(one.low) for one in alone])
    np.testing.assert_allclose(found.high, [float(one.high) for one in alone])


@METHODS
def test_nothing_counted_gives_no_interval_and_no_warning(method) -> None:
    found = method([0], [0])
    assert np.isnan(found.low).all()
    assert np.isnan(found.high).all()


def test_counts_that_contradict_are_refused() -> None:
    for hits, trials in ((-1, 5), (6, 5)):
        with pytest.raises(ValueError, match="between 0 and proven"):
            wilson(hits, trials)


def test_which_interval_stands_where() -> None:
    """Exact below ten misses or ten hits, Wilson elsewhere."""
    share = estimate_share([991, 990, 9, 10], [1000] * 4)
    assert share.exact.tolist() == [True, False, True, False]
    np.testing.assert_allclose(share.low[0], clopper_pearson(991, 1000).low)
    np.testing.assert_allclose(share.low[1], wilson(990, 1000).low)


def test_a_design_effect_divides_the_counts() -> None:
    plain, clustered = estimate_share(900, 1000), estimate_share(900, 1000, deff=4)
    assert float(clustered.estimate) == float(plain.estimate)
    assert float(clustered.std_error) == pytest.approx(2 * float(plain.std_error))
    np.testing.assert_allclose(clustered.low, wilson(225, 250).low)
    with pytest.raises(ValueError, match="design effect below 1"):
        estimate_share(9, 10, deff=0.5)


def test_clusters_that_cannot_tell_say_nothing() -> None:
    for hits, trials in (([5], [10]), ([10, 10], [10, 10]), ([0, 0], [3, 4])):
        assert np.isnan(rao_scott(hits, trials).deff)
    with pytest.raises(ValueError, match="without trials"):
        rao_scott([1, 0], [2, 0])


def test_clusters_of_one_have_the_binomial_variance() -> None:
    """Every crossing its own cluster: n/(n - 1) times the binomial variance, by the formula's own factor."""
    assert rao_scott([1] * 90 + [0] * 10, [1] * 100).deff == pytest.approx(100 / 99)


@given(rate=st.floats(0.5, 0.9999), misses=st.integers(0, 5))
@settings(max_examples=40, deadline=None)
def test_more_misses_need_more_crossings(rate: float, misses: int) -> None:
    assert trials_to_demonstrate(rate, 0.95, misses) < trials_to_demonstrate(rate, 0.95, misses + 1)


@pytest.mark.parametrize("wrong", [(0.0, 0.95, 0), (1.0, 0.95, 0), (0.9, 1.0, 0), (0.9, 0.95, -1)])
def test_senseless_questions_are_refused(wrong: tuple[float, float, int]) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        trials_to_demonstrate(*wrong)
