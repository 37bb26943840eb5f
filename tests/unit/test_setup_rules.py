"""Every rule of the morning on a line made for it: go, look again, not recorded."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import pytest

from lineproof.event import load_event
from lineproof.setup import load_setup
from lineproof.setup.readiness import run_rules
from lineproof.setup.rules import RULES, State
from lineproof.vocabulary import SETTINGS
from setup_folders import fill_good, row_of, write, write_event

T = dt.time
GO, LOOK, UNKNOWN = State.GO, State.LOOK, State.UNKNOWN


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = write_event(tmp_path / "harbour")
    fill_good(folder)
    return folder


def judge(
    folder: Path, rule: str, place: str, changes: dict[tuple[str, str, int | None], object]
) -> tuple[State, str]:
    """The verdict of one rule at one place after some cells were changed: (line, header, slot) to value."""
    book = openpyxl.load_workbook(folder / "setup.xlsx")
    for (line, header, slot), value in changes.items():
        write(book["Lines" if slot is None else "Mats"], row_of(line, slot), header, value)
    book.save(folder / "setup.xlsx")
    event = load_event(folder)
    found = [
        v for v in run_rules(event, load_setup(event)).verdicts if (v.rule.name, v.place) == (rule, place)
    ]
    assert len(found) == 1
    return found[0].state, found[0].seen.facts


CASES = [
    ("road closed", {"Road closed (clock)": T(7, 59)}, GO, "road closed at 07:59, laid at 08:00"),
    ("road closed", {"Road closed (clock)": T(8, 1)}, LOOK, "road closed at 08:01, laid at 08:00"),
    ("road closed", {"Road closed (clock)": None}, UNKNOWN, "when the road was closed"),
    ("road closed", {"Laid and tested (clock)": None}, UNKNOWN, "when the line was laid"),
    ("whole width", {"Road that runners can use (m)": 4.5}, GO, "4 m of mats on 4.5 m of road"),
    ("whole width", {"Road that runners can use (m)": 4.6}, LOOK, "0.6 m bare at the far side"),
    ("whole width", {"Road that runners can use (m)": 6, "Near edge to first mat (m)": 1.2}, LOOK,
     "1.2 m bare at the near side and 0.8 m bare at the far side"),
    ("whole width", {"Road that runners can use (m)": None}, UNKNOWN, "how wide the road is"),
    ("whole width", {"Spanned by mats (m)": None}, UNKNOWN, "how much of the road the mats span"),
    ("one antenna per metre", {"Spanned by mats (m)": 4.4}, GO, "4 mats for 4.4 m"),
    ("one antenna per metre", {"Spanned by mats (m)": 4.6, "Road that runners can use (m)": 5}, LOOK, "4 mats for 4.6 m"),
    ("ports", {"Ports told": 3}, LOOK, "3 told, 4 used: port 4 would stay silent"),
    ("ports", {"Ports told": 8}, LOOK, "8 told, 4 used, the highest is 4"),
    ("ports", {"Ports told": None}, UNKNOWN, "how many ports the reader was told"),
    ("race role", {"Reader set to": "practice"}, LOOK, "set to practice"),
    ("race role", {"Reader set to": None}, UNKNOWN, "what the reader was set to"),
    ("clock", {"Clock set (clock)": T(7, 5)}, UNKNOWN, "when the clock was set"),
    ("clock", {"Clock set (clock)": T(10, 0)}, GO, "power on at 07:10, set at 10:00"),
    ("clock", {"Clock set (clock)": T(10, 1)}, LOOK, "set at 10:01, after the gun at 10:00"),
    ("clock", {"Power on (clock)": None}, UNKNOWN, "when the reader was switched on"),
    ("clock source", {"Clock set by": "by hand, from a phone"}, LOOK, "by hand"),
    ("clock source", {"Clock set by": None}, UNKNOWN, "what the clock was set by"),
    ("walk test", {"Walk test": "no"}, LOOK, "not done"),
    ("walk test", {"Walk test": None}, UNKNOWN, "whether a tag was walked"),
    ("second power", {"Second power source": "no"}, LOOK, "no second source"),
    ("second power", {"Second power source": None}, UNKNOWN, "whether a second source"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("rule", "cells", "state", "facts"), CASES, ids=lambda v: v if isinstance(v, str) else None
)
def test_a_rule_of_one_line(
    folder: Path, rule: str, cells: dict[str, object], state: State, facts: str
) -> None:
    assert judge(folder, rule, "p1-main", {})[0] is GO
    found = judge(
        folder, rule, "p1-main", {("p1-main", header, None): value for header, value in cells.items()}
    )
    assert found[0] is state
    assert facts in found[1]


@pytest.mark.parametrize(
    ("floor", "ceiling", "state", "facts"),
    [
        (60, 150, GO, "all 4 mats up to 150 cm or higher"),
        (60, 149, LOOK, "slot 2 (M10) up to 149 cm only"),
        (61, 150, LOOK, "slot 2 (M10) from 61 cm only"),
        (None, None, UNKNOWN, "the heights of slot 2 (M10)"),
        (40, None, UNKNOWN, "the heights of slot 2 (M10)"),
    ],
)
def test_the_hand_test(folder: Path, floor: object, ceiling: object, state: State, facts: str) -> None:
    cells = {("p1-main", "Hand test from (cm)", 2): floor, ("p1-main", "Hand test up to (cm)", 2): ceiling}
    assert judge(folder, "hand test", "p1-main", cells) == (state, facts)


@pytest.mark.parametrize(("gap", "state"), [(3, GO), (2.9, GO), (2.8, LOOK), (3.4, GO), (None, UNKNOWN)])
def test_the_distance_of_two_lines(folder: Path, gap: object, state: State) -> None:
    cells = {(f"p1-{role}", "To the other line (m)", None): gap for role in ("main", "backup")}
    assert judge(folder, "distance of lines", "p1", cells)[0] is state


def roles(
    point: str, met: tuple[object, object], behind: object = None
) -> dict[tuple[str, str, int | None], object]:
    cells: dict[tuple[str, str, int | None], object] = {}
    for role, order in zip(("main", "backup"), met, strict=True):
        cells[(f"{point}-{role}", "Runners meet it", None)] = order
        if behind is not None:
            cells[(f"{point}-{role}", "Behind the start line", None)] = None if behind == "?" else behind
    return cells


@pytest.mark.parametrize(
    ("met", "state", "facts"),
    [
        (("first", "second"), GO, "runners meet p1-main first"),
        (("second", "first"), LOOK, "runners meet p1-backup first"),
        (("first", None), GO, "runners meet p1-main first"),
        ((None, "first"), LOOK, "runners meet p1-backup first"),
        ((None, None), UNKNOWN, "which line the runners meet first"),
    ],
)
def test_on_the_course_the_main_line_is_met_first(
    folder: Path, met: tuple[object, object], state: State, facts: str
) -> None:
    assert judge(folder, "main and backup", "p1", roles("p1", met)) == (state, facts)


@pytest.mark.parametrize(
    ("met", "behind", "state", "facts"),
    [
        (("second", "first"), "yes", GO, "both lie behind the start line, start-main nearest to it"),
        (("first", "second"), "yes", LOOK, "both lie behind the start line, start-backup nearest to it"),
        (("first", "second"), "no", GO, "runners meet start-main first"),
        (("second", "first"), "no", LOOK, "runners meet start-backup first"),
        (("first", "second"), "?", UNKNOWN, "whether the lines lie behind the start line"),
    ],
)
def test_behind_a_start_line_the_main_line_is_nearest_to_it(
    folder: Path, met: tuple[object, object], behind: object, state: State, facts: str
) -> None:
    assert judge(folder, "main and backup", "start", roles("start", met, behind)) == (state, facts)


def test_a_role_that_differs_from_the_plan_is_to_be_looked_at(folder: Path) -> None:
    state, facts = judge(folder, "main and backup", "p1", {("p1-main", "Role", None): "backup"})
    assert state is LOOK
    assert "event.toml has p1-main as main" in facts


def test_a_port_that_is_not_recorded_is_not_taken_for_right(folder: Path) -> None:
    assert judge(folder, "ports", "p1-main", {("p1-main", "Port", 2): None}) == (
        UNKNOWN,
        "the port of slot 2 (M10)",
    )


def test_a_line_without_a_row_is_nowhere_go(folder: Path) -> None:
    text = (folder / "event.toml").read_text(encoding="utf-8")
    (folder / "event.toml").write_text(
        text + '[[line]]\nid = "p5-main"\npoint = "p5"\n[[point]]\nid = "p5"\n'
    )
    event = load_event(folder)
    mine = [v for v in run_rules(event, load_setup(event)).verdicts if v.place == "p5-main"]
    assert len(mine) == 10
    assert {v.state for v in mine} == {UNKNOWN}


def test_an_event_may_set_its_own_limits(folder: Path) -> None:
    text = (folder / "event.toml").read_text(encoding="utf-8")
    (folder / "event.toml").write_text(
        f"{text}[settings]\nhand_ceiling_cm = 190\nline_spacing_m = 4\n", encoding="utf-8"
    )
    assert judge(folder, "hand test", "p1-main", {})[0] is LOOK
    assert judge(folder, "distance of lines", "p1", {})[0] is LOOK
    event = load_event(folder)
    asked = {rule.name: rule.question(event) for rule in RULES}
    assert "up to 190 cm or higher" in asked["hand test"]


def test_every_rule_says_why_what_to_do_and_where_its_limits_come_from() -> None:
    assert len({rule.name for rule in RULES}) == len(RULES) == 12
    for rule in RULES:
        assert rule.asks.endswith("?")
        assert rule.reason.endswith(".")
        assert rule.todo.endswith(".")
        assert rule.source == "common practice"
        assert set(rule.settings) <= set(SETTINGS)
        assert all(SETTINGS[name].source == "common practice" for name in rule.settings)
