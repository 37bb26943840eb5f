"""The rows of a record, each under its line and slot: the frame in which all rules look at them.

A row that does not say which line or slot it is about cannot count; everything else of a record does, however
much is wrong beside it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from lineproof.event import Event, Line, suggest
from lineproof.intake.raw import normal
from lineproof.setup.cells import Value
from lineproof.setup.complaints import Complaints, Row
from lineproof.setup.fields import LINE_FIELDS, MAT_FIELDS
from lineproof.wording import say_count


@dataclass(frozen=True, slots=True)
class Record:
    """One row of ``lines`` for each line, one of ``mats`` for each slot, both in the order of the plan."""

    event: Event
    lines: tuple[Row, ...]
    mats: tuple[Row, ...]
    complaints: Complaints

    def slots_of(self, line: str) -> list[Row]:
        return [row for row in self.mats if row.text("line") == line]

    def by_point(self) -> Iterator[tuple[str, list[Row]]]:
        """Points with the recorded lines of each."""
        for point in self.event.points:
            ids = {line.id for line in self.event.lines_at(point.id)}
            rows = [row for row in self.lines if row.text("line") in ids]
            if rows:
                yield point.id, rows


def to_record(
    event: Event, line_rows: Iterable[Row], mat_rows: Iterable[Row], complaints: Complaints
) -> Record:
    """Rows with a known line (and slot), once each; what cannot be placed is said."""
    order = {line.id: place for place, line in enumerate(event.lines)}
    lines: dict[str, Row] = {}
    for row in _of_known_lines(event, line_rows, complaints):
        line = str(row.values["line"])
        if line in lines:
            problem = f'the line "{line}" stands in row {lines[line].row} already'
            complaints.say(row, None, problem, "keep one row for each line; this one does not count")
        else:
            lines[line] = row
    mats: dict[tuple[str, int], Row] = {}
    for row in _of_known_lines(event, mat_rows, complaints):
        slot = row.number("slot")
        key = (str(row.values["line"]), int(slot or 0))
        if slot is None:
            if not _says_slot(complaints, row):
                complaints.say(row, "slot", "the slot is missing", "write 1 for the mat at the near side")
        elif key in mats:
            problem = f"slot {key[1]} of {key[0]} stands in row {mats[key].row} already"
            complaints.say(row, None, problem, "keep one row for each slot; this one does not count")
        else:
            mats[key] = row
    return Record(
        event,
        tuple(sorted(lines.values(), key=lambda row: order[str(row.values["line"])])),
        tuple(sorted(mats.values(), key=lambda row: (order[str(row.values["line"])], row.values["slot"]))),
        complaints,
    )


def _says_slot(complaints: Complaints, row: Row) -> bool:
    """Whether the cell of the slot was complained about already."""
    header = row.headers.get("slot")
    return any(
        (c.file, c.sheet, c.row, c.column) == (row.file, row.sheet, row.row, header) for c in complaints.found
    )


def find_line(event: Event, word: str) -> Line | None:
    """The line of this id or name."""
    wanted = normal(word)
    return next((line for line in event.lines if wanted in (normal(line.id), normal(line.name))), None)


def _of_known_lines(event: Event, rows: Iterable[Row], complaints: Complaints) -> list[Row]:
    kept: list[Row] = []
    unknown: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        word = row.text("line")
        line = None if word is None else find_line(event, word)
        if line is not None:
            row.values["line"] = line.id
            kept.append(row)
        elif word is None:
            complaints.say(row, "line", "the line is missing", "write its id; the row does not count")
        else:
            unknown[word].append(row)
    ids = [line.id for line in event.lines]
    for word, lost in unknown.items():
        many = f" ({say_count(len(lost), 'row')})" if len(lost) > 1 else ""
        known = suggest(word, ids) or f"the lines of the plan are {', '.join(ids)}"
        for row in lost[1:]:
            row.values.pop("line")
        complaints.say(lost[0], "line", f'there is no line "{word}" in event.toml{many}', known, about="plan")
    return kept


def split_joined(rows: Sequence[Row], complaints: Complaints) -> tuple[list[Row], list[Row]]:
    """Rows of one table for lines and slots: the line's facts may stand on any of its rows, the same on all."""
    line_names = {field.name for field in LINE_FIELDS}
    mat_names = {field.name for field in MAT_FIELDS}
    lines: dict[str, Row] = {}
    mats: list[Row] = []
    for row in rows:
        word = normal(row.text("line") or "")
        facts = {name: value for name, value in row.values.items() if name in line_names}
        slot = {name: value for name, value in row.values.items() if name in mat_names}
        if word in lines or facts or not slot:
            first = lines.setdefault(word, Row(row.file, row.sheet, row.row, row.headers, {}, row.texts))
            _merge(first, row, facts, complaints)
            if word:
                first.values["line"] = str(row.values["line"])
        if slot:
            values = {**_line_of(row), **slot}
            mats.append(Row(row.file, row.sheet, row.row, row.headers, values, row.texts))
    return list(lines.values()), mats


def _line_of(row: Row) -> dict[str, str]:
    word = row.text("line")
    return {} if word is None else {"line": word}


def _merge(first: Row, row: Row, facts: Mapping[str, Value], complaints: Complaints) -> None:
    for name, value in facts.items():
        if name in first.values and first.values[name] != value:
            problem = f"this differs from row {first.row}, where the same line says otherwise"
            complaints.say(row, name, problem, f"keep one; row {first.row} counts")
        elif name not in first.values:
            first.values[name] = value
