"""The demo season as committed: it can be made again, every event loads, every planted fault is in the exports."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import openpyxl
import polars as pl
import pytest
import python_calamine
from hypothesis import given, settings
from hypothesis import strategies as st

from lineproof.event import load_event
from lineproof.simulate import FaultKind, write_season
from lineproof.simulate.workbook import write_workbook
from lineproof.vocabulary import Level

DEMO = Path(__file__).parents[2] / "demo_data"
EVENTS = sorted(path.parent.name for path in DEMO.glob("*/event.toml"))
AGAIN = ("03-weir-10-mile", "05-three-laps", "07-kestrin-marathon")
ZONE = ZoneInfo("Europe/London")


def truth_of(event: str) -> dict[str, Any]:
    return json.loads((DEMO / "truth" / f"{event}.json").read_text(encoding="utf-8"))  # type: ignore[no-any-return]


def faults_of(event: str, kind: FaultKind) -> list[dict[str, Any]]:
    found = [fault for fault in truth_of(event)["faults"] if fault["kind"] == kind.value]
    assert found, f"{event} has no {kind.value}"
    return found


def instant(text: str) -> dt.datetime:
    return dt.datetime.fromisoformat(text)


def sheet_of(path: Path) -> list[list[Any]]:
    book = python_calamine.load_workbook(str(path))
    return book.get_sheet_by_index(0).to_python(skip_empty_area=False)


def sheets_of(path: Path) -> dict[str, list[list[Any]]]:
    book = python_calamine.load_workbook(str(path))
    return {name: book.get_sheet_by_name(name).to_python(skip_empty_area=False) for name in book.sheet_names}


def passings(event: str) -> pl.DataFrame:
    """Passings exported as text, by tag and reader, with instants."""
    if event == "02-quillbeck-10k":
        frame = pl.read_csv(DEMO / event / "exports/passings.csv", separator=";", infer_schema=False)
        frame = frame.select(
            pl.col("Tag").alias("tag"), pl.col("Reader").alias("reader"), "First read", "Last read"
        )
        layout, first, last = "%Y-%m-%d %H:%M:%S%.3f", "First read", "Last read"
    else:
        frame = pl.read_csv(DEMO / event / "exports/passings.tsv", separator="\t", infer_schema=False)
        layout, first, last = "%d/%m/%Y %H:%M:%S%.3f", "first", "last"

    def time(name: str) -> pl.Expr:
        text = pl.col(name).str.replace(",", ".", literal=True)
        local = text.str.to_datetime(layout, time_unit="us").dt.replace_time_zone("Europe/London")
        return local.dt.convert_time_zone("UTC")

    return frame.select("tag", "reader", time(first).alias("first"), time(last).alias("last"))


def reader_of(event: str, line: str) -> str:
    given_names = load_event(DEMO / event).inputs[0].line_names
    return next(word for word, ours in given_names.items() if ours == line)


def listed_tags(event: str) -> set[str]:
    laid = load_event(DEMO / event).entries
    assert laid is not None
    text = (DEMO / event / laid.files).read_text(encoding="utf-8")
    return {cell for row in text.splitlines() for cell in row.replace(";", ",").replace("\t", ",").split(",")}


def test_the_season_is_small_enough_for_git_and_large_enough_to_learn_from() -> None:
    files = [path for path in DEMO.rglob("*") if path.is_file() and "review" not in path.parts]
    assert sum(path.stat().st_size for path in files) < 12 * 1024 * 1024
    assert len(EVENTS) >= 8
    entries = [truth_of(event)["entries"] for event in EVENTS]
    assert min(entries) >= 300
    assert max(entries) <= 6000
    assert max(entries) > 5000


@pytest.mark.parametrize("event", EVENTS)
def test_every_event_description_loads(event: str) -> None:
    found = load_event(DEMO / event)
    assert found.id == event
    assert found.entries is not None
    assert 3 <= len(found.points) <= 8
    for given_input in found.inputs:
        assert list((DEMO / event).glob(given_input.layout.files)), given_input.layout.files


def test_all_levels_and_layouts_are_there() -> None:
    inputs = [given_input for event in EVENTS for given_input in load_event(DEMO / event).inputs]
    assert {given_input.level for given_input in inputs} == set(Level)
    assert {Path(i.layout.files).suffix for i in inputs} == {".csv", ".tsv", ".parquet", ".xlsx"}
    assert {i.layout.times for i in inputs} >= {"auto", "clock", "elapsed", "epoch_us", "epoch_ms"}
    assert any(i.layout.decimal == "," for i in inputs)
    courses = [course for event in EVENTS for course in load_event(DEMO / event).courses]
    assert min(c.distance_m for c in courses) == 5000
    assert max(c.distance_m for c in courses) == 42_195
    assert any(visit.visit == 3 for course in courses for visit in course.visits)


def test_one_event_runs_through_the_hour_that_comes_twice() -> None:
    """Clocks in the United Kingdom go back at 01:00 UTC on the last Sunday in October (IANA time zone database)."""
    crossings = pl.read_parquet(DEMO / "truth/09-long-night.parquet")
    back = dt.datetime(2026, 10, 25, 1, 0, tzinfo=dt.UTC)
    hour = dt.timedelta(hours=1)
    assert crossings.filter(pl.col("time").is_between(back - hour, back)).height > 50
    assert crossings.filter(pl.col("time").is_between(back, back + hour)).height > 50


def test_three_events_or_more_are_clean() -> None:
    clean = [event for event in EVENTS if truth_of(event)["clean"]]
    assert len(clean) >= 3
    assert all(truth_of(event)["faults"] == [] for event in clean)
    assert all(truth_of(event)["faults"] for event in EVENTS if event not in clean)


def test_every_fault_that_a_check_looks_for_is_planted_somewhere() -> None:
    planted = {fault["kind"] for event in EVENTS for fault in truth_of(event)["faults"]}
    elsewhere = {FaultKind.PRACTICE_ROLE, FaultKind.ROAD_WIDER}  # faults of the set-up, not of merged data
    assert planted >= {kind.value for kind in FaultKind if kind not in elsewhere}


def test_equipment_moves_between_slots() -> None:
    laid = pl.read_csv(DEMO / "truth/equipment.csv")
    assert laid["mat"].n_unique() >= 30
    assert laid["reader"].n_unique() >= 8
    places = laid.group_by("reader").agg(pl.concat_str("event", "line").n_unique())
    assert (places["event"] >= 3).all()
    assert not laid.select("event", "mat").is_duplicated().any()
    assert not laid.select("event", "cable").is_duplicated().any()


def test_typical_points_miss_what_open_results_show() -> None:
    """Good points of open marathons miss 0.5 to 3 runners in 1,000, single lines 2 to 20 (result tables of 2002 and 2014)."""
    dry = [event for event in EVENTS if event not in ("03-weir-10-mile", "06-fennick-skyline")]
    rates = pl.concat(
        [pl.DataFrame(truth_of(event)["rates"], infer_schema_length=None) for event in dry], how="diagonal"
    )
    lines = rates.filter(pl.col("level") == "line", pl.col("crossed") > 800)
    assert 0.98 < float(lines["rate"].median()) < 0.997  # type: ignore[arg-type]
    main = lines.filter(pl.col("line").str.ends_with("backup"))["point"]
    double = rates.filter(pl.col("level") == "point", pl.col("point").is_in(main.implode()))
    missed = 1 - double["read"].sum() / double["crossed"].sum()
    assert 0.0003 < missed < 0.004


def test_the_season_can_be_made_again(tmp_path: Path) -> None:
    write_season(tmp_path, only=AGAIN)
    made = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert len(made) > 15
    for path in made:
        committed = DEMO / path.relative_to(tmp_path)
        if path.suffix == ".parquet":
            assert pl.read_parquet(path).equals(pl.read_parquet(committed)), path.name
        elif path.suffix == ".xlsx":
            assert sheets_of(path) == sheets_of(committed), path.name
        else:
            assert path.read_text(encoding="utf-8") == committed.read_text(encoding="utf-8"), path.name


def test_another_seed_makes_another_season(tmp_path: Path) -> None:
    write_season(tmp_path, seed=1, only=("01-lantern-5k",))
    other = tmp_path / "01-lantern-5k/exports/reads.csv"
    assert other.read_bytes() != (DEMO / "01-lantern-5k/exports/reads.csv").read_bytes()


def test_no_truth_lies_in_an_event_folder() -> None:
    allowed = {
        "event.toml",
        "exports",
        "review",
        "pseudonyms.key",
        "decisions.csv",
        "setup.xlsx",
        "setup.csv",
    }
    for event in EVENTS:
        names = {path.name for path in (DEMO / event).iterdir()}
        assert {name for name in names if not name.startswith("entries.")} <= allowed


TEXT_DUPLICATES = [("02-quillbeck-10k", 14), ("04-valley-half", 10), ("06-fennick-skyline", 5)]


@pytest.mark.parametrize(("event", "count"), TEXT_DUPLICATES)
def test_duplicated_rows_repeat_the_row_above(event: str, count: int) -> None:
    faults = faults_of(event, FaultKind.DUPLICATE_ROWS)
    assert len(faults) == count
    for fault in faults:
        rows = (DEMO / event / fault["file"]).read_text(encoding="utf-8").splitlines()
        assert rows[fault["row"] - 1] == rows[fault["row"] - 2]
        assert fault.get("tag", fault.get("runner")) in rows[fault["row"] - 1]


def test_duplicated_reads_repeat_the_read_above() -> None:
    reads = pl.read_parquet(DEMO / "03-weir-10-mile/exports/tag_reports.parquet")
    faults = faults_of("03-weir-10-mile", FaultKind.DUPLICATE_ROWS)
    assert len(faults) == 20
    assert all(reads.row(f["row"] - 2) == reads.row(f["row"] - 3) for f in faults)
    assert reads.is_duplicated().sum() == 40


def test_filled_starts_stand_at_the_gun() -> None:
    event = "07-kestrin-marathon"
    rows = sheet_of(DEMO / event / "exports/results.xlsx")
    start, wave = rows[2].index("Start"), rows[2].index("Wave")
    guns = {w.id: w.gun for w in load_event(DEMO / event).waves}
    faults = faults_of(event, FaultKind.FILLED_START)
    assert len(faults) >= 20
    assert sum(fault["value"] > 60 for fault in faults) >= 20
    for fault in faults:
        row = rows[fault["row"] - 1]
        gun = guns[row[wave]]
        assert row[0] == fault["runner"]
        assert gun is not None
        assert row[start] == gun.astimezone(ZONE).time()


def test_typed_in_times_lie_behind_the_next_point_s() -> None:
    rows = sheet_of(DEMO / "07-kestrin-marathon/exports/results.xlsx")
    for fault in faults_of("07-kestrin-marathon", FaultKind.OUT_OF_ORDER):
        row, column = rows[fault["row"] - 1], rows[2].index(fault["column"])
        assert row[0] == fault["runner"]
        assert row[column] > row[column + 1]
    times = [line.split(",") for line in (DEMO / "04-valley-half/exports/times.csv").read_text().splitlines()]
    for fault in faults_of("04-valley-half", FaultKind.OUT_OF_ORDER):
        bib, place, clock = times[fault["row"] - 1][:3]
        assert (bib, place) == (fault["runner"], "10K")
        assert clock > next(row[2] for row in times if row[:2] == [bib, "15K"])


@pytest.mark.parametrize("event", ["04-valley-half", "07-kestrin-marathon"])
def test_sentinels_stand_where_the_truth_says(event: str) -> None:
    faults = faults_of(event, FaultKind.SENTINEL)
    assert {fault["detail"] for fault in faults} == {"1970-01-01 00:00:00", "00:00:00", "9999"}
    for fault in faults:
        path = DEMO / event / fault["file"]
        if path.suffix == ".xlsx":
            rows = sheet_of(path)
            head = rows[2]
        else:
            rows = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines()]
            head = rows[0]
        row = rows[fault["row"] - 1]
        assert row[0] == fault["runner"]
        assert str(row[head.index(fault["column"])]) == fault["detail"]


def test_a_false_start_leads_the_gun_in_the_exports() -> None:
    """Net is then longer than gun."""
    rows = {row[0]: row for row in sheet_of(DEMO / "07-kestrin-marathon/exports/results.xlsx")}
    guns = {w.id: w.gun for w in load_event(DEMO / "07-kestrin-marathon").waves}
    for fault in faults_of("07-kestrin-marathon", FaultKind.FALSE_START):
        row = rows[fault["runner"]]
        gun = guns[row[1]]
        assert gun is not None
        lead = dt.timedelta(seconds=float(fault["value"]))
        assert row[5] < gun.astimezone(ZONE).time()
        assert row[5] > (gun.astimezone(ZONE) - lead - dt.timedelta(seconds=1)).time()


@pytest.mark.parametrize("event", ["04-valley-half", "07-kestrin-marathon"])
def test_cuts_and_cars_are_faster_than_anybody_runs(event: str) -> None:
    crossings = pl.read_parquet(DEMO / f"truth/{event}.parquet").filter("crossed").sort("runner", "order")
    pace = crossings.with_columns(
        (
            pl.col("time").diff().over("runner").dt.total_microseconds()
            / pl.col("at_m").diff().over("runner")
        ).alias("us_per_m")
    )
    for kind, limit in ((FaultKind.COURSE_CUT, 121_000), (FaultKind.IMPOSSIBLE_PACE, 84_000)):
        for fault in faults_of(event, kind):
            mine = pace.filter(pl.col("runner") == fault["runner"])
            assert mine["us_per_m"].min() < limit  # type: ignore[operator]


def test_tags_on_one_person_pass_every_reader_together() -> None:
    exported = passings("02-quillbeck-10k")
    for fault in faults_of("02-quillbeck-10k", FaultKind.TOGETHER):
        one, two = (
            exported.filter(pl.col("tag") == fault[key]).group_by("reader").agg(pl.col("first").max())
            for key in ("tag", "other_tag")
        )
        both = one.join(two, on="reader")
        assert both.height >= 6
        assert both.select((pl.col("first") - pl.col("first_right")).abs().max()).item().total_seconds() < 1


@pytest.mark.parametrize(
    ("event", "kind"),
    [
        ("02-quillbeck-10k", FaultKind.STANDING),
        ("02-quillbeck-10k", FaultKind.VOLUNTEER),
        ("06-fennick-skyline", FaultKind.STANDING),
    ],
)
def test_a_standing_tag_has_one_long_passing(event: str, kind: FaultKind) -> None:
    exported = passings(event).with_columns(length=pl.col("last") - pl.col("first"))
    for fault in faults_of(event, kind):
        here = (pl.col("tag") == fault["tag"]) & (pl.col("reader") == reader_of(event, fault["line"]))
        longest = exported.filter(here)["length"].max()
        assert longest.total_seconds() > 0.9 * fault["value"]  # type: ignore[union-attr]


@pytest.mark.parametrize("event", ["02-quillbeck-10k", "06-fennick-skyline"])
def test_a_tag_that_comes_back_has_two_passings_within_a_minute(event: str) -> None:
    exported = passings(event)
    for fault in faults_of(event, FaultKind.TOO_CLOSE):
        here = (pl.col("tag") == fault["tag"]) & (pl.col("reader") == reader_of(event, fault["line"]))
        gaps = exported.filter(here).sort("first")["first"].diff().drop_nulls().dt.total_seconds()
        assert gaps.is_between(10, 60).any()


@pytest.mark.parametrize("event", ["02-quillbeck-10k", "06-fennick-skyline"])
def test_unknown_tags_are_in_the_exports_and_on_no_list(event: str) -> None:
    exported = passings(event)
    for fault in faults_of(event, FaultKind.UNKNOWN_TAG):
        assert exported.filter(pl.col("tag") == fault["tag"]).height >= 6
        assert fault["tag"] not in listed_tags(event)


@pytest.mark.parametrize(
    ("event", "line", "sibling"),
    [("02-quillbeck-10k", "bridge-main", "bridge-backup"), ("06-fennick-skyline", "hut-main", None)],
)
def test_a_line_an_hour_behind_is_an_hour_behind(event: str, line: str, sibling: str | None) -> None:
    (fault,) = faults_of(event, FaultKind.LINE_CLOCK)
    assert (fault["line"], round(fault["value"])) == (line, -3600)
    exported = passings(event)

    def at(name: str) -> pl.DataFrame:
        here = exported.filter(pl.col("reader") == reader_of(event, name))
        return here.group_by("tag").agg(pl.col("first").min())

    if sibling is None:
        crossings = pl.read_parquet(DEMO / f"truth/{event}.parquet").filter(pl.col("point") == "hut")
        path = (DEMO / event / "entries.csv").read_text(encoding="utf-8").splitlines()
        bibs = pl.DataFrame([row.split(",")[:2] for row in path[1:]], schema=["runner", "tag"], orient="row")
        other = bibs.join(crossings, on="runner").select("tag", pl.col("time").alias("first"))
    else:
        other = at(sibling)
    delay = at(line).join(other, on="tag").select((pl.col("first") - pl.col("first_right")).median()).item()
    assert delay.total_seconds() == pytest.approx(-3600, abs=2)


def test_reads_outside_the_event_are_in_the_exports() -> None:
    event = "03-weir-10-mile"
    reads = pl.read_parquet(DEMO / event / "exports/tag_reports.parquet")
    closes = load_event(DEMO / event).closes
    for kind in (FaultKind.BEFORE_EVENT, FaultKind.AFTER_EVENT):
        for fault in faults_of(event, kind):
            true_us = round(instant(fault["begin"]).timestamp() * 1e6)
            near = (pl.col("FirstSeenTimestampUTC") - true_us).abs() < 3_000_000
            assert reads.filter(near, pl.col("EPC-96") == fault["tag"]).height > 0
            if kind is FaultKind.AFTER_EVENT:
                assert instant(fault["begin"]) > closes


def test_tags_that_wake_late_or_die_leave_no_read_in_their_silence() -> None:
    crossings = pl.read_parquet(DEMO / "truth/03-weir-10-mile.parquet")
    for kind in (FaultKind.LATE_TAG, FaultKind.DYING_TAG):
        for fault in faults_of("03-weir-10-mile", kind):
            mine = crossings.filter(pl.col("runner") == fault["runner"])
            late = kind is FaultKind.LATE_TAG
            silent = mine.filter(
                pl.col("order") < fault["order"] if late else pl.col("order") >= fault["order"]
            )
            assert silent["crossed"].all()
            assert not (silent["read_main"] | silent["read_backup"]).any()


def test_a_silent_line_leaves_a_hole_in_its_own_reads_only() -> None:
    event = "03-weir-10-mile"
    reads = pl.read_parquet(DEMO / event / "exports/tag_reports.parquet")
    fault = next(f for f in faults_of(event, FaultKind.LINE_SILENT) if f["line"] == "orchard-main")
    window = [round(instant(fault[key]).timestamp() * 1e6) for key in ("begin", "end")]
    inside = reads.filter(
        pl.col("FirstSeenTimestampUTC").is_between(window[0] + 100_000, window[1] - 100_000)
    )
    counts = dict(inside.group_by("Reader").len().iter_rows())
    assert reader_of(event, "orchard-main") not in counts
    assert counts[reader_of(event, "orchard-backup")] > 500


cell = st.one_of(
    st.none(),
    st.integers(-(10**9), 10**9),
    st.text(st.characters(min_codepoint=32, exclude_categories=("C",)), min_size=1, max_size=12),
    st.integers(0, 86_399_999).map(
        lambda ms: (dt.datetime(2026, 1, 1, tzinfo=dt.UTC) + dt.timedelta(milliseconds=ms)).time()
    ),
)


@settings(deadline=None, max_examples=40)
@given(rows=st.lists(st.lists(cell, min_size=3, max_size=3), min_size=1, max_size=6))
def test_a_workbook_reads_back_as_written(
    rows: list[list[Any]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Read with openpyxl, an independent reader of ECMA-376 workbooks."""
    path = tmp_path_factory.mktemp("book") / "book.xlsx"
    write_workbook(path, "Sheet", rows)
    sheet = openpyxl.load_workbook(path)["Sheet"]
    for number, row in enumerate(rows, start=1):
        for column, value in enumerate(row, start=1):
            assert sheet.cell(number, column).value == value


def test_the_night_that_nobody_described_can_be_made_again(tmp_path: Path) -> None:
    write_season(tmp_path, only=("none",))
    made = tmp_path / "unfamiliar" / "owl-night"
    there = DEMO / "unfamiliar" / "owl-night"
    exports = sorted(path.relative_to(made) for path in made.rglob("*.csv"))
    assert len([path for path in exports if path.parent.name == "exports"]) == 12
    for path in exports:
        assert (there / path).read_bytes() == (made / path).read_bytes(), path
    assert truth_of("owl-night") == json.loads((tmp_path / "truth" / "owl-night.json").read_text("utf-8"))
    # Two hours of finishers stand under the same clock times: before and after the clocks went back.
    first, second = ((made / "exports" / f"Finish A part {n}.csv").read_text("utf-8") for n in (1, 2))
    assert "25.10.2026 01:1" in first
    assert "25.10.2026 01:1" in second
