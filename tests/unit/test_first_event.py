"""From files in layouts that nobody described to an event that can be reviewed, by ``lineproof new`` and its questions."""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys
from pathlib import Path

import pytest
from rich.console import Console

import unfamiliar_exports as exports
from event_folders import load
from lineproof.draft import Answers, draft_event, write_draft
from lineproof.draft.asking import read_clock, read_date, read_km, read_zone
from lineproof.draft.folder import look_around
from lineproof.draft.results import place_of
from lineproof.draft.showing import show_sightings
from lineproof.draft.words import plain, slug
from lineproof.draft.zones import guess_zone, is_zone, repeated_hour
from lineproof.errors import EventError, InputError
from lineproof.event import Event, load_event
from lineproof.vocabulary import Level, PointKind, Role
from terminal import talk

BERLIN = Answers(zone="Europe/Berlin")


class Person:
    """Answers by the beginning of a question, else with Enter; ``asked`` holds what was asked."""

    def __init__(self, **answers: str) -> None:
        self.answers = {plain(begin): answer for begin, answer in answers.items()}
        self.asked: list[str] = []

    def __call__(self, question: str, default: str) -> str:
        self.asked.append(question)
        fits = [answer for begin, answer in self.answers.items() if plain(question).startswith(begin)]
        return fits[0] if fits else default


def lines_of(event: Event) -> list[tuple[str, Role]]:
    return sorted((line.point, line.role) for line in event.lines)


def test_german_headers_a_column_of_readers_and_no_folder_exports(tmp_path: Path) -> None:
    folder = exports.german_merged(tmp_path / "talbachlauf")
    before = sorted(path.name for path in folder.iterdir())
    said: list[str] = []
    write_draft(folder, BERLIN, say=said.append)
    assert said == ['there is no folder "exports": the files are read where they lie, and stay there']
    assert sorted(path.name for path in folder.iterdir()) == sorted([*before, "event.toml"])
    event = load_event(folder)
    assert event.inputs[0].level is Level.MERGED
    assert event.inputs[0].layout.columns == {
        "bib": "Startnr.", "point": "Messpunkt", "line": "Gerät", "time": "Uhrzeit",
    }  # fmt: skip
    assert event.entries is not None
    assert event.entries.files == "Meldeliste 2026.csv"
    assert {point.id: (point.name, point.kind) for point in event.points} == {
        "start": ("Start", PointKind.START),
        "wende-sued": ("Wende Süd", PointKind.SPLIT),
        "finish": ("Ziel", PointKind.FINISH),
    }
    # Who ran where tells that the short course has no turn; the lengths stand in the names of the courses.
    assert {c.name: [(v.point, v.at_m) for v in c.visits] for c in event.courses} == {
        "Lauf 3 km": [("start", 0), ("finish", 3000)],
        "Lauf 6 km": [("start", 0), ("wende-sued", 3000), ("finish", 6000)],
    }
    intake = load(folder)
    assert intake.rejects.height == 0
    # 40 runners at three places and 20 at two; runner 7 was missed at the turn.
    assert intake.passings.height == 40 * 3 + 20 * 2 - 1
    assert intake.passings["first"].min() == dt.datetime(2026, 5, 10, 7, 30, 0, 100_000, tzinfo=dt.UTC)


def test_two_boxes_at_one_place_are_its_main_and_backup_line(tmp_path: Path) -> None:
    folder = exports.two_boxes(tmp_path / "hollin-5-km")
    write_draft(folder, BERLIN)
    event = load_event(folder)
    assert lines_of(event) == [("finish", Role.BACKUP), ("finish", Role.MAIN), ("start", Role.MAIN)]
    assert [(v.point, v.at_m) for v in event.courses[0].visits] == [("start", 0), ("finish", 5000)]
    assert event.entries is not None
    assert event.entries.columns == {"bib": "No.", "tag": "Transponder", "sex": "M/F"}
    intake = load(folder)
    assert intake.rejects.height == 0
    assert intake.reads.collect().group_by("line").len().sort("line").rows() == [
        ("finish-backup", 58 * 4), ("finish-main", 60 * 4), ("start-main", 60 * 4),
    ]  # fmt: skip
    assert intake.reads.select("strength").collect()["strength"].min() == -53.5


def test_boxes_whose_names_say_nothing_are_joined_by_the_runners_they_saw(tmp_path: Path) -> None:
    folder = exports.two_boxes(tmp_path / "race")
    for old, new in (("start", "K1"), ("finish box A", "K2"), ("finish box B", "K7")):
        (folder / "exports" / f"{old}.csv").rename(folder / "exports" / f"{new}.csv")
    person = Person(
        At_which_place_does_K1="Start", At_which_place_do_K2_and_K7="Ziel", Which_line="K7", Length="5"
    )
    write_draft(folder, BERLIN, ask=person)
    event = load_event(folder)
    assert lines_of(event) == [("finish", Role.BACKUP), ("finish", Role.MAIN), ("start", Role.MAIN)]
    assert {i.layout.files: i.line for i in event.inputs}["exports/K7.csv"] == "finish-main"
    assert "CHECK" not in (folder / "event.toml").read_text(encoding="utf-8").split("\n\n", 1)[1]


def test_a_results_sheet_with_titles_gun_and_net_times_and_laps(tmp_path: Path) -> None:
    folder = exports.wide_workbook(tmp_path / "hollin-water-10-km")
    text = draft_event(folder, Answers.of(None, "2026-05-10", "Europe/London"))
    (folder / "event.toml").write_text(text, encoding="utf-8")
    event = load_event(folder)
    assert event.inputs[0].level is Level.WIDE
    assert event.inputs[0].point_names == {"Lap 1": "lap#1", "Lap 2": "lap#2", "Gun time": "finish"}
    assert '# "Net time" is left out' in text
    assert event.inputs[0].layout.missing == ("retired",)
    visits = event.courses[0].visits
    assert [(v.point, v.visit) for v in visits] == [("lap", 1), ("lap", 2), ("finish", 1)]
    # True distances are 4, 8 and 10 km; those of the laps are guessed by time.
    assert [v.at_m for v in visits] == [pytest.approx(4000, rel=0.1), pytest.approx(8000, rel=0.1), 10_000]
    intake = load(folder)
    assert intake.rejects.height == 0
    assert intake.passings.height == 3 * 60 - 3  # two times of runner 9 and one of runner 12


def test_times_of_sections_and_net_times_alone(tmp_path: Path) -> None:
    rows = [
        f"{i},0:2{i % 10}:00,0:1{i % 10}:30,0:{3 + i % 10 * 2 // 10}{i * 2 % 10}:30" for i in range(1, 30)
    ]
    (tmp_path / "results.csv").write_text("Bib,Leg A,Leg B,Finish\n" + "\n".join(rows) + "\n")
    text = draft_event(tmp_path)
    assert '"Leg A" = ' not in text or '"Leg B" is left out: the times of a section' in text
    assert '"Leg B" = ' not in text
    assert place_of("Nettozeit") == "Finish"
    assert place_of("10 km gun") == "10 km"


def test_a_night_told_badly_goes_from_files_to_times_by_answers_alone(tmp_path: Path) -> None:
    folder = exports.long_night(tmp_path / "long night")
    person = Person(
        Zone="Europe/London", At_which_place_do_R07="Pinewood out", Length_of_the_course="36",
        Distance_from_the_start_to_Pinewood_out="7", Gun="22:00",
    )  # fmt: skip
    write_draft(folder, ask=person)
    assert len(person.asked) <= 20
    event = load_event(folder)
    assert event.first_gun == dt.datetime(2026, 10, 24, 21, tzinfo=dt.UTC)
    assert len(event.points) == 6
    assert len(event.lines) == 11
    described = load_event(exports.DEMO / "09-long-night")
    truth, intake = load_event_times(described.folder), load(folder)
    assert intake.rejects.height == 0
    # Every read and passing is the instant that the demo's own export states with its offset from UTC.
    assert sorted(intake.reads.collect()["time"].to_list()) == truth[0]
    assert sorted(intake.passings["first"].to_list()) == truth[1]


def load_event_times(folder: Path) -> tuple[list[dt.datetime], list[dt.datetime]]:
    import polars as pl

    reads = pl.read_parquet(folder / "exports" / "reads.parquet")["time_ms"]
    first = pl.read_csv(folder / "exports" / "checkpoints.csv")["First"]
    moments = first.str.to_datetime("%Y-%m-%dT%H:%M:%S%.3f%z", time_zone="UTC", time_unit="us")
    instants = pl.from_epoch(reads, time_unit="ms").cast(pl.Datetime("us")).dt.replace_time_zone("UTC")
    return sorted(instants.to_list()), sorted(moments.to_list())


def test_laps_are_visits_of_one_point_and_boxes_in_pairs(tmp_path: Path) -> None:
    import shutil

    source = exports.DEMO / "05-three-laps"
    shutil.copytree(source / "exports", tmp_path / "exports")
    shutil.copy(source / "entries.csv", tmp_path)
    write_draft(tmp_path, Answers.of(None, "2026-06-20", "Europe/London"))
    event, true = load_event(tmp_path), load_event(source)
    reader = {i.line: i.layout.files for i in true.inputs}
    drafted = {i.layout.files: event.line(i.line or "").point for i in event.inputs}
    # The same visits in the same order, each point under the name of one of its readers.
    names = {line.point: drafted[reader[line.id]] for line in true.lines}
    assert [(names[v.point], v.visit) for v in true.courses[0].visits] == [
        (v.point, v.visit) for v in event.courses[0].visits
    ]
    assert event.first_gun is not None
    assert event.first_gun.astimezone(dt.UTC).time() == dt.time(18, 0)


def test_what_was_understood_is_drawn_with_three_rows_of_each_column(tmp_path: Path) -> None:
    found = look_around(exports.german_merged(tmp_path / "race"))
    console = Console(width=120, record=True, file=open(os.devnull, "w"))  # noqa: SIM115, PTH123
    show_sightings([*found.exports, found.entries], console)  # type: ignore[list-item]
    text = console.export_text()
    drawn = " ".join(text.split())
    console.file.close()
    assert (
        "Zeiten.csv: merged times, one row for each runner and place, 159 rows, columns parted by semicolon"
        in drawn
    )
    assert "header in row 2, local times without offset" in drawn
    row = next(line for line in text.splitlines() if "Gerät" in line)
    assert row.count("G1") == 3
    assert "line" in row


def test_answers_that_cannot_be_read_are_asked_again(tmp_path: Path) -> None:
    folder = exports.two_boxes(tmp_path / "race")
    tries = iter(["Europe/Nowhere", "Europe/Berlin"])
    said: list[str] = []

    def ask(question: str, default: str) -> str:
        return next(tries) if question.startswith("Zone") else default

    write_draft(folder, ask=ask, say=said.append)
    assert said == ['the zone "Europe/Nowhere" is not known; write a name like Europe/London']
    assert load_event(folder).zone == "Europe/Berlin"


def test_readers_of_answers() -> None:
    assert [read_km(t) for t in ("10", "21,0975", "800 m", "5 km")] == [10_000, 21_097.5, 800, 5000]
    assert read_clock("9.30") == read_clock("09:30:00") == dt.time(9, 30)
    assert read_date("2026-05-17") == dt.date(2026, 5, 17)
    assert read_zone("Asia/Tokyo") == "Asia/Tokyo"
    for read, text in (
        (read_km, "ten"),
        (read_clock, "25:00"),
        (read_date, "17.5."),
        (read_zone, "CET/CEST"),
    ):
        with pytest.raises(ValueError, match="write"):
            read(text)


def test_flags_that_are_wrong_are_one_sentence() -> None:
    with pytest.raises(EventError, match=r'"17 May" is no date; write it as 2026-05-17'):
        Answers.of(None, "17 May", None)
    with pytest.raises(EventError, match='the zone "London" is not known'):
        Answers.of(None, None, "London")


def test_names_become_ids_without_losing_their_letters() -> None:
    assert slug("Wende Süd") == "wende-sued"
    assert slug("Côte d'Été") == "cote-d-ete"
    assert plain("Start-Nr.") == "start nr"


def test_the_zone_is_guessed_from_offsets(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "Europe/Madrid")
    summer, two = dt.date(2026, 7, 1), {dt.timedelta(hours=2)}
    assert guess_zone(two, summer) == "Europe/Madrid"  # the computer's own fits
    assert guess_zone({dt.timedelta(hours=-4)}, summer) == "America/New_York"
    assert guess_zone(set(), summer) == "Europe/Madrid"
    assert is_zone("Europe/Madrid")
    assert not is_zone("")


def test_the_hour_that_comes_twice() -> None:
    # In 2026 summer time ends in the European Union and in the United Kingdom on 25 October at 01:00 UTC
    # (Directive 2000/84/EC, articles 2 and 3; the Summer Time Order 2002).
    hour = repeated_hour("Europe/London", dt.date(2026, 10, 24))
    assert hour is not None
    assert [moment.isoformat() for moment in hour] == ["2026-10-25T01:00:00", "2026-10-25T02:00:00"]
    hour = repeated_hour("Europe/Berlin", dt.date(2026, 10, 25))
    assert hour is not None
    assert hour[0].isoformat() == "2026-10-25T02:00:00"
    assert repeated_hour("Europe/London", dt.date(2026, 5, 17)) is None
    assert repeated_hour("UTC", dt.date(2026, 10, 25)) is None


def test_an_empty_folder_exports(tmp_path: Path) -> None:
    (tmp_path / "exports").mkdir()
    with pytest.raises(InputError, match='the folder "exports" is empty; put the files of the day into it'):
        draft_event(tmp_path)


def test_a_second_start_list_is_said(tmp_path: Path) -> None:
    folder = exports.two_boxes(tmp_path / "race")
    (folder / "entries late.csv").write_text("No.,Transponder,M/F\n99,TB0099,F\n98,TB0098,M\n")
    said: list[str] = []
    draft_event(folder, BERLIN, say=said.append)
    assert said == ["left out: startlist.csv: a second start list; join the two into one file"]


@pytest.mark.skipif(sys.platform == "win32", reason="a pseudo-terminal is a thing of POSIX")
def test_on_a_terminal_the_command_asks_and_the_review_follows(tmp_path: Path) -> None:
    folder = exports.long_night(tmp_path / "long night")
    answers = {
        "Zone of": "Europe/London",
        "Length of": "36",
        "R07 and R14": "Pinewood",
        "main one at start": "R09",
    }
    spoken = talk([sys.executable, "-m", "lineproof", "new", str(folder)], answers)
    assert "Zone of the clocks at the event" in spoken
    assert "drafted:" in spoken
    text = (folder / "event.toml").read_text(encoding="utf-8")
    assert '{ point = "finish", at_m = 36000 }' in text
    assert 'id = "pinewood"' in text
    assert "# CHECK" not in text
    done = subprocess.run(
        [sys.executable, "-m", "lineproof", "review", str(folder)],
        capture_output=True, text=True, check=False, timeout=900,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert (folder / "review" / "review.html").stat().st_size > 100_000
    assert "could not be read" not in done.stderr
    assert "CHECK" not in done.stderr
