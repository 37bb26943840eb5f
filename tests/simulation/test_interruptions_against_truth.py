"""Interruptions of simulated events: the planted ones are found where they are, and hardly any other.

A small part of the study in ``benchmarks/interruptions.py``, which has more events and all scenarios.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest

from lineproof.detection.proofs import to_proofs
from lineproof.event import Event
from lineproof.interruptions import estimate_interruptions, to_masks, without_interruptions
from lineproof.simulate import MUST_ANSWER, EventPlan, MatFault, Silence, clean_plan, with_line
from simulation.cleaned import Cleaned, cleaned

RUNNERS = 1500
FOREVER = 1e9


def reviewed(plan: EventPlan, seed: int) -> tuple[Cleaned, pl.DataFrame, Event]:
    result = cleaned(plan, seed)
    event = result.simulated.event
    return result, to_proofs(result.crossings, result.simulated.entries, event), event


def silent(begin_s: float, end_s: float, *lines: str) -> EventPlan:
    plan = clean_plan(RUNNERS)
    for line in lines:
        plan = with_line(plan, line, silences=(Silence(begin_s, end_s),))
    return plan


SOUND = {
    "good lines": clean_plan(RUNNERS),
    "crowding": MUST_ANSWER["crowding"](RUNNERS),
    "rain": MUST_ANSWER["rain"](RUNNERS),
    "drop-outs 20 %": MUST_ANSWER["drop-outs 20 %"](RUNNERS),
    "trail": MUST_ANSWER["trail"](RUNNERS),
    "one line per point": clean_plan(RUNNERS, line_rate=(0.985,)),
    "line of 0.5 all day": with_line(clean_plan(RUNNERS), "p2-main", rate=0.5),
    "two of five mats lost": with_line(
        clean_plan(RUNNERS), "p2-main", mat_faults=(MatFault(1, np.inf, 1700), MatFault(2, np.inf, 1700))
    ),
}


@pytest.mark.parametrize("name", SOUND)
def test_nothing_is_reported_where_lines_worked_if_badly(name: str) -> None:
    _, proofs, event = reviewed(SOUND[name], 21)
    assert estimate_interruptions(proofs, event).rows() == []


@pytest.mark.parametrize(
    ("kind", "begin_s", "end_s", "lines"),
    [
        ("outage", 1700, 1900, ("p2-main",)),
        ("outage", 2900, 3100, ("f-backup",)),
        ("laid late", -FOREVER, 1500, ("p2-backup",)),
        ("lifted early", 2400, FOREVER, ("p2-main",)),
        ("both lines", 1700, 1900, ("p2-main", "p2-backup")),
        ("both lines", 2900, 3100, ("f-main", "f-backup")),
    ],
)
def test_what_is_planted_is_found_with_its_begin_and_end(
    kind: str, begin_s: float, end_s: float, lines: tuple[str, ...]
) -> None:
    plan = silent(begin_s, end_s, *lines)
    result, proofs, event = reviewed(plan, 22)
    (row,) = estimate_interruptions(proofs, event).rows(named=True)
    assert (row["kind"], row["line"]) == (kind, lines[0] if len(lines) == 1 else None)
    # A line reads over its zone of 1.2 m and the crossing's time is that of its sibling: a second or two.
    slack = dt.timedelta(seconds=4)
    for truth, low, high in ((begin_s, "read_before", "begin"), (end_s, "end", "read_after")):
        if abs(truth) < FOREVER:
            moment = plan.gun + dt.timedelta(seconds=truth)
            assert row[low] - slack <= moment <= row[high] + slack
    missed = result.simulated.truth.crossings.filter(
        "crossed", pl.col("point") == row["point"], pl.col("time").is_between(row["begin"], row["end"])
    )
    assert row["missed"] == pytest.approx(missed.height, rel=0.06)


@pytest.mark.parametrize("lines", [("p2-main",), ("p2-main", "p2-backup")], ids=["one line", "both lines"])
def test_rates_without_the_interruption_are_those_of_the_sound_line(lines: tuple[str, ...]) -> None:
    """The same luck without the fault: the simulation draws reads before it silences them."""
    _, proofs, event = reviewed(silent(1700, 1900, *lines), 23)
    found = estimate_interruptions(proofs, event)
    rest = without_interruptions(proofs, found, event).filter("seen_later", point="p2")
    _, sound, _ = reviewed(clean_plan(RUNNERS), 23)
    kept = sound.filter("seen_later", point="p2").join(
        rest.select("runner"), on="runner", how="semi"
    )  # fmt: skip
    assert rest.height > 0.75 * RUNNERS
    assert 1 - rest["seen_main"].mean() == pytest.approx(1 - kept["seen_main"].mean(), abs=0.002)
    masks = to_masks(proofs, found, event).join(proofs, on=["runner", "order"], validate="1:1")
    dark = masks.filter("seen_later", ~pl.col("main_available"))
    assert dark.height > 100
    assert not dark["seen_main"].any()
