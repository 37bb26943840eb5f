"""Two kinds of tag, told apart by the record: on synthetic records whose tags are known."""

from __future__ import annotations

import numpy as np
import pytest

from lineproof.detection.weak_tags import Record, doubt_never_read, estimate_weak_tags

VISITS, PER_VISIT = 5, 2
LINES = VISITS * PER_VISIT


def record_of(read: np.ndarray, last: np.ndarray | None = None) -> Record:
    """``read``: (runners, lines) of one course with two lines at each of five visits; rows behind ``last`` are not known."""
    runners = len(read)
    last = np.full(runners, VISITS - 1) if last is None else last
    visit = np.repeat(np.arange(VISITS), PER_VISIT)
    known = visit[None, :] <= last[:, None]
    runner, line = np.nonzero(known)
    return Record(
        runner,
        line,
        read[runner, line],
        np.ones(len(runner), dtype=bool),
        last,
        np.array([1, 2, 3, 4, -1]),
        visit,
        np.ones(LINES),
        np.zeros(VISITS, dtype=bool),
    )


def draw(runners: int, weak_share: float, weak_rate: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    weak = rng.random(runners) < weak_share
    return rng.random((runners, LINES)) < np.where(weak, weak_rate, 0.985)[:, None], weak


@pytest.mark.parametrize("share", [0.003, 0.01, 0.03])
def test_share_and_rates_of_weak_tags_are_found(share: float) -> None:
    read, weak = draw(5000, share, 0.55, seed=3)
    found = estimate_weak_tags(record_of(read))
    assert found.chance.sum() == pytest.approx(weak.sum(), abs=3 * weak.sum() ** 0.5)
    assert found.good.mean() == pytest.approx(0.985, abs=0.003)
    assert found.weak.mean() == pytest.approx(0.55, abs=0.08)
    assert found.chance[weak].mean() > 0.7
    assert found.chance[~weak].mean() < 0.005


def test_alike_tags_are_taken_as_one_kind() -> None:
    """Twenty fields without a weak tag: no runner is called weak in nearly all of them."""
    called = [
        estimate_weak_tags(record_of(draw(2000, 0.0, 0.5, seed)[0])).chance.max() > 0 for seed in range(20)
    ]
    assert sum(called) <= 2


def test_a_runner_missed_often_and_then_gone_was_rather_missed_than_stopped() -> None:
    read, _ = draw(3000, 0.01, 0.5, seed=5)
    last = np.full(3000, VISITS - 1)
    read[0, :6] = [True, False, False, True, True, False]  # three misses of six, then nothing
    read[1, :6] = True  # none of six, then nothing
    last[:2] = 2
    record = record_of(read, last)
    found = estimate_weak_tags(record)
    assert found.chance[0] > 0.9 > 0.1 > found.chance[1]
    here = np.array([3, 3])
    by_kind = [
        found.crossed_unseen(record, rate, np.array([2, 2]), here) for rate in (found.good, found.weak)
    ]
    crossed = (1 - found.chance[:2]) * by_kind[0] + found.chance[:2] * by_kind[1]
    assert crossed[0] > 0.8
    assert crossed[1] < 0.3


def test_never_read_is_next_to_impossible_for_good_tags_and_not_for_weak_ones() -> None:
    read, weak = draw(5000, 0.02, 0.3, seed=7)
    seen = read.any(axis=1)
    never = int((~seen).sum())
    record = record_of(read[seen])
    found = estimate_weak_tags(record)
    expected = found.never_read(record, np.zeros(int(seen.sum()), dtype=int))
    assert expected[~weak[seen]].sum() < 0.2
    # 100 weak tags with 0.7 ** 10 = 2.8 % each to be missed by all ten lines.
    assert expected.sum() == pytest.approx(0.0282 * weak.sum(), rel=0.6)
    assert never < 12
    assert (doubt_never_read(record, found) > 0).all()
