"""Errors, by whose fault they are.

A user sees one sentence that names the file, the row and the column where they are known,
says what was found and what was expected, and what to do.  Never a traceback.
"""

from __future__ import annotations

import re
from pathlib import Path

LONGEST_LINE = 1000
LONGEST_WORD = 200  # characters of a text from outside that a sentence repeats
_LONG = re.compile(rf'"([^"]{{{LONGEST_WORD}}})[^"]+"')
_LONG_BARE = re.compile(rf"(\S{{{LONGEST_WORD}}})\S+")


def printable(text: str) -> str:
    """The text on one line without what a terminal would take for a command: question marks stand in its place.

    Names of files and texts of exports may hold line breaks, commands to the terminal and half characters.
    """
    return "".join(sign if _is_shown(sign) else " " if sign.isspace() else "?" for sign in text)


def one_line(text: str) -> str:
    """A sentence as ``printable`` has it, with endless words cut, and not endless itself."""
    kept = printable(text)
    shown = _LONG_BARE.sub(r"\1…", _LONG.sub(r'"\1…"', kept))
    if len(shown) > LONGEST_LINE:
        shown = f"{shown[:LONGEST_LINE].rstrip()} …"
    return f"{shown}." if kept.endswith(".") and not shown.endswith(".") else shown


def _is_shown(sign: str) -> bool:
    return sign.isprintable() or sign == "\u00a0"  # the blank that keeps a number and its unit together


class LineproofError(Exception):
    """Something the user can mend.  ``str(error)`` is the whole sentence for the user.

    ``problem`` says what was found and what was expected, ``todo`` what to do about it.
    ``file`` (a path by its last part, a text as it stands), ``row`` (as a spreadsheet counts it: the first line of the file is row 1) and
    ``column`` (the header's own words) say where, as far as it is known.
    """

    def __init__(
        self,
        problem: str,
        *,
        todo: str = "",
        file: str | Path | None = None,
        row: int | None = None,
        column: str | None = None,
    ) -> None:
        self.problem = problem
        self.todo = todo
        self.file = file.name if isinstance(file, Path) else file
        self.row = row
        self.column = column
        super().__init__(str(self))

    def __str__(self) -> str:
        place = ", ".join(
            part
            for part in (
                self.file or "",
                f"row {self.row}" if self.row is not None else "",
                f'column "{self.column}"' if self.column is not None else "",
            )
            if part
        )
        sentence = self.problem.rstrip(".") + (f"; {self.todo.rstrip('.')}" if self.todo else "")
        return one_line(f"{place}: {sentence}." if place else f"{sentence}.")


class EventError(LineproofError):
    """The event description (event.toml), the entries or the decisions are wrong or contradict."""


class InputError(LineproofError):
    """An export cannot be read as a whole (a row that cannot be read is a reject, not an error)."""


class OutputError(LineproofError):
    """The results cannot be written where they were asked for."""


class LedgerError(LineproofError):
    """The ledger is damaged, is none, or cannot be written; what it held is unchanged."""


class PlanError(LineproofError):
    """The purchase plan (plan.toml) is wrong, contradicts itself or does not fit the ledger."""


class TableError(Exception):
    """A frame breaks its contract in tables.py: a fault of ours, not of the user."""
