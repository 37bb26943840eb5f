"""The register of the crew's equipment: every mat, cable, reader, antenna and power unit with its id.

``equipment.csv`` (or ``equipment.xlsx``) lies in the event folder, or in the series folder above it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.event import Event
from lineproof.intake.raw import normal
from lineproof.setup.complaints import Complaints, Row, to_complaint_frame
from lineproof.setup.fields import ITEM_FIELDS
from lineproof.setup.reading import read_rows
from lineproof.setup_tables import EQUIPMENT

REGISTERS = ("equipment.xlsx", "equipment.csv")


@dataclass(frozen=True, slots=True)
class Register:
    """EQUIPMENT with its rows by id; ``file`` is None where there is no register."""

    frame: pl.DataFrame
    items: dict[str, Row]
    file: str | None

    def find(self, word: str) -> Row | None:
        """The item of this id, whatever the letter case."""
        return self.items.get(normal(word))


@dataclass(frozen=True, slots=True)
class Equipment:
    """EQUIPMENT, and COMPLAINTS about the register itself."""

    items: pl.DataFrame
    complaints: pl.DataFrame


def load_equipment(event: Event) -> Equipment:
    """The register of the event or of the series above it; empty where there is none."""
    complaints = Complaints()
    register = read_register(event.folder, complaints)
    return Equipment(register.frame, to_complaint_frame(complaints.found))


def read_register(folder: Path, complaints: Complaints) -> Register:
    """The register with what is wrong in it said; the event's own comes before that of the series."""
    path = _find(folder, complaints)
    if path is None:
        return Register(EQUIPMENT.empty(), {}, None)
    rows, _ = read_rows(path, ITEM_FIELDS, None, complaints, needed=("item", "kind"))
    items: dict[str, Row] = {}
    for row in rows:
        item = row.text("item")
        if item is None:
            complaints.say(
                row, "item", "the item has no id", "write the id that stands on it", about="register"
            )
        elif normal(item) in items:
            first = items[normal(item)]
            problem = f'the item "{item}" stands in row {first.row} already'
            complaints.say(row, None, problem, "keep one row; this one does not count", about="register")
        elif "kind" not in row.values:
            _say_kind(row, complaints)
        else:
            items[normal(item)] = row
    _judge_dates(items, complaints)
    return Register(_to_frame(items), items, path.name)


def _find(folder: Path, complaints: Complaints) -> Path | None:
    for place in (folder, folder.resolve().parent):
        there = [place / name for name in REGISTERS if (place / name).is_file()]
        if len(there) > 1:
            complaints.say_of_file(
                f"there is {there[0].name} beside it, and only that one is read",
                "keep one of the two",
                there[1].name,
                about="register",
            )
        if there:
            return there[0]
    return None


def _say_kind(row: Row, complaints: Complaints) -> None:
    said = {(c.row, c.column) for c in complaints.found if c.file == row.file}
    if (row.row, row.headers["kind"]) not in said:
        complaints.say(
            row,
            "kind",
            "the item has no kind",
            "write mat, cable, reader, antenna or power unit",
            about="register",
        )


def _judge_dates(items: dict[str, Row], complaints: Complaints) -> None:
    for row in items.values():
        bought, retired = row.values.get("bought"), row.values.get("retired")
        if bought is not None and retired is not None and str(retired) < str(bought):
            complaints.say(
                row,
                "retired",
                f"retired on {retired}, before it was bought on {bought}",
                "put the dates right",
                about="register",
            )


def _to_frame(items: dict[str, Row]) -> pl.DataFrame:
    rows: list[dict[str, object]] = [
        {**{name: row.values.get(name) for name in EQUIPMENT.columns if name != "row"}, "row": row.row}
        for row in items.values()
    ]
    return EQUIPMENT.check(EQUIPMENT.shape_rows(rows).sort("item"))
