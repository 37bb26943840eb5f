"""The reviewer's file: read strictly, applied to the analysis copy only, shown on the findings."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from lineproof.checks import run_checks
from lineproof.decisions import apply_decisions, load_decisions, mark_corrected, mark_decided
from lineproof.errors import EventError
from lineproof.event import Event
from lineproof.tables import APPLIED, DECISIONS
from unit.checked_event import clean_passings, material_of
from unit.small_event import small_event

KEY = "mill-main/t-A04/2026-05-17T09:30:33.000000Z"
HEADER = "key,decision,time,who,when,why"


def event_in(folder: Path, *rows: str, header: str = HEADER, zone: str = "Europe/Berlin") -> Event:
    folder.joinpath("decisions.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return replace(small_event(), folder=folder, zone=zone)


def problem_of(event: Event) -> str:
    with pytest.raises(EventError) as caught:
        load_decisions(event)
    return str(caught.value)


def test_no_file_is_no_decision(tmp_path: Path) -> None:
    assert_frame_equal(load_decisions(replace(small_event(), folder=tmp_path)), DECISIONS.empty())


@pytest.mark.parametrize("text", ["", "\n\n", HEADER + "\n", HEADER + "\n,,,,,\n"])
def test_an_empty_file_is_no_decision(tmp_path: Path, text: str) -> None:
    event = event_in(tmp_path)
    (tmp_path / "decisions.csv").write_text(text, encoding="utf-8")
    assert load_decisions(event).is_empty()


def test_rows_are_read_with_local_or_offset_times(tmp_path: Path) -> None:
    event = event_in(
        tmp_path,
        "a,keep,,jury,17 May,seen on camera",
        "b,VOID,,jury,17 May,second tag",
        "c,correct,11:30:00.5,jury,17 May,camera",
        "d,correct,2026-05-17T09:31:00Z,jury,17 May,camera",
        "e,correct,2026-05-17 11:32:00,jury,17 May,camera",
    )
    got = load_decisions(event)
    assert got["decision"].to_list() == ["keep", "void", "correct", "correct", "correct"]
    clock = [None if t is None else t.strftime("%H:%M:%S.%f") for t in got["time"]]
    assert clock == [None, None, "09:30:00.500000", "09:31:00.000000", "09:32:00.000000"]


def test_a_spreadsheet_may_save_it_its_own_way(tmp_path: Path) -> None:
    """Semicolons, a byte order mark, other column order, columns of the reviewer's own, a guarded key."""
    event = event_in(tmp_path)
    (tmp_path / "decisions.csv").write_text(
        "Why;Who;Key;Decision;When;Remark\ncamera;jury;'-m/t/x;keep;17 May;hello\n", encoding="utf-8-sig"
    )
    assert load_decisions(event).select("key", "why").rows() == [("-m/t/x", "camera")]


@pytest.mark.parametrize(
    ("row", "place", "words"),
    [
        (",keep,,jury,today,why", 'row 2, column "key"', "empty"),
        ("k,keep,,,today,why", 'row 2, column "who"', "empty"),
        ("k,keep,,jury,,why", 'row 2, column "when"', "empty"),
        ("k,keep,,jury,today,", 'row 2, column "why"', "empty"),
        ("k,viod,,jury,today,why", 'row 2, column "decision"', 'did you mean "void"?'),
        ("k,delete,,jury,today,why", 'row 2, column "decision"', "keep, void or correct"),
        ("k,correct,,jury,today,why", 'row 2, column "time"', "needs a time"),
        ("k,void,10:00:00,jury,today,why", 'row 2, column "time"', "takes no time"),
        ("k,correct,soon,jury,today,why", 'row 2, column "time"', '"soon" is no time'),
        ("k,correct,24:61:00,jury,today,why", 'row 2, column "time"', "is no time"),
        # Summer time of 2026 in Berlin: 29 March has no 02:30, 25 October has it twice.
        ("k,correct,2026-03-29T02:30:00,jury,today,why", 'row 2, column "time"', "clocks are changed"),
        ("k,correct,2026-10-25T02:30:00,jury,today,why", 'row 2, column "time"', "clocks are changed"),
        ("k,keep", "row 2", "2 cells"),
        ('k,"keep,,jury,today,why', "", "quotation mark"),
    ],
)
def test_a_bad_row_is_one_clear_sentence(tmp_path: Path, row: str, place: str, words: str) -> None:
    problem = problem_of(event_in(tmp_path, row))
    assert problem.startswith("decisions.csv")
    assert place in problem
    assert words in problem
    assert problem.endswith(".")
    assert "\n" not in problem


def test_rows_are_counted_as_a_spreadsheet_does(tmp_path: Path) -> None:
    problem = problem_of(event_in(tmp_path, "a,keep,,jury,today,why", "", "b,no,,jury,today,why"))
    assert 'row 4, column "decision"' in problem


def test_two_decisions_on_one_row_are_refused(tmp_path: Path) -> None:
    problem = problem_of(event_in(tmp_path, "a,keep,,jury,today,why", "a,void,,jury,today,why"))
    assert 'row 3, column "key"' in problem
    assert "row 2" in problem


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("key,decision,time,who,when", 'column "why"'),
        ("key,decison,time,who,when,why", 'did you mean "decison"?'),
        ("key,key,decision,time,who,when,why", "stands twice"),
    ],
)
def test_a_wrong_header_is_named(tmp_path: Path, header: str, words: str) -> None:
    assert words in problem_of(event_in(tmp_path, header=header))


def test_text_that_is_not_utf8(tmp_path: Path) -> None:
    event = event_in(tmp_path)
    (tmp_path / "decisions.csv").write_bytes(b"key,who\nx,\xff\n")
    assert "UTF-8" in problem_of(event)


def decided_on(*rows: dict[str, object]) -> pl.DataFrame:
    words = {"who": "jury", "when": "today", "why": "camera"}
    return DECISIONS.shape_rows([{**words, **row} for row in rows])


def test_void_leaves_out_of_the_copy_only() -> None:
    passings = clean_passings()
    before = passings.clone()
    decided = apply_decisions(passings, decided_on({"key": KEY, "decision": "void"}))
    assert_frame_equal(passings, before)
    gone = passings.join(decided.passings, on="passing", how="anti")
    assert gone.select("tag", "line").rows() == [("t-A04", "mill-main")]
    assert decided.passings.columns == passings.columns


def test_correct_moves_all_times_of_the_passing() -> None:
    time = dt.datetime(2026, 5, 17, 9, 31, tzinfo=dt.UTC)
    decided = apply_decisions(clean_passings(), decided_on({"key": KEY, "decision": "correct", "time": time}))
    moved = decided.passings.filter((pl.col("tag") == "t-A04") & (pl.col("line") == "mill-main"))
    assert moved.select("first", "strongest", "last").rows() == [(time, time, time)]
    changed = decided.passings.join(clean_passings(), on=["passing", "first", "last"], how="anti")
    assert changed.height == 1


def test_keep_changes_nothing() -> None:
    decided = apply_decisions(clean_passings(), decided_on({"key": KEY, "decision": "keep"}))
    assert_frame_equal(decided.passings, clean_passings())


def test_every_decision_is_reported_and_unknown_keys_are_not_silent() -> None:
    decided = apply_decisions(
        clean_passings(),
        decided_on({"key": KEY, "decision": "void"}, {"key": "mill-main/t-A99/x", "decision": "void"}),
    )
    APPLIED.check(decided.report)
    assert decided.report.select("key", "rows").rows() == [(KEY, 1), ("mill-main/t-A99/x", 0)]
    assert decided.report["remark"].to_list()[0] is None
    assert "no row of the data has this key" in decided.report["remark"].to_list()[1]


def test_findings_show_the_decision_on_their_row() -> None:
    again = clean_passings().filter((pl.col("tag") == "t-A04") & (pl.col("line") == "mill-main"))
    passings = pl.concat([clean_passings(), again]).drop("passing").with_row_index("passing")
    found = run_checks(material_of(passings))
    decided = apply_decisions(passings, decided_on({"key": KEY, "decision": "keep"}))
    assert mark_decided(found, decided).select("check", "key", "decided").rows() == [
        ("duplicate row", KEY, "keep")
    ]


def test_a_corrected_crossing_says_so_under_its_new_key() -> None:
    time = dt.datetime(2026, 5, 17, 9, 31, tzinfo=dt.UTC)
    decided = apply_decisions(clean_passings(), decided_on({"key": KEY, "decision": "correct", "time": time}))
    crossings = mark_corrected(material_of(decided.passings).crossings, decided)
    by_hand = crossings.filter(pl.col("time_source") == "corrected")
    assert by_hand.select("runner", "point", "time").rows() == [("A04", "mill", time)]
    assert by_hand["key"].to_list() == ["mill-main/t-A04/2026-05-17T09:31:00.000000Z"]
