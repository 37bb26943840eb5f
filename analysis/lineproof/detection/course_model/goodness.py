"""Does the model expect the histories that came?  Pearson's statistic by histories."""

from __future__ import annotations

import numpy as np
from scipy import stats

from lineproof.detection.course_model.fit import Fit
from lineproof.detection.course_model.result import GoodnessOfFit

SMALL = 5.0  # expected counts below this are pooled, as is usual for Pearson's statistic


def estimate_goodness(fit: Fit) -> GoodnessOfFit:
    """Histories that did not come are pooled with the rare ones; NaN where too few cells are left.

    The expectation of a history is taken among the runners for whom the same lines worked.
    """
    problem = fit.problem
    histories = problem.histories
    alike = np.bincount(problem.ahead, weights=histories.count, minlength=len(problem.open_until))
    expected = np.exp(fit.value.by_history) * alike[problem.ahead]
    observed = histories.count.astype(float)
    large = expected >= SMALL
    rest_expected = float(histories.total - expected[large].sum())
    rest_observed = float(observed[~large].sum())
    chi2 = float((((observed - expected) ** 2)[large] / expected[large]).sum())
    cells = int(large.sum())
    if rest_expected > 0.5:
        chi2 += (rest_observed - rest_expected) ** 2 / rest_expected
        cells += 1
    # Parameters that rest on the pooled cells only cost nothing here: the least that is sure to be spent.
    df = cells - 1 - fit.problem.structure.size
    if df < 1:
        df = max(cells - 1, 0)
    p_value = float(stats.chi2.sf(chi2, df)) if df else float("nan")
    return GoodnessOfFit(chi2, df, p_value, cells)
