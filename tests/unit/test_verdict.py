"""The verdict says what the counts say, in right numbers and plurals, and names nobody."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import polars as pl
import pytest

from lineproof.event_report import shown, verdict
from lineproof.tables import FINDINGS, LOOKUPS, RATES
from lineproof.wording import say_count, say_interval, say_list, say_share, say_small, say_target
from sample_review import BIBS, make_gate, make_rates, make_review, rate

NB = "\u00a0"


def with_points(**missed_of: tuple[int, int]) -> pl.DataFrame:
    """Rates of the sample with other counts at the points given: missed, proven."""
    rates = make_rates().filter(~((pl.col("level") == "point") & pl.col("point").is_in(list(missed_of))))
    rows = [
        rate("point", missed, proven, quantity, point=point)
        for point, (missed, proven) in missed_of.items()
        for quantity in ("achieved", "capability")
    ]
    return pl.concat([rates, RATES.shape_rows(rows)])


def test_three_sentences_read_compare_next(tmp_path: Path) -> None:
    read, compare, after = verdict.write_verdict(make_review(tmp_path))
    # 0 + 0 + 2 + 9 of 4 x 400; at the finish nothing later proves anybody
    assert f"11 of 1,600{NB}crossings (0.69{NB}%) were missed by every line" in read
    assert f"the backup line at Finish missed the largest share, 20 of 400 (5.0{NB}%)" in read
    assert compare.startswith(f"Against the target of 99.8{NB}%")
    assert "Finish cannot be judged, as nothing later proves who passed" in compare
    assert after == (
        f"Next: see why 2 of 1,403{NB}rows could not be read (rejects.csv), "
        f"settle 2{NB}errors (findings.csv) before results stand and "
        f"look up 3{NB}runners on the camera (lookups.csv)."
    )


def test_small_events_are_said_to_be_too_small(tmp_path: Path) -> None:
    compare = verdict.write_verdict(make_review(tmp_path))[1]
    # 0.998^1497 < 0.05 < 0.998^1496: exact binomial, one-sided
    assert "cannot be judged, as the event is too small (to show it takes 1,497 proven crossings" in compare
    assert 0.998**1497 < 0.05 < 0.998**1496


def test_target_is_shown_or_missed_where_the_event_tells(tmp_path: Path) -> None:
    rates = with_points(start=(0, 2000), km5=(60, 2000))
    compare = verdict.write_verdict(make_review(tmp_path, rates=rates))[1]
    assert "Start shows it; 5 km falls short of it" in compare


def test_a_point_with_one_line_is_not_held_to_the_target(tmp_path: Path) -> None:
    assert "15 km" not in verdict.write_verdict(make_review(tmp_path))[1]


def test_failed_gate_comes_first_with_what_failed(tmp_path: Path) -> None:
    first, *rest = verdict.write_verdict(make_review(tmp_path, gate=make_gate(12)))
    assert first.startswith("The validation gate failed")
    assert "each crossing comes after the one before it (broken by 12 of 2,000 rows)" in first
    assert f"1 of 2{NB}rules of the merged data is not kept" in first
    assert len(rest) == 3


def test_nothing_to_do_is_said(tmp_path: Path) -> None:
    all_read = make_review(tmp_path).account.with_columns(rejected=pl.lit(0, dtype=pl.UInt32))
    review = make_review(tmp_path, findings=FINDINGS.empty(), lookups=LOOKUPS.empty(), account=all_read)
    assert verdict.write_verdict(review)[-1] == "There is no error to settle and nobody to look up."


def test_decided_errors_need_no_settling(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    decided = review.findings.with_columns(decided=pl.lit("keep", dtype=FINDINGS.schema["decided"]))
    assert "error" not in verdict.write_verdict(make_review(tmp_path, findings=decided))[-1]


def test_one_of_each_is_singular(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    one = make_review(
        tmp_path,
        findings=review.findings.head(1),
        lookups=review.lookups.head(1),
        rates=with_points(bridge=(1, 400), km15=(0, 400)),
    )
    read, _, after = verdict.write_verdict(one)
    assert f"1 of 1,600{NB}crossings (0.06{NB}%) was missed" in read
    assert f"settle 1{NB}error " in after
    assert f"look up 1{NB}runner " in after


def test_no_rates_no_invention(tmp_path: Path) -> None:
    sentences = verdict.write_verdict(make_review(tmp_path, rates=RATES.empty()))
    assert sentences[0].startswith("No crossing is proven by a later read")
    assert "cannot be judged" in sentences[1]
    assert "%" not in sentences[0]


def sentences_of(review: Any) -> list[str]:
    hours = shown.to_time_rows(review)
    return [
        *verdict.write_verdict(review),
        verdict.say_gate(review),
        verdict.say_lines(review),
        verdict.say_points(review),
        verdict.say_segments(shown.to_segment_rows(review)),
        verdict.say_groups(shown.to_wave_rows(review), "wave"),
        verdict.say_groups(shown.to_flow_rows(review), "flow"),
        verdict.say_time(hours),
        verdict.say_checks(review),
        verdict.say_lookups(review),
        verdict.say_account(review),
        verdict.say_entries(review),
        verdict.quiet_checks(review),
        *shown.to_methods(review),
    ]


def test_no_sentence_names_a_runner(tmp_path: Path) -> None:
    text = " ".join(sentences_of(make_review(tmp_path)))
    assert not [bib for bib in BIBS if bib in text]
    assert "TAG0" not in text


def test_every_percentage_of_misses_stands_beside_its_counts(tmp_path: Path) -> None:
    for sentence in sentences_of(make_review(tmp_path)):
        for share in [word for word in sentence.split(" ") if word.startswith("(") and f"{NB}%" in word]:
            assert " of " in sentence, share


def test_leads_tell_the_sample(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    assert verdict.say_points(review) == (
        "At two timing points runners passed unread, the largest share at 15 km: 9 of 400"
    )
    assert verdict.say_segments(shown.to_segment_rows(review)).endswith("11 of 400 runners lack one end")
    assert (
        verdict.say_groups(shown.to_wave_rows(review), "wave") == "Lowest rate by wave: red (6 of 800 missed)"
    )
    assert verdict.say_account(review) == (f"2{NB}files: 1,403{NB}rows read, 1,400 kept, 1 blank, 2 rejected")


@pytest.mark.parametrize(
    ("share", "whole", "said"),
    [
        (0.9983, 2345, "99.83 %"),
        (0.995, 400, "99.5 %"),
        (1.0, 400, "100 %"),
        (0.0, 400, "0 %"),
        (39_999 / 40_000, 40_000, "99.99 %"),  # never up to 100 while one was missed
        (1 / 40_000, 40_000, "0.01 %"),  # nor down to 0
    ],
)
def test_shares_are_rounded_as_one_miss_would_show(share: float, whole: int, said: str) -> None:
    assert say_share(share, whole) == said.replace(" ", NB)


def test_intervals_never_shrink_by_rounding() -> None:
    assert say_interval(0.97119, 0.98891, 2000) == f"97.11 to 98.90{NB}%"
    assert say_interval(0.5, 0.75, 10) == f"50.0 to 75.0{NB}%"


def test_counts_and_lists_in_words() -> None:
    assert say_count(0, "runner") == "no runners"
    assert say_count(1, "runner") == f"1{NB}runner"
    assert say_count(1200, "entry", "entries") == f"1,200{NB}entries"
    assert say_small(1, "line") == "one line"
    assert say_small(12, "line") == "12 lines"
    assert say_list(["a"]) == "a"
    assert say_list(["a", "b", "c"]) == "a, b and c"
    assert say_list(list("abcdefgh")) == "a, b, c, d, e and 3 more"
    assert say_target(0.998) == f"99.8{NB}%"
    assert say_target(0.9995) == f"99.95{NB}%"
