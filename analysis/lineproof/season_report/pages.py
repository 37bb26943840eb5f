"""The tables and charts of the season report as HTML: which columns, what each says, under which caption."""

from __future__ import annotations

from typing import TYPE_CHECKING

import altair as alt
import polars as pl

from lineproof import charts
from lineproof.event_report.unseen_words import say_about, say_range
from lineproof.figures import Fragment, Head, Row, number, show_list, show_table, show_text
from lineproof.season_report import charts as season_charts
from lineproof.season_report import rows as shown
from lineproof.season_report import words
from lineproof.season_report.numbers import said_count, said_interval, said_share
from lineproof.wording import (
    say_count,
    say_days,
    say_interval,
    say_number,
    say_share,
    say_target,
    start_sentence,
)

if TYPE_CHECKING:
    from lineproof.season_report.flow import SeasonReview

MOST_FINDINGS = 25
MOST_LINES = 25
MOST_EVENTS = 40  # drawn and listed; of a longer ledger those that missed most, and all in the CSV files


def heading(season: SeasonReview) -> Fragment:
    days = season.events["date"].sort().to_list()
    runners = say_count(int(season.events["seen"].sum()), "runner")
    text = (
        f"{say_count(season.events.height, 'event')} {say_days(days[0], days[-1])}, "
        f"{runners} read, counted at each event."
    )
    title = f"Season report, {days[0]:%Y-%m-%d} to {days[-1]:%Y-%m-%d}"
    return Fragment(show_text([text], "event").html, title=title)


def verdict_box(season: SeasonReview) -> Fragment:
    body = show_text(words.write_verdict(season)).html
    return Fragment(f'<div class="verdict">\n{body}\n</div>')


def next_steps(season: SeasonReview) -> Fragment:
    return show_list(words.say_next(season))


def _worst(rows: pl.DataFrame, season: SeasonReview, name: str = "label") -> pl.DataFrame:
    """Rows of the events to show, in their order; ``name``: the column with the event's label."""
    shares = shown.to_event_totals(season).sort("share", "place", nulls_last=True)
    return rows.filter(pl.col(name).is_in(shares["label"].head(MOST_EVENTS).to_list()))


def _of_events(season: SeasonReview, file: str) -> str:
    """For a caption: that not all events are shown, and where the rest is."""
    more = season.events.height > MOST_EVENTS
    return f"; the {MOST_EVENTS} events that missed the largest share, {file} has all" if more else ""


def event_chart(season: SeasonReview) -> alt.LayerChart | Fragment:
    rows = _worst(shown.to_event_rows(season), season)
    lead = words.say_events(season) + _of_events(season, "season_events.csv")
    target = float(season.events["target"].max())  # type: ignore[arg-type]
    return charts.draw_rates(rows, target, lead) if rows.height else show_text([f"{lead}."])


def event_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Event", lambda row: row["label"]),
        Head("Day", lambda row: f"{row['date']:%d %b %Y}", "brief"),
        number("Runners", lambda row: say_number(row["seen"])),
        number("Proven crossings", lambda row: said_count(row["proven"])),
        number("Missed by every line", lambda row: said_count(row["missed"])),
        number("Read", lambda row: "–" if not row["proven"] else say_share(row["share"], row["proven"])),
        number("Target", lambda row: say_target(row["target"])),
        number("Hidden besides (range)", _hidden),
    )
    caption = (
        "The events: crossings that later reads prove, over all points, and those hidden besides (mostly at the finish). "
        "The range adds up the ends of the visits, so it is rather too wide"
    )
    rows = _worst(shown.to_event_totals(season), season)
    return show_table(rows, heads, caption + _of_events(season, "season_events.csv"))


def _hidden(row: Row) -> str:
    if row["hidden"] is None:
        return "not told"
    told = f"{say_about(row['hidden'])} ({say_range(row['hidden_low'], row['hidden_high'])})"
    return told if not row["untold"] else f"{told}, {say_count(row['untold'], 'visit')} not told"


def line_chart(season: SeasonReview) -> alt.LayerChart | Fragment:
    rows = _worst(shown.to_line_rows(season), season, "event")
    lead = words.say_lines(season) + _of_events(season, "season_lines.csv")
    target = float(season.events["target"].max())  # type: ignore[arg-type]
    return season_charts.draw_lines_by_event(rows, target, lead) if rows.height else show_text([f"{lead}."])


def line_table(season: SeasonReview) -> Fragment:
    rows = shown.to_line_table(season).sort("estimate", "label", "line").head(MOST_LINES)
    heads = (
        Head("Event", lambda row: row["label"]),
        Head("Line", lambda row: row["line"]),
        *_rate_heads(),
    )
    return show_table(rows, heads, f"The {rows.height} lines that missed most; season_lines.csv has all")


def segment_table(season: SeasonReview) -> Fragment:
    rows = shown.to_segment_table(season).sort("estimate", "label", "order").head(MOST_LINES)
    heads = (
        Head("Event", lambda row: row["label"]),
        Head("Course", lambda row: row["course"]),
        Head("Segment", lambda row: row["between"]),
        *_rate_heads(),
    )
    return show_table(
        rows, heads, f"The {rows.height} segments timed at both ends least often; season_segments.csv has all"
    )


def _rate_heads() -> tuple[Head, ...]:
    return (
        number("Proven", lambda row: say_number(row["proven"])),
        number("Missed", lambda row: say_number(row["missed"])),
        number("Read", lambda row: say_share(row["estimate"], max(row["proven"], 1))),
        number(
            "Interval", lambda row: say_interval(row["conf_low"], row["conf_high"], max(row["proven"], 1))
        ),
    )


def repeated_table(season: SeasonReview) -> Fragment:
    again = season.line_season.filter(pl.col("events") > 1)
    rows = again.sort("rate", "level", "name", nulls_last=True).head(MOST_EVENTS).sort("level", "name")
    more = (
        f"; the {MOST_EVENTS} that read least, season_over_events.csv has all"
        if again.height > MOST_EVENTS
        else ""
    )
    heads = (
        Head("Line, point or segment", lambda row: f"{row['level']} {row['name']}"),
        number("Events", lambda row: say_number(row["events"])),
        number("Proven", lambda row: say_number(row["proven"])),
        number("Missed", lambda row: say_number(row["proven"] - row["detected"])),
        number("Read at an event like these", lambda row: said_share(row["rate"], row["proven"])),
        number("Interval", lambda row: said_interval(row, "low", "high", row["proven"])),
        Head("Limited by", lambda row: row["reason"] or "–", "wide"),
    )
    return show_table(
        rows,
        heads,
        f"Lines, points and segments that came back: what they read at an event like these, events differing as they do{more}",
        "No line was laid at the same place twice.",
    )


def cause_chart(season: SeasonReview) -> alt.LayerChart | Fragment:
    rows, lead = shown.to_cause_rows(season), words.say_largest_causes(season)
    drawn = rows.select(season_charts.CAUSE_ROWS.schema.names())
    return season_charts.draw_causes(drawn, lead.rstrip(".")) if rows.height else show_text([lead])


def cause_table(season: SeasonReview) -> Fragment:
    rows = shown.to_cause_rows(season)
    whole = max(int(rows["misses"].sum()), 1)
    heads = (
        Head("Consistent with", lambda row: start_sentence(row["label"])),
        number("Misses of a line", lambda row: say_number(row["misses"])),
        number("Share", lambda row: say_share(row["misses"] / whole, whole)),
        number("Of these, by both lines", lambda row: say_number(row["both"])),
        number("Events", lambda row: say_number(row["events"])),
    )
    return show_table(
        rows, heads, "Misses explained: each counted once, the parts add up to all", "No line missed anybody."
    )


def finding_table(season: SeasonReview) -> Fragment:
    rows = shown.to_explained_rows(season).head(MOST_FINDINGS)
    heads = (
        Head("Event and place", lambda row: f"{row['label']}: {row['where']}", "wide"),
        Head("Consistent with", lambda row: row["cause"]),
        number("Explains", lambda row: say_number(row["explained"])),
        Head("Items there", lambda row: row["items"] or "not recorded", "place"),
        Head("The record says", _record_words, "wide"),
        Head("Where that stands", lambda row: row["record"], "place"),
    )
    caption = (
        "The findings that explain most, each with the set-up record behind it; season_misses.csv has all"
    )
    return show_table(rows, heads, caption, "No pattern was found in the misses of any event.")


def _record_words(row: Row) -> str:
    parts = [
        f"{word}: {row[name]}"
        for word, name in (("for it", "agree"), ("against it", "disagree"))
        if row[name]
    ]
    return start_sentence("; ".join(parts)) or "nothing of it"


def item_cause_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Item", lambda row: row["item"]),
        Head("Consistent with", lambda row: row["cause"]),
        number("Misses", lambda row: say_number(row["misses"])),
        number("Events", lambda row: say_number(row["events"])),
    )
    return show_table(
        shown.to_item_causes(season).head(MOST_FINDINGS),
        heads,
        "Misses explained, by the item that lay there (a mat and its cable share theirs)",
        "No finding points to a recorded item.",
    )


def rule_table(season: SeasonReview) -> Fragment:
    """What lines missed that kept a rule of the morning, and lines that broke it."""
    heads = (
        Head("Rule of the morning", lambda row: start_sentence(row["rule"]), "wide"),
        number("Kept: lines", lambda row: say_number(row["lines_kept"])),
        number("missed", lambda row: _missed_share(row, "kept")),
        number("Broken: lines", lambda row: say_number(row["lines_broken"])),
        number("missed", lambda row: _missed_share(row, "broken")),
        number("Not recorded", lambda row: say_number(row["lines_unknown"])),
        Head("Odds of a miss where broken, same day", _rule_odds, "wide"),
    )
    caption = (
        "Misses by set-up fact: lines that kept a rule of the morning and lines that broke it; the odds compare lines of one "
        "day, role and kind of point (broken against kept). They go together; that is no proof of a cause"
    )
    return show_table(season.morning_rules, heads, caption, "No set-up record tells of any rule.")


def _missed_share(row: Row, side: str) -> str:
    tried, missed = row[f"tried_{side}"], row[f"missed_{side}"]
    return say_share(missed / tried, int(tried)) if tried else "–"


def _rule_odds(row: Row) -> str:
    odds = "" if row["factor"] is None else _factor(row)
    return start_sentence("; ".join(part for part in (odds, row["reason"]) if part))


def comparison_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Compared", lambda row: row["question"], "place"),
        Head("This", lambda row: row["a"]),
        Head("Against", lambda row: row["b"]),
        number("Misses", lambda row: f"{said_count(row['missed_a'])} of {said_count(row['tried_a'])}"),
        number("Misses, other", lambda row: f"{said_count(row['missed_b'])} of {said_count(row['tried_b'])}"),
        number("Odds of a miss, times", _factor),
        Head("Says", lambda row: row["verdict"], "brief"),
        Head("Matched, and what limits it", _matched, "wide"),
    )
    return show_table(
        season.comparisons, heads, "Habits and models compared", "No habit was recorded both ways."
    )


def _factor(row: Row) -> str:
    if row["factor"] is None:
        return "–"
    if row["low"] is None:
        return f"{row['factor']:.2f} (no interval)"
    return f"{row['factor']:.2f} ({row['low']:.2f} to {row['high']:.2f})"


def _matched(row: Row) -> str:
    return start_sentence(row["matched"]) + (f"; {row['reason']}" if row["reason"] else "")


def batch_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Batch", lambda row: row["batch"] or "not stated"),
        *_tag_heads("Ask the maker"),
    )
    return show_table(season.batches, heads, "Weak tags by batch", "No tag could be judged.")


def age_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Carried before", lambda row: row["carried"]),
        *_tag_heads("More than the others"),
    )
    return show_table(
        season.tag_ages,
        heads,
        "Weak tags by how often the ledger knows them to have been carried before; single-use tags are left out",
        "No tag was carried twice, as far as the ledger knows: single-use tags are judged by batch.",
    )


def _tag_heads(asked: str) -> tuple[Head, ...]:
    return (
        Head("Kind", lambda row: row["kind"] or "not stated"),
        number("Tags", lambda row: say_number(row["tags"])),
        number("Weak (expected)", lambda row: f"{row['weak']:.1f}"),
        number("Share", lambda row: say_share(row["share"], max(row["tags"], 1))),
        number("Interval", lambda row: said_interval(row, "share_low", "share_high", row["tags"])),
        number("Others of the same days", lambda row: said_share(row["others"], row["tags"])),
        Head(asked, lambda row: "yes" if row["ask"] else "no"),
    )


def check_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Check", lambda row: row["label"]),
        Head("Severity", lambda row: str(row["severity"]), "brief"),
        number("Findings", lambda row: say_number(row["findings"])),
        number("Decided", lambda row: say_number(row["decided"])),
        number("Events", lambda row: say_number(row["events"])),
    )
    return show_table(
        shown.to_check_rows(season), heads, "What the checks caught", "No check caught anything."
    )


def quality_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Event", lambda row: row["label"]),
        number("Rows read", lambda row: say_number(row["rows_read"])),
        number("Rejected", lambda row: say_number(row["rejected"])),
        number("Errors", lambda row: say_number(row["error"])),
        number("Warnings", lambda row: say_number(row["warning"])),
        Head("Gate", lambda row: "passed" if row["passed"] else "FAILED"),
        number("Lines recorded", lambda row: say_number(row["lines_recorded"])),
        number("Complaints of the record", lambda row: say_number(row["complaints"])),
    )
    rows = _worst(shown.to_quality_rows(season), season)
    return show_table(
        rows, heads, "Quality of the data, event by event" + _of_events(season, "season_quality.csv")
    )
