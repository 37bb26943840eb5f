"""Does the model expect the histories that came?  Pearson's statistic by histories."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from lineproof.detection.course_model.fit import Fit
from lineproof.detection.course_model.likelihood import evaluate
from lineproof.detection.course_model.result import GoodnessOfFit

SMALL = 5.0  # expected counts below this are pooled, as is usual for Pearson's statistic
STEP = 1e-5
Floats = NDArray[np.float64]


def estimate_goodness(fit: Fit) -> GoodnessOfFit:
    """Histories that did not come are pooled with the rare ones; NaN where the common ones are all spent on the fit.

    The expectation of a history is taken among the runners for whom the same lines worked.  Values that rest on rare
    histories cost the common ones nothing: spent are as many degrees of freedom as the values take up of the common
    histories' scatter, trace(B C B'), with B the slopes of the expected counts over their roots and C the covariance of
    the values (first moment of Pearson's statistic; Rao & Scott 1981, J Am Stat Assoc 76:221-230, have the like).
    """
    problem = fit.problem
    histories = problem.histories
    alike = np.bincount(problem.ahead, weights=histories.count, minlength=len(problem.open_until))
    expected = np.exp(fit.value.by_history) * alike[problem.ahead]
    observed = histories.count.astype(float)
    large = expected >= SMALL
    slopes = expected[large, None] * _log_slopes(fit)[large]
    gap, of = (observed - expected)[large], expected[large]
    rest = float(histories.total - of.sum())
    if rest > 0.5:
        gap, of = np.append(gap, -gap.sum()), np.append(of, rest)
        slopes = np.vstack([slopes, -slopes.sum(axis=0)])
    rooted = slopes / np.sqrt(of)[:, None]
    spent = float(np.einsum("ij,jk,ik->", rooted, np.nan_to_num(fit.covariance), rooted))
    chi2 = float((gap**2 / of).sum())
    df = len(of) - 1 - spent
    p_value = float(stats.chi2.sf(chi2, df)) if df >= 1 else float("nan")
    return GoodnessOfFit(chi2, df, p_value, len(of))


def _log_slopes(fit: Fit) -> Floats:
    """(history, value): slopes of the log chance of each history."""
    steps = np.eye(len(fit.values)) * STEP
    moved = [evaluate(fit.problem, fit.values + step).by_history for step in steps]
    return np.asarray((np.array(moved).reshape(len(steps), -1) - fit.value.by_history).T / STEP)
