"""Excel and Parquet exports, text ids and typed cells."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import openpyxl
import polars as pl

from event_folders import WIDE, load, write_folder


def workbook(rows: list[list[object]], formats: dict[str, str] | None = None) -> bytes:
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    for row in rows:
        page.append(row)
    for cell, layout in (formats or {}).items():
        page[cell].number_format = layout
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def utc(clock: str) -> dt.datetime:
    return dt.datetime.fromisoformat(f"2026-05-17T{clock}+00:00")


def test_a_workbook_with_titles_text_ids_and_date_cells(tmp_path: Path) -> None:
    rows: list[list[object]] = [
        ["Harbour 10 km, reads"],
        [],
        ["Tag", "Time", "Line", "antenna"],
        ["007", dt.datetime(2026, 5, 17, 10, 0, 0, 250000), "M1", 3],  # noqa: DTZ001
        [12, dt.datetime(2026, 5, 17, 10, 0, 1), "M1", 4.0],  # noqa: DTZ001
        [None, None, None, None],
        ["A1", "2026-05-17 10:00:02", "F1", None],
    ]
    intake = load(write_folder(tmp_path / "e", reads_xlsx=workbook(rows)))
    reads = intake.reads.collect().sort("row")
    assert reads.select("tag", "time", "antenna", "row").rows() == [
        ("007", utc("09:00:00.250"), 3, 4),
        ("12", utc("09:00:01"), 4, 5),
        ("A1", utc("09:00:02"), None, 7),
    ]
    account = intake.account.row(1, named=True)
    assert (account["rows_read"], account["blank"]) == (4, 1)
    assert account["remarks"].startswith("1 title rows above the header in row 3 were passed over; ")


def test_time_of_day_and_duration_cells_of_a_workbook(tmp_path: Path) -> None:
    rows: list[list[object]] = [
        ["Bib", "Start", "5 km", "Finish"],
        ["01", dt.time(0, 0, 30), dt.timedelta(minutes=25), dt.timedelta(hours=26, minutes=5, seconds=1)],
        ["02", dt.time(0, 0, 31), dt.time(0, 26, 0), 3125.5],
    ]
    data = workbook(rows, {"C2": "[h]:mm:ss", "D2": "h:mm:ss"})
    intake = load(write_folder(tmp_path / "e", WIDE, more='times = "elapsed"', entries=None, wide_xlsx=data))
    found = intake.passings.sort("bib", "first").select("bib", "point", "first").rows()
    assert found == [
        ("01", "start", utc("08:30:30")),
        ("01", "mill", utc("08:55:00")),
        ("01", "finish", dt.datetime(2026, 5, 18, 10, 35, 1, tzinfo=dt.UTC)),
        ("02", "start", utc("08:30:31")),
        ("02", "mill", utc("08:56:00")),
        ("02", "finish", utc("09:22:05.5")),
    ]


def test_the_sheet_that_holds_the_headers_is_found(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    first = book.active
    assert first is not None
    first.append(["nothing", "here"])
    page = book.create_sheet("Reads")
    page.append(["Tag", "Time", "Line"])
    page.append(["A1", "2026-05-17 10:00:00", "M1"])
    stream = io.BytesIO()
    book.save(stream)
    intake = load(write_folder(tmp_path / "e", reads_xlsx=stream.getvalue()))
    assert intake.reads.collect().height == 1
    assert intake.account["remarks"][1].startswith('the sheet "Reads" was read; the others were not; ')


def test_an_id_that_a_sheet_has_rounded_is_rejected(tmp_path: Path) -> None:
    rows: list[list[object]] = [
        ["Tag", "Time", "Line"],
        [3.00833e23, "2026-05-17 10:00:00", "M1"],
        ["A1", "2026-05-17 10:00:00", "M1"],
    ]
    intake = load(write_folder(tmp_path / "e", reads_xlsx=workbook(rows)))
    assert intake.rejects.select("row", "column").rows() == [(2, "Tag")]
    assert intake.reads.collect()["tag"].to_list() == ["A1"]


def parquet(frame: pl.DataFrame) -> bytes:
    stream = io.BytesIO()
    frame.write_parquet(stream)
    return stream.getvalue()


def test_typed_parquet(tmp_path: Path) -> None:
    moments = [dt.datetime(2026, 5, 17, 10, 0, 0, 123456), None]  # noqa: DTZ001
    naive = pl.DataFrame({"Tag": ["A1", "A2"], "Time": moments, "Line": ["M1", "M1"], "list": [[1], [2]]})
    aware = naive.with_columns(pl.col("Time").dt.replace_time_zone("America/New_York"))
    nanos = naive.with_columns(pl.col("Time").cast(pl.Datetime("ns")))
    epoch = naive.with_columns(pl.col("Time").dt.replace_time_zone("UTC").dt.epoch("us"))
    seconds = naive.with_columns(pl.Series("Time", [1779012000.25, None]))
    expected = [
        utc("09:00:00.123456"),
        utc("14:00:00.123456"),
        utc("09:00:00.123456"),
        utc("10:00:00.123456"),
        utc("10:00:00.25"),
    ]
    for number, (frame, time) in enumerate(zip([naive, aware, nanos, epoch, seconds], expected, strict=True)):
        intake = load(write_folder(tmp_path / str(number), reads_parquet=parquet(frame)))
        assert intake.reads.collect().select("tag", "time", "row").rows() == [("A1", time, 2)]
        assert intake.rejects.select("row", "column", "reason").rows() == [(3, "Time", "the time is empty")]
        assert '"list" holds no plain values' in intake.account["remarks"][1]


def test_typed_parquet_ids_and_durations(tmp_path: Path) -> None:
    frame = pl.DataFrame(
        {
            "Bib": [7, 8],
            "Start": [0.5, None],
            "5 km": [dt.timedelta(minutes=25, microseconds=1), None],
            "Finish": [dt.time(0, 50, 0, 5), dt.time(0, 51)],
        }
    )
    intake = load(
        write_folder(
            tmp_path / "e", WIDE, more='times = "elapsed"', entries=None, wide_parquet=parquet(frame)
        )
    )
    assert intake.passings.sort("bib", "first").select("bib", "first").rows() == [
        ("7", utc("08:30:00.5")),
        ("7", utc("08:55:00.000001")),
        ("7", utc("09:20:00.000005")),
        ("8", utc("09:21:00")),
    ]


def test_a_table_without_a_header(tmp_path: Path) -> None:
    inputs = '[[input]]\nfiles = "exports/*"\nlevel = "reads"\nheader_row = 0\n[input.columns]\ntag = "1"\ntime = "3"\nline = "2"\n[input.line_names]\n"M1" = "mill-main"\n'
    intake = load(
        write_folder(
            tmp_path / "e", inputs, reads_csv="\ufeffA1;M1;2026-05-17 10:00:00\nA2;M1;2026-05-17 10:00:01\n"
        )
    )
    assert intake.reads.collect().sort("row").select("tag", "row").rows() == [("A1", 1), ("A2", 2)]


def test_the_careful_way_reads_what_the_fast_way_reads(tmp_path: Path) -> None:
    lines = [f"A{i},2026-05-17 10:{i % 60:02}:00,M1" for i in range(200)]
    fast = load(write_folder(tmp_path / "f", reads_csv="\n".join(["Tag,Time,Line", *lines])))
    lines[120] = lines[120].replace("A120", '"A\n120"')
    slow = load(write_folder(tmp_path / "s", reads_csv="\n".join(["Tag,Time,Line", *lines])))
    one, two = (intake.reads.collect().sort("row") for intake in (fast, slow))
    assert two["tag"][120] == "A\n120"
    assert one["row"].to_list() == two["row"].to_list()
    assert one.filter(pl.col("row") != 122).equals(two.filter(pl.col("row") != 122))


def test_words_with_blanks_do_not_win_over_a_clean_delimiter(tmp_path: Path) -> None:
    entries = "Bib #;Gender;Shoe Tag;Bib Tag\n1;Male;AA01;BB01\n2;Female;;BB02\n3;Male;AA03;BB03\n"
    folder = write_folder(
        tmp_path / "event",
        entries=entries,
        reads_csv="Tag,Time,Line\nBB01,2026-05-17T09:55:00+01:00,M1\n",
    )
    text = (folder / "event.toml").read_text()
    columns = '[entries.columns]\nbib = "Bib #"\ntag = "Bib Tag"\nsex = "Gender"\n'
    (folder / "event.toml").write_text(
        text.replace('files = "entries.csv"\n', f'files = "entries.csv"\n{columns}')
    )
    intake = load(folder)
    assert intake.entries["bib"].to_list() == ["1", "2", "3"]
    assert sorted(intake.tags["tag"]) == ["BB01", "BB02", "BB03"]
