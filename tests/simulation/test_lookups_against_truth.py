"""Look-ups, sightings and the audit on simulated events, against what truly happened.

Limits: windows of 95 % hold 93 to 97 % of the crossings; nine in ten of those who can be found are found in the first half
of the list; chances add up to the number who crossed.  Two standard errors of the count are allowed.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import polars as pl
import pytest

from lineproof.detection.audit import MINUTE, draw_audit, estimate_audit
from lineproof.detection.proofs import to_proofs
from lineproof.detection.rates import estimate_rates
from lineproof.simulate import MUST_ANSWER, MUST_REFUSE, clean_plan
from simulation.looked_up import LookedUp, audited, found_in_first_half, looked_up, to_outcomes
from unit.small_event import GUN

CASES = (
    ("rain", 1),
    ("weak tags 3 %", 2),
    ("one line per point", 3),
    ("both lines out, nothing later", 4),
    ("drop-outs 20 %", 5),
    ("trail", 6),
)
RUNNERS = 2500
SEED = 31700


@cache
def case(name: str, number: int) -> LookedUp:
    return looked_up({**MUST_ANSWER, **MUST_REFUSE}[name](RUNNERS), SEED + number)


def all_rows() -> pl.DataFrame:
    return pl.concat([case(*each).rows for each in CASES])


@pytest.mark.parametrize("proof", ["proven", "unproven"])
def test_windows_hold_what_they_say(proof: str) -> None:
    kind = all_rows().filter(pl.col("proof") == proof, "crossed")
    error = (0.95 * 0.05 / kind.height) ** 0.5
    assert kind.height > 300
    assert 0.93 - 2 * error <= float(kind["inside"].mean()) <= 0.97 + 2 * error  # type: ignore[arg-type]


def test_the_first_half_of_the_list_finds_nine_in_ten() -> None:
    found, most = (
        sum(part) for part in zip(*(found_in_first_half(case(*each).rows) for each in CASES), strict=True)
    )
    assert most > 300
    assert found >= 0.9 * most
    # Beyond those that a later read proves, of whom it is known that they crossed.
    open_yet = pl.concat(
        [case("rain", 1).rows, case("weak tags 3 %", 2).rows, case("drop-outs 20 %", 5).rows]
    )
    found, most = found_in_first_half(
        open_yet.filter(pl.col("proof") == "unproven").sort("chance", descending=True)
    )
    assert found >= 0.9 * most


def test_chances_add_up_to_those_who_crossed() -> None:
    rows = all_rows().filter(pl.col("proof") == "unproven")
    for low, high in ((0.0, 0.5), (0.5, 1.01)):
        part = rows.filter(pl.col("chance") >= low, pl.col("chance") < high)
        expected, crossed = float(part["chance"].sum()), int(part["crossed"].sum())
        spread = float((part["chance"] * (1 - part["chance"])).sum()) ** 0.5
        assert abs(expected - crossed) <= 3 * spread + 0.15 * expected


def test_a_list_looked_up_to_its_end_tells_the_finish_exactly() -> None:
    """One line at the finish is refused by its reads alone; with every look-up settled it is a count."""
    looked = case("one line per point", 3)
    simulated = looked.clean.simulated
    proofs = to_proofs(looked.clean.crossings, simulated.entries, simulated.event, to_outcomes(looked))
    row = (
        estimate_rates(proofs, simulated.event)
        .filter(
            pl.col("level") == "point",
            pl.col("quantity") == "achieved",
            pl.col("course").is_null(),
            pl.col("point") == "f",
        )
        .row(0, named=True)
    )
    truth = simulated.truth.crossings.filter("crossed", pl.col("point") == "f")
    assert (row["evidence"], row["detected"]) == ("camera", int(truth["read_main"].sum()))
    # Nobody can look for a runner who was read nowhere.
    seen = proofs.filter(pl.col("proof").cast(pl.String) == "seen")["runner"].unique().to_list()
    assert row["proven"] == truth.filter(pl.col("runner").is_in(seen)).height


def test_the_audit_of_drawn_minutes_holds_the_truth() -> None:
    held = 0
    events = 12
    for seed in range(events):
        plan = clean_plan(1200, 3, line_rate=(0.97, 0.96), weak_share=0.01)
        found, truth = audited(looked_up(plan, 31800 + seed).clean)
        assert found.minutes == 30
        held += found.low is not None and found.high is not None and found.low <= truth <= found.high
    assert held >= events - 2  # 95 % of 12; three or more outside have a chance of 2 %


def test_the_audit_holds_a_power_cut_of_both_lines() -> None:
    """Eight minutes in which neither line reads anybody, in a busy hour: 150 draws of 30 of 110 minutes."""
    rng = np.random.default_rng(3)
    held = 0
    for seed in range(150):
        flow = rng.poisson(60 * np.exp(-(((np.arange(110) - 50) / 16) ** 2)))
        begin = int(rng.integers(30, 70))
        missed = rng.binomial(flow, 0.003)
        missed[begin : begin + 8] = flow[begin : begin + 8]
        times = [GUN + (m + 0.5) * MINUTE for m, n in enumerate(flow - missed) for _ in range(int(n))]
        drawn = draw_audit(
            pl.Series(times, dtype=pl.Datetime("us", "UTC")), "f", GUN, GUN + 110 * MINUTE, 30, seed
        )
        place = (drawn["begin"] - GUN).dt.total_minutes().to_numpy()
        counts = {
            "crossed": pl.Series(flow[place], dtype=pl.UInt32),
            "missed": pl.Series(missed[place], dtype=pl.UInt32),
        }
        found = estimate_audit(drawn.with_columns(**counts))
        assert found.low is not None
        assert found.high is not None
        held += found.low <= missed.sum() / flow.sum() <= found.high
    error = (0.95 * 0.05 / 150) ** 0.5
    assert held / 150 >= 0.95 - 2.5 * error
