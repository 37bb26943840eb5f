"""Rules of the trade for laying and testing lines, as check values.

All values are common practice without a published source: the hand test reads a tag from 60 cm above the ground
up to at least 150 cm (5 ft); lines of a point lie about 3 m apart; a line has one mat, and so one antenna, for each
metre of road; readers have four or eight ports.  Length units: the international yard and pound agreement of
1959, 1 in = 2.54 cm and 1 ft = 30.48 cm exactly.
"""

from __future__ import annotations

import pytest

from lineproof.setup.blank import count_slots
from lineproof.setup.cells import Wrong, read_cell
from lineproof.setup.fields import MAT_FIELDS
from lineproof.simulate import clean_plan, to_event
from lineproof.vocabulary import SETTINGS

CEILING = next(field for field in MAT_FIELDS if field.name == "hand_ceiling_cm")


def test_from_memory_common_practice_hand_test() -> None:
    assert SETTINGS["hand_floor_cm"].value == 60
    assert SETTINGS["hand_ceiling_cm"].value == 150
    assert SETTINGS["hand_floor_cm"].unit == SETTINGS["hand_ceiling_cm"].unit == "cm"


def test_from_memory_common_practice_five_feet_are_just_enough() -> None:
    assert SETTINGS["hand_ceiling_cm"].value <= 5 * 30.48 < SETTINGS["hand_ceiling_cm"].value + 5


def test_from_memory_common_practice_three_metres_between_lines() -> None:
    assert SETTINGS["line_spacing_m"].value == 3


@pytest.mark.parametrize(("width_m", "mats"), [(8, 8), (5, 5), (4, 4), (1, 1)])
def test_from_memory_common_practice_one_mat_per_metre(width_m: int, mats: int) -> None:
    """An eight-metre line is eight mats."""
    event = to_event(clean_plan(road_m=width_m))
    assert event.lines[0].width_m == width_m
    assert count_slots(event.lines[0], event) == mats


@pytest.mark.parametrize(
    ("written", "centimetres"),
    [
        ("60 in", "152"),
        ("5 ft", "152"),
        ("59 in", "150"),
        ("24 in", "61"),
        ("1.5 m", "150"),
        ("1500 mm", "150"),
    ],
)
def test_from_memory_lengths_of_the_agreement_of_1959(written: str, centimetres: str) -> None:
    found = read_cell(CEILING, written)
    assert isinstance(found, Wrong)
    assert found.todo == f"write {centimetres}"
