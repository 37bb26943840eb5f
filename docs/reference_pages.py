"""The reference pages, made from the code when the site is built: commands, files, columns, record, settings, words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import polars as pl
import typer.main

from lineproof import (
    camera_tables,
    season_result_tables,
    season_tables,
    setup_tables,
    tables,
    unseen_tables,
)
from lineproof.cli import app
from lineproof.contracts import Table
from lineproof.event import COLUMNS_BY_LEVEL, ENTRY_COLUMNS
from lineproof.replacement.assumptions import ASSUMPTIONS
from lineproof.setup.fields import ITEM_FIELDS, LINE_FIELDS, MAT_FIELDS, Field
from lineproof.vocabulary import GLOSSARY, SEASON_SETTINGS, SETTINGS, Setting

ROOMS: tuple[tuple[str, ModuleType], ...] = (
    ("From the exports to the merged data", tables),
    ("Crossings that no line saw, weak tags, pairs of lines", unseen_tables),
    ("The camera", camera_tables),
    ("The set-up record, clocks and causes", setup_tables),
    ("What the ledger keeps", season_tables),
    ("What the season says", season_result_tables),
)


@dataclass(frozen=True, slots=True)
class File:
    """``table`` is the contract whose columns the file has; ``private``: it names runners, bibs or tags."""

    name: str
    by: str
    what: str
    table: Table | None = None
    private: bool = False


REVIEW, SEASON, PURCHASE = "review", "season", "purchase"
FILES: tuple[File, ...] = (
    File("event.toml", "new, or you", "what the event is: courses, points, lines, how to read the exports"),
    File("entries.csv, entries.xlsx", "you", "the start list", None, True),
    File("exports/", "you", "the exports of the day, as they came; never changed", None, True),
    File("equipment.csv, equipment.xlsx", "you", "the register of mats, cables, readers; beside or above the events"),
    File("decisions.csv", "you", "your word on single rows: keep, void or correct", None, True),
    File("sightings.csv", "you", "look-ups with what the camera showed; any name that begins with sightings", None, True),
    File("plan.toml", "plan, then you", "the purchase plan: budget, costs, wishes"),
    File("setup.xlsx, setup.csv", "sheet, then you", "the set-up record"),
    File("setup-sheets.html", "sheet", "one clipboard page for each line"),
    File("ready.html", "ready", "what is ready, and what to look at again"),
    File("review.html", REVIEW, "the page to send on; no names, bibs or runner's times"),
    File("findings.csv", REVIEW, "rows that a check labelled, with the key for decisions.csv", tables.FINDINGS, True),
    File("rates.csv", REVIEW, "every detection rate with its evidence and interval", tables.RATES),
    File("lookups.csv", REVIEW, "whom to look up on the camera; the form for sightings.csv", None, True),
    File("audit.csv", REVIEW, "minutes of the finish camera, drawn by lot, to be counted", None, True),
    File("audit_results.csv", REVIEW, "what the counted minutes say", camera_tables.AUDIT_RESULTS),
    File("sighted.csv", REVIEW, "what came of the look-ups that were read back", camera_tables.SIGHTED, True),
    File("unseen.csv", REVIEW, "crossings that no line saw, with their range or the reason for none", unseen_tables.UNSEEN),
    File("tags.csv", REVIEW, "every tag with its chance of being weak", unseen_tables.WEAK_TAGS, True),
    File("weak_shares.csv", REVIEW, "the share of weak tags, by kind and batch", unseen_tables.WEAK_SHARES),
    File("line_pairs.csv", REVIEW, "main against backup, and what two lines promise", unseen_tables.LINE_PAIRS),
    File("interruptions.csv", REVIEW, "windows in which a line did not work", tables.INTERRUPTIONS),
    File("mats.csv", REVIEW, "every mat across the road", tables.MATS),
    File("items.csv", REVIEW, "every mat, cable and reader with its place", setup_tables.ITEM_PLACES),
    File("setup_remarks.csv", REVIEW, "what the set-up record leaves open or contradicts", setup_tables.COMPLAINTS),
    File("diagnosis.csv", REVIEW, "what the misses are consistent with", setup_tables.DIAGNOSIS),
    File("misses.csv", REVIEW, "every miss with its first explanation", setup_tables.MISSES, True),
    File("clocks.csv", REVIEW, "clocks and distances held against one another", setup_tables.CLOCK_FAULTS),
    File("rejects.csv", REVIEW, "rows that could not be read, with the reason", tables.REJECTS, True),
    File("unused.csv", REVIEW, "passings that became part of no crossing, with the reason", None, True),
    File("account.csv", REVIEW, "every file, and what became of its rows", tables.ACCOUNT),
    File("crossings.parquet", REVIEW, "the merged passing data", tables.CROSSINGS, True),
    File("checks.json", REVIEW, "the rules of the validation gate and their result"),
    File("season.html", SEASON, "the season on one page, safe to send on"),
    File("season_*.csv", SEASON, "its tables, one file for each"),
    File("purchase.html", PURCHASE, "the purchase case"),
    File("cash_flows.csv, wishes.csv", PURCHASE, "its tables"),
    File("purchase.xlsx", PURCHASE, "its cash flows as live formulas"),
    File("pseudonyms.key", "review, keep", "the key of the pseudonyms: keep it private, and a copy of it", None, True),
)  # fmt: skip


def write_pages(folder: Path) -> None:
    """Write all pages of the reference into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    pages = {
        "commands": commands_page(),
        "files": files_page(),
        "columns": columns_page(),
        "record": record_page(),
        "settings": settings_page(),
        "words": words_page(),
    }
    for name, text in pages.items():
        (folder / f"{name}.md").write_text(text, encoding="utf-8")


def commands_page() -> str:
    """Every command with its arguments and options, as the program itself declares them."""
    parts = [
        "# Commands",
        "",
        "`lineproof --help` and `lineproof COMMAND --help` say the same on your screen.",
        "",
    ]
    for path, command in _commands(typer.main.get_command(app), ()):
        parts += [f"## lineproof {' '.join(path)}", "", str(command.help).strip(), ""]
        rows = []
        for each in command.params:
            if each.name == "help":
                continue
            named = str(each.metavar or each.name).upper()
            word = named if each.param_type_name == "argument" else ", ".join(each.opts + each.secondary_opts)
            need = "yes" if each.required else "no"
            rows.append((f"`{word}`", need, str(getattr(each, "help", "") or "")))
        parts += [*_rows(("argument or option", "needed", "meaning"), rows), ""]
    return "\n".join(parts)


def _commands(group: object, path: tuple[str, ...]) -> Iterable[tuple[tuple[str, ...], object]]:
    for name, command in group.commands.items():  # type: ignore[attr-defined]
        if hasattr(command, "commands"):
            yield from _commands(command, (*path, name))
        else:
            yield (*path, name), command


def files_page() -> str:
    """Every file that a person writes or a command makes."""
    rows = [
        (f"`{file.name}`", file.by, file.what, _columns_link(file), "yes" if file.private else "")
        for file in FILES
    ]
    head = ("file", "made by", "what it is", "columns", "private")
    text = (
        "CSV files are UTF-8 with a byte order mark, times are local with their offset from UTC, durations are whole "
        "microseconds. *Private* files name runners, bibs or tags: they are the timer's own."
    )
    names = [
        (f"`{level.value}`", ", ".join(f"`{column}`" for column in columns))
        for level, columns in COLUMNS_BY_LEVEL.items()
    ]
    return "\n".join(
        [
            "# Files", "", text, "", *_rows(head, rows), "",
            "## Columns that can be read from an export", "",
            "By the level of the export; `[input.columns]` of `event.toml` maps them to the export's own headers.", "",
            *_rows(("level", "columns"), names), "",
            "Of the start list, by `[entries.columns]`: " + ", ".join(f"`{column}`" for column in ENTRY_COLUMNS) + ".", "",
        ]
    )  # fmt: skip


def _columns_link(file: File) -> str:
    return f"[{file.table.name}](columns.md#{_anchor(file.table.name)})" if file.table else ""


def _anchor(name: str) -> str:
    return name.lower()


def columns_page() -> str:
    """Every table's contract: what a row is, its key, its columns."""
    parts = ["# Columns", "", "A column may be empty only where this page says so.", ""]
    seen: set[str] = set()
    for title, room in ROOMS:
        parts += [f"## {title}", ""]
        for table in tables_of(room):
            if table.name in seen:
                continue
            seen.add(table.name)
            key = f" Key: {', '.join(f'`{name}`' for name in table.key)}." if table.key else ""
            parts += [f"### {table.name}", "", f"One row: {table.one_row_is}.{key}", ""]
            rows = [
                (f"`{name}`", _kind(column.dtype), column.meaning, "it may be" if column.nullable else "")
                for name, column in table.columns.items()
            ]
            parts += [*_rows(("column", "kind", "meaning", "empty"), rows), ""]
    return "\n".join(parts)


def tables_of(room: ModuleType) -> list[Table]:
    """The contracts that a module declares, in its order."""
    found = [value for value in vars(room).values() if isinstance(value, Table)]
    kept = getattr(room, "KEPT", {}) if room is season_tables else {}
    return [*found, *(table for table in kept.values() if table not in found)]


def _kind(kind: pl.DataType | type[pl.DataType]) -> str:
    instance = kind() if isinstance(kind, type) else kind
    if isinstance(instance, pl.Enum):
        return "one of " + ", ".join(instance.categories.to_list())
    if isinstance(instance, pl.Datetime):
        return "instant"
    if instance.is_integer():
        return "whole number"
    if instance.is_float():
        return "number"
    return {"String": "text", "Boolean": "yes or no", "Date": "date"}.get(str(instance), str(instance))


def record_page() -> str:
    """The set-up record and the register of equipment: what each column asks for."""
    parts = ["# The set-up record and the register", ""]
    for title, fields in (
        ("Lines: one row for each line", LINE_FIELDS),
        ("Mats: one row for each slot, 1 at the near side", MAT_FIELDS),
        ("The register: one row for each item", ITEM_FIELDS),
    ):
        rows = [(field.header, field.kind.value, field.hint, _limits(field)) for field in fields]
        parts += [f"## {title}", "", *_rows(("column", "kind", "what to write", "possible"), rows), ""]
    return "\n".join(parts)


def _limits(field: Field) -> str:
    if field.words:
        return ", ".join(field.words)
    return "" if field.low is None else f"{field.low:g} to {field.high:g}"


def settings_page() -> str:
    """Every number that a person can change, with its reason and source."""
    plan = [
        (f"`[{section}]` `{name}`", f"{each.value:g}", each.unit, each.reason, each.source)
        for section, named in ASSUMPTIONS.items()
        for name, each in named.items()
    ]
    head = ("setting", "default", "unit", "reason", "source")
    return "\n".join(
        [
            "# Settings", "",
            "## Of an event", "", "In the table `[settings]` of `event.toml`.", "",
            *_rows(head, _settings(SETTINGS)), "",
            "## Of the season", "", "Fixed; they belong to no single event.", "",
            *_rows(head, _settings(SEASON_SETTINGS)), "",
            "## Of the purchase plan", "", "In `plan.toml`; a draft writes them all out and marks each guess ASSUMPTION.", "",
            *_rows(head, plan), "",
        ]
    )  # fmt: skip


def _settings(settings: dict[str, Setting]) -> list[tuple[str, ...]]:
    return [(f"`{name}`", f"{s.value:g}", s.unit, s.reason, s.source) for name, s in settings.items()]


def words_page() -> str:
    """The glossary, in the order of the flow."""
    parts = ["# Words", "", "A word means the same thing in every table, chart and page.", ""]
    parts += [
        *_rows(("word", "meaning"), [(f"**{word}**", meaning) for word, meaning in GLOSSARY.items()]),
        "",
    ]
    return "\n".join(parts)


def _rows(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    def line(cells: Sequence[str]) -> str:
        return "| " + " | ".join(cell.replace("|", "\\|").replace("\n", " ") for cell in cells) + " |"

    return [line(head), line(["---"] * len(head)), *(line(row) for row in rows)]
