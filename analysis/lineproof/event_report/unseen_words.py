"""Crossings that no line saw, interruptions and weak tags in sentences; none names a runner.

A number of hidden crossings comes with its range, a refusal with the places that it is of.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.event_report import shown
from lineproof.unseen_tables import SINGLE_USE
from lineproof.wording import (
    say_count,
    say_interval,
    say_list,
    say_number,
    say_share,
    say_small,
    say_target,
    start_sentence,
)

if TYPE_CHECKING:
    from lineproof.pipeline import Review

UNTOLD = 0.5  # of a runner: less is said to be none
SMALLEST = 0.05  # shown with one digit
MANY = 9.95  # from here on no digit is shown
NO_ESTIMATE = "The reads of this event do not tell how many crossed unseen by every line"


def say_about(number: float) -> str:
    """``31``, or ``under 1``: an expected number of whole runners."""
    return "under 1" if 0 < number < UNTOLD else say_number(round(number))


def say_fine(number: float) -> str:
    """A small expected number with one digit: ``0.3``, ``under 0.1``, ``12``."""
    if 0 < number < SMALLEST:
        return "under 0.1"
    whole = number >= MANY or abs(number - round(number)) < SMALLEST
    return say_number(round(number)) if whole else f"{number:.1f}"


def say_range(low: float, high: float) -> str:
    """``20 to 43``, of whole runners."""
    return f"{say_number(int(low))} to {say_number(int(high))}"


def say_crossed_unseen(review: Review) -> str:
    """For the verdict: ``at all timing points together about 70 (59 to 83) crossed unseen by every line``.

    Empty if the reads do not tell, or nobody can be hidden.
    """
    total = shown.to_unseen_total(review)
    if total is None or total.high < total.missed + 1:
        return ""
    where = "wherever the reads tell" if total.refused else "at all timing points together"
    number = say_about(total.missed + total.hidden)
    about = "" if number.startswith("under") else "about "
    return f"{where} {about}{number} ({say_range(total.low, total.high)}) crossed unseen by every line"


def say_unseen(review: Review) -> list[str]:
    """The section in sentences: how many, where, against independence, against the target, what is not told."""
    total = shown.to_unseen_total(review)
    rows = shown.to_unseen_rows(review)
    if total is None:
        return [f"{NO_ESTIMATE}."]
    told = rows.filter(pl.col("hidden").is_not_null())
    sentences = [_say_total(total), _say_most(told), _say_independence(told), _say_target(review, told)]
    if total.refused:
        sentences.append(f"The reads do not tell how many crossed unseen at {say_list(total.refused)}.")
    return [sentence for sentence in sentences if sentence]


def _say_total(total: shown.UnseenTotal) -> str:
    proven = (
        f"{say_number(total.missed)} of these {'is' if total.missed == 1 else 'are'} proven by a later read"
    )
    whole = round(total.crossings)
    share = 1 - (total.missed + total.hidden) / max(total.crossings, 1)
    worst, best = (1 - number / max(total.crossings, 1) for number in (total.high, total.low))
    about = say_about(total.missed + total.hidden)
    return (
        f"{start_sentence(about) if about.startswith('under') else f'About {about}'} of {say_count(whole, 'crossing')} "
        f"({say_range(total.low, total.high)}) were read by no line; {proven}. The lines of a point together read "
        f"{say_share(share, whole)} of all crossings (range {say_interval(worst, best, whole)})."
    )


def _say_most(told: pl.DataFrame) -> str:
    """Where most are hidden."""
    row = told.sort("hidden", "course", "order", descending=[True, False, False]).row(0, named=True)
    if row["hidden"] < UNTOLD:
        return "Hardly anybody is likely to have crossed unseen without a later read to prove it."
    return (
        f"Of those that nothing proves most are at {row['label']}: about {say_about(row['hidden'])} "
        f"({say_range(row['hidden_low'], row['hidden_high'])})."
    )


def _say_independence(told: pl.DataFrame) -> str:
    both = told.filter(pl.col("independence").is_not_null())
    if both.is_empty():
        return ""
    formula = float(both["independence"].sum())
    estimate = float((both["missed_seen_later"] + both["hidden"]).sum())
    return (
        f"If the two lines of a point missed independently of each other, {say_fine(formula)} crossings would be "
        f"unread at the {say_small(both.height, 'visit')} with two lines that tell; the estimate there is "
        f"{say_fine(estimate)}."
    )


def _say_target(review: Review, told: pl.DataFrame) -> str:
    """The day itself against the target, at points with two lines."""
    target = review.event.setting("target")
    two = told.filter(pl.col("lines") > 1)
    kept = pl.col("rate_low") >= target
    short = pl.col("rate_high") < target
    parts = [
        f"{say_list(labels)} {words}"
        for labels, words in (
            (two.filter(kept)["label"].to_list(), "reached it today"),
            (two.filter(short)["label"].to_list(), "fell short of it today"),
            (two.filter(~kept & ~short)["label"].to_list(), "may have gone either way"),
        )
        if labels
    ]
    return (
        f"Of the target of {say_target(target)} at points with two lines: {'; '.join(parts)}."
        if parts
        else ""
    )


def say_interruptions(rows: pl.DataFrame) -> str:
    """How many windows were found, and the one that cost most; empty where there are none."""
    if rows.is_empty():
        return ""
    worst = rows.sort("missed", "begin", descending=[True, False]).row(0, named=True)
    count = start_sentence(say_count(rows.height, "interruption"))
    return (
        f"{count} found{', the worst' if rows.height > 1 else ''}: {worst['label']}, from {worst['clock_from']} to "
        f"{worst['clock_to']}, {say_number(worst['missed'])} of {say_number(worst['tried'])} runners missed."
    )


def say_weak_tags(review: Review) -> list[str]:
    """How many tags to retire, and how many of these are expected to be sound; never which."""
    tags = review.weak_tags
    if not tags["weak"].count():
        return ["Too few lines read these runners to tell a weak tag from a good one."]
    weak = tags.filter(pl.col("retire"))
    if weak.is_empty():
        return [
            "No tag is so probably weak that this event alone says to retire it; tags.csv gives each tag's chance."
        ]
    thrown = weak.filter(SINGLE_USE)
    said = [] if thrown.height == weak.height else [_say_retire(weak.filter(~SINGLE_USE))]
    if thrown.height:
        said.append(
            f"{say_count(thrown.height, 'single-use tag')} {'was' if thrown.height == 1 else 'were'} likely weak or badly worn: there is "
            "nothing to retire, but see whether one batch has more of them."
        )
    return said


def _say_retire(retire: pl.DataFrame) -> str:
    wrongly = float((1 - retire["weak"]).sum())
    if retire.height == 1:
        return (
            "1 tag is likely worn or weak: retire it; the chance that it is sound is about "
            f"{say_share(wrongly, 1)}. tags.csv names it."
        )
    doubt = "hardly one" if wrongly < UNTOLD else f"about {say_about(wrongly)}"
    return f"{say_number(retire.height)} tags are likely worn or weak: retire them, of which {doubt} wrongly; tags.csv names them."
