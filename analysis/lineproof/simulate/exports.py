"""Exports in many layouts: what a file holds and how it writes lines, times and numbers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from lineproof.simulate.cases import Case
from lineproof.simulate.edits import Sheet, make_edits
from lineproof.simulate.merging import to_line_passings, to_merged_times, to_results_table
from lineproof.simulate.plan import FaultKind
from lineproof.simulate.running import SimulatedEvent
from lineproof.simulate.workbook import Cell, write_workbook
from lineproof.vocabulary import Level

INSTANTS = ("time", "first", "strongest", "last")


@dataclass(frozen=True, slots=True, kw_only=True)
class Export:
    """One file, or one per line where ``file`` holds ``{line}``, with its layout.

    ``columns`` maps our names to the header's words, in the order they stand in.  ``times`` is ``offset``,
    ``local``, ``dmy``, ``clock``, ``elapsed``, ``epoch_us`` or ``epoch_ms``.  ``words`` are the export's names of
    lines and points (in a wide table: the headers of the points' columns).  ``titles`` stand above the header.
    ``edits`` are faults made in the file itself, ``note`` a comment for event.toml.
    """

    level: Level
    file: str
    columns: Mapping[str, str]
    times: str
    lines: tuple[str, ...] = ()  # none: all
    course: str = ""  # none: all
    delimiter: str = ","
    decimal: str = "."
    words: Mapping[str, str] = field(default_factory=dict)
    titles: tuple[str, ...] = ()
    missing: str = ""
    edits: tuple[tuple[FaultKind, int], ...] = ()
    note: str = ""

    @property
    def by_line(self) -> bool:
        return "{line}" in self.file

    def file_of(self, line: str) -> str:
        return self.file.replace("{line}", self.words.get(line, line))


def write_export(folder: Path, export: Export, sim: SimulatedEvent, rng: np.random.Generator) -> list[Case]:
    """Write the file or files of one export; returns the faults made in them, with file, row and column."""
    if not export.by_line:
        return _write(folder, export, export.file, export.lines, sim, rng)
    lines = export.lines or tuple(line.id for line in sim.event.lines)
    return [
        case for line in lines for case in _write(folder, export, export.file_of(line), (line,), sim, rng)
    ]


def _write(
    folder: Path,
    export: Export,
    file: str,
    lines: tuple[str, ...],
    sim: SimulatedEvent,
    rng: np.random.Generator,
) -> list[Case]:
    sheet = Sheet(_frame(export, sim, lines), sim, export.level is Level.WIDE, rng)
    make_edits(sheet, export.edits)
    path = folder / file
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix == ".xlsx":
        write_workbook(path, "Results", _cells(sheet, export))
    elif path.suffix == ".parquet":
        _shown(sheet, export).write_parquet(path, compression="zstd", compression_level=19, statistics=False)
    else:
        table = _shown(sheet, export).write_csv(separator=export.delimiter, null_value=export.missing)
        titles = "".join(f"{title}\n" for title in export.titles)
        path.write_text(titles + table, encoding="utf-8", newline="\n")
    return [_in_file(case, file, export) for case in sheet.cases]


def _in_file(case: Case, file: str, export: Export) -> Case:
    """Name the place as the file's reader sees it: the first line is row 1, columns by their header."""
    headers = {**export.words, **export.columns}
    return replace(
        case,
        file=file,
        row=None if case.row is None else case.row + len(export.titles) + 2,
        column=None if case.column is None else headers.get(case.column, case.column),
    )


def _frame(export: Export, sim: SimulatedEvent, lines: tuple[str, ...]) -> pl.DataFrame:
    if export.level in (Level.MERGED, Level.WIDE):
        return _worked_up(export, sim)
    frame = sim.reads if export.level is Level.READS else to_line_passings(sim.reads)
    return frame.filter(pl.col("line").is_in(lines)) if lines else frame


def _worked_up(export: Export, sim: SimulatedEvent) -> pl.DataFrame:
    merged = to_merged_times(sim)
    people = sim.entries.select(
        "bib", "wave", "course", "sex", "age", pl.col("runner_class").cast(pl.String).alias("class")
    )
    if export.course:
        people = people.filter(pl.col("course") == export.course)
        merged = merged.join(people.select("bib"), on="bib", how="semi", maintain_order="left")
    if export.level is Level.MERGED:
        return merged
    return to_results_table(merged, sim.event).join(people, on="bib", validate="1:1", maintain_order="left")


def _headers(export: Export) -> dict[str, str]:
    """Our column names and the header's words, in the order of the file."""
    if export.level is not Level.WIDE:
        return dict(export.columns)
    return {**export.columns, **export.words}


def _shown(sheet: Sheet, export: Export) -> pl.DataFrame:
    """The table as the file shows it: texts, or whole numbers for epoch times."""
    frame = sheet.frame.select(
        _column(ours, sheet, export).alias(theirs) for ours, theirs in _headers(export).items()
    )
    for (row, ours), text in sheet.overlay.items():
        column = _headers(export)[ours]
        here = pl.int_range(pl.len()) == row
        frame = frame.with_columns(pl.when(here).then(pl.lit(text)).otherwise(column).alias(column))
    return frame


def _column(ours: str, sheet: Sheet, export: Export) -> pl.Expr:
    column = pl.col(ours)
    if sheet.frame.schema[ours] == pl.Datetime("us", "UTC"):
        return _time(column, sheet, export)
    if ours in ("line", "point"):
        return column.replace(dict(export.words))
    if ours == "strength" and export.file.endswith(".parquet"):
        return column.round(0).cast(pl.Int8)  # as PeakRSSI of the open reader protocol
    if ours == "strength":
        return column.cast(pl.Float64).round(1).cast(pl.String).str.replace(".", export.decimal, literal=True)
    return column


def _time(time: pl.Expr, sheet: Sheet, export: Export) -> pl.Expr:
    local = time.dt.convert_time_zone(sheet.sim.plan.zone)
    if export.times in ("epoch_us", "epoch_ms"):
        return time.dt.epoch(export.times[-2:])  # type: ignore[arg-type]
    if export.times == "elapsed":
        return _elapsed(time, sheet)
    layouts = {
        "offset": "%Y-%m-%dT%H:%M:%S%.3f%:z",
        "local": "%Y-%m-%d %H:%M:%S%.3f",
        "dmy": "%d/%m/%Y %H:%M:%S%.3f",
        "clock": "%H:%M:%S%.3f",
    }
    text = local.dt.strftime(layouts[export.times])
    return text.str.replace(".", export.decimal, literal=True)


def _elapsed(time: pl.Expr, sheet: Sheet) -> pl.Expr:
    """h:mm:ss.t since the gun of the runner's wave, cut to tenths."""
    guns = {wave.id: wave.gun for wave in sheet.sim.event.waves}
    gun = pl.col("wave").replace_strict(guns, return_dtype=pl.Datetime("us", "UTC"))
    tenths = (time - gun).dt.total_milliseconds() // 100
    parts = (tenths // 36_000, tenths // 600 % 60, tenths // 10 % 60, tenths % 10)
    h, m, s, t = (part.cast(pl.String) for part in parts)
    text = pl.concat_str(h, pl.lit(":"), m.str.zfill(2), pl.lit(":"), s.str.zfill(2), pl.lit("."), t)
    return pl.when(tenths >= 0).then(text)


def _cells(sheet: Sheet, export: Export) -> list[list[Cell]]:
    """Rows of a workbook: titles, header, records with time-of-day cells."""
    zone = ZoneInfo(sheet.sim.plan.zone)
    headers = _headers(export)
    rows: list[list[Cell]] = [[title] for title in export.titles]
    rows.append(list(headers.values()))
    for number, record in enumerate(sheet.frame.select(list(headers)).iter_rows(named=True)):
        rows.append(
            [_cell(sheet.overlay.get((number, ours), record[ours]), zone, export) for ours in headers]
        )
    return rows


def _cell(value: object, zone: ZoneInfo, export: Export) -> Cell:
    if isinstance(value, dt.datetime):
        return value.astimezone(zone).time()
    if value is None:
        return export.missing or None
    return value if isinstance(value, str | int | float) else str(value)
