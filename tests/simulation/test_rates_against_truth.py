"""Rates of simulated events against what truly happened, on seeds that nothing was tuned on.

Limits: at least 90 % of the realised shares inside their 95 % intervals, none outside 99.9 %; the finish, where
nothing comes later, is no exception.  The start is left out where it says so: who stands on its mats at
the gun is read without crossing, which no export can tell from a crossing.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import polars as pl
import pytest
from scipy import stats

from lineproof.detection.clusters import design_effects
from lineproof.detection.intervals import estimate_share
from lineproof.detection.proofs import to_proofs
from lineproof.detection.rates import compare_with_target, estimate_rates
from lineproof.simulate import MUST_ANSWER, MUST_REFUSE
from simulation.cleaned import cleaned

SEEDS = (8101, 8102)
RUNNERS = 1500
ANSWERED = (
    "good lines",
    "weak tags 1 %",
    "weak tags 3 %",
    "outage of one line",
    "lifted early",
    "drop-outs 20 %",
)


def compared(scenario: str) -> pl.DataFrame:
    """Achieved rates of lines and points beside the truth, one row each; ``wide_*`` are 99.9 % intervals."""
    frames = []
    for seed in SEEDS:
        clean = cleaned(MUST_ANSWER[scenario](RUNNERS), seed)
        simulated = clean.simulated
        proofs = to_proofs(clean.crossings, simulated.entries, simulated.event)
        truth = simulated.truth.rates.filter(pl.col("level").is_in(["line", "point"]))
        found = pooled(estimate_rates(proofs, simulated.event))
        sure = dataclasses.replace(
            simulated.event, settings={**simulated.event.settings, "confidence": 0.999}
        )
        wide = pooled(estimate_rates(proofs, sure)).select(
            "level", "point", "line", wide_low="conf_low", wide_high="conf_high"
        )
        keys = ["level", "point", "line"]
        frames.append(
            truth.select(*keys, "crossed", "read", "rate")
            .join(found, on=keys, how="left", nulls_equal=True, validate="1:1")
            .join(wide, on=keys, how="left", nulls_equal=True, validate="1:1")
        )
    return pl.concat(frames)


def pooled(rates: pl.DataFrame) -> pl.DataFrame:
    wanted = rates.filter(
        pl.col("order").is_null(),
        pl.col("level").cast(pl.String).is_in(["line", "point"]),
        quantity="achieved",
    )
    return wanted.select(
        pl.col("level").cast(pl.String),
        "point",
        "line",
        "estimate",
        "conf_low",
        "conf_high",
        "proven",
        "detected",
    )


def inside(low: str, high: str) -> pl.Expr:
    # A share without doubt has an interval of no width, which floating point may miss by a hair.
    return pl.col("rate").is_between(pl.col(low) - 1e-12, pl.col(high) + 1e-12)


def test_rates_of_six_kinds_of_event() -> None:
    """One test, so that each event is simulated once: the checks below it read the same rows."""
    rows = pl.concat([compared(scenario).with_columns(scenario=pl.lit(scenario)) for scenario in ANSWERED])
    assert rows["estimate"].null_count() == 0  # all of these must be answered
    start, rest = rows.filter(pl.col("point") == "s"), rows.filter(pl.col("point") != "s")
    check_intervals(rest)
    check_start(start)
    check_finish(rest.filter(pl.col("point") == "f"))


def check_intervals(rows: pl.DataFrame) -> None:
    covered = rows.select(inside("conf_low", "conf_high").alias("inside"))["inside"]
    assert covered.mean() >= 0.90
    assert rows.filter(~inside("wide_low", "wide_high")).is_empty()


def check_start(rows: pl.DataFrame) -> None:
    """The start is as good, but for those who stand on it: eight in ten of the front of 1,500 do."""
    surplus = rows["estimate"] * rows["crossed"] - rows["read"]
    assert surplus.abs().max() < 5


def check_finish(rows: pl.DataFrame) -> None:
    """Nothing comes later: covered all the same, and its miss rate has a bias under 10 % of itself."""
    assert rows.select(inside("conf_low", "conf_high").alias("inside"))["inside"].mean() >= 0.90
    points = rows.filter(level="point")
    missed = (points["crossed"] - points["read"]).sum()
    estimated = ((1 - points["estimate"]) * points["crossed"]).sum()
    assert missed > 15
    assert abs(estimated - missed) <= 0.1 * missed + 2 * missed**0.5  # two standard errors of a count
    check_that_independence_would_understate(rows.filter(scenario="weak tags 3 %"))


def check_that_independence_would_understate(rows: pl.DataFrame) -> None:
    lines, points = rows.filter(level="line").sort("line"), rows.filter(level="point")
    shares = (1 - lines["read"] / lines["crossed"]).to_numpy()
    both_missed_if_unrelated = shares[: len(shares) // 2].mean() * shares[len(shares) // 2 :].mean()
    missed = (points["crossed"] - points["read"]).sum() / points["crossed"].sum()
    assert both_missed_if_unrelated < 0.4 * missed


@pytest.mark.parametrize("scenario", ["one line per point", "both lines out, nothing later"])
def test_what_cannot_be_known_is_refused(scenario: str) -> None:
    for seed in SEEDS:
        clean = cleaned(MUST_REFUSE[scenario](RUNNERS), seed)
        proofs = to_proofs(clean.crossings, clean.simulated.entries, clean.simulated.event)
        finish = estimate_rates(proofs, clean.simulated.event).filter(
            pl.col("order").is_not_null(), pl.col("level").cast(pl.String).is_in(["line", "point"]), point="f"
        )
        assert finish["estimate"].null_count() == finish.height
        assert finish["reason"].str.contains("cannot be known").all()


def test_two_hundred_runners_cannot_show_the_target() -> None:
    clean = cleaned(MUST_REFUSE["too small to tell"](200), SEEDS[0])
    proofs = to_proofs(clean.crossings, clean.simulated.entries, clean.simulated.event)
    rates = estimate_rates(proofs, clean.simulated.event).filter(level="point", quantity="capability")
    words = {compare_with_target(row, 0.998).word for row in rates.iter_rows(named=True)}
    assert words == {"cannot tell"}


@pytest.mark.parametrize(("mean", "shape"), [(0.99, 5.0), (0.97, 2.0), (0.95, 20.0)])
def test_capability_covers_where_minutes_share_their_luck(mean: float, shape: float) -> None:
    """Own generator: 300 minutes of 10 runners; each minute draws its rate from a beta distribution about ``mean``."""
    rng = np.random.default_rng(7)
    events, minutes, runners = 400, 300, 10
    rate = stats.beta(mean * shape, (1 - mean) * shape).rvs((events, minutes), random_state=rng)
    missed = rng.random((events, minutes, runners)) > rate[:, :, None]
    rows = pl.DataFrame(
        {
            "event": np.repeat(np.arange(events), minutes * runners),
            "minute": np.tile(np.repeat(np.arange(minutes), runners), events),
            "missed": missed.ravel(),
        }
    )
    deff = design_effects(rows, ["event"], ["minute"], pl.col("missed"))["deff"].to_numpy()
    total = minutes * runners
    read = total - missed.sum(axis=(1, 2))
    clustered, plain = (
        estimate_share(read, np.full(events, total), 0.95, deff),
        estimate_share(read, np.full(events, total)),
    )
    covers = ((clustered.low <= mean) & (mean <= clustered.high)).mean()
    assert covers >= 0.92 - 2 * (0.92 * 0.08 / events) ** 0.5
    assert covers > ((plain.low <= mean) & (mean <= plain.high)).mean()
