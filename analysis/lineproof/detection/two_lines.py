"""What two lines at one point say about each other, and about the runners whom neither read.

A line's rate is judged by the runners whom the other line read.  That is right only if the two
lines miss different runners for unrelated reasons; a badly worn tag is missed by both.  Comparing
like with like (``estimate_stratified``) takes off what the strata explain.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import special, stats

# Chapman's estimator where fewer runners than this were read by both lines.
FEW_BOTH = 10


@dataclass(frozen=True, slots=True)
class Cells:
    """Runners who crossed one point, by the lines that read them; ``neither`` is None where unknown."""

    both: int
    main_only: int
    backup_only: int
    neither: int | None = None

    @property
    def main(self) -> int:
        return self.both + self.main_only

    @property
    def backup(self) -> int:
        return self.both + self.backup_only

    @property
    def seen(self) -> int:
        return self.both + self.main_only + self.backup_only

    @property
    def is_fill_in(self) -> bool:
        """Whether the lines cannot witness for each other, because hardly a runner has both.

        Either the export holds the backup line only where the main line missed, or the lines never
        worked at the same time.  Main having read most runners, yet hardly one of those whom the
        backup line read, is no accident.
        """
        return self.backup >= 3 and self.both <= 0.1 * self.backup and self.main_only >= self.backup


@dataclass(frozen=True, slots=True)
class TwoLines:
    """Rates and hidden misses of one point, if the lines' misses are unrelated.

    NaN, with a ``reason``, where the counts do not say.  ``crossed`` is the Lincoln-Petersen number
    of crossings, ``crossed_chapman`` Chapman's; ``hidden`` is how many of them neither line read.
    """

    rate_main: float
    rate_backup: float
    hidden: float
    crossed: float
    crossed_se: float
    crossed_chapman: float
    crossed_chapman_se: float
    reason: str | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Main against backup, free of the runners whom neither read.

    ``ratio`` is reads of main over reads of backup; ``chi2`` (without continuity correction) and
    ``p_exact`` are McNemar's.
    """

    ratio: float
    low: float
    high: float
    chi2: float
    chi2_corrected: float
    p_exact: float


@dataclass(frozen=True, slots=True)
class Stratified:
    """Sum over strata: crossings, hidden ones among them, and the variance of both."""

    crossed: float
    hidden: float
    variance: float


@dataclass(frozen=True, slots=True)
class Dependence:
    """How many times greater the odds of a miss by one line are where the other missed; NaN where counts do not say."""

    odds_ratio: float
    low: float
    high: float


def to_cells(rows: pl.DataFrame) -> Cells:
    """Counts of ``seen_main`` and ``seen_backup`` among rows of crossings that are proven.

    Rows that hold null for either line are refused (``ValueError``): they say nothing of the pair.
    """
    if rows.select(pl.col("seen_main", "seen_backup").null_count()).sum_horizontal().item():
        raise ValueError("a row does not tell what both lines did")
    main, backup = pl.col("seen_main"), pl.col("seen_backup")
    both, main_only, backup_only, neither = rows.select(
        (main & backup).sum().alias("both"),
        (main & ~backup).sum().alias("main_only"),
        (~main & backup).sum().alias("backup_only"),
        (~main & ~backup).sum().alias("neither"),
    ).row(0)
    return Cells(both, main_only, backup_only, neither)


def estimate_two_lines(cells: Cells) -> TwoLines:
    """Each line's rate by the other as witness, and the hidden crossings if misses are unrelated.

    Lincoln-Petersen with the variance of Chandrasekar & Deming 1949 (J Am Stat Assoc 44:101-115);
    Chapman 1951 with the variance of Seber 1970.
    """
    n11, n10, n01 = float(cells.both), float(cells.main_only), float(cells.backup_only)
    main, backup = n11 + n10, n11 + n01
    chapman, chapman_variance = _chapman(n11, n10, n01)
    nothing = float("nan")
    if cells.is_fill_in or n11 == 0:
        return TwoLines(
            0.0 if main == 0 < backup else nothing,
            0.0 if backup == 0 < main else nothing,
            nothing,
            nothing,
            nothing,
            nothing if cells.is_fill_in else chapman,
            nothing if cells.is_fill_in else chapman_variance**0.5,
            _why_not(cells),
        )
    return TwoLines(
        n11 / backup,
        n11 / main,
        n10 * n01 / n11,
        main * backup / n11,
        (main * backup * n10 * n01 / n11**3) ** 0.5,
        chapman,
        chapman_variance**0.5,
        None,
    )


def _why_not(cells: Cells) -> str:
    if cells.is_fill_in:
        return (
            "hardly a runner was read by both lines: the backup line only filled in, or the lines never "
            "worked at the same time, so neither is a witness for the other"
        )
    if cells.backup == 0:
        return "the backup line read nobody, so it is no witness for the main line"
    if cells.main == 0:
        return "the main line read nobody, so it is no witness for the backup line"
    return "no runner was read by both lines"


def _chapman(n11: float, n10: float, n01: float) -> tuple[float, float]:
    main, backup = n11 + n10 + 1, n11 + n01 + 1
    return main * backup / (n11 + 1) - 1, main * backup * n10 * n01 / ((n11 + 1) ** 2 * (n11 + 2))


def hidden_by_odds_ratio(cells: Cells, odds_ratio: float) -> float:
    """Hidden crossings if a miss of one line multiplies the odds of a miss of the other by ``odds_ratio``.

    Two lines alone cannot tell the odds ratio: a picture of sensitivity, never an estimate.
    """
    return odds_ratio * cells.main_only * cells.backup_only / cells.both if cells.both else float("nan")


def compare_lines(cells: Cells, confidence: float = 0.95) -> Comparison:
    """Ratio of reads main to backup with an interval on the log scale (delta method), and McNemar's test.

    McNemar 1947, Psychometrika 12:153-157; exact two-sided by the binomial of the unequal pairs.
    """
    b, c = cells.main_only, cells.backup_only
    unequal = b + c
    exact = float(min(1.0, 2 * stats.binom.cdf(min(b, c), unequal, 0.5))) if unequal else 1.0
    chi2 = (b - c) ** 2 / unequal if unequal else 0.0
    corrected = max(abs(b - c) - 1, 0) ** 2 / unequal if unequal else 0.0
    if not cells.main or not cells.backup:
        return Comparison(float("nan"), float("nan"), float("nan"), chi2, corrected, exact)
    ratio = cells.main / cells.backup
    half = float(special.ndtri(0.5 + confidence / 2)) * (unequal / (cells.main * cells.backup)) ** 0.5
    return Comparison(
        ratio, ratio * float(np.exp(-half)), ratio * float(np.exp(half)), chi2, corrected, exact
    )


def estimate_stratified(strata: Iterable[Cells]) -> Stratified:
    """Crossings summed over strata within which the lines' misses are unrelated (Sekar & Deming 1949).

    Chapman's estimator where fewer than ten runners of a stratum were read by both lines.
    """
    crossed = variance = seen = 0.0
    for cells in strata:
        n11, n10, n01 = float(cells.both), float(cells.main_only), float(cells.backup_only)
        part, part_variance = _chapman(n11, n10, n01)
        if n11 >= FEW_BOTH:
            part = (n11 + n10) * (n11 + n01) / n11
            part_variance = (n11 + n10) * (n11 + n01) * n10 * n01 / n11**3
        crossed, variance, seen = crossed + part, variance + part_variance, seen + cells.seen
    return Stratified(crossed, crossed - seen, variance)


def estimate_dependence(tables: Iterable[Cells], confidence: float = 0.95) -> Dependence:
    """One odds ratio common to several tables of all four cells: runners known to have crossed, read or not.

    Mantel & Haenszel 1959, Journal of the National Cancer Institute 22:719-748; variance of its logarithm by Robins,
    Breslow & Greenland 1986, Biometrics 42:311-323.  Needs a runner whom neither line read.
    """
    rows = [(t.both, t.main_only, t.backup_only, t.neither) for t in tables if t.neither is not None]
    both, main_only, backup_only, neither = np.array(rows, dtype=float).reshape(-1, 4).T
    whole = np.maximum(both + main_only + backup_only + neither, 1.0)
    with_, against = both * neither / whole, main_only * backup_only / whole
    if not with_.sum() or not against.sum():
        return Dependence(float("nan"), float("nan"), float("nan"))
    alike, unlike = (both + neither) / whole, (main_only + backup_only) / whole
    variance = (
        (alike * with_).sum() / (2 * with_.sum() ** 2)
        + (alike * against + unlike * with_).sum() / (2 * with_.sum() * against.sum())
        + (unlike * against).sum() / (2 * against.sum() ** 2)
    )
    ratio = float(with_.sum() / against.sum())
    half = float(special.ndtri(0.5 + confidence / 2) * variance**0.5)
    return Dependence(ratio, ratio * float(np.exp(-half)), ratio * float(np.exp(half)))
