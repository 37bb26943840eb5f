"""The audit's estimator against survey sampling from outside the project.

Published and seen: the small stratified cluster sample that goes with Stata's survey manual and R's ``survey`` package
(data set ``fpc``), as extended in the tests of the survey library samplics, MIT licence,
https://github.com/samplics-org/samplics, ``tests/estimation/one_stage_fpc.csv`` and
``test_expansion_taylor_one_stage_fpc.py``: total, ratio and mean with their standard errors.

Recomputed by a general-purpose library: cluster-robust variance of weighted least squares by statsmodels.

Exact: all samples of a small population, one by one.

Formulas: W. G. Cochran, Sampling Techniques, 3rd ed. 1977, sections 5.3, 6.11 and 9A.1 (from memory).
"""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from lineproof.detection.audit import _effective, ratio_of_clusters
from lineproof.detection.intervals import clopper_pearson

# stratum, cluster, y, x; strata hold 15, 9 and 20 clusters, of which 5, 3 and 4 were drawn.
SMALL = np.array(
    [
        (1, 1, 5.54, 2.8), (1, 2, 7.7, 4), (1, 3, 11.48, 6.1), (1, 4, 12.2, 6.5), (1, 5, 16.7, 9),
        (2, 1, 7.16, 3.7), (2, 1, 2.66, 1.2), (2, 2, 9.5, 5), (2, 2, 9.5, 5), (2, 3, 7.7, 4), (2, 3, 13.1, 7),
        (3, 1, 6.26, 3.2), (3, 1, 16.7, 9), (3, 1, 5.54, 2.8), (3, 2, 8.42, 4.4), (3, 2, 8.6, 4.5),
        (3, 3, 11.3, 6), (3, 3, 11.12, 5.9), (3, 4, 12.74, 6.8), (3, 4, 11.48, 6.1), (3, 4, 16.52, 8.9),
    ]
)  # fmt: skip
HELD = np.array([15, 9, 20])


def clusters() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Sums of y, of x and number of rows of each cluster, and its stratum."""
    keys, place = np.unique(SMALL[:, :2], axis=0, return_inverse=True)
    y, x, n = (np.bincount(place.ravel(), weights=w) for w in (SMALL[:, 2], SMALL[:, 3], np.ones(len(SMALL))))
    return y, x, n, keys[:, 0].astype(np.int64) - 1


def test_published_total_with_its_standard_error() -> None:
    y, x, _, stratum = clusters()
    found = ratio_of_clusters(y, x, stratum, HELD)
    assert found.total_y == pytest.approx(853.12, abs=0.005)
    assert found.variance_y**0.5 == pytest.approx(97.41386, abs=1e-5)
    assert found.degrees == 9


def test_published_ratio_with_its_standard_error_and_interval() -> None:
    y, x, _, stratum = clusters()
    found = ratio_of_clusters(y, x, stratum, HELD)
    error = found.variance**0.5
    assert found.ratio == pytest.approx(1.892038, abs=5e-7)
    assert error == pytest.approx(0.0072954, abs=5e-8)
    half = stats.t.ppf(0.975, found.degrees) * error
    assert (found.ratio - half, found.ratio + half) == pytest.approx((1.875535, 1.908542), abs=1e-6)


def test_published_mean_is_a_ratio_to_the_number_of_rows() -> None:
    y, _, n, stratum = clusters()
    found = ratio_of_clusters(y, n, stratum, HELD)
    assert found.ratio == pytest.approx(10.27855, abs=5e-6)
    assert found.variance**0.5 == pytest.approx(0.7750964, abs=5e-8)


def test_recomputed_one_stratum_by_hand() -> None:
    y, x, _, stratum = clusters()
    first = stratum == 0
    found = ratio_of_clusters(y[first], x[first], stratum[first], HELD[:1])
    # By hand (Cochran 2.11): R = 53.62 / 28.4; v = (1 - 5/15) / 5 * sum (y - R x)^2 / 4 / (28.4 / 5)^2.
    ratio = 53.62 / 28.4
    squares = sum(
        (a - ratio * b) ** 2
        for a, b in ((5.54, 2.8), (7.7, 4), (11.48, 6.1), (12.2, 6.5), (16.7, 9))
    )  # fmt: skip
    assert found.ratio == pytest.approx(ratio)
    assert found.variance == pytest.approx((1 - 5 / 15) / 5 * squares / 4 / (28.4 / 5) ** 2)


def test_recomputed_without_correction_and_strata_by_statsmodels() -> None:
    """One row per crossing, missed or not; the correction for a finite window is taken off by a huge window."""
    rng = np.random.default_rng(5)
    crossed = rng.integers(5, 40, 30)
    missed = rng.binomial(crossed, rng.beta(0.3, 20, 30))
    rows = np.concatenate([np.repeat([1.0, 0.0], [m, n - m]) for n, m in zip(crossed, missed, strict=True)])
    minute = np.repeat(np.arange(30), crossed)
    fit = sm.WLS(rows, np.ones(len(rows)), weights=np.ones(len(rows))).fit(
        cov_type="cluster", cov_kwds={"groups": minute, "use_correction": True}
    )
    found = ratio_of_clusters(
        missed.astype(float), crossed.astype(float), np.zeros(30, dtype=np.int64), np.array([10**12])
    )
    assert found.ratio == pytest.approx(fit.params[0], rel=1e-12)
    assert found.variance == pytest.approx(fit.cov_params()[0, 0], rel=1e-9)


def test_recomputed_over_all_samples_the_variance_of_the_total_is_right_on_average() -> None:
    """Strata of five and four minutes, two and three drawn: all 10 x 4 samples (Cochran, theorem 5.3)."""
    y = np.array([0.0, 1, 0, 3, 0, 2, 0, 0, 1])
    x = np.array([12.0, 15, 9, 20, 14, 30, 28, 33, 31])
    held = np.array([5, 4])
    totals, variances = [], []
    for first, second in product(combinations(range(5), 2), combinations(range(5, 9), 3)):
        drawn = [*first, *second]
        found = ratio_of_clusters(y[drawn], x[drawn], np.array([0, 0, 1, 1, 1]), held)
        totals.append(found.total_y)
        variances.append(found.variance_y)
    assert np.mean(totals) == pytest.approx(y.sum())
    assert np.mean(variances) == pytest.approx(np.var(totals))


def test_recomputed_watching_everything_leaves_no_variance() -> None:
    y, x = np.array([1.0, 0, 2]), np.array([10.0, 20, 30])
    found = ratio_of_clusters(y, x, np.zeros(3, dtype=np.int64), np.array([3]))
    assert (found.ratio, found.variance) == (0.05, 0.0)


@pytest.mark.parametrize(("share", "spread"), [(0.004, 0.0), (0.02, 0.0), (0.02, 0.02)])
def test_recomputed_intervals_hold_the_share_of_the_whole_window(share: float, spread: float) -> None:
    """1,500 audits of 30 out of 150 minutes; ``spread``: intraclass correlation of misses within a minute.

    A 95 % interval that held in 93 % would be 3.6 standard errors short; wide is allowed, as misses are few.
    """
    rng = np.random.default_rng(11)
    flow = np.sort(rng.poisson(np.linspace(5, 45, 150)))
    stratum = np.repeat([0, 1, 2], 50)
    held = 0
    for _ in range(1500):
        each = np.full(150, share)
        if spread:
            concentration = 1 / spread - 1
            each = rng.beta(share * concentration, (1 - share) * concentration, 150)
        missed = rng.binomial(flow, each)
        truth = missed.sum() / flow.sum()
        drawn = np.concatenate([rng.choice(50, 10, replace=False) + 50 * h for h in range(3)])
        y, x = missed[drawn].astype(float), flow[drawn].astype(float)
        found = ratio_of_clusters(y, x, stratum[drawn], np.array([50, 50, 50]))
        worth = _effective(found, x, stratum[drawn], np.array([50, 50, 50]))
        interval = clopper_pearson(found.ratio * worth, worth)
        held += interval.low <= truth <= interval.high
    assert held / 1500 > 0.93
