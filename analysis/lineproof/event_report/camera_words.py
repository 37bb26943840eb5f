"""What the camera told, and what it could tell yet, in sentences; none names a runner."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.event_report import shown
from lineproof.event_report.unseen_words import say_about
from lineproof.vocabulary import Outcome
from lineproof.wording import say_count, say_interval, say_list, say_number, say_target, start_sentence

if TYPE_CHECKING:
    from lineproof.pipeline import Review

NOTHING_FILLED_IN = (
    "No outcome is filled in yet. Fill in the columns outcome (seen, not there, unclear), time_seen, who and when of "
    "lookups.csv, save the copy as sightings.csv in the event folder, and review again: proofs, rates and hidden crossings "
    "then rest on it."
)
LEAST_SPARED_MIN = 3  # of film, before an order is worth a word
LONG_FILM_H = 0.75  # from here on film is said in hours


def say_effort(review: Review) -> list[str]:
    """How many are likely to be found, and how much film shows most of them; the doubtful apart."""
    effort = shown.to_lookup_effort(review)
    if effort is None:
        return []
    found = f"about {say_about(effort.findable)}" if effort.findable >= 1 else "hardly anybody"
    whole = f"Of {say_count(effort.rows, 'look-up')} {found} should be found on the camera; the other runners stopped."
    if round(effort.findable) == effort.rows:
        whole = f"Nearly all of {say_count(effort.rows, 'look-up')} should be found on the camera."
    sentence = f"{whole} All windows together are {_film(effort.minutes)} of film"
    if effort.minutes - effort.most_minutes >= LEAST_SPARED_MIN and effort.findable >= 1:
        sentence += f"; in the order of lookups.csv the first {_film(effort.most_minutes)} should show nine in ten of them"
    doubtful = effort.untold
    rest = (
        f"For {say_count(doubtful, 'doubtful crossing')} no chance can be told; they come last."
        if doubtful
        else ""
    )
    return [text for text in (f"{sentence}.", rest) if text]


def _film(minutes: float) -> str:
    return (
        f"{minutes / 60:.1f} hours"
        if minutes >= 60 * LONG_FILM_H
        else say_count(max(round(minutes), 1), "minute")
    )


def say_sightings(review: Review) -> list[str]:
    """Outcomes that were filled in, and where they contradict the reads."""
    rows = review.sightings
    if rows.is_empty():
        return [NOTHING_FILLED_IN]
    counts = dict(rows.group_by(pl.col("outcome").cast(pl.String)).len().iter_rows())
    parts = [f"{say_number(counts[word.value])} {word.value}" for word in Outcome if word.value in counts]
    sentences = [f"{start_sentence(say_count(rows.height, 'look-up'))} settled or tried: {say_list(parts)}."]
    remarks = rows.group_by("remark").len().drop_nulls().sort("remark")
    sentences += [
        f"{say_count(count, 'runner')} not on the camera: {text}." for text, count in remarks.iter_rows()
    ]
    return sentences


def say_audit(review: Review) -> list[str]:
    """The random audit of each finish: what is drawn, what the counted minutes say, how many more would settle it."""
    labels = shown.point_labels(review.event)
    target = say_target(review.event.setting("target"))
    if review.audit_results.is_empty():
        return ["Hardly anybody was read at a finish, so no minutes can be drawn for an audit."]
    sentences = []
    for row in review.audit_results.iter_rows(named=True):
        where = labels[row["point"]]
        drawn = f"{say_count(row['drawn'], 'minute')} of {say_number(row['window_minutes'])}"
        if not row["minutes"]:
            sentences.append(
                f"{where}: {drawn} are drawn by lot (seed {row['seed']}; audit.csv). Watch each whole, count everybody who crosses "
                "and, of these, those whom no line read; write both counts, save the copy as sightings-audit.csv in the event "
                "folder, and review again."
            )
        elif row["share"] is None:
            sentences.append(
                f"{where}: {say_count(row['minutes'], 'minute')} counted, which do not tell yet: {row['reason']}."
            )
        else:
            sentences.append(_say_counted(where, row, target))
    return sentences


def _say_counted(where: str, row: dict[str, object], target: str) -> str:
    minutes, crossed, missed = (int(str(row[name])) for name in ("minutes", "crossed", "missed"))
    low, high = float(str(row["low"])), float(str(row["high"]))
    needed, window = int(str(row["needed"])), int(str(row["window_minutes"]))
    words = {
        "shows": f"that shows {target} read",
        "falls short": f"that falls short of {target} read",
        "cannot tell": f"whether {target} were read it cannot tell yet",
    }
    more = needed - minutes
    rest = "all minutes of the window" if needed >= window else say_count(more, "more minute")
    settle = (
        f"; if the others are like these, {rest} would settle it"
        if row["word"] == "cannot tell" and more > 0
        else ""
    )
    return (
        f"{where}: in {say_count(minutes, 'minute')} {say_number(missed)} of {say_count(crossed, 'runner')} were read by no line, "
        f"{say_interval(low, high, crossed)} of all; {words[str(row['word'])]}{settle}."
    )
