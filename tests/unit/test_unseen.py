"""Crossings that no line saw, as the review tells them: every course has its rows, and every silence its reason."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from lineproof import unseen
from lineproof.detection.course_model.refusal import NO_WITNESS
from lineproof.event import Course, Event
from lineproof.event_report import shown, unseen_words, verdict
from lineproof.event_report import tables as review_tables
from lineproof.tables import INTERRUPTIONS, PROOFS
from lineproof.unseen import NOT_FITTED, Unseen, estimate_unseen
from lineproof.unseen_tables import UNSEEN, WEAK_TAGS
from lineproof.vocabulary import Role
from sample_review import make_interruptions, make_review, make_unseen, make_weak_tags
from unit.small_event import at, entries, small_event, tags

STOPS = (("start", 0.0), ("mill", 3000.0), ("ford", 6000.0), ("inn", 8000.0), ("finish", 10000.0))
NB = "\u00a0"


def field(event: Event, seen: np.ndarray, lines: int = 2) -> pl.DataFrame:
    """PROOFS of runners who all crossed everywhere; ``seen`` (runner, visit, line) tells who read them."""
    visits = event.courses[0].visits
    rows = []
    for runner, record in enumerate(seen):
        either = record[:, :lines].any(axis=1)
        for visit in visits:
            here, later = bool(either[visit.order]), bool(either[visit.order + 1 :].any())
            rows.append(
                {
                    "runner": f"{runner:04d}", "course": "road", "wave": "A", "point": visit.point,
                    "order": visit.order, "visit": visit.visit, "at_m": visit.at_m, "seen_later": later,
                    "proof": "seen" if here else "proven" if later else "unproven",
                    "seen_main": bool(record[visit.order, 0]),
                    "seen_backup": bool(record[visit.order, 1]) if lines == 2 else None,
                    "time": at("09:30:00") if here else None, "about": at("09:30:00") if here or later else None,
                }
            )  # fmt: skip
    return PROOFS.shape_rows(rows)


def one_line(event: Event) -> Event:
    return replace(event, lines=tuple(line for line in event.lines if line.role is Role.MAIN))


def infer(event: Event, proofs: pl.DataFrame) -> Unseen:
    runners = proofs["runner"].unique().sort().to_list()
    held = tags(**{f"t{runner}": runner for runner in runners}) if runners else tags()
    return estimate_unseen(proofs, INTERRUPTIONS.empty(), entries(*runners), held, event)


@pytest.fixture(scope="module")
def answered() -> tuple[Unseen, np.ndarray, np.ndarray]:
    """1,500 runners, lines that read 98 % of good tags; twelve tags are read at one chance in two."""
    rng = np.random.default_rng(11)
    chance = np.full(1500, 0.98)
    chance[:12] = 0.5
    seen = rng.random((1500, 5, 2)) < chance[:, None, None]
    return infer(small_event(STOPS), field(small_event(STOPS), seen)), seen, chance


def test_an_answered_course_has_a_complete_row_for_every_visit(
    answered: tuple[Unseen, np.ndarray, np.ndarray],
) -> None:
    found, seen, _ = answered
    points = UNSEEN.check(found.points)
    assert points["order"].to_list() == [0, 1, 2, 3, 4]
    assert points["point"].to_list() == [name for name, _ in STOPS]
    assert points["reason"].null_count() == 5
    told = points.select("hidden", "hidden_low", "hidden_high", "lower_bound", "independence", "rate")
    assert sum(told.null_count().row(0)) == 0
    either = seen.any(axis=2)
    known = either[either.any(axis=1)]
    later = np.array([known[:, k + 1 :].any(axis=1) for k in range(5)])
    assert points["read"].to_list() == known.sum(axis=0).tolist()
    assert points["missed_seen_later"].to_list() == (~known.T & later).sum(axis=1).tolist()


def test_the_range_at_the_finish_holds_the_truth_that_independence_misses(
    answered: tuple[Unseen, np.ndarray, np.ndarray],
) -> None:
    found, seen, _ = answered
    finish = found.points.row(4, named=True)
    truth = int((~seen[:, 4].any(axis=1)).sum())
    assert finish["hidden_low"] <= truth <= finish["hidden_high"]
    assert finish["independence"] < truth
    assert finish["rate_low"] <= finish["read"] / 1500 <= finish["rate_high"]


def test_the_weak_tags_are_on_the_list_and_few_others(
    answered: tuple[Unseen, np.ndarray, np.ndarray],
) -> None:
    found, _, chance = answered
    held = WEAK_TAGS.check(found.tags)
    retire = held.filter(pl.col("retire"))
    weak = {f"t{i:04d}" for i in np.flatnonzero(chance < 0.9)}
    assert len(weak & set(retire["tag"])) >= 8  # of ten tries each, some weak ones were lucky
    assert len(set(retire["tag"]) - weak) <= 2
    assert held["retire"].to_list() == sorted(held["retire"], reverse=True)
    assert retire["weak"].to_list() == sorted(retire["weak"], reverse=True)


def test_one_line_everywhere_is_refused_at_the_finish_with_its_reason() -> None:
    event = one_line(small_event())
    seen = np.random.default_rng(3).random((300, 3, 2)) < 0.97
    points = infer(event, field(event, seen, lines=1)).points
    finish = points.row(2, named=True)
    assert "one line at the last point" in finish["reason"]
    assert [finish[name] for name in ("hidden", "hidden_low", "hidden_high", "rate")] == [None] * 4
    assert finish["read"] == int(seen[:, 2, 0].sum())


def test_merged_data_tell_nothing_of_the_finish() -> None:
    """A merged time from main says nothing of backup: stopped and missed look alike at the last point."""
    seen = np.random.default_rng(5).random((400, 3, 2)) < 0.95
    proofs = field(small_event(), seen).with_columns(
        seen_backup=pl.when("seen_main").then(None).otherwise("seen_backup")
    )
    points = infer(small_event(), proofs).points
    assert points["reason"].to_list() == [None, None, NO_WITNESS]
    assert points["hidden"].null_count() == points["rate"].null_count() == 1


def test_with_too_few_lines_no_tag_is_called_weak() -> None:
    event = small_event((("start", 0.0),))
    found = infer(event, field(event, np.ones((50, 1, 2), dtype=bool)))
    assert found.tags["weak"].null_count() == found.tags.height == 50
    assert found.tags["late"].null_count() == 50
    assert not found.tags["retire"].any()


def test_a_course_where_nobody_was_seen_has_rows_and_a_reason() -> None:
    event = small_event()
    other = Course("walk", "Walk", event.courses[0].visits, 1_000_000)
    event = replace(event, courses=(*event.courses, other))
    found = infer(event, field(event, np.ones((60, 3, 2), dtype=bool)))
    assert found.points["course"].to_list() == ["road"] * 3 + ["walk"] * 3
    walk = found.points.filter(pl.col("course") == "walk")
    assert walk["reason"].to_list() == ["nobody was seen on this course"] * 3
    assert walk["read"].to_list() == [0, 0, 0]


def test_no_proofs_at_all_is_no_error() -> None:
    found = infer(small_event(), PROOFS.empty())
    assert found.points.height == 3
    assert found.tags.height == 0


@pytest.mark.parametrize(
    "fault", [np.linalg.LinAlgError("singular"), FloatingPointError("x"), IndexError("x")]
)
def test_a_model_that_breaks_down_is_a_reason_beside_the_counts(
    monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    def broken(*_args: object, **_more: object) -> None:
        raise fault

    monkeypatch.setattr(unseen, "estimate_course_model", broken)
    seen = np.ones((40, 3, 2), dtype=bool)
    seen[:4, 1] = False
    points = infer(small_event(), field(small_event(), seen)).points
    assert points["reason"].to_list() == [NOT_FITTED] * 3
    assert points["read"].to_list() == [40, 36, 40]
    assert points["missed_seen_later"].to_list() == [0, 4, 0]


def test_the_sample_in_words(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    # 2 + 9 proven, 0.2 + 1.0 hidden, up to 1 + 4; the finish is refused; 1,600 proven crossings and one hidden
    lines = unseen_words.say_unseen(review)
    assert lines[0] == (
        f"About 12 of 1,601{NB}crossings (11 to 16) were read by no line; 11 of these are proven by a later read. "
        f"The lines of a point together read 99.24{NB}% of all crossings (range 99.00 to 99.32{NB}%)."
    )
    assert lines[1] == "Of those that nothing proves most are at 15 km: about 1 (0 to 4)."
    # 0.1 each at start, 5 km and bridge, of which the estimate makes 0, 0 and 2 + 0.2
    assert "0.3 crossings would be unread at the three visits" in lines[2]
    assert lines[2].endswith("the estimate there is 2.2.")
    assert lines[3].startswith(
        f"Of the target of 99.8{NB}% at points with two lines: Start and 5 km reached it"
    )
    assert lines[4] == "The reads do not tell how many crossed unseen at Finish."
    assert unseen_words.say_weak_tags(review) == [
        "2 tags are likely worn or weak: retire them, of which hardly one wrongly; tags.csv names them."
    ]
    assert verdict.write_verdict(review)[0].startswith(
        "At the four timing points where later reads prove who passed, 11 of 1,600 crossings (0.69 %) were missed by "
        "every line, and wherever the reads tell about 12 (11 to 16) crossed unseen by every line; ".replace(
            "1,600 ", f"1,600{NB}"
        ).replace("0.69 ", f"0.69{NB}")
    )


def test_refused_values_say_why_and_are_no_numbers(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    rows = shown.to_unseen_rows(review)
    table = review_tables.unseen_table(rows.filter(pl.col("point") == "finish")).html
    assert table.count("not told") == 2
    assert "too little was seen to tell".capitalize() in review_tables.refusal_table(rows).html
    nothing = make_review(tmp_path, unseen=UNSEEN.empty())
    assert unseen_words.say_unseen(nothing) == [f"{unseen_words.NO_ESTIMATE}."]
    assert "crossed unseen" not in verdict.write_verdict(nothing)[0]


def test_where_nobody_is_hidden_the_rate_is_the_count(tmp_path: Path) -> None:
    rows = shown.to_unseen_rows(make_review(tmp_path))
    start = review_tables.unseen_table(rows.filter(pl.col("point") == "start")).html
    assert f"100{NB}%" in start
    assert "as counted" in start


def test_interruptions_are_told_to_the_minute_with_and_without(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    row = shown.to_interruption_rows(review).row(0, named=True)
    # 21.0975 km at 4 min/km and 50 s: 10:25:13; runner 219 is 2 min 5 s behind; local time is UTC + 2 h
    assert (row["clock_from"], row["clock_to"]) == ("10:25", "10:28")
    assert (row["day_missed"], row["day_proven"], row["work_missed"], row["work_proven"]) == (20, 400, 0, 380)
    said = unseen_words.say_interruptions(shown.to_interruption_rows(review))
    assert said == f"1{NB}interruption found: Finish, backup, from 10:25 to 10:28, 20 of 20 runners missed."
    none = make_review(tmp_path, interruptions=INTERRUPTIONS.empty())
    assert unseen_words.say_interruptions(shown.to_interruption_rows(none)) == ""
    assert "No interruption" in review_tables.interruption_table(shown.to_interruption_rows(none)).html


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (make_weak_tags().head(1), "1 tag is likely worn or weak: retire it"),
        (make_weak_tags().tail(1), "No tag is so probably weak"),
        (WEAK_TAGS.empty(), "Too few lines"),
        (make_weak_tags().with_columns(kind=pl.lit("bib")), "2\u00a0single-use tags were likely weak"),
    ],
)
def test_weak_tags_are_counts_only(tmp_path: Path, rows: pl.DataFrame, said: str) -> None:
    (sentence,) = unseen_words.say_weak_tags(make_review(tmp_path, weak_tags=rows))
    assert sentence.startswith(said)
    assert "TAG" not in sentence


def test_sample_frames_keep_their_contracts() -> None:
    UNSEEN.check(make_unseen())
    WEAK_TAGS.check(make_weak_tags())
    INTERRUPTIONS.check(make_interruptions())
