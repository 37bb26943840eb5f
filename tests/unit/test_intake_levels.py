"""The four levels of export against whole expected frames."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import polars as pl

from event_folders import MERGED, PASSINGS, READS, WIDE, load, write_folder
from lineproof.tables import PASSINGS as PASSINGS_TABLE
from lineproof.tables import READS as READS_TABLE


def utc(clock: str, day: str = "2026-05-17") -> dt.datetime:
    return dt.datetime.fromisoformat(f"{day}T{clock}+00:00")


def test_raw_reads(tmp_path: Path) -> None:
    # 17 May is summer time: 10:00 on the clock is 09:00 UTC.
    text = (
        "Tag,Time,Line,antenna,strength\nA1,2026-05-17 10:00:00.25,M1,3,-61.5\nA2,2026-05-17T09:00:01Z,F2,,\n"
    )
    intake = load(write_folder(tmp_path / "e", reads_csv=text))
    expected = READS_TABLE.shape_rows(
        [
            {"tag": "A1", "line": "mill-main", "time": utc("09:00:00.250"), "antenna": 3, "strength": -61.5, "file": "exports/reads.csv", "row": 2},
            {"tag": "A2", "line": "finish-backup", "time": utc("09:00:01"), "file": "exports/reads.csv", "row": 3},
        ]
    )  # fmt: skip
    assert intake.reads.collect().sort("row").equals(expected)
    assert intake.account["times"].to_list() == [0, 2]
    assert intake.passings.schema == PASSINGS_TABLE.schema


def test_open_reader_protocol_fields_are_recognised(tmp_path: Path) -> None:
    # Field names and units of GS1 EPCglobal LLRP 1.1, TagReportData: UTC timestamps in microseconds.
    inputs = '[[input]]\nfiles = "exports/*"\nlevel = "reads"\nline = "mill-main"\n'
    text = "EPC-96,AntennaID,PeakRSSI,FirstSeenTimestampUTC,LastSeenTimestampUTC,TagSeenCount\nA1,2,-54,1779008400250000,1779008400900000,7\n"
    reads = load(write_folder(tmp_path / "e", inputs, reads_csv=text)).reads.collect()
    assert reads.row(0)[:5] == ("A1", "mill-main", utc("09:00:00.250"), 2, -54.0)
    inputs = inputs.replace('"reads"', '"passings"')
    passings = load(write_folder(tmp_path / "p", inputs, reads_csv=text)).passings
    assert passings.select("tag", "line", "first", "last", "reads", "antenna", "strength").row(0) == (
        "A1", "mill-main", utc("09:00:00.250"), utc("09:00:00.900"), 7, 2, -54.0,
    )  # fmt: skip


def test_passings_per_line(tmp_path: Path) -> None:
    text = (
        "Tag;Line;First;Last\nA2;F1;2026-05-17 10:20:00,5;2026-05-17 10:20:02\nA1;M1;2026-05-17 10:00:00;\n"
    )
    passings = load(write_folder(tmp_path / "e", PASSINGS, passings_csv=text)).passings
    expected = PASSINGS_TABLE.shape_rows(
        [
            {"passing": 0, "tag": "A1", "point": "mill", "line": "mill-main", "first": utc("09:00:00"), "strongest": utc("09:00:00"), "last": utc("09:00:00"), "level": "passings", "file": "exports/passings.csv", "row": 3},
            {"passing": 1, "tag": "A2", "point": "finish", "line": "finish-main", "first": utc("09:20:00.500"), "strongest": utc("09:20:00.500"), "last": utc("09:20:02"), "level": "passings", "file": "exports/passings.csv", "row": 2},
        ]
    )  # fmt: skip
    assert passings.equals(expected)


def test_merged_data_without_a_line_column(tmp_path: Path) -> None:
    text = "Bib\tPlace\tTime\n1\tHalf way\t2026-05-17 10:00:00\n1\tfinish\t2026-05-17 10:25:00\n"
    passings = load(write_folder(tmp_path / "e", MERGED, times_tsv=text)).passings
    expected = PASSINGS_TABLE.shape_rows(
        [
            {"passing": i, "bib": "1", "point": point, "first": at, "strongest": at, "last": at, "level": "merged", "file": "exports/times.tsv", "row": i + 2}
            for i, (point, at) in enumerate([("mill", utc("09:00:00")), ("finish", utc("09:25:00"))])
        ]
    )  # fmt: skip
    assert passings.equals(expected)


def test_a_line_column_of_merged_data_gives_the_point(tmp_path: Path) -> None:
    inputs = READS.replace('"reads"', '"merged"')
    text = "Tag,Time,Line\nA1,2026-05-17 10:00:00,M1\nA1,2026-05-17 10:25:00,F2\n"
    passings = load(write_folder(tmp_path / "e", inputs, times_csv=text)).passings
    assert passings.select("point", "line").rows() == [("mill", "mill-main"), ("finish", "finish-backup")]


def test_a_wide_table_with_every_word_for_missing(tmp_path: Path) -> None:
    words = ["", "-", "--", "0", "00:00:00", "NA", "N/A", "null", "DNS", "DNF", "DSQ", "DQ"]
    rows = "".join(f"{bib},,{word},0:50:00\n" for bib, word in enumerate(words, start=1))
    text = "Bib,Start,5 km,Finish\n" + rows
    intake = load(write_folder(tmp_path / "e", WIDE, more='times = "elapsed"', entries=None, wide_csv=text))
    assert intake.passings["point"].to_list() == ["finish"] * len(words)
    assert intake.passings["visit"].to_list() == [1] * len(words)
    assert intake.passings["first"].unique().to_list() == [utc("09:20:00")]  # the gun is 08:30 UTC
    assert not intake.rejects.height
    assert intake.account.select("rows_read", "kept", "blank", "rejected", "times").row(0) == (
        12,
        12,
        0,
        0,
        12,
    )
    assert intake.entries["runner"].to_list() == sorted(str(bib) for bib in range(1, 13))


def test_one_bad_cell_of_a_wide_row_leaves_the_others(tmp_path: Path) -> None:
    text = "Bib,Start,5 km,Finish\n1,0:00:05,0:2x:00,0:50:00\n2,0:00:06,0:26:00,0:51:00\n"
    intake = load(write_folder(tmp_path / "e", WIDE, more='times = "elapsed"', entries=None, wide_csv=text))
    assert intake.passings.group_by("bib").len().sort("bib").rows() == [("1", 2), ("2", 3)]
    assert intake.rejects.select("row", "column", "value").rows() == [(2, "5 km", "0:2x:00")]
    assert intake.account.select("kept", "rejected", "times").row(0) == (2, 0, 5)


def test_elapsed_times_from_the_own_start(tmp_path: Path) -> None:
    text = "Bib,Start,5 km,Finish\n1,0:01:40,0:25:00,0:50:00\n2,,0:25:00,\n"
    more = 'times = "elapsed"\nelapsed_from = "start"'
    intake = load(write_folder(tmp_path / "e", WIDE, more=more, entries=None, wide_csv=text))
    assert intake.passings.select("point", "first").rows() == [
        ("start", utc("08:31:40")),
        ("mill", utc("08:56:40")),
        ("finish", utc("09:21:40")),
    ]
    assert intake.rejects.select("row", "column").rows() == [(3, "5 km")]


def test_elapsed_times_from_the_own_start_in_merged_data(tmp_path: Path) -> None:
    text = "Bib,Place,Time\n1,mill,25:00\n1,start,1:40\n2,mill,26:00\n"
    more = 'times = "elapsed"\nelapsed_from = "start"'
    intake = load(write_folder(tmp_path / "e", MERGED, more=more, times_csv=text))
    assert intake.passings.select("point", "first").rows() == [
        ("start", utc("08:31:40")),
        ("mill", utc("08:56:40")),
    ]
    assert intake.rejects.select("row", "column").rows() == [(4, "Time")]


def test_each_wave_counts_from_its_own_gun(tmp_path: Path) -> None:
    folder = write_folder(
        tmp_path / "e",
        WIDE,
        more='times = "elapsed"',
        entries="bib,wave\n1,A\n2,B\n",
        wide_csv="Bib,Start,5 km,Finish\n1,,,50:00\n2,,,50:00\n3,,,50:00\n",
    )
    toml = (folder / "event.toml").read_text()
    (folder / "event.toml").write_text(
        toml.replace("[[point]]", '[[wave]]\nid = "B"\ncourse = "10k"\ngun = 09:40:00\n[[point]]', 1)
    )
    intake = load(folder)
    assert intake.passings.select("bib", "first").rows() == [("1", utc("09:20:00")), ("2", utc("09:30:00"))]
    assert intake.rejects.select("row", "column").rows() == [(4, "Finish")]  # in no entry, so from which gun?


def test_auto_reads_a_wide_table_by_its_paces(tmp_path: Path) -> None:
    elapsed = "Bib,Start,5 km,Finish\n1,0:00:09,0:21:34,0:43:40\n2,0:00:12,0:31:10,1:05:00\n"
    clock = "Bib,Start,5 km,Finish\n1,09:30:09,09:51:34,10:13:40\n2,09:30:12,10:01:10,10:35:00\n"
    seconds = "Bib,Start,5 km,Finish\n1,9,1294,2620\n2,12,1870,3900\n"
    frames = []
    for name, text in (("e", elapsed), ("c", clock), ("s", seconds)):
        intake = load(write_folder(tmp_path / name, WIDE, entries=None, wide_csv=text))
        frames.append(intake.passings)
        assert "human paces" in intake.account["remarks"][0]
    assert frames[0].equals(frames[1])
    assert frames[0].equals(frames[2])
    assert frames[0]["first"][0] == utc("08:30:09")


def test_a_date_column_beside_a_time_of_day(tmp_path: Path) -> None:
    inputs = READS.replace('time = "Time"', 'date = "Day"\ntime = "Time"')
    text = "Tag,Day,Time,Line\nA1,17.05.2026,10:00:00,M1\n"
    assert load(write_folder(tmp_path / "e", inputs, reads_csv=text)).reads.collect()["time"].to_list() == [
        utc("09:00:00")
    ]


def test_a_date_column_beside_full_times_changes_nothing(tmp_path: Path) -> None:
    text = "Tag,date,Time,Line\nA1,2026-05-17,2026-05-17 10:00:00,M1\n"
    assert load(write_folder(tmp_path / "e", reads_csv=text)).reads.collect()["time"].to_list() == [
        utc("09:00:00")
    ]


def test_results_tables_of_two_courses_without_a_start_list(tmp_path: Path) -> None:
    five = '[[input]]\nfiles = "exports/five.csv"\nlevel = "wide"\ncourse = "5k"\ntimes = "elapsed"\n[input.columns]\nbib = "Bib"\n[input.point_names]\n"Finish" = "finish"\n'
    ten = five.replace("five.csv", "ten.csv").replace('"5k"', '"10k"')
    folder = write_folder(
        tmp_path / "e",
        five + ten,
        entries=None,
        five_csv="Bib,Finish\n1,25:00\n2,26:00\n",
        ten_csv="Bib,Finish\n2,55:00\n3,56:00\n",
    )
    toml = (folder / "event.toml").read_text()
    short = '[[course]]\nid = "5k"\nvisits = [{ point = "start", at_m = 0 }, { point = "finish", at_m = 5000 }]\n[[wave]]\nid = "B"\ncourse = "5k"\ngun = 09:40:00\n'
    (folder / "event.toml").write_text(toml.replace("[[point]]", short + "[[point]]", 1))
    intake = load(folder)
    assert intake.entries.select("runner", "course", "wave").rows() == [
        ("1", "5k", "B"),
        ("2", "5k", "B"),
        ("3", "10k", "A"),
    ]
    assert intake.rejects.select("file", "value", "reason").rows() == [
        ("exports/ten.csv", "2", "this runner is on another course in exports/five.csv")
    ]
    assert intake.passings.filter(pl.col("bib") == "1")["first"].to_list() == [utc("09:05:00")]


def test_words_of_a_results_table_are_explained_without_a_start_list(tmp_path: Path) -> None:
    inputs = '[entries.course_names]\n"Ten" = "10k"\n' + WIDE
    text = "Bib,Course,Start,5 km,Finish\n1,Ten,,25:00,50:00\n2,Tne,,26:00,51:00\n"
    intake = load(write_folder(tmp_path / "e", inputs, more='times = "elapsed"', entries=None, wide_csv=text))
    assert intake.entries["runner"].to_list() == ["1"]
    assert intake.passings.height == 4
    assert 'did you mean "Ten"?' in intake.rejects["reason"][0]


def test_decimal_comma_and_quoted_line_break(tmp_path: Path) -> None:
    text = 'Tag;Time;Line;strength\r\nA1;"17.05.2026 10:00:00,5";M1;"-61,5"\r\n"A\r\n2";2026-05-17 10:00:01;M1;\r\n\r\nA3;2026-05-17 10:00:02;M1;-60'
    intake = load(write_folder(tmp_path / "e", reads_csv=text))
    reads = intake.reads.collect().sort("row")
    assert reads["row"].to_list() == [2, 3, 5]
    assert reads["strength"].to_list() == [-61.5, None, -60.0]
    assert reads["time"].to_list() == [utc("09:00:00.5"), utc("09:00:01"), utc("09:00:02")]
    assert intake.account.select("rows_read", "kept", "blank").row(1) == (4, 3, 1)


def test_derived_entries_of_one_course_without_a_start_list(tmp_path: Path) -> None:
    text = "Tag,Time,Line\nA2,2026-05-17 10:00:00,M1\nA1,2026-05-17 10:00:00,F1\n"
    intake = load(write_folder(tmp_path / "e", entries=None, reads_csv=text))
    assert intake.entries.select("runner", "bib", "course", "wave").rows() == [
        ("A1", None, "10k", "A"),
        ("A2", None, "10k", "A"),
    ]
    assert intake.tags.select("tag", "runner").rows() == [("A1", "A1"), ("A2", "A2")]


def test_many_files_of_one_input_and_two_delimiters(tmp_path: Path) -> None:
    folder = write_folder(
        tmp_path / "e",
        a_csv="Tag,Time,Line\nA1,2026-05-17 10:00:00,M1\n",
        b_txt="Line|Tag|Time\nF1|A1|2026-05-17 10:30:00\n",
        c_txt="Line  Tag   Time\nF1   A2  2026-05-17T10:40:00\n",
    )
    reads = load(folder).reads.collect().sort("time")
    assert reads.select("tag", "line", "file", "row").rows() == [
        ("A1", "mill-main", "exports/a.csv", 2),
        ("A1", "finish-main", "exports/b.txt", 2),
        ("A2", "finish-main", "exports/c.txt", 2),
    ]


def test_row_order_of_an_export_does_not_matter(tmp_path: Path) -> None:
    lines = [f"A{i % 3 + 1},2026-05-17 10:0{i}:00,M1" for i in range(9)]
    one = load(write_folder(tmp_path / "a", reads_csv="\n".join(["Tag,Time,Line", *lines]))).reads.collect()
    two = load(
        write_folder(tmp_path / "b", reads_csv="\n".join(["Tag,Time,Line", *reversed(lines)]))
    ).reads.collect()
    key = pl.col("tag"), pl.col("time")
    assert one.sort(key).drop("row").equals(two.sort(key).drop("row"))
