"""Why they were missed, as a reader sees it: the table adds up, each finding is a paragraph, no runner is named."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace
from typing import Any

import polars as pl
from small_event import at, small_event

from lineproof.event_report import cause_page, cause_words, shown
from lineproof.event_report.timeline_chart import TIMELINE_ROWS, draw_timeline
from lineproof.setup_tables import CLOCK_FAULTS, DIAGNOSIS, MISSES
from lineproof.tables import PROOFS
from lineproof.vocabulary import Cause


def finding(number: int, cause: Cause, **words: object) -> dict[str, object]:
    return {
        "event": "small",
        "finding": number,
        "cause": cause.value,
        "point": "mill",
        "line": "mill-main",
        "tried": 40,
        "missed": 4,
        "usual": 0.4,
        "explained": 2,
        "chance": 1e-6,
        "false_share": 1e-4,
        "detail": "mill, main line: consistent with something; 4 of 40 were missed.",
        **words,
    }


def miss(runner: str, cause: Cause | None, both: bool = False) -> dict[str, object]:
    row = {
        "point": "mill",
        "line": "mill-main",
        "role": "main",
        "runner": runner,
        "course": "road",
        "wave": "A",
    }
    return {**row, "order": 1, "about": at("09:30:00"), "both": both, "cause": cause.value if cause else None}


def review(
    findings: list[dict[str, object]], misses: list[dict[str, object]], clocks: list[dict[str, object]]
) -> Any:
    crossed = [
        {
            "runner": str(i),
            "course": "road",
            "wave": "A",
            "point": "mill",
            "order": 1,
            "visit": 1,
            "at_m": 5000.0,
            "proof": "seen",
            "seen_later": True,
            "about": at("09:20:00") + dt.timedelta(minutes=i),
        }
        for i in range(60)
    ]
    return SimpleNamespace(
        event=small_event(),
        diagnosis=DIAGNOSIS.shape_rows(findings),
        misses=MISSES.shape_rows(misses),
        clock_faults=CLOCK_FAULTS.shape_rows(clocks),
        proofs=PROOFS.shape_rows(crossed),
    )


WEAK = finding(
    1,
    Cause.WEAK_ANTENNA,
    antenna=3,
    slot=3,
    items="mat M17, cable C04, reader R02",
    agree="hand test of slot 3 reached only 110 cm; 150 cm is asked for",
    missing="walk test",
)
SILENT = finding(2, Cause.INTERRUPTION, begin=at("09:30:00"), end=at("09:40:00"), explained=1)
MISSED = [
    miss("a", Cause.WEAK_ANTENNA),
    miss("b", Cause.WEAK_ANTENNA),
    miss("c", Cause.INTERRUPTION, True),
    miss("d", None),
]


def test_the_rows_add_up_to_all_misses_with_the_rest_last() -> None:
    rows = shown.to_cause_rows(review([WEAK, SILENT], MISSED, []))
    assert rows.select("cause", "misses", "both", "findings").rows() == [
        ("weak antenna", 2, 0, 1),
        ("silent window", 1, 1, 1),
        ("unexplained", 1, 0, 0),
    ]
    page = cause_page.cause_table(review([WEAK, SILENT], MISSED, [])).html
    assert "All misses" in page
    assert "Unexplained" in page


def test_a_finding_says_where_what_shows_it_what_it_may_be_and_what_to_do() -> None:
    found = review([WEAK, SILENT], MISSED, [])
    first, second = cause_words.say_findings(found)
    assert first.heading == (
        "1. mill, main, mat 3 from the near side (mat M17, cable C04, reader R02): weak antenna"
    )
    said = dict(first.parts)
    assert said["What shows it"] == "4 of 40 were missed."
    assert said["Consistent with"].startswith("A mat that answers for fewer runners")
    assert said["The set-up record agrees"].startswith("Hand test of slot 3 reached only 110 cm")
    assert said["Not recorded, and would tell"] == "Walk test."
    assert said["What to do"].startswith("Repeat the hand test")
    assert second.heading.endswith("from 09:30 to 09:40: silent window")
    assert "competent person" in dict(second.parts)["What to do"]
    page = cause_page.finding_list(found).html
    assert page.count("<h4>") == 2
    assert "<dt>What to do</dt><dd>Repeat the hand test" in page


def test_every_cause_has_its_words() -> None:
    assert set(cause_words.MEANS) == set(cause_words.TO_DO) == {cause.value for cause in Cause}


def test_without_misses_or_patterns_one_sentence_says_so() -> None:
    assert cause_words.say_causes(review([], [], [])) == [
        "No line missed a runner who is known to have been there."
    ]
    none = cause_words.say_causes(review([], [miss("a", None)], []))
    assert "No pattern" in none[1]
    assert "No finding" in cause_page.timeline_chart(review([], [], [])).html


def test_the_timeline_has_the_line_and_the_window() -> None:
    rows = shown.to_timeline_rows(review([WEAK, SILENT], MISSED, []))
    TIMELINE_ROWS.check(rows)
    assert rows.select("label", "what", "finding").rows() == [
        ("mill, main", "runners came by", 0),
        ("mill, main", "weak antenna", 1),
        ("mill, main", "silent window", 2),
    ]
    window = rows.filter(finding=2).row(0, named=True)
    assert (window["begin"].strftime("%H:%M"), window["end"].strftime("%H:%M")) == ("09:30", "09:40")
    chart = draw_timeline(rows, "3 of 4 misses fit a pattern").to_dict()
    assert "Grey: from the first to the last runner" in chart["usermeta"]["caption"]


def clock(**words: object) -> dict[str, object]:
    row = {"event": "small", "point": "mill", "line": "mill-main", "pairs": 90, "accepted": False}
    return {**row, "looks_like": "sound", "method": "by hand", **words}


def test_a_wrong_clock_says_what_to_write_to_accept_the_correction() -> None:
    zone = clock(
        looks_like="zone", offset_us=-3_600_020_000, offset_se_us=140_000, correction_us=3_600_000_000
    )
    (sentence,) = cause_words.say_clocks(review([], [], [zone]))
    assert "3,600.02 s behind, give or take 0.28 s" in sentence
    assert "key clock/mill-main" in sentence
    assert "the time +3600." in sentence
    assert "+3,600 s, proposed" in cause_page.clock_table(review([], [], [zone])).html
    assert cause_words.say_clocks(review([], [], [clock()])) == ["No clock is shown to be wrong."]


def test_two_lines_that_share_a_reason_share_a_sentence() -> None:
    torn = [
        clock(line=line, looks_like="cannot tell", reason="the clocks differ by 3 s")
        for line in ("mill-main", "mill-backup")
    ]
    assert cause_words.say_clocks(review([], [], torn)) == [
        "mill, main; mill, backup: the clocks differ by 3 s."
    ]
    assert isinstance(shown.to_clock_rows(review([], [], torn)), pl.DataFrame)


def test_where_no_line_tells_its_clock_they_are_not_listed() -> None:
    torn = [clock(line=line, looks_like="cannot tell", reason="it read nobody") for line in ("a", "b", "c")]
    assert cause_words.say_clocks(review([], [], torn)) == [
        "No clock can be judged. Of each line: it read nobody."
    ]
