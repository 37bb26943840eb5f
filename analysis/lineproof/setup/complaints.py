"""What is wrong with a record, said once each, with file, sheet, row and column."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field

import polars as pl

from lineproof.errors import LineproofError, one_line
from lineproof.setup.cells import Value
from lineproof.setup_tables import COMPLAINTS


@dataclass(slots=True)
class Row:
    """One row of a record: its values by our names; ``headers`` and ``texts`` are the file's own words."""

    file: str
    sheet: str
    row: int
    headers: dict[str, str]
    values: dict[str, Value] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str | None:
        value = self.values.get(name)
        return value if isinstance(value, str) else None

    def number(self, name: str) -> float | None:
        value = self.values.get(name)
        return float(value) if isinstance(value, int | float) else None

    def instant(self, name: str) -> dt.datetime | None:
        value = self.values.get(name)
        return value if isinstance(value, dt.datetime) else None


@dataclass(frozen=True, slots=True)
class Complaint:
    """``about`` is what the record does not agree with: itself, the plan or the register."""

    problem: str
    todo: str
    file: str
    sheet: str = ""
    row: int | None = None
    column: str | None = None
    line: str | None = None
    slot: int | None = None
    about: str = "record"
    counts: bool = False

    def __str__(self) -> str:
        place = ", ".join(
            part
            for part in (
                self.file,
                f'sheet "{self.sheet}"' if self.sheet else "",
                f"row {self.row}" if self.row is not None else "",
                f'column "{self.column}"' if self.column is not None else "",
            )
            if part
        )
        todo = f"; {self.todo.rstrip('.')}" if self.todo else ""
        return f"{place}: {self.problem.rstrip('.')}{todo}."


@dataclass(slots=True)
class Complaints:
    """Collects complaints in the order in which they are found."""

    found: list[Complaint] = field(default_factory=list)

    def say(
        self,
        row: Row,
        name: str | None,
        problem: str,
        todo: str,
        *,
        about: str = "record",
        counts: bool = False,
    ) -> None:
        """Complain about the column ``name`` of a row (None: about the row); what does not count is taken out."""
        slot = row.number("slot")
        column = None if name is None else row.headers.get(name, name)
        self.found.append(
            Complaint(
                problem,
                todo,
                row.file,
                row.sheet,
                row.row,
                column,
                row.text("line"),
                None if slot is None else int(slot),
                about,
                counts,
            )
        )
        if name is not None and not counts:
            row.values.pop(name, None)

    def say_of_file(
        self,
        problem: str,
        todo: str,
        file: str,
        sheet: str = "",
        *,
        row: int | None = None,
        column: str | None = None,
        line: str | None = None,
        about: str = "record",
        counts: bool = False,
    ) -> None:
        self.found.append(
            Complaint(problem, todo, file, sheet, row, column, line, None, about=about, counts=counts)
        )

    def say_error(self, error: LineproofError, file: str, sheet: str = "") -> None:
        """A file or sheet that cannot be read as a whole."""
        self.say_of_file(error.problem, error.todo, file, sheet, row=error.row, column=error.column)


def to_complaint_frame(complaints: Sequence[Complaint]) -> pl.DataFrame:
    """COMPLAINTS in the order of file, sheet and row."""
    kept = sorted(set(complaints), key=lambda c: (c.file, c.sheet, c.row or 0, c.column or "", c.problem))
    rows: list[dict[str, object]] = [
        {
            **{name: getattr(c, name) for name in COMPLAINTS.columns if name != "sentence"},
            "sentence": one_line(str(c)),
        }
        for c in kept
    ]
    return COMPLAINTS.check(COMPLAINTS.shape_rows(rows))
