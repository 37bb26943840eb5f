"""The files of the morning: the blank set-up record with its clipboard pages, and the page of readiness.

Needs neither exports nor a kernel, so it answers in a moment at the roadside.  A record in which somebody
wrote is never written over.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from lineproof.event import Event, load_event
from lineproof.results import replacing
from lineproof.setup import load_setup
from lineproof.setup.blank import is_filled_in, to_blank_rows, to_item_lists
from lineproof.setup.clipboard import render_clipboard
from lineproof.setup.complaints import Complaints
from lineproof.setup.loading import TEXT, WORKBOOK
from lineproof.setup.readiness import run_rules
from lineproof.setup.ready_page import render_ready, say_readiness
from lineproof.setup.register import read_register
from lineproof.setup.text_table import write_record_text
from lineproof.setup.workbook import write_record
from lineproof.wording import say_list

CLIPBOARD = "setup-sheets.html"
READY = "ready.html"


@dataclass(frozen=True, slots=True)
class Written:
    """``paths`` were written; ``remarks`` are sentences for the user."""

    paths: tuple[Path, ...]
    remarks: tuple[str, ...]


def write_sheets(folder: str | Path, as_text: bool = False) -> Written:
    """Write the blank record (a workbook, or CSV ``as_text``) and the clipboard pages into the event folder.

    Raises ``LineproofError`` for a wrong event.toml or a folder that cannot be written.
    """
    event = load_event(folder)
    kept = [name for name in (WORKBOOK, TEXT) if _is_kept(event.folder / name)]
    with replacing(event.folder) as new:
        (new / CLIPBOARD).write_text(render_clipboard(event), encoding="utf-8")
        if not kept:
            _write_blank(event, new, as_text)
        names = sorted(path.name for path in new.iterdir())
    remarks = (*_keeping(kept), *_widths(event, kept), *_two_records(event.folder))
    return Written(tuple(event.folder / name for name in names), remarks)


def _is_kept(path: Path) -> bool:
    return path.is_file() and is_filled_in(path)


def _write_blank(event: Event, new: Path, as_text: bool) -> None:
    lines, mats = to_blank_rows(event)
    if as_text:
        write_record_text(new / TEXT, lines, mats)
    else:
        write_record(new / WORKBOOK, lines, mats, to_item_lists(read_register(event.folder, Complaints())))


def _keeping(kept: list[str]) -> list[str]:
    if not kept:
        return []
    return [
        f"{kept[0]} is filled in already and stays as it is; to begin anew, give it another name and run this again"
    ]


def _two_records(folder: Path) -> list[str]:
    both = all((folder / name).is_file() for name in (WORKBOOK, TEXT))
    return [f"{WORKBOOK} and {TEXT} both lie there, and only {WORKBOOK} is read: delete one"] if both else []


def _widths(event: Event, kept: list[str]) -> list[str]:
    bare = [line.id for line in event.lines if line.width_m is None]
    if not bare or kept:
        return []
    return [f"event.toml plans no width_m for {say_list(bare)}: add a row for each mat that lies there"]


def write_ready(folder: str | Path, out: str | Path | None = None) -> Written:
    """Hold the record against the rules; write the page, and say the list for the terminal.

    Raises ``LineproofError`` for a wrong event.toml or a folder that cannot be written; a wrong record does not.
    """
    event = load_event(folder)
    readiness = run_rules(event, load_setup(event))
    target = event.folder / "review" if out is None else Path(out)
    with replacing(target) as new:
        (new / READY).write_text(render_ready(readiness), encoding="utf-8")
    return Written((target / READY,), tuple(say_readiness(readiness)))
