"""The course model's likelihood against plain enumeration, exact arithmetic and differences."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy import special

from lineproof.detection.course_model.families import NORMAL_EFFECT, ONE_KIND, TWO_KINDS, Family
from lineproof.detection.course_model.fit import fit, secant
from lineproof.detection.course_model.histories import CourseHistories, Occasion, compress
from lineproof.detection.course_model.identifiability import all_histories
from lineproof.detection.course_model.likelihood import evaluate, hidden_chances
from lineproof.detection.course_model.outcomes import (
    MISSED,
    NOTHING_TOLD,
    READ,
    READ_BY_EITHER,
    SILENT,
    to_outcome,
    was_read,
)
from lineproof.detection.course_model.problem import make_problem
from lineproof.detection.course_model.profile import log_hidden, of_parameter, profile_ends
from lineproof.detection.course_model.structure import Condition, State, make_structure

FAMILIES = pytest.mark.parametrize("family", [ONE_KIND, TWO_KINDS, NORMAL_EFFECT], ids=lambda f: f.name)


def mixed_histories(seed: int, runners: int = 60) -> CourseHistories:
    """Three points (two lines, two lines, one line), lines out for some, two strata, reads by either."""
    rng = np.random.default_rng(seed)
    said = rng.choice([MISSED, READ, READ], (runners, 3, 2)).astype(np.int8)
    out = rng.random((runners, 3, 2)) < 0.1
    said[:, 2, 1] = SILENT
    out[:, 2, :] = False
    said[:, 0, 0] = np.where(said[:, :, :].max(axis=(1, 2)) == MISSED, READ, said[:, 0, 0])
    outcome = to_outcome(*np.moveaxis(np.where(out, SILENT, said), 2, 0))
    outcome[:5, 1] = READ_BY_EITHER
    unread = to_outcome(*np.moveaxis(np.where(out | (said == SILENT), SILENT, MISSED), 2, 0))
    unread[:5, 1] = 0
    kept = was_read(outcome).any(axis=1)
    occasions = (
        Occasion("a", 0, ("main", "backup")),
        Occasion("b", 1, ("main", "backup")),
        Occasion("c", 2, ("main",)),
    )
    stratum = rng.integers(0, 2, (runners, 3)).astype(np.int8)
    return compress(occasions, outcome[kept], unread[kept], stratum=stratum[kept])


@FAMILIES
@pytest.mark.parametrize("lines", [1, 2])
def test_chances_of_all_histories_sum_to_one(family: Family, lines: int) -> None:
    histories = all_histories(3, lines)
    structure = make_structure(
        histories, family, paired=(0, 2) if lines == 2 else (), states=(State.LATE, State.DYING)
    )
    values = structure.begin() + np.random.default_rng(lines).normal(0, 0.7, structure.size)
    chances = np.exp(evaluate(make_problem(histories, structure), values).by_history)
    assert chances.sum() == pytest.approx(1, abs=1e-12)
    assert (chances > 0).all()


@FAMILIES
@pytest.mark.parametrize("condition", list(Condition))
def test_slopes_are_those_of_the_log_likelihood(family: Family, condition: Condition) -> None:
    histories = mixed_histories(7)
    structure = make_structure(
        histories, family, paired=(0, 1), shared_pair=True, states=tuple(State), condition=condition
    )
    problem = make_problem(histories, structure)
    values = structure.begin() + np.random.default_rng(3).normal(0, 0.5, structure.size)
    values[structure.blocks["states"]] = [-2.0, -2.5, -3.0]
    step = 1e-5
    by_difference = [
        (evaluate(problem, values + s).log_likelihood - evaluate(problem, values - s).log_likelihood)
        / (2 * step)
        for s in np.eye(structure.size) * step
    ]
    assert evaluate(problem, values).slope == pytest.approx(by_difference, abs=1e-5)


def hidden_by_enumeration(point: int, line: float, going: float, weak: float, shift: float) -> np.ndarray:
    """Chance that a runner crosses a point unread and is never seen after, per history of two points with two lines."""
    total = {}
    for kind, weight in ((0.0, 1 - weak), (shift, weak)):
        p = special.expit(line - kind)
        for reached, chance in ((0, 1 - going), (1, going)):
            cells = [(0, 1)] * (2 * (reached + 1)) + [(0,)] * (2 * (1 - reached))
            for word in product(*cells):
                reads = np.array(word[: 2 * (reached + 1)])
                value = weight * chance * np.prod(np.where(reads == 1, p, 1 - p))
                seen, hidden = total.get(word, (0.0, 0.0))
                last = max([i // 2 for i, r in enumerate(word) if r], default=-1)
                is_hidden = reached >= point and last < point
                total[word] = (seen + value, hidden + value * is_hidden)
    words = [w for w in product((0, 1), repeat=4) if any(w)]
    return np.array([total[w] for w in words] + [total[(0, 0, 0, 0)]])


@pytest.mark.parametrize("point", [0, 1])
def test_hidden_crossings_are_those_of_plain_enumeration(point: int) -> None:
    """Two points, weak tags, runners who stop: every way that a history can have come about, written out."""
    table = hidden_by_enumeration(point, 1.2, 0.8, 0.2, 1.5)
    seen, never = table[:-1], table[-1]
    histories = all_histories(2, 2)
    # The histories come sorted, the words too: put each expected value to its history by its outcomes.
    words = [w for w in product((0, 1), repeat=4) if any(w)]
    place = [
        int(np.flatnonzero((histories.outcome == [3 * w[0] + w[1], 3 * w[2] + w[3]]).all(axis=1))[0])
        for w in words
    ]
    count = np.arange(1, 16)
    weighed = np.zeros(15)
    weighed[place] = count
    histories = compress(
        histories.occasions, histories.outcome, histories.unread, count=weighed.astype(np.int64)
    )
    structure = make_structure(histories, TWO_KINDS)
    values = np.array([1.2, 1.2, 1.2, 1.2, special.logit(0.8), special.logit(0.2), np.log(1.5)])
    found = evaluate(make_problem(histories, structure), values)
    expected = float(count @ (seen[:, 1] / seen[:, 0])) + count.sum() * never[1] / (1 - never[0])
    assert found.hidden[point] == pytest.approx(expected, rel=1e-10)
    assert found.never == pytest.approx(count.sum() * never[0] / (1 - never[0]), rel=1e-10)


def test_recomputed_weak_tags_fool_independence_and_later_evidence_does_not() -> None:
    """Exact arithmetic: 2 % of tags read at 0.6, the others at 0.999, by two lines at each of three points."""
    histories = all_histories(3, 2)
    structure = make_structure(histories, TWO_KINDS, sure=[True, True], condition=Condition.ENTERED)
    good = special.logit(0.999)
    values = np.array([good] * 6 + [special.logit(0.02), np.log(good - special.logit(0.6))])
    chances = np.exp(evaluate(make_problem(histories, structure), values).by_history)
    first, later = histories.outcome[:, 0], was_read(histories.outcome[:, 1:]).any(axis=1)

    def share(outcome: int) -> float:
        return float(chances[later & (first == outcome)].sum())

    of = sum(share(outcome) for outcome in (0, 1, 3, 4))
    assert (share(4) + share(3)) / of == pytest.approx(0.99122030, abs=1e-8)
    assert share(0) / of == pytest.approx(0.00312066, abs=1e-8)
    # All of the crossings: runners missed everywhere later are few, and exact too.
    both = 0.98 * 0.999**2 + 0.02 * 0.36
    alone = 0.98 * 0.999 * 0.001 + 0.02 * 0.24
    neither = 0.98 * 0.001**2 + 0.02 * 0.16
    assert both == pytest.approx(0.985241, abs=5e-7)
    assert (alone, neither) == pytest.approx((0.00577902, 0.00320098), abs=1e-8)
    assert neither / (alone**2 / both) == pytest.approx(94.43, abs=0.01)
    assert float(chances[first == 4].sum()) == pytest.approx(both, abs=1e-4)
    assert share(0) / neither == pytest.approx(0.9744, abs=2e-4)


def test_pair_dependence_is_the_odds_ratio_of_the_cells() -> None:
    counts = {(1, 1): 900, (1, 0): 60, (0, 1): 50, (0, 0): 10}
    words = list(counts)
    outcome = np.array([[3 * a + b, 4] for a, b in words], dtype=np.int8)
    occasions = (Occasion("a", 0, ("main", "backup")), Occasion("b", 1, ("main", "backup")))
    histories = compress(occasions, outcome, np.zeros_like(outcome), count=np.array(list(counts.values())))
    structure = make_structure(histories, ONE_KIND, sure=[True], paired=(0,))
    found = fit(make_problem(histories, structure))
    place = structure.blocks["pairs"].start
    assert found.values[place] == pytest.approx(np.log(900 * 10 / (60 * 50)), abs=1e-5)
    assert found.std_error()[place] == pytest.approx(np.sqrt(1 / 900 + 1 / 60 + 1 / 50 + 1 / 10), abs=1e-4)


def test_a_line_out_counts_neither_as_a_hit_nor_as_a_miss() -> None:
    """Ten runners for whom nothing worked at the second point leave its rates as they were, and their record too."""
    occasions = (Occasion("a", 0, ("main", "backup")), Occasion("b", 1, ("main", "backup")))
    words = np.array([[4, 4], [3, 4], [1, 4], [4, 3], [4, 1], [4, 0]], dtype=np.int8)
    count = np.array([500, 20, 15, 12, 18, 30])
    plain = compress(occasions, words, np.zeros_like(words), count=count)
    out = np.array([[4, NOTHING_TOLD]], dtype=np.int8)
    more = compress(
        occasions,
        np.concatenate([words, out]),
        np.concatenate([np.zeros_like(words), [[0, NOTHING_TOLD]]]).astype(np.int8),
        count=np.append(count, 10),
    )
    fits = [fit(make_problem(h, make_structure(h, ONE_KIND))) for h in (plain, more)]
    lines = fits[0].problem.structure.blocks["lines"]
    assert fits[1].values[2:4] == pytest.approx(fits[0].values[2:4], abs=2e-3)
    assert fits[1].values[lines][:2] == pytest.approx(fits[0].values[lines][:2], abs=0.05)


def drawn(rng: np.random.Generator, runners: int, *, late: float = 0.0, flow: float = 0.0) -> CourseHistories:
    """Five points, two lines of 0.97 each, 2 % stop before each point, 2 % weak tags of shift 3."""
    points = 5
    logit = special.logit(0.97) - 3.0 * (rng.random((runners, 1)) < 0.02)
    stratum = (rng.random((runners, points)) < 0.3).astype(np.int8)
    chance = special.expit(logit - flow * stratum)
    stops = rng.random((runners, points)) < 0.02
    stops[:, 0] = False
    going = np.cumsum(stops, axis=1) == 0
    wakes = np.where(rng.random(runners) < late, rng.integers(1, points, runners), 0)
    answers = np.arange(points) >= wakes[:, None]
    said = [((rng.random((runners, points)) < chance) & going & answers).astype(np.int8) for _ in range(2)]
    outcome = to_outcome(*said)
    seen = (outcome != 0).any(axis=1)
    occasions = tuple(Occasion(f"p{k}", k, ("main", "backup")) for k in range(points))
    return compress(
        occasions,
        outcome[seen],
        np.zeros_like(outcome[seen]),
        stratum=stratum[seen] if flow else None,
    )


def test_values_that_were_drawn_come_back_within_their_standard_errors() -> None:
    """All blocks at once, 40,000 runners; 4.5 standard errors leave one chance in 10,000 over the 16 values."""
    histories = drawn(np.random.default_rng(11), 40_000, late=0.004, flow=0.8)
    structure = make_structure(histories, TWO_KINDS, states=(State.LATE,))
    found = fit(make_problem(histories, structure))
    truth = np.concatenate(
        [
            [special.logit(0.97)] * 10,
            [special.logit(0.98)] * 4,
            [-0.8],
            [special.logit(0.02), np.log(3.0)],
            [np.log(0.004 / 0.996)],
        ]
    )
    assert found.settled
    assert np.abs((found.values - truth) / found.std_error()).max() < 4.5


def test_observed_information_agrees_with_the_profile_likelihood() -> None:
    """On 20,000 runners the surface is nearly a bowl: ends within a tenth of the half width of each other."""
    histories = drawn(np.random.default_rng(5), 20_000)
    structure = make_structure(histories, TWO_KINDS)
    found = fit(make_problem(histories, structure))
    for place in range(structure.size):
        half = 1.959964 * found.std_error()[place]
        ends = profile_ends(found, of_parameter(place))
        assert ends.settled
        assert (ends.low, ends.high) == pytest.approx(
            (found.values[place] - half, found.values[place] + half), abs=0.1 * half
        )


def test_the_end_of_a_profile_lies_on_the_limit() -> None:
    found = fit(
        make_problem(h := drawn(np.random.default_rng(8), 3_000), make_structure(h, TWO_KINDS, lean=True))
    )
    quantity = log_hidden(found, 4)
    inner, outer = (profile_ends(found, quantity, level) for level in (0.5, 0.95))
    assert outer.low < inner.low < quantity(found.values, found.value)[0] < inner.high < outer.high


def test_slope_of_hidden_crossings_is_that_of_their_logarithm() -> None:
    histories = mixed_histories(2)
    found = fit(make_problem(histories, make_structure(histories, TWO_KINDS, lean=True)))
    step = 1e-4

    def log_number(values: np.ndarray) -> float:
        return float(np.log(evaluate(found.problem, values).hidden[1]))

    by_difference = [
        (log_number(found.values + s) - log_number(found.values - s)) / (2 * step)
        for s in np.eye(len(found.values)) * step
    ]
    assert log_hidden(found, 1)(found.values, found.value)[1] == pytest.approx(by_difference, abs=1e-4)


@FAMILIES
def test_chances_of_each_record_add_up_to_the_hidden_crossings(family: Family) -> None:
    """With those never read anywhere, who have a crossing hidden at the first point, as all start there."""
    histories = mixed_histories(3)
    structure = make_structure(histories, family, states=(State.LATE, State.DYING), lean=True)
    found = fit(make_problem(histories, structure))
    for occasion in range(len(histories.occasions)):
        chances = hidden_chances(found.problem, found.values, occasion)
        assert chances.min() >= 0
        assert chances.max() <= 1
        assert (chances[histories.known >= occasion] == 0).all()
        seen = float(chances @ histories.count)
        assert seen <= found.value.hidden[occasion] <= seen + found.value.never + 1e-9
    assert found.value.hidden[0] == pytest.approx(
        float(hidden_chances(found.problem, found.values, 0) @ histories.count) + found.value.never
    )


def test_a_secant_update_finds_a_quadratic_surface_in_as_many_steps_as_it_has_directions() -> None:
    rng = np.random.default_rng(4)
    root = rng.normal(size=(5, 5))
    true, matrix = root @ root.T, np.eye(5)
    for step in rng.normal(size=(5, 5)):
        matrix = secant(matrix, step, true @ step)
    assert matrix == pytest.approx(true)


def test_a_record_without_a_read_needs_another_condition() -> None:
    occasions = (Occasion("a", 0, ("main",)),)
    unseen = np.array([[SILENT]], dtype=np.int8)
    histories = compress(occasions, unseen, unseen)
    with pytest.raises(ValueError, match="without any read"):
        make_problem(histories, make_structure(histories, ONE_KIND))
