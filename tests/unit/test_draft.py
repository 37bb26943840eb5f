"""Drafting event.toml: whatever lies there, the draft is accepted, says what it guessed, and reads the files."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from event_folders import load
from lineproof.draft import draft_event, write_draft
from lineproof.draft.places import place_id, place_name, to_lines
from lineproof.draft.words import distance_m
from lineproof.errors import EventError, InputError, OutputError
from lineproof.event import Event, load_event
from lineproof.intake import Intake
from lineproof.vocabulary import Level, PointKind, Role


def folder_with(folder: Path, entries: str | None = None, **exports: str) -> Path:
    (folder / "exports").mkdir(parents=True)
    for name, text in exports.items():
        stem, _, suffix = name.rpartition("_")
        (folder / "exports" / f"{stem}.{suffix}").write_text(text, encoding="utf-8")
    if entries is not None:
        (folder / "entries.csv").write_text(entries, encoding="utf-8")
    return folder


def drafted(folder: Path) -> tuple[Event, Intake, str]:
    path = write_draft(folder)
    return load_event(folder), load(folder), path.read_text(encoding="utf-8")


def read_rows(lines: list[tuple[str, int]], runners: int = 30, times: int = 4) -> str:
    """Every runner read several times by every line, minutes after 09:30."""
    rows = ["Tag,Seen,Reader,Port,RSSI"]
    for runner in range(runners):
        for line, minute in lines:
            later = dt.timedelta(minutes=minute * (1 + runner / 100), seconds=runner)
            at = dt.datetime(2026, 5, 17, 9, 30, tzinfo=dt.UTC) + later
            rows += [
                f"T{runner:03},{at + dt.timedelta(seconds=i):%Y-%m-%d %H:%M:%S},{line},1,-60"
                for i in range(times)
            ]
    return "\n".join(rows) + "\n"


def test_raw_reads_with_a_line_column(tmp_path: Path) -> None:
    text = read_rows([("Start Main", 0), ("5 km", 25), ("Finish Main", 50), ("Finish Backup", 50)])
    event, intake, toml = drafted(folder_with(tmp_path / "harbour-10k", reads_csv=text))
    assert event.date == dt.date(2026, 5, 17)
    assert event.inputs[0].level is Level.READS
    assert [(v.point, v.at_m) for v in event.courses[0].visits] == [
        ("start", 0),
        ("km5", 5000),
        ("finish", 10000),
    ]
    assert [(line.point, line.role) for line in event.lines if line.point == "finish"] == [
        ("finish", Role.MAIN),
        ("finish", Role.BACKUP),
    ]
    assert event.first_gun == dt.datetime(2026, 5, 17, 9, 30, tzinfo=dt.UTC)
    assert intake.reads.collect().height == 30 * 4 * 4
    assert 'zone = "UTC"  # CHECK' in toml
    assert "gun = 09:30:00  # CHECK" in toml
    assert "no file states this distance" not in toml


def test_names_that_say_nothing_are_put_in_order_of_time_and_marked(tmp_path: Path) -> None:
    text = read_rows([("R7", 50), ("R3", 0), ("R5", 20)])
    event, _, toml = drafted(folder_with(tmp_path / "race", reads_csv=text))
    assert [v.point for v in event.courses[0].visits] == ["r3", "r5", "r7"]
    assert [p.kind for p in event.points] == [PointKind.START, PointKind.SPLIT, PointKind.FINISH]
    assert toml.count("CHECK: no file states this distance") == 3
    assert toml.count("CHECK: the name does not tell where this is") == 3


def test_one_file_for_each_line(tmp_path: Path) -> None:
    rows = "".join(f"T{i % 9};2026-05-17T09:3{i // 9}:0{i % 9}Z;-5{i % 9}\n" for i in range(45))
    text = "EPC;Time;RSSI\n" + rows
    event, intake, toml = drafted(
        folder_with(tmp_path / "race", start_csv=text, finish_backup_csv=text, finish_csv=text)
    )
    assert sorted((i.layout.files, i.line) for i in event.inputs) == [
        ("exports/finish.csv", "finish-main"),
        ("exports/finish_backup.csv", "finish-backup"),
        ("exports/start.csv", "start-main"),
    ]
    assert intake.reads.collect().height == 3 * 45
    assert "taken from the name of the file" not in toml  # the names tell the place
    assert "gun = 09:00:00  # CHECK: the gun cannot be seen" in toml or "gun = 2026" in toml


def test_passings(tmp_path: Path) -> None:
    rows = "".join(
        f"T{i};{line};17.05.2026 10:0{i}:00;17.05.2026 10:0{i}:02\n"
        for i in range(9)
        for line in ("Start", "Finish")
    )
    event, intake, toml = drafted(folder_with(tmp_path / "race", passings_csv="Tag;Line;First;Last\n" + rows))
    assert event.inputs[0].level is Level.PASSINGS
    assert 'date_order = "dmy"\n' in toml
    assert intake.passings.height == 18


def test_an_order_of_dates_that_cannot_be_seen_is_marked(tmp_path: Path) -> None:
    rows = "".join(f"T{i};{line};06/05/2026 10:0{i}:00\n" for i in range(9) for line in ("Start", "Finish"))
    toml = draft_event(folder_with(tmp_path / "race", passings_csv="Tag;Line;First\n" + rows))
    assert 'date_order = "dmy"  # CHECK: or "mdy"' in toml


def test_merged_data(tmp_path: Path) -> None:
    rows = "".join(
        f"{100 + i},{place},{hour}:0{i}:00\n"
        for i in range(9)
        for place, hour in (("Start", "09"), ("Half", "10"), ("Finish", "11"))
    )
    entries = "Bib,Tag,Wave\n" + "".join(f"{100 + i},T{i},Red\n" for i in range(9))
    event, intake, toml = drafted(
        folder_with(tmp_path / "marathon", entries, times_csv="Bib,Place,Time\n" + rows)
    )
    assert event.inputs[0].level is Level.MERGED
    assert [(v.point, v.at_m) for v in event.courses[0].visits] == [
        ("start", 0),
        ("half", 21097.5),
        ("finish", 42195),
    ]
    assert 'times = "clock"  # CHECK: or "elapsed"' in toml
    assert event.waves[0].id == "red"
    assert intake.entries["wave"].unique().to_list() == ["red"]
    assert "date = 2000-01-01  # CHECK: no export tells it" in toml


def test_a_wide_results_table(tmp_path: Path) -> None:
    rows = "".join(f"{i};F;{20 + i};-;0:2{i % 10}:00;{i % 3 + 1}:00:00\n" for i in range(1, 30))
    text = "Results of the day\n\nBib;Sex;Age;Start;5K;Finish\n" + rows
    event, intake, toml = drafted(folder_with(tmp_path / "town-10-km", results_csv=text))
    assert event.inputs[0].level is Level.WIDE
    assert event.inputs[0].point_names == {"5K": "km5", "Finish": "finish"}
    assert [(v.point, v.at_m) for v in event.courses[0].visits] == [("km5", 5000), ("finish", 10000)]
    assert 'times = "elapsed"  # CHECK' in toml
    assert intake.passings.height == 58
    assert intake.entries["sex"].unique().to_list() == ["f"]


def test_open_reader_protocol_fields(tmp_path: Path) -> None:
    rows = "".join(f"E{i % 5},{i % 4 + 1},-60,{1779006600_000000 + i * 1000}\n" for i in range(60))
    event, intake, toml = drafted(
        folder_with(tmp_path / "race", finish_csv="EPC-96,AntennaID,PeakRSSI,FirstSeenTimestampUTC\n" + rows)
    )
    assert event.inputs[0].layout.columns["time"] == "FirstSeenTimestampUTC"
    assert intake.reads.collect()["time"].min() == dt.datetime(2026, 5, 17, 8, 30, tzinfo=dt.UTC)
    assert event.date == dt.date(2026, 5, 17)
    assert "# CHECK" in toml


def test_files_that_are_no_tables_are_named_and_left_out(tmp_path: Path) -> None:
    text = read_rows([("Start", 0), ("Finish", 20)])
    folder = folder_with(
        tmp_path / "race", reads_csv=text, notes_txt="Rain from ten o'clock.\n", empty_csv=""
    )
    toml = draft_event(folder)
    assert "# Not understood and left out: exports/empty.csv: the file is empty" in toml
    assert (
        "# Not understood and left out: exports/notes.txt: no column of times and runners is recognised"
        in toml
    )


def test_words_with_quotation_marks_and_backslashes(tmp_path: Path) -> None:
    text = read_rows([('"Start ""A"" \\ Ü"', 0), ("Finish = #1", 20)])
    event, intake, _ = drafted(folder_with(tmp_path / "race", reads_csv=text))
    assert set(event.inputs[0].line_names) == {'Start "A" \\ Ü', "Finish = #1"}
    assert not intake.rejects.height


def test_two_courses_of_the_start_list(tmp_path: Path) -> None:
    entries = "Bib,Tag,Race\n" + "".join(f"{i},T{i:03},{'5 km' if i % 2 else '10 km'}\n" for i in range(30))
    event, intake, toml = drafted(
        folder_with(tmp_path / "race", entries, reads_csv=read_rows([("Start", 0), ("Finish", 20)]))
    )
    assert [course.id for course in event.courses] == ["10-km", "5-km"]
    assert intake.entries["course"].n_unique() == 2
    assert "leave out the points that this course does not pass" in toml


def test_a_draft_never_overwrites(tmp_path: Path) -> None:
    folder = folder_with(tmp_path / "race", reads_csv=read_rows([("Start", 0), ("Finish", 20)]))
    (folder / "event.toml").write_text("mine")
    with pytest.raises(
        OutputError, match=r"event\.toml: the folder has an event\.toml already; move it away"
    ):
        write_draft(folder)
    assert (folder / "event.toml").read_text() == "mine"


def test_folders_without_anything_to_draft_from(tmp_path: Path) -> None:
    with pytest.raises(EventError, match='there is no folder "nowhere"'):
        draft_event(tmp_path / "nowhere")
    with pytest.raises(InputError, match="holds no export; put the files of the day into it"):
        draft_event(tmp_path)
    with pytest.raises(InputError, match='no export in "exports" can be made out'):
        draft_event(folder_with(tmp_path / "race", notes_txt="Rain.\n"))


@pytest.mark.parametrize(
    ("words", "metres"),
    [("5K", 5000), ("10 km", 10000), ("12.5km split", 12500), ("3 miles", 4828.0), ("800 m", 800), ("km 15", 15000),
     ("Half", 21097.5), ("half marathon", 21097.5), ("Marathon", 42195), ("Mill", None), ("reader 5", None), ("T10kg", None)],
)  # fmt: skip
def test_distances_in_names(words: str, metres: float | None) -> None:
    # 1 mile = 1609.344 m (international yard and pound agreement, 1959); road distances: World Athletics rules.
    assert distance_m(words) == metres


def test_roles_in_names() -> None:
    lines = to_lines(
        [[w] for w in ("Finish Backup", "Finish Main", "mill 1", "mill 1 backup", "Turn backup")], {}
    )
    assert [(line.words[0], line.point, line.role, line.certain) for line in lines] == [
        ("Finish Main", "finish", Role.MAIN, True),
        ("Finish Backup", "finish", Role.BACKUP, True),
        ("mill 1", "mill-1", Role.MAIN, False),
        ("mill 1 backup", "mill-1", Role.BACKUP, True),
        ("Turn backup", "turn", Role.MAIN, True),  # alone, so it can only be main
    ]
    assert place_id(place_name("10K split")) == "km10"


@pytest.mark.parametrize(
    ("header", "drafted"),
    [
        ("Startnummer;Nachname;Geschlecht;Wettbewerb", ['bib = "Startnummer"', 'sex = "Geschlecht"']),
        ("Bib #;Runner;M/F;Bib Tag", ['bib = "Bib #"', 'sex = "M/F"', 'tag = "Bib Tag"']),
    ],
)
def test_start_lists_in_other_words(header: str, drafted: list[str], tmp_path: Path) -> None:
    rows = [f"{i};Name {i % 7};{'F' if i % 2 else 'M'};AB{i:04d}" for i in range(1, 40)]
    (tmp_path / "entries.csv").write_text("\n".join([header, *rows]) + "\n")
    exports = tmp_path / "exports"
    exports.mkdir()
    times = [f"AB{i:04d},2026-05-17T09:{i:02d}:00Z,finish main" for i in range(1, 40)]
    (exports / "finish.csv").write_text("\n".join(["Tag,Time,Line", *times]) + "\n")
    text = draft_event(tmp_path)
    for line in drafted:
        assert line in text
    # Two people may have one name: a column of names never identifies a runner.
    assert "runner =" not in text
