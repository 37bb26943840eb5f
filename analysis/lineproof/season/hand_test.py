"""Does a low hand test foretell misses, and at which height should a slot fail it?

A model of its own: beside the readers, places, days and conditions stands the greatest height at which the test tag was
read.  Mats and cables have no effects in it, for what the test sees is their state; that cells of one mat share
its state is allowed for in the error (a sandwich over mats).  Three answers:

- the odds of a miss for every 10 cm less, with an interval;
- concordance: of a missed and a read crossing of the same line on the same day, how often the missed one lay over the slot
  with the lower test (0.5: the test tells nothing; area under the ROC curve within lines; jackknife over events);
- the limit: misses rise below a knee and are level above it; the height at which the odds have
  become ``worse_factor`` times those at and above the knee.  Knee and rise are both uncertain, and both are in the
  interval.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from lineproof.season.crossed_model import (
    Spreads,
    clustered_error,
    estimate_crossed,
    estimate_given_spreads,
)
from lineproof.season.design import to_design, to_factor, to_item_cells
from lineproof.season_result_tables import HAND_TEST_LIMITS
from lineproof.vocabulary import SEASON_SETTINGS, ItemKind

Floats = NDArray[np.float64]

STEP_CM = 10.0
LEAST_TESTED = 30  # slots with a test, before a rise could be told from chance
LEAST_HEIGHTS = 4
KNEES = 20
DRAWS = 4000
SEED = 20310316
WITHIN_95 = 1.92  # half the 95 % point of chi-squared with one degree of freedom
KINDS = (ItemKind.READER.value,)
COLUMN = "hand test, 10 cm lower"


@dataclass(frozen=True, slots=True)
class Likely:
    """A number and its 95 % interval."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class HandTest:
    """What the season says of the hand test.

    ``tested``: slots of all events with a test.  ``factor``: times the odds of a miss for 10 cm less.
    ``foretells``: its whole interval lies above 1.  ``limit_cm``: None where the test foretells nothing.
    ``limits``: HAND_TEST_LIMITS.  ``reason``: why there is no answer, else None.
    """

    tested: int
    factor: Likely | None
    foretells: bool
    concordance: Likely | None
    limit_cm: Likely | None
    limits: pl.DataFrame
    reason: str | None


def estimate_hand_test(cells: pl.DataFrame, worse_factor: float | None = None) -> HandTest:
    """The three answers from rows of CELLS; slots without a test are left out."""
    worse = SEASON_SETTINGS["worse_factor"].value if worse_factor is None else worse_factor
    slots = cells.filter(pl.col("slot") > 0, pl.col("hand_ceiling_cm").is_not_null())
    used = to_item_cells(slots)
    heights = used["hand_ceiling_cm"].to_numpy()
    refusal = _refusal(used, heights)
    if refusal:
        return HandTest(used.height, None, False, None, None, HAND_TEST_LIMITS.empty(), refusal)
    lower = (float(np.median(heights)) - heights) / STEP_CM
    built = to_design(used, KINDS, extra={COLUMN: lower}).cells
    fit = estimate_crossed(built)
    at = built.fixed.shape[1] - 1
    mats = to_factor("mat", used["mat"].fill_null("not recorded"))
    slope, error = float(fit.effects[at]), clustered_error(built, fit, at, mats.index)
    half = float(stats.t.ppf(0.975, max(mats.levels - 1, 1))) * error
    factor = Likely(*(float(np.exp(slope + by)) for by in (0.0, -half, half)))
    knees = _profile(used, heights, fit.spreads)
    foretells = factor.low > 1
    wider = max(error / float(np.sqrt(fit.covariance[at, at])), 1.0)
    limit = _limit(knees, float(np.log(worse)), wider) if foretells else None
    return HandTest(
        used.height,
        factor,
        foretells,
        estimate_concordance(used),
        limit,
        _to_limits(used, heights, knees),
        None if foretells else "misses do not rise clearly with a lower test, so no limit can be set from it",
    )


def _refusal(used: pl.DataFrame, heights: Floats) -> str | None:
    if used.height < LEAST_TESTED:
        return f"{used.height} slots with a hand test; {LEAST_TESTED} are needed"
    if len(np.unique(heights)) < LEAST_HEIGHTS:
        return f"the hand tests show fewer than {LEAST_HEIGHTS} different heights"
    return None


@dataclass(frozen=True, slots=True)
class _Knees:
    """For each knee: its height, rise per 10 cm below it, its standard error, log-likelihood."""

    height: Floats
    rise: Floats
    error: Floats
    log_likelihood: Floats


def _profile(used: pl.DataFrame, heights: Floats, spreads: Spreads) -> _Knees:
    grid = np.unique(np.quantile(heights, np.linspace(0.05, 1.0, KNEES)))
    rows = []
    for knee in grid:
        below = np.maximum(knee - heights, 0.0) / STEP_CM
        design = to_design(used, KINDS, extra={COLUMN: below})
        found = estimate_given_spreads(design.cells, spreads)
        rows.append((knee, found.fixed[-1], found.std_error[-1], found.log_likelihood))
    return _Knees(*np.array(rows).T)


def _limit(knees: _Knees, worse: float, wider: float) -> Likely | None:
    """Height at which the odds have risen by ``worse`` (log): draws of knee and rise.

    ``wider``: times the model's standard error that sharing within mats makes the true one; the likelihood of
    the knees is flattened by its square.
    """
    rng = np.random.default_rng(SEED)
    weight = np.exp((knees.log_likelihood - knees.log_likelihood.max()) / wider**2)
    chosen = rng.choice(len(weight), DRAWS, p=weight / weight.sum())
    rise = rng.normal(knees.rise[chosen], wider * knees.error[chosen])
    rising = rise > 0
    if rising.mean() < 0.975:
        return None
    limits = knees.height[chosen][rising] - STEP_CM * worse / rise[rising]
    low, middle, high = np.quantile(limits, [0.025, 0.5, 0.975])
    return Likely(float(middle), float(low), float(high))


def _pairs_won(lines: list[tuple[Floats, Floats, Floats]]) -> tuple[float, float]:
    """Pairs in which the missed crossing had the lower test (ties half), and all pairs."""
    won = total = 0.0
    for heights, missed, read in lines:
        lower = (heights[:, None] < heights[None, :]) + 0.5 * (heights[:, None] == heights[None, :])
        won += float(missed @ lower @ read)
        total += float(missed.sum() * read.sum())
    return won, total


def estimate_concordance(used: pl.DataFrame) -> Likely | None:
    """Area under the ROC curve of the test for single crossings, within lines of one day; None without pairs.

    Jackknife over events, on the logit.
    """
    by_event: dict[str, list[tuple[Floats, Floats, Floats]]] = {}
    for (event, _), part in used.group_by("event", "line", maintain_order=True):
        missed = part["missed_at_work"].to_numpy()
        read = part["tried_at_work"].to_numpy() - missed
        by_event.setdefault(str(event), []).append((part["hand_ceiling_cm"].to_numpy(), missed, read))
    counts = np.array([_pairs_won(lines) for lines in by_event.values()])
    counts = counts[counts[:, 1] > 0]
    if len(counts) < 2:
        return None
    won, total = counts.sum(axis=0)
    left_out = (won - counts[:, 0]) / (total - counts[:, 1])
    if not (0 < won < total) or not ((left_out > 0) & (left_out < 1)).all():
        return None
    logits = np.log(left_out / (1 - left_out))
    size = len(counts)
    error = float(np.sqrt((size - 1) / size * ((logits - logits.mean()) ** 2).sum()))
    half = float(stats.t.ppf(0.975, size - 1)) * error
    centre = float(np.log(won / (total - won)))
    low, high = (1 / (1 + np.exp(-(centre + by))) for by in (-half, half))
    return Likely(float(won / total), float(low), float(high))


def _to_limits(used: pl.DataFrame, heights: Floats, knees: _Knees) -> pl.DataFrame:
    """What each limit would have failed and caught; a slot's excess is over the rate of the better half of its line."""
    missed, tried = used["missed_at_work"].to_numpy(), used["tried_at_work"].to_numpy()
    good = heights >= np.median(heights)
    usual = missed[good].sum() / tried[good].sum()
    excess = missed - tried * usual
    best = knees.log_likelihood.max()
    rows = []
    for limit, value in zip(knees.height, knees.log_likelihood, strict=True):
        fails = heights < limit
        low_half = heights < np.median(heights)
        over = float(excess[low_half].sum())
        rows.append(
            {
                "limit_cm": float(limit),
                "failed": int(fails.sum()),
                "share_failed": float(fails.mean()),
                "missed_caught": float(missed[fails].sum() / missed.sum()) if missed.sum() > 0 else 0.0,
                "weak_caught": min(float(excess[fails].sum()) / over, 1.0) if over > 0 else None,
                "log_likelihood": float(value - best),
                "plausible": bool(value >= best - WITHIN_95),
            }
        )
    return HAND_TEST_LIMITS.conform(pl.DataFrame(rows, infer_schema_length=None)).sort("limit_cm")
