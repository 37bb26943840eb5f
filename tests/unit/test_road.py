"""Mats across the road: rows to draw, the picture, and the sentences; from a review made by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import polars as pl

from lineproof.event_report import camera_page, camera_words, road_words, shown
from lineproof.event_report.road_chart import draw_road
from lineproof.figures import Fragment, show_chart
from lineproof.forms import to_audit_form, to_lookup_form
from lineproof.tables import CROSSINGS, MATS
from sample_review import BIBS, GUN, make_audit_results, make_mats, make_review

NB = "\u00a0"


def test_rows_lie_to_scale_from_the_near_side(tmp_path: Path) -> None:
    rows = shown.to_road_rows(make_review(tmp_path))
    assert rows["role"].to_list() == ["main"] * 4 + ["backup"] * 3
    assert rows.filter(pl.col("role") == "main").select("slot", "begin_m", "end_m").rows() == [
        (1, 0.0, 1.0), (2, 1.0, 2.0), (3, 2.0, 3.0), (None, 3.0, 4.0),
    ]  # fmt: skip
    assert rows["rate"].to_list() == [
        f"98{NB}%",
        f"70{NB}%",
        f"97{NB}%",
        "12 ran here",
        f"99{NB}%",
        f"98{NB}%",
        f"2{NB}%",
    ]
    assert rows["interval"][1] == "64 to 73"  # 0.65 to 0.73, the lower end never raised


def test_items_are_named_where_the_record_knows_them(tmp_path: Path) -> None:
    items = {("B1", 2): "mat 07", ("B2", 1): "mat 11"}
    rows = shown.to_road_rows(make_review(tmp_path), items)
    named = rows.filter(pl.col("item").is_not_null())
    assert named.select("line", "slot", "item").rows() == [("B1", 2, "mat 07"), ("B2", 1, "mat 11")]
    assert "mat 07" in show_chart(draw_road(rows, "Mats").to_dict())


def test_the_picture_says_its_rates_in_figures_and_words(tmp_path: Path) -> None:
    page = show_chart(draw_road(shown.to_road_rows(make_review(tmp_path)), "Six mats").to_dict())
    drawing = page[page.index("<svg") : page.index("</svg>")]
    for word in (f">70{NB}%<", ">WEAK<", ">DEAD<", ">BARE ROAD<", ">main<", ">backup<"):
        assert word in drawing
    assert "heavy frame" in page
    assert '"description"' in page or "aria-label" in page


def test_what_is_bad_is_said_in_one_sentence_each(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    assert road_words.say_mats(review) == f"6{NB}mats of 2{NB}lines: 1{NB}dead mat and 1{NB}weak mat"
    first, second, third = road_words.say_bad_mats(review)
    assert (
        "main: mat 2 from the near side answers for 70" in first
        or "main: mat 2 from the near side answers for 70" in second
    )
    assert any(text.endswith("Misses at the far side.") for text in (first, second, third))
    assert "consistent with" in first + second
    assert road_words.say_untold(review) == ["Not told for 15 km, main: no second line."]


def test_without_antenna_numbers_one_sentence_stands_alone(tmp_path: Path) -> None:
    row = {"event": "spring-half", "place": "line", "verdict": "cannot tell", "method": "not estimated"}
    no_numbers = "the exports of this point give no antenna numbers"
    mats = MATS.shape_rows(
        [
            {**row, "point": "bridge", "line": "B1", "reason": no_numbers},
            {**row, "point": "bridge", "line": "B2", "reason": no_numbers},
            {**row, "point": "km15", "line": "C1", "reason": "no second line"},
        ]
    )
    review = make_review(tmp_path, mats=mats)
    lead = road_words.say_mats(review)
    assert lead == road_words.NO_ANTENNAS
    page = camera_page.road_chart(shown.to_road_rows(review), lead)
    assert isinstance(page, Fragment)
    assert page.html.count("<p>") == 1
    assert road_words.say_untold(review) == []
    assert road_words.say_bad_mats(review) == []


def test_sound_mats_are_not_listed(tmp_path: Path) -> None:
    sound = make_mats().filter(pl.col("verdict") == "sound")
    review = make_review(tmp_path, mats=sound)
    assert road_words.say_mats(review).endswith("none is shown to be weak or dead")
    assert road_words.say_bad_mats(review) == []


def counted(**changed: Any) -> dict[str, Any]:
    told = {"minutes": 30, "drawn": 30, "crossed": 900, "missed": 3, "share": 0.003, "std_error": 0.002, "low": 0.0006, "high": 0.009,
            "needed": 52, "reason": None}  # fmt: skip
    return {**told, **changed}


def test_the_audit_says_what_is_missing_to_settle_the_target(tmp_path: Path) -> None:
    def said(**changed: Any) -> str:
        return camera_words.say_audit(make_review(tmp_path, audit_results=make_audit_results(**changed)))[0]

    assert "2" + NB + "minutes of 60 are drawn by lot (seed 11; audit.csv)" in said()
    text = said(**counted())
    assert f"in 30{NB}minutes 3 of 900{NB}runners were read by no line, 0.0 to 0.9{NB}% of all" in text
    assert f"22{NB}more minutes would settle it" in text
    assert "all minutes of the window would settle it" in said(**counted(needed=60))
    assert "would settle" not in said(**counted(word="falls short"))
    assert "which do not tell yet" in said(**counted(share=None, reason="fewer than two minutes watched"))


def test_the_audit_stands_beside_the_model(tmp_path: Path) -> None:
    review = make_review(tmp_path, audit_results=make_audit_results(**counted()))
    row = shown.to_audit_rows(review).row(0, named=True)
    assert (row["label"], row["model"]) == ("Finish", None)  # the sample's finish is refused
    told = review.unseen.with_columns(hidden=1.0, hidden_low=0.0, hidden_high=3.0)
    row = shown.to_audit_rows(make_review(tmp_path, unseen=told)).row(0, named=True)
    assert (row["model"], row["model_low"], row["model_high"]) == (1 / 401, 0.0, 3 / 403)
    assert (
        f"0.2{NB}% (0.0 to 0.8{NB}%)"
        in camera_page.audit_table(shown.to_audit_rows(make_review(tmp_path, unseen=told))).html
    )


def test_the_effort_counts_film_by_rank(tmp_path: Path) -> None:
    """Two proven and one of 0.2, four minutes each: nine in ten of 2.2 are reached with the second look-up."""
    effort = shown.to_lookup_effort(make_review(tmp_path))
    assert effort is not None
    assert (effort.rows, effort.untold, effort.minutes, effort.most_minutes) == (3, 0, 12.0, 8.0)
    assert abs(effort.findable - 2.2) < 1e-9
    text = camera_words.say_effort(make_review(tmp_path))[0]
    assert f"12{NB}minutes of film" in text
    assert f"the first 8{NB}minutes should show nine in ten" in text


def test_forms_name_what_is_to_be_filled_in(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    form = to_lookup_form(review)
    assert form["rank"].to_list() == [1, 2, 3]
    assert form["outcome"].null_count() == form["time_seen"].null_count() == 3
    begin = review.audit["begin"][0]
    crossing = {
        "bib": BIBS[0], "course": "half", "wave": "red", "point": "finish", "order": 4, "visit": 1, "at_m": 1.0, "time_source": "main",
        "passings": 1, "tags": 1, "level": "reads", "key": "k",
    }  # fmt: skip
    crossings = CROSSINGS.shape_rows(
        [
            {**crossing, "runner": BIBS[i], "bib": BIBS[i], "time": begin.replace(second=second)}
            for i, second in ((0, 5), (1, 1), (2, 30))
        ]
    )
    audit = to_audit_form(make_review(tmp_path, crossings=crossings))
    assert audit["bibs_read"].to_list() == [f"{BIBS[1]} {BIBS[0]} {BIBS[2]}", None]
    assert audit["clock"][0] == (GUN.replace(hour=11)).strftime("%H:%M")
    assert audit["crossed"].to_list() == [9, None]
