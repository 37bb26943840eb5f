"""Why they were missed, in sentences that somebody new to the trade can follow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import polars as pl

from lineproof.event_report import shown
from lineproof.event_report.shown.causes import UNEXPLAINED
from lineproof.figures import Row
from lineproof.vocabulary import Cause
from lineproof.wording import say_count, say_list, say_number, say_share, start_sentence

if TYPE_CHECKING:
    from lineproof.pipeline import Review

MEANS: dict[str, str] = {
    Cause.SILENT_ANTENNA.value: "a mat that answered nobody: the mat, its cable, a joint or the reader's port dead",
    Cause.WEAK_ANTENNA.value: "a mat that answers for fewer runners than its neighbours: the mat, its cable or a joint weak",
    Cause.PORTS_NOT_TOLD.value: "a reader that was told fewer ports than were in use, and never listened on the highest",
    Cause.INTERRUPTION.value: "a line that did not work for a while: no power, a reader restarted, mats laid late or lifted early",
    Cause.BOTH_LINES.value: "something that stopped both lines of the point at once, most often one power source for the two",
    Cause.ROAD_WIDER.value: "runners passing beside the mats, where the road goes on and the line does not",
    Cause.CROWD.value: "so many runners over the mats at once that their tags had to wait for each other",
    Cause.WEAK_TAG.value: "tags that are hard to read at every line: worn out, bent, badly worn, or woken up late",
    Cause.PRACTICE_ROLE.value: "a reader left in a practice or registration role, which drops most reads",
    Cause.WHOLE_LINE.value: "something that weakens the line as a whole: reader, power, water, metal in the ground, or two lines too near",
}

TO_DO: dict[str, str] = {
    Cause.SILENT_ANTENNA.value: "Try the mat with another cable and port, then the cable with another mat: the fault moves with the faulty item.",
    Cause.WEAK_ANTENNA.value: "Repeat the hand test on this mat with its own cable and with another one, and look for kinks, wet joints and open flaps.",
    Cause.PORTS_NOT_TOLD.value: "Before the next start compare the ports that the reader is told with the cables plugged in, and walk a tag over every mat.",
    Cause.INTERRUPTION.value: "Ask the crew what was done at the line at that time. Mains power outdoors needs residual-current protection; in rain leave it to a competent person.",
    Cause.BOTH_LINES.value: "Give the two lines of a point separate power, so that one failure leaves one line. Leave mains work to a competent person.",
    Cause.ROAD_WIDER.value: "Measure the road that runners can use, and lay mats over all of it or narrow it with fences and cones, on a closed road.",
    Cause.CROWD.value: "Let the start flow over more metres of line, or start in more waves; a second line helps little where both are crowded.",
    Cause.WEAK_TAG.value: "The working list tags.csv names them: retire those that are used again, and see which batch the single-use ones are of; no mat or reader cures them.",
    Cause.PRACTICE_ROLE.value: "Put the role that the reader is set to on the morning's list, and look at the reads per passing in the first minutes.",
    Cause.WHOLE_LINE.value: "Compare hand tests of all its mats with those of a good line, and change the reader at the next event to see what the fault follows.",
}


FACTS = (
    ("agree", "The set-up record agrees"),
    ("disagree", "The set-up record speaks against it"),
    ("missing", "Not recorded, and would tell"),
)


def say_causes(review: Review) -> list[str]:
    """How many misses there were, how many are explained, and what the rest means."""
    rows = shown.to_cause_rows(review)
    total = int(rows["misses"].sum())
    if not total:
        return ["No line missed a runner who is known to have been there."]
    rest = int(rows.filter(pl.col("cause") == UNEXPLAINED)["misses"].sum())
    found = rows.filter(pl.col("cause") != UNEXPLAINED)
    first = (
        f"{start_sentence(say_count(total, 'time', 'times'))} a line missed a runner who was there by evidence from elsewhere; a "
        "runner whom both lines of a point missed counts twice."
    )
    if found.is_empty():
        none = "No pattern in them is more than luck would give: they are spread as the misses of sound lines are."
        return [first, none]
    names = say_list([f"{row['cause']} ({say_number(row['misses'])})" for row in found.iter_rows(named=True)])
    told = (
        f"Of these {say_number(total - rest)} ({say_share((total - rest) / total, total)}) fit a pattern: {names}. The other "
        f"{say_number(rest)} stay unexplained: every line misses some runners without any fault."
    )
    return [first, told]


@dataclass(frozen=True, slots=True)
class SaidFinding:
    """One finding: where and what, then what there is to say of it, each part under its name."""

    heading: str
    parts: tuple[tuple[str, str], ...]


def say_findings(review: Review) -> list[SaidFinding]:
    """The findings, numbered as in the picture and in diagnosis.csv."""
    return [_said(row) for row in shown.to_finding_rows(review).iter_rows(named=True)]


def _said(row: Row) -> SaidFinding:
    parts = (
        ("What shows it", _why(row)),
        ("Consistent with", f"{MEANS[row['cause']]}."),
        ("Misses", _size(row)),
        *((head, f"{row[name]}.") for name, head in FACTS if row[name]),
        ("What to do", TO_DO[row["cause"]]),
    )
    heading = f"{row['finding']}. {_where(row)}: {row['cause']}"
    return SaidFinding(heading, tuple((name, start_sentence(words)) for name, words in parts))


def _why(row: Row) -> str:
    """The sentence after the place and the cause."""
    detail = str(row["detail"])
    meant = detail.split(": consistent with ", 1)[-1]
    return meant.split("; ", 1)[-1]


def _where(row: Row) -> str:
    words = str(row["label"])
    if row["antenna"] is not None:
        words += f", mat {row['antenna']} from the near side"
    if row["items"]:
        words += f" ({row['items']})"
    if row["clock_from"] and row["clock_to"]:
        same = row["clock_from"] == row["clock_to"]
        words += f", {'at' if same else 'from'} {row['clock_from']}{'' if same else ' to ' + row['clock_to']}"
    elif row["clock_from"]:
        words += f", from {row['clock_from']} on"
    elif row["clock_to"]:
        words += f", until {row['clock_to']}"
    return words


def _size(row: Row) -> str:
    if not row["explained"]:
        return "Nobody was missed for it alone: the other line or a neighbouring mat read them."
    usual = row["usual"] or 0.0
    anyway = f"about {usual:.0f}" if usual >= 1.5 else "one or none" if usual >= 0.5 else "hardly any"
    return (
        f"It is the first explanation of {say_count(row['explained'], 'miss', 'misses')}; {anyway} of them would have been missed "
        "anyway."
    )


CLOCK_WORDS: dict[str, str] = {
    "zone": "a zone or summer time set wrong",
    "half day": "a 12-hour clock set half a day wrong",
    "date": "a date set wrong",
    "satellite seconds": "satellite or atomic time taken for civil time",
    "offset": "a clock set by hand, or set before it had the right time",
    "drift": "one of the two clocks running fast or slow",
    "distance": "a line that does not lie where it is stated",
}


def say_clocks(review: Review) -> list[str]:
    """One sentence for each clock that is not sound, with what to write to accept the correction."""
    rows = shown.to_clock_rows(review)
    told = [_clock(row) for row in rows.iter_rows(named=True) if row["looks_like"] in CLOCK_WORDS]
    torn = rows.filter(pl.col("looks_like").cast(pl.String) == "cannot tell", pl.col("reason").is_not_null())
    told += [
        f"{_of_lines(labels, rows.height)}: {reason}."
        for reason, labels in torn.group_by("reason", maintain_order=True).agg("label").iter_rows()
    ]
    return told or ["No clock is shown to be wrong."]


def _of_lines(labels: list[str], lines: int) -> str:
    """The lines by name, but for an event of many where it is all of them."""
    return "No clock can be judged. Of each line" if len(labels) == lines > 2 else "; ".join(labels)


def _clock(row: Row) -> str:
    what = CLOCK_WORDS[row["looks_like"]]
    if row["accepted"]:
        return f"{row['label']}: {row['reason']}; consistent with {what}."
    if row["looks_like"] == "distance":
        side = "long" if row["distance_m"] > 0 else "short"
        return f"{row['label']}: the stated place is about {abs(row['distance_m']):.0f} m too {side}; consistent with {what}."
    if row["correction_us"] is None:
        return f"{row['label']}: consistent with {what}; {row['reason']}."
    error = max(row["offset_se_us"] / 1e6 * 2.0, 0.01)
    way = "ahead" if row["offset_us"] > 0 else "behind"
    return (
        f"{row['label']}: the clock was {abs(row['offset_us']) / 1e6:,.2f} s {way}, give or take {error:.2g} s; consistent with "
        f"{what}. Nothing is corrected until the reviewer accepts it: a row of decisions.csv with the key clock/{row['line']}, the "
        f"decision correct and the time {row['correction_us'] / 1e6:+.10g}."
    )
