"""The house rules that a machine can hold: imports point one way, words have one home."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import lineproof
from lineproof.vocabulary import SETTINGS

ROOT = Path(lineproof.__file__).parent

# Each room may use those in the rows above it, and in its own row; simulate is used by demo only.
FLOORS = [
    {"vocabulary", "errors", "wording", "formulas", "late_grammars"},
    {"contracts"},
    {"tables"},
    {"unseen_tables", "setup_tables", "camera_tables"},
    {"season_tables", "season_result_tables"},
    {"event"},
    {"records", "intake", "course_visits"},
    {"setup"},
    {"passings", "pseudonyms"},
    {"clocks", "decisions", "sightings"},
    {"clock_trust"},
    {"crossings", "clock_faults"},
    {"checks", "expectations", "detection"},
    {"interruptions", "lookups"},
    {"unseen", "camera", "diagnosis", "misnamed"},
    {"pipeline"},
    {"season"},
    {"forms"},
    {"results", "figures", "draft", "simulate", "ledger"},
    {"charts"},
    {"event_report"},
    {"season_report"},
    {"replacement"},
    {"reports", "morning_files", "paper"},
    {"demo", "lab"},
    {"cli"},
    {"__init__", "__main__"},
]
# The same inside the rooms that are storeys of their own.
STOREYS = {
    "crossings": [{"holders", "bouts", "lap_matching"}, {"visits"}, {"merging"}],
    "event_report": [
        {"pair_chart", "road_chart", "timeline_chart"},
        {"shown"},
        {"camera_words", "cause_words", "road_words", "unseen_words"},
        {"verdict"},
        {"tables", "camera_page", "cause_page", "pair_page", "setup_page"},
    ],
}
CLEANING = {
    "intake",
    "passings",
    "clocks",
    "crossings",
    "checks",
    "decisions",
    "clock_faults",
}
INFERENCE = {"detection", "interruptions", "lookups", "unseen", "camera", "diagnosis"}


def room_of(path: Path) -> str:
    inside = path.relative_to(ROOT)
    return inside.parts[0].removesuffix(".py")


def uses(path: Path, late: bool) -> set[str]:
    """Rooms that a module imports; ``late`` counts imports inside functions too."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes = ast.walk(tree) if late else iter(tree.body)
    found = set()
    for node in nodes:
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("lineproof"):
            parts = (node.module or "").split(".")
            found |= {parts[1]} if len(parts) > 1 else {alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {a.name.split(".")[1] for a in node.names if a.name.startswith("lineproof.")}
    return found


MODULES = sorted(ROOT.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_point_one_way(path: Path) -> None:
    height = {room: floor for floor, rooms in enumerate(FLOORS) for room in rooms}
    room = room_of(path)
    assert room in height, f"give {room} a floor in FLOORS"
    above = {used for used in uses(path, late=True) if height.get(used, -1) > height[room]}
    assert not above


@pytest.mark.parametrize("room", STOREYS)
def test_imports_inside_a_room_point_one_way(room: str) -> None:
    height = {name: floor for floor, names in enumerate(STOREYS[room]) for name in names}
    for path in sorted((ROOT / room).rglob("*.py")):
        name = path.relative_to(ROOT / room).parts[0].removesuffix(".py")
        if name == "__init__":
            continue
        assert name in height, f"give {room}.{name} a floor in STOREYS"
        text = path.read_text(encoding="utf-8")
        used = set(re.findall(rf"from lineproof\.{room}\.(\w+)", text))
        for line in re.findall(rf"from lineproof\.{room} import ([\w, ]+)", text):
            used |= {word.strip() for word in line.split(",")}
        above = {each for each in used if height[each] > height[name]}
        assert not above, path


def test_cleaning_and_inference_meet_only_in_the_pipeline() -> None:
    for path in MODULES:
        if room_of(path) in CLEANING:
            assert not uses(path, late=True) & INFERENCE, path
        if room_of(path) in INFERENCE:
            assert not uses(path, late=True) & CLEANING, path


def test_charts_know_tables_only() -> None:
    assert uses(ROOT / "charts.py", late=True) <= {
        "contracts",
        "tables",
        "vocabulary",
        "figures",
        "charts",
        "wording",
    }


def test_only_expectations_imports_the_validation_library_and_late() -> None:
    for path in MODULES:
        text = path.read_text(encoding="utf-8")
        if "great_expectations" in text and "import" in text:
            assert path.name == "expectations.py", path
    heads = ast.parse((ROOT / "expectations.py").read_text(encoding="utf-8")).body
    names = [
        alias.name for node in heads if isinstance(node, ast.Import | ast.ImportFrom) for alias in node.names
    ]
    assert not [name for name in names if name.startswith("great_expectations")]


def test_no_module_is_a_drawer() -> None:
    drawers = {"utils", "helpers", "core", "common", "manager", "service", "processor", "misc"}
    assert not drawers & {path.stem for path in MODULES}


def test_every_setting_says_why() -> None:
    for name, setting in SETTINGS.items():
        assert setting.reason, name
        assert setting.source, name
        assert setting.unit, name


def functions(path: Path) -> list[tuple[str, int]]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [
        (node.name, (node.end_lineno or 0) - node.lineno + 1)
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef)
    ]


def test_functions_and_modules_stay_small() -> None:
    for path in MODULES:
        # The plans of the demo season are data: one function states one event.
        longest = 90 if path.parent.parts[-2:] == ("simulate", "season") else 60
        long = [(name, lines) for name, lines in functions(path) if lines > longest]
        assert not long, f"{path.name}: {long}"
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 400, path.name
