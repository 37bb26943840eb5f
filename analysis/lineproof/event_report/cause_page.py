"""Why they were missed: the table that adds up, the timeline, and the clocks."""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

import altair as alt
import polars as pl

from lineproof.event_report import cause_words, shown
from lineproof.event_report.shown.causes import UNEXPLAINED
from lineproof.event_report.timeline_chart import draw_timeline
from lineproof.figures import Fragment, Head, Row, number, show_table, show_text
from lineproof.wording import say_number, say_share, start_sentence

if TYPE_CHECKING:
    from lineproof.pipeline import Review


def cause_table(review: Review) -> Fragment:
    """Misses by first explanation, with the rest and the total, so that they add up."""
    rows = shown.to_cause_rows(review).drop("rest")
    total = int(rows["misses"].sum())
    summed = rows.select(
        pl.lit("all misses").alias("cause"),
        pl.col("misses").sum().cast(rows.schema["misses"]),
        pl.col("both").sum().cast(rows.schema["both"]),
        pl.col("findings").sum().cast(rows.schema["findings"]),
        pl.lit(None, dtype=pl.Float64).alias("usual"),
    )
    heads = (
        Head("Consistent with", lambda row: start_sentence(row["cause"])),
        number("Findings", lambda row: say_number(row["findings"])),
        number("Misses", lambda row: say_number(row["misses"])),
        number("Share", lambda row: say_share(row["misses"] / total, total)),
        number("Of these, by both lines", lambda row: say_number(row["both"])),
        number("Usual there", _usual),
    )
    caption = (
        "Every miss with its first explanation; the rows above the last add up to it. Usual: misses that sound lines would "
        "have had among the same runners"
    )
    return show_table(
        pl.concat([rows, summed.select(rows.columns)]) if total else rows.head(0),
        heads,
        caption,
        "No line missed a runner who is known to have been there.",
    )


def _usual(row: Row) -> str:
    return "–" if row["usual"] is None else f"{row['usual']:.0f}"


def timeline_chart(review: Review) -> alt.LayerChart | Fragment:
    """The lines that a finding speaks of over the day; a sentence where there is none."""
    rows = shown.to_timeline_rows(review)
    if rows.is_empty():
        return show_text(["No finding speaks of a single line or point, so there is no timeline to draw."])
    return draw_timeline(rows, _title(review))


def _title(review: Review) -> str:
    rows = shown.to_cause_rows(review)
    total, rest = int(rows["misses"].sum()), int(rows.filter(cause=UNEXPLAINED)["misses"].sum())
    return f"{say_number(total - rest)} of {say_number(total)} misses fit a pattern"


def finding_list(review: Review) -> Fragment:
    """Each finding with its heading and its parts under their names."""
    return Fragment("\n".join(_block(finding) for finding in cause_words.say_findings(review)))


def _block(finding: cause_words.SaidFinding) -> str:
    parts = "\n".join(
        f"<dt>{html.escape(name)}</dt><dd>{html.escape(words)}</dd>" for name, words in finding.parts
    )
    return f'<h4>{html.escape(finding.heading)}</h4>\n<dl class="finding">\n{parts}\n</dl>'


def clock_table(review: Review) -> Fragment:
    heads = (
        Head("Line", lambda row: row["label"]),
        Head("Clock", lambda row: row["looks_like"], "brief"),
        number("Ahead (s)", lambda row: _seconds(row["offset_us"], row["offset_se_us"])),
        number("Give or take (s)", lambda row: _seconds(_twice(row["offset_se_us"]), row["offset_se_us"])),
        number("Gains (s an hour)", _drift),
        number("Runners", lambda row: say_number(row["pairs"])),
        Head("Correction", _correction),
        Head("Remark", lambda row: start_sentence(row["reason"]) if row["reason"] else "–", "wide"),
    )
    caption = (
        "Clocks of the lines: how far each is ahead of the right time (behind: below 0), with its 95 % doubt. Two lines of a "
        "point are measured against each other, a line alone against the stretches before and after"
    )
    return show_table(shown.to_clock_rows(review), heads, caption, "The event has no lines.")


def _twice(error_us: int | None) -> int | None:
    return None if error_us is None else 2 * error_us


def _seconds(value_us: int | None, error_us: int | None) -> str:
    """As finely as the doubt deserves: one digit of it, never finer than hundredths."""
    if value_us is None or error_us is None:
        return "–"
    digits = 2 if error_us < 500_000 else 1 if error_us < 5_000_000 else 0
    return f"{value_us / 1e6:,.{digits}f}"


def _drift(row: Row) -> str:
    return "–" if row["drift_ppm"] is None else f"{row['drift_ppm'] * 0.0036:+.2f}"


def _correction(row: Row) -> str:
    if row["correction_us"] is None:
        return "–"
    words = f"{row['correction_us'] / 1e6:+,.10g} s"
    return f"{words}, applied" if row["accepted"] else f"{words}, proposed"
