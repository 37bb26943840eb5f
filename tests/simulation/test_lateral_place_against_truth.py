"""Mats with stated rates, found again from runners over two lines; then whole simulated events.

A small part of the study in ``benchmarks/lateral_place.py``.  The rate of a mat in a simulated event is taken
from the same event without the fault: of the runners whom a sound mat would have read as the strongest,
the share whom the faulty one still does.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from lineproof.detection.lateral_place import estimate_mats, estimate_point, verdict_of
from lineproof.simulate import EventPlan, MatFault, clean_plan, with_line
from simulation.cleaned import Cleaned, cleaned
from simulation.crossed_mats import Crossed, draw_counts

SOUND = {
    "usual": Crossed(),
    "rain": Crossed(missed=(0.045, 0.045)),
    "hardly a miss": Crossed(missed=(0.001, 0.001)),
    "offset lines": Crossed(offset=0.4),
    "eight mats": Crossed(main=(1.0,) * 8, backup=(1.0,) * 8, road=8.0),
}


@pytest.mark.parametrize("name", SOUND)
def test_sound_mats_are_called_sound_and_the_road_no_wider(name: str) -> None:
    found = estimate_point(draw_counts(SOUND[name], 11))
    assert {verdict_of(mat) for mat in (*found.main, *found.backup)} == {"sound"}
    assert [side.is_bare for side in (found.near, found.far) if side is not None] == [False, False]


@pytest.mark.parametrize("rate", [0.7, 0.4])
def test_a_weak_mat_is_found_with_its_rate_in_the_interval(rate: float) -> None:
    plan = Crossed(main=(1, 1, rate, 1, 1))
    inside = 0
    for seed in range(20, 24):
        found = estimate_point(draw_counts(plan, seed))
        mat = found.main[2]
        assert verdict_of(mat) == "weak"
        truth = rate * (1 - plan.missed[0])
        inside += mat.low <= truth <= mat.high
        assert abs(mat.estimate - truth) < 0.08
    # Of four 95 % intervals, two or more outside would be one chance in seventy.
    assert inside >= 3


def test_a_road_wider_than_the_line_is_found_on_its_side() -> None:
    for seed in (31, 32):
        found = estimate_point(draw_counts(Crossed(road=6.0), seed))
        assert found.near is not None
        assert found.far is not None
        assert (found.near.is_bare, found.far.is_bare) == (False, True)
        # The middle of three even draws lies beyond five sixths with the chance 2/27.
        assert found.far.low < 2 / 27 < found.far.high


def faulty(plan: EventPlan, *faults: MatFault) -> EventPlan:
    return with_line(plan, "p1-main", mat_faults=faults)


def strongest(result: Cleaned, antenna: int) -> int:
    return result.crossings.filter(point="p1", main_antenna=antenna).height


def test_mats_of_simulated_events() -> None:
    plan = clean_plan(3000, 3)
    sound = cleaned(plan, 41)
    mats = estimate_mats(sound.crossings, sound.simulated.event)
    assert set(mats["verdict"]) == {"sound"}
    dead = cleaned(faulty(plan, MatFault(3, np.inf)), 41)
    (row,) = of_line(dead).filter(pl.col("verdict") != "sound").rows(named=True)
    assert (row["antenna"], row["verdict"]) == (3, "dead")
    assert row["estimate"] < 0.1
    assert of_line(dead).filter(pl.col("antenna").is_in([2, 4]))["estimate"].min() > 0.92  # truly above 0.95
    weak = cleaned(faulty(plan, MatFault(3, 2.2)), 41)
    (row,) = of_line(weak).filter(pl.col("verdict") != "sound").rows(named=True)
    truth = strongest(weak, 3) / strongest(sound, 3)
    assert truth == pytest.approx(0.7, abs=0.06)
    assert (row["antenna"], row["verdict"]) == (3, "weak")
    assert row["conf_low"] <= truth <= row["conf_high"]


def of_line(result: Cleaned) -> pl.DataFrame:
    here = result.crossings.filter(point="p1")
    return estimate_mats(here, result.simulated.event).filter(line="p1-main")


def test_a_road_wider_than_the_lines_of_a_simulated_event() -> None:
    plan = clean_plan(3000, 3)
    points = tuple(replace(point, road_m=6.0) if point.id == "p1" else point for point in plan.points)
    result = cleaned(replace(plan, points=points), 42)
    mats = estimate_mats(result.crossings, result.simulated.event)
    bare = mats.filter(verdict="bare road")
    assert bare["line"].to_list() == ["p1-main", "p1-backup"]
    assert bare["place"].to_list() == ["far side"] * 2
    assert set(mats.filter(place="mat")["verdict"]) == {"sound"}
