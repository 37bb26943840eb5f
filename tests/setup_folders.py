"""Event folders with a set-up record: a good one of twelve lines of four mats, to be broken cell by cell."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from pathlib import Path

import openpyxl
from openpyxl.worksheet.worksheet import Worksheet

from lineproof.event import load_event
from lineproof.morning_files import write_sheets
from lineproof.setup import Setup, load_setup

POINTS = ("start", "p1", "p2", "p3", "p4", "finish")
LINES = tuple(f"{point}-{role}" for point in POINTS for role in ("main", "backup"))
MATS = 4
HEAD = """
[event]
id = "harbour-10k"
name = "Harbour 10 km"
date = {date}
zone = "Europe/London"
[[course]]
id = "10k"
visits = [{visits}]
[[wave]]
id = "A"
course = "10k"
gun = {gun}
[[input]]
files = "exports/*"
level = "reads"
"""


def write_event(
    folder: Path,
    date: str = "2026-05-17",
    gun: str = "10:00:00",
    more: str = "",
    points: Iterable[str] = POINTS,
    width: str = "width_m = 4",
) -> Path:
    """Points with a main and a backup line each, four metres wide and three metres apart."""
    points = tuple(points)
    kinds = {points[0]: "start", points[-1]: "finish"}
    visits = ", ".join(f'{{ point = "{p}", at_m = {i * 2000} }}' for i, p in enumerate(points))
    text = HEAD.format(date=date, gun=gun, visits=visits)
    for point in points:
        text += f'[[point]]\nid = "{point}"\nkind = "{kinds.get(point, "split")}"\n'
        for role in ("main", "backup"):
            text += f'[[line]]\nid = "{point}-{role}"\npoint = "{point}"\nrole = "{role}"\nspacing_m = 3\n{width}\n'
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "event.toml").write_text(text + more, encoding="utf-8")
    return folder


REGISTER_HEAD = "Item,Kind,Bought,Retired,Length (m),Ports\n"


def write_register(folder: Path, more: str = "") -> Path:
    """M01 to M60 and C01 to C60 (10 m), R01 to R14 with eight ports, P01 and P02."""
    rows = [f"M{i:02d},mat,2020-03-01,,1," for i in range(1, 61)]
    rows += [f"C{i:02d},cable,2020-03-01,,10," for i in range(1, 61)]
    rows += [f"R{i:02d},reader,2020-03-01,,,8" for i in range(1, 15)]
    rows += [f"P{i:02d},power unit,2020-03-01,,," for i in (1, 2)]
    path = folder / "equipment.csv"
    path.write_text(REGISTER_HEAD + "\n".join(rows) + "\n" + more, encoding="utf-8")
    return path


GOOD_LINE: dict[str, object] = {
    "Reader set to": "race",
    "Ports told": 4,
    "Power on (clock)": dt.time(7, 10),
    "Clock set (clock)": dt.time(7, 20),
    "Clock set by": "satellite time",
    "Gun check": "yes",
    "Walk test": "yes",
    "To the other line (m)": 3,
    "Road that runners can use (m)": 4,
    "Spanned by mats (m)": 4,
    "Near edge to first mat (m)": 0,
    "Cables leave to": "near side",
    "Surface": "asphalt",
    "Taped or covered": "yes",
    "Weather": "dry",
    "Power": "P01",
    "Second power source": "yes",
    "Road closed (clock)": dt.time(7, 0),
    "Laid and tested (clock)": dt.time(8, 0),
    "Lifted (clock)": dt.time(13, 0),
    "Crew minutes": 40,
}


def row_of(line: str, slot: int | None = None) -> int:
    """The row of a line on its sheet, or of a slot on the sheet of mats."""
    place = LINES.index(line)
    return 2 + place if slot is None else 2 + place * MATS + slot - 1


def column_of(sheet: Worksheet, header: str) -> int:
    return next(cell.column for cell in sheet[1] if cell.value == header)


def write(sheet: Worksheet, row: int, header: str, value: object) -> None:
    sheet.cell(row=row, column=column_of(sheet, header)).value = value  # type: ignore[assignment]


def fill_good(folder: Path) -> Path:
    """Make the blank record of ``write_event`` and fill it in without a mistake."""
    write_sheets(folder)
    path = folder / "setup.xlsx"
    book = openpyxl.load_workbook(path)
    lines, mats = book["Lines"], book["Mats"]
    for place, line in enumerate(LINES):
        role = line.rpartition("-")[2]
        own = {
            "Role": role,
            "Runners meet it": "first" if role == "main" else "second",
            "Reader": f"R{place + 1:02d}",
        }
        if line.startswith("start"):
            own["Behind the start line"] = "no"
        for header, value in {**GOOD_LINE, **own}.items():
            write(lines, row_of(line), header, value)
        for slot in range(1, MATS + 1):
            number = place * MATS + slot
            cells = {"Mat": f"M{number:02d}", "Cable": f"C{number:02d}", "Port": slot}
            cells |= {"Hand test from (cm)": 40, "Hand test up to (cm)": 180 + slot}  # type: ignore[dict-item]
            for header, value in cells.items():
                write(mats, row_of(line, slot), header, value)
    book.save(path)
    return path


def load(folder: Path) -> Setup:
    return load_setup(load_event(folder))


def sentences(setup: Setup) -> list[str]:
    return setup.complaints["sentence"].to_list()
