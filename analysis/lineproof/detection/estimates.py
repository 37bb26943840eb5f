"""From counts to the two quantities: achieved today, and what the set-up is capable of.

The rows that come out are RATES but for the columns that the level adds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineproof.detection.counts import Counted
from lineproof.detection.hidden import expected_hidden
from lineproof.detection.histories import Bools, Floats
from lineproof.detection.intervals import estimate_share
from lineproof.detection.wording import Facts, method_of, reason_of
from lineproof.vocabulary import Quantity, Role


@dataclass(frozen=True, slots=True)
class Grouping:
    """What one family of rates is counted by.  ``group`` is the column behind the RATES column of that name."""

    level: str
    keys: tuple[str, ...]
    group: str | None = None
    by_line: bool = False
    by_runner: bool = True


@dataclass(frozen=True, slots=True)
class Estimates:
    """One number per group; NaN where there is no estimate."""

    proven: Floats
    detected: Floats
    estimate: Floats
    std_error: Floats
    low: Floats
    high: Floats
    deff: Floats
    hidden: Floats
    exact: Sequence[bool]


def numbers(counted: Counted, name: str) -> Floats:
    return counted.groups[name].cast(pl.Float64).to_numpy()


def estimate_achieved(counted: Counted, confidence: float) -> Estimates:
    known, hits = numbers(counted, "known"), numbers(counted, "hits")
    hidden, expected = counted.hidden, counted.expected
    crossed = np.where(known > 0, known, np.nan)
    estimate = hits / (crossed + expected)
    shares = hits[:, None] / (crossed[:, None] + hidden)
    low, high = _ends(shares, confidence)
    return Estimates(
        known,
        hits,
        estimate,
        np.where(hidden.any(axis=1), shares.std(axis=1), 0.0 * estimate),
        np.fmin(low, estimate),
        np.fmax(high, estimate),
        np.ones_like(known),
        expected,
        [False] * len(known),
    )


def _ends(draws: Floats, confidence: float) -> tuple[Floats, Floats]:
    tail = (1 - confidence) / 2
    # Hidden crossings are whole numbers: the ends are drawn values, on the side that covers.
    low = np.quantile(draws, tail, axis=1, method="lower")
    return low, np.quantile(draws, 1 - tail, axis=1, method="higher")


def estimate_capability(counted: Counted, role: Role | None, confidence: float) -> Estimates:
    """By later reads where there are any; pooled visits add the two lines' word on the visits without."""
    later, hits = numbers(counted, "later"), numbers(counted, "later_hits")
    deff = np.maximum(numbers(counted, "deff"), 1.0)
    pair = by_sibling(counted, role, confidence)
    pools_points = "point" not in counted.groups.columns
    added = pair.effective_trials if pools_points else np.zeros_like(later)
    added = np.where(np.isnan(pair.estimate), 0.0, added)
    rate = np.where(added > 0, pair.estimate, 0.0)
    share = estimate_share(hits / deff + added * rate, later / deff + added, confidence)
    seen, crossed = np.where(added > 0, pair.detected, 0.0), np.where(added > 0, pair.crossed, 0.0)
    pooled = (hits + seen) / np.where(later + crossed > 0, later + crossed, np.nan)
    by_pair = later == 0
    return Estimates(
        np.where(by_pair, pair.proven, later + seen),
        np.where(by_pair, pair.detected, hits + seen),
        np.where(by_pair, pair.estimate, pooled),
        np.where(by_pair, pair.std_error, share.std_error),
        np.where(by_pair, pair.low, np.fmin(share.low, pooled)),
        np.where(by_pair, pair.high, np.fmax(share.high, pooled)),
        np.where(by_pair, numbers(counted, "deff_pair"), deff),
        np.where(by_pair, pair.crossed - pair.seen, 0.0),
        [bool(word) for word in share.exact],
    )


@dataclass(frozen=True, slots=True)
class Pair:
    """What the two lines say of each other, per group; NaN where no visit has only them."""

    proven: Floats
    detected: Floats
    seen: Floats
    crossed: Floats
    estimate: Floats
    std_error: Floats
    low: Floats
    high: Floats
    effective_trials: Floats


def by_sibling(counted: Counted, role: Role | None, confidence: float) -> Pair:
    """Among good and among weak tags, each line judged by the runners whom the other read."""
    both, main_only, backup_only = (numbers(counted, n) for n in ("both", "main_only", "backup_only"))
    seen_parts = np.where(counted.parts.by_later, 0.0, counted.parts.seen)
    miss_main, miss_backup = counted.chances.miss_main, counted.chances.miss_backup
    is_pair = seen_parts > 0
    read_by_either = 1 - miss_main * miss_backup
    chance = {None: read_by_either, Role.MAIN: 1 - miss_main, Role.BACKUP: 1 - miss_backup}[role]
    crossing = np.where(is_pair[:, None], seen_parts[:, None] / read_by_either, 0.0)
    total = counted.sum(crossing)
    seen = both + main_only + backup_only
    has_pair = seen > 0
    read_of = counted.sum(np.where(is_pair[:, None], chance * crossing, 0.0))
    shares = read_of / np.where(total > 0, total, np.nan)
    only_pair = numbers(counted, "later") == 0
    plain = counted.sum(np.where(is_pair, expected_hidden(counted.parts), 0.0))
    crossed = np.where(has_pair, seen + np.where(only_pair, counted.expected, plain), np.nan)
    read = {None: seen, Role.MAIN: both + main_only, Role.BACKUP: both + backup_only}[role]
    estimate = read / crossed
    tail = (1 - confidence) / 2
    low, high = (np.full_like(seen, np.nan) for _ in range(2))
    low[has_pair] = np.fmin(np.quantile(shares[has_pair], tail, axis=1), estimate[has_pair])
    high[has_pair] = np.fmax(np.quantile(shares[has_pair], 1 - tail, axis=1), estimate[has_pair])
    std_error = np.where(has_pair, shares.std(axis=1), np.nan)
    witnesses = {None: seen, Role.MAIN: both + backup_only, Role.BACKUP: both + main_only}[role]
    detected = {None: seen, Role.MAIN: both, Role.BACKUP: both}[role]
    variance = np.where(std_error > 0, std_error, np.nan) ** 2
    effective = np.fmin(np.where(estimate < 1, estimate * (1 - estimate), np.nan) / variance, seen)
    return Pair(witnesses, detected, seen, crossed, estimate, std_error, low, high, effective)


def to_rows(
    counted: Counted, found: Estimates, quantity: Quantity, grouping: Grouping, role: Role | None
) -> pl.DataFrame:
    groups = counted.groups
    evidence, methods, reasons = [], [], []
    for i, row in enumerate(groups.iter_rows(named=True)):
        facts = Facts(
            quantity=quantity,
            role=role,
            known=row["known"],
            later=row["later"],
            settled=row["settled"],
            camera=row["camera"],
            seen_by_pair=row["both"] + row["main_only"] + row["backup_only"],
            left_out=row["left_out"],
            dark=row["dark"],
            unseen=row["unseen"] if grouping.by_runner else 0,
            misses=round(found.proven[i] - found.detected[i]),
            deff=float(found.deff[i]),
            hidden=float(found.hidden[i]),
            by_runner=grouping.by_runner,
            exact=found.exact[i],
            estimated=not np.isnan(found.estimate[i]),
        )
        evidence.append(facts.evidence.value)
        methods.append(method_of(facts))
        reasons.append(reason_of(facts))
    given = ~np.isnan(found.estimate)
    # Zero misses give a standard error of zero, which would claim too much.
    certain = np.asarray((found.std_error > 0) | (quantity is Quantity.ACHIEVED))

    def number(values: Floats, where: Bools = given) -> pl.Series:
        return pl.Series(
            [float(v) if ok else None for v, ok in zip(values, where, strict=True)], dtype=pl.Float64
        )

    return named(groups, grouping).with_columns(
        pl.lit(quantity.value).alias("quantity"),
        pl.Series("evidence", evidence, dtype=pl.String),
        pl.Series("proven", np.where(given, found.proven, 0).round().astype(np.int64)),
        pl.Series("detected", np.where(given, found.detected, 0).round().astype(np.int64)),
        pl.Series("doubtful", groups["doubtful"]),
        number(found.estimate).alias("estimate"),
        number(found.std_error, given & certain).alias("std_error"),
        number(found.low).alias("conf_low"),
        number(found.high).alias("conf_high"),
        pl.Series("method", methods, dtype=pl.String),
        pl.Series("reason", reasons, dtype=pl.String),
    )


def named(groups: pl.DataFrame, grouping: Grouping) -> pl.DataFrame:
    """The naming columns of RATES for the groups."""
    kept = [name for name in ("course", "order", "point", "from_point", "doubtful") if name in groups.columns]
    group = pl.lit(None, dtype=pl.String) if grouping.group is None else pl.col(grouping.group)
    return groups.select(*kept, group.alias("group"), pl.lit(grouping.level).alias("level"))
