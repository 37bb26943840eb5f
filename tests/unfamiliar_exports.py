"""Invented exports in layouts that nobody described to lineproof, as an event folder of a first-time user.

Each writes files of a small event of which the test knows who was seen where, and returns the folder.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import polars as pl

DEMO = Path(__file__).resolve().parents[1] / "demo_data"
RUNNERS = 60
DAY = dt.datetime(2026, 5, 10, 9, 0, 0)  # noqa: DTZ001  wall clock in Europe/Berlin


def at(runner: int, km: float, start_s: float = 0.0) -> dt.datetime:
    """Runner 1 takes 4 minutes a kilometre, each later one a second more; all cross the start in their turn."""
    return DAY + dt.timedelta(minutes=30, seconds=start_s + runner / 2 + km * (240 + runner))


def german_merged(folder: Path) -> Path:
    """No folder exports; German words; the start list is no entries.csv; a column names the reader."""
    folder.mkdir(parents=True)
    people = [
        f"{i};Anna;Beispiel;{'W' if i % 2 else 'M'};{20 + i % 50};{'Lauf 6 km' if i <= 40 else 'Lauf 3 km'}"
        for i in range(1, RUNNERS + 1)
    ]
    (folder / "Meldeliste 2026.csv").write_text(
        "\n".join(["Startnr.;Vorname;Nachname;Geschlecht;Alter;Wettbewerb", *people]) + "\n",
        encoding="cp1252",
    )
    rows = []
    for i in range(1, RUNNERS + 1):
        stops = [("Start", 0.0, "G1"), ("Wende Süd", 3.0, "G2"), ("Ziel", 6.0, "G3")]
        if i > 40:
            stops = [("Start", 0.0, "G1"), ("Ziel", 3.0, "G3")]
        for place, km, box in stops:
            if (i, place) != (7, "Wende Süd"):  # the one that was missed
                time = f"{at(i, km):%d.%m.%Y %H:%M:%S},{i % 10}"
                rows.append((at(i, km), f"{i};{place};{time};{box}"))
    text = "\n".join(["Startnr.;Messpunkt;Uhrzeit;Gerät", *(row for _, row in sorted(rows))]) + "\n"
    (folder / "Zeiten.csv").write_text("Talbachlauf, Rohdaten\n" + text, encoding="cp1252")
    return folder


def two_boxes(folder: Path) -> Path:
    """Two boxes at the finish and one at the start, local clock, decimal comma; a box missed runners 5 and 6."""
    (folder / "exports").mkdir(parents=True)
    files = {"start": (0.0, 0.0, ()), "finish box A": (5.0, 0.0, ()), "finish box B": (5.0, 2.0, (5, 6))}
    for name, (km, later, missed) in files.items():
        reads = [
            (at(i, km, later) + dt.timedelta(milliseconds=150 * n), i, n)
            for i in range(1, RUNNERS + 1)
            if i not in missed
            for n in range(4)
        ]
        rows = [
            f"{time:%Y-%m-%d %H:%M:%S},{time.microsecond // 1000:03};TB{i:04};{1 + n % 3};-{50 + n},5"
            for time, i, n in sorted(reads)
        ]
        text = "\n".join(["Zeitstempel;Transponder;Antenne;Pegel", *rows]) + "\n"
        (folder / "exports" / f"{name}.csv").write_text(text, encoding="utf-8")
    people = [f"{i},TB{i:04},{'F' if i % 2 else 'M'}" for i in range(1, RUNNERS + 1)]
    (folder / "startlist.csv").write_text(
        "\n".join(["No.,Transponder,M/F", *people]) + "\n", encoding="utf-8"
    )
    return folder


def wide_workbook(folder: Path) -> Path:
    """A results sheet with titles above the header, gun and net times, ranks, paces and words for no time."""
    (folder / "exports").mkdir(parents=True)
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Hollin Water 10 km"])
    sheet.append(["provisional, corrected twice"])
    sheet.append([])
    sheet.append(["Rank", "Bib", "Name", "Cat", "Lap 1", "Lap 2", "Pace", "Gun time", "Net time"])
    for i in range(1, RUNNERS + 1):
        late = dt.timedelta(seconds=i / 2)
        laps = [late + dt.timedelta(seconds=km * (240 + i)) for km in (4.0, 8.0, 10.0)]
        cells: list[object] = [
            _hms(laps[0]),
            _hms(laps[1]),
            f"{4 + i // 60}:{i % 60:02}",
            _hms(laps[2]),
            _hms(laps[2] - late),
        ]
        if i == 9:
            cells[1:] = ["retired", "", "DNF", "DNF"]
        if i == 12:
            cells[0] = "?"
        sheet.append([i, f"{i:03}", f"Runner {i % 11}", "F" if i % 2 else "M", *cells])
    book.save(folder / "exports" / "Results final (2).xlsx")
    return folder


def _hms(length: dt.timedelta) -> str:
    tenths = round(length.total_seconds() * 10)
    return f"{tenths // 36000}:{tenths // 600 % 60:02}:{tenths // 10 % 60:02}.{tenths % 10}"


def long_night(folder: Path) -> Path:
    """The demo's night race, told as badly as can be.

    Other column names, decimal comma, local clock without offset through the night in which the clocks went
    back, and two files for each line: until 2 o'clock summer time, and after.
    """
    source = DEMO / "09-long-night"
    (folder / "exports").mkdir(parents=True)
    back = pl.lit(dt.datetime(2026, 10, 25, 1, tzinfo=dt.UTC))
    reads = pl.read_parquet(source / "exports" / "reads.parquet").select(
        pl.col("tag").alias("Kennung"),
        pl.col("reader").alias("box"),
        pl.from_epoch("time_ms", time_unit="ms").dt.replace_time_zone("UTC").alias("Moment"),
        pl.col("antenna").alias("Spule"),
    )
    passings = pl.read_csv(source / "exports" / "checkpoints.csv").select(
        pl.col("Tag").alias("Kennung"),
        pl.col("Reader").alias("box"),
        *(
            pl.col(name)
            .str.to_datetime("%Y-%m-%dT%H:%M:%S%.3f%z", time_unit="ms", time_zone="UTC")
            .alias(new)
            for name, new in (("First", "Anfang"), ("Last", "Ende"))
        ),
        pl.col("Reads").alias("Zahl"),
    )
    for frame, time in ((reads, "Moment"), (passings, "Anfang")):
        for box in frame["box"].unique().sort():
            mine = frame.filter(pl.col("box") == box).drop("box").sort(time, "Kennung")
            for part, rows in enumerate(
                (mine.filter(pl.col(time) < back), mine.filter(pl.col(time) >= back)), 1
            ):
                if rows.height:
                    _write_local(rows, folder / "exports" / f"{box} part {part}.csv")
    entries = pl.read_csv(source / "entries.csv", infer_schema_length=0).rename(
        {"Bib": "Nr.", "Tag": "Kennung"}
    )
    entries.write_csv(folder / "Teilnehmer.csv", separator=";")
    return folder


def _write_local(rows: pl.DataFrame, path: Path) -> None:
    local = pl.selectors.datetime().dt.convert_time_zone("Europe/London").dt.strftime("%d.%m.%Y %H:%M:%S%.3f")
    rows.with_columns(
        local.str.replace(".", ",", literal=True).str.replace(
            r"^(\d+),(\d+)\.(\d+)(.*)\.", "${1}.${2}.${3}${4},"
        )
    ).write_csv(path, separator=";")
