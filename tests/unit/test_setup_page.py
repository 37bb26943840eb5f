"""The set-up section of the review: what lay where, how it was laid, what is wrong, and nobody's name."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from lineproof.event_report import setup_page
from lineproof.setup import load_setup
from sample_review import make_event, make_review, make_setup


@pytest.fixture
def review(tmp_path: Path) -> Any:
    return make_review(tmp_path)


def test_the_record_is_said_in_numbers(review: Any) -> None:
    said = " ".join(setup_page.say_setup(review)).replace("\u00a0", " ")
    assert "1 of 9 lines and 3 slots" in said
    assert "35 crew minutes on 1 line" in said
    # Eight lines of the plan have no row, and one height is no number.
    assert (
        "9 remarks on the record: 9 entries do not count until put right and 8 entries differ from the plan"
        in said
    )


def test_items_heights_and_times_of_a_line_are_shown(review: Any) -> None:
    lay = setup_page.line_table(review).html
    assert "M2 on K2, M3 on ?" in lay
    assert ", main" in lay
    assert "-main" not in lay  # a line has its name there, not its id
    assert "125 to 180 cm; 1 of 3 not recorded" in lay
    morning = setup_page.morning_table(review).html
    assert "07:30 to 13:05" in morning


def test_names_in_the_record_are_escaped_and_notes_stay_in_it(review: Any) -> None:
    page = "".join(
        table(review).html
        for table in (setup_page.line_table, setup_page.morning_table, setup_page.complaint_table)
    )
    assert "M&lt;b&gt;1&lt;/b&gt;" in page
    assert "<script>" not in page
    assert "Quirin" not in page


def test_what_is_wrong_is_shown_with_its_place(review: Any) -> None:
    page = setup_page.complaint_table(review).html
    assert "setup.csv, row 4, Hand test up to (cm)" in page
    assert "&#34;low&#34; is no number" in page


def test_without_a_record_one_sentence_says_so(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    (tmp_path / "setup.csv").unlink()
    review.setup = load_setup(review.event)
    assert setup_page.say_setup(review) == [setup_page.NO_RECORD]
    assert "No line is recorded." in setup_page.line_table(review).html
    assert "Nothing in the set-up record" in setup_page.complaint_table(review).html


def test_a_long_list_of_remarks_is_cut_and_says_so(tmp_path: Path) -> None:
    event = make_event(tmp_path)
    rows = "".join(f"B1,{slot},low\n" for slot in range(1, 60))
    review = make_review(tmp_path)
    review.setup = make_setup(event, f"Line,Slot,Hand test up to (cm)\n{rows}")
    page = setup_page.complaint_table(review).html
    assert (
        f"the first {setup_page.MOST_COMPLAINTS} of 68" in page
    )  # 59 heights, 8 lines without a row, more slots than the plan is wide
    assert page.count("<tr") == setup_page.MOST_COMPLAINTS + 1
