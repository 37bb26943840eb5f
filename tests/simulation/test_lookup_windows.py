"""Look-up windows of simulated events: a stated 95 % must hold 93 to 97 % of the true crossings."""

from __future__ import annotations

import polars as pl

from lineproof.detection.proofs import to_proofs
from lineproof.lookups import to_lookups
from lineproof.simulate import MUST_ANSWER, MUST_REFUSE
from simulation.cleaned import cleaned

CASES = (
    ("rain", 1),
    ("weak tags 3 %", 2),
    ("one line per point", 3),
    ("trail", 4),
    ("rain", 5),
    ("one line per point", 6),
)
RUNNERS = 2500


def looked_up() -> pl.DataFrame:
    """All look-ups of runners who truly crossed, with the true time."""
    frames = []
    for scenario, seed in CASES:
        plan = {**MUST_ANSWER, **MUST_REFUSE}[scenario](RUNNERS)
        clean = cleaned(plan, 9200 + seed)
        simulated = clean.simulated
        proofs = to_proofs(clean.crossings, simulated.entries, simulated.event)
        found = to_lookups(proofs, simulated.entries, simulated.event)
        truth = simulated.truth.crossings.select("runner", "order", "crossed", true_time="time")
        frames.append(found.join(truth, on=["runner", "order"], how="left", validate="1:1").filter("crossed"))
    return pl.concat(frames).with_columns(
        pl.col("true_time").is_between("look_from", "look_to").alias("inside"),
        (pl.col("look_to") - pl.col("look_from")).dt.total_seconds().alias("seconds"),
    )


def test_windows_hold_what_they_say_and_are_short_enough_to_watch() -> None:
    rows = looked_up()
    for proof, minutes in (("proven", 3), ("unproven", 10)):
        kind = rows.filter(pl.col("proof") == proof)
        error = (0.95 * 0.05 / kind.height) ** 0.5
        assert kind.height > 150
        assert 0.93 - 2 * error <= kind["inside"].mean() <= 0.97 + 2 * error
        assert kind["seconds"].median() < 60 * minutes
