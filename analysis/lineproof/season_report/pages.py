"""The tables and charts of the season report as HTML: which columns, what each says, under which caption."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import altair as alt
import polars as pl

from lineproof import charts
from lineproof.figures import Fragment, Head, Row, number, show_list, show_table, show_text
from lineproof.season_report import charts as season_charts
from lineproof.season_report import rows as shown
from lineproof.season_report import words
from lineproof.unseen_words import say_about, say_range
from lineproof.wording import (
    HARD_SPACE,
    say_count,
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


def heading(season: SeasonReview) -> Fragment:
    days = season.events["date"].sort().to_list()
    runners = say_count(int(season.events["seen"].sum()), "runner")
    text = (
        f"{say_count(season.events.height, 'event')} from {days[0]:%d %B %Y} to {days[-1]:%d %B %Y}, "
        f"{runners} read, counted at each event."
    )
    title = f"Season report, {days[0]:%Y-%m-%d} to {days[-1]:%Y-%m-%d}"
    return Fragment(show_text([text], "event").html, title=title)


def verdict_box(season: SeasonReview) -> Fragment:
    body = show_text(words.write_verdict(season)).html
    return Fragment(f'<div class="verdict">\n{body}\n</div>')


def next_steps(season: SeasonReview) -> Fragment:
    return show_list(words.say_next(season))


def event_chart(season: SeasonReview) -> alt.LayerChart | Fragment:
    rows, lead = shown.to_event_rows(season), words.say_events(season)
    target = float(season.events["target"].max())  # type: ignore[arg-type]
    return charts.draw_rates(rows, target, lead) if rows.height else show_text([f"{lead}."])


def event_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Event", lambda row: row["label"]),
        Head("Day", lambda row: f"{row['date']:%d %b %Y}", "brief"),
        number("Runners", lambda row: say_number(row["seen"])),
        number("Proven crossings", lambda row: _count(row["proven"])),
        number("Missed by every line", lambda row: _count(row["missed"])),
        number("Read", lambda row: "–" if not row["proven"] else say_share(row["share"], row["proven"])),
        number("Target", lambda row: say_target(row["target"])),
        number("Hidden besides (range)", _hidden),
    )
    caption = (
        "The events: crossings that later reads prove, over all points, and those hidden besides (mostly at the finish). "
        "The range adds up the ends of the visits, so it is rather too wide"
    )
    return show_table(shown.to_event_totals(season), heads, caption)


def _count(count: float | None) -> str:
    return "–" if count is None else say_number(round(count))


def _hidden(row: Row) -> str:
    if row["hidden"] is None:
        return "not told"
    told = f"{say_about(row['hidden'])} ({say_range(row['hidden_low'], row['hidden_high'])})"
    return told if not row["untold"] else f"{told}, {say_count(row['untold'], 'visit')} not told"


def line_chart(season: SeasonReview) -> alt.LayerChart | Fragment:
    rows, lead = shown.to_line_rows(season), words.say_lines(season)
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
    rows = season.line_season.filter(pl.col("events") > 1)
    heads = (
        Head("Line, point or segment", lambda row: f"{row['level']} {row['name']}"),
        number("Events", lambda row: say_number(row["events"])),
        number("Proven", lambda row: say_number(row["proven"])),
        number("Missed", lambda row: say_number(row["proven"] - row["detected"])),
        number("Read at an event like these", lambda row: _share(row["rate"], row["proven"])),
        number("Interval", lambda row: _interval(row, "low", "high", row["proven"])),
        Head("Limited by", lambda row: row["reason"] or "–", "wide"),
    )
    return show_table(
        rows,
        heads,
        "Lines, points and segments that came back: what they read at an event like these, events differing as they do",
        "No line was laid at the same place twice.",
    )


def _share(share: float | None, whole: float) -> str:
    return "–" if share is None else say_share(share, max(int(whole), 1))


def _interval(row: Row, low: str, high: str, whole: float) -> str:
    if row[low] is None or row[high] is None:
        return "–"
    return say_interval(row[low], row[high], max(int(whole), 1))


def cause_chart(season: SeasonReview) -> alt.LayerChart | Fragment:
    rows, lead = shown.to_cause_rows(season), words.say_causes(season)
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


def item_chart(season: SeasonReview) -> alt.LayerChart | Fragment:
    rows, lead = shown.to_item_rows(season), words.say_items(season)
    return season_charts.draw_items(rows, lead.rstrip(".")) if rows.height else show_text([lead])


def item_table(season: SeasonReview) -> Fragment:
    rows = shown.to_item_table(season)
    if rows.is_empty():
        return show_text([f"There is no table of items: {season.no_items}."])
    asking = rows.filter(~pl.col("verdict").cast(pl.String).is_in(["sound", "cannot tell"]))
    heads = (
        Head("Item", lambda row: row["label"], "brief"),
        Head("Verdict", lambda row: row["verdict"], "brief"),
        number("Events", lambda row: say_number(row["events"])),
        number("Crossings", lambda row: _count(row["tried"])),
        number("Missed", lambda row: _count(row["missed"])),
        number("Read in common conditions", lambda row: _share(row["rate"], row["tried"])),
        number("Interval", lambda row: _interval(row, "rate_low", "rate_high", row["tried"])),
        number(
            "Among the worst", lambda row: "–" if row["among_worst"] is None else _whole(row["among_worst"])
        ),
        Head("Why, or what limits it", lambda row: start_sentence(row["reason"] or "–"), "wide"),
    )
    return show_table(
        asking,
        heads,
        "Items that ask for something; season_items.csv has all",
        "No item stands out; season_items.csv has all.",
    )


def swap_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Item", lambda row: f"{row['kind']} {row['item']}", "brief"),
        Head("Cannot be told apart from", lambda row: row["bound_to"]),
        Head("Swap that would tell", lambda row: start_sentence(row["swap"]), "wide"),
    )
    return show_table(
        season.swaps.head(MOST_FINDINGS),
        heads,
        "Swaps that would tell items from their places; season_swaps.csv has all",
        "Every item moved enough to be told apart from its places.",
    )


def trend_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Item or line", lambda row: f"{row['subject']} {row['name']}", "brief"),
        number("Uses", lambda row: say_number(row["uses"])),
        number("Odds of a miss, times each use", lambda row: f"{math.exp(row['trend']):.2f}"),
        number("Interval", lambda row: f"{math.exp(row['low']):.2f} to {math.exp(row['high']):.2f}"),
    )
    return show_table(
        season.trends.filter("found"),
        heads,
        "Wearing out: more misses with each use, beyond luck; season_trends.csv has all",
        "No item and no line misses more with each use, beyond luck.",
    )


def _whole(share: float) -> str:
    """A chance or share in whole per cent."""
    return f"{100 * share:.0f}{HARD_SPACE}%"


def funnel_chart(season: SeasonReview) -> alt.LayerChart | Fragment:
    rows, lead = shown.to_funnel_rows(season), words.say_funnel(season)
    return season_charts.draw_funnel(rows, lead) if rows.height else show_text([f"{lead}."])


def control_chart(season: SeasonReview) -> alt.FacetChart | Fragment:
    rows, lead = shown.to_control_rows(season), words.say_watched(season)
    return season_charts.draw_control(rows, lead) if rows.height else show_text([f"{lead}."])


def signal_table(season: SeasonReview) -> Fragment:
    rows = shown.to_signal_rows(season).head(MOST_FINDINGS)
    heads = (
        Head("Item or line", lambda row: row["label"], "brief"),
        Head("Event", lambda row: row["at"], "place"),
        number("Missed", lambda row: f"{_count(row['missed'])} of {_count(row['tried'])}"),
        number("Expected there", lambda row: f"{row['expected']:.1f}"),
        Head("Signal", lambda row: row["signal"], "wide"),
    )
    return show_table(rows, heads, "Signals, the clearest first", "No chart of an item or line signalled.")


def change_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Item or line", lambda row: row["label"], "brief"),
        Head("First event after", lambda row: row["event"], "place"),
        Head("Day", lambda row: f"{row['date']:%d %b %Y}", "brief"),
        number("Misses, times as many", lambda row: f"{row['factor']:.1f}"),
        Head("Changed in the records then", lambda row: row["changed"] or "nothing recorded", "wide"),
    )
    return show_table(
        shown.to_change_rows(season),
        heads,
        "Lasting changes",
        "No lasting change was found in any item or line.",
    )


def hand_test_table(season: SeasonReview) -> Fragment:
    rows = season.hand_test.limits.filter(pl.col("failed") > 0)
    heads = (
        Head("Failed below", lambda row: f"{row['limit_cm']:.0f} cm"),
        number("Slots failed", lambda row: say_number(row["failed"])),
        number("Share of all", lambda row: _whole(row["share_failed"])),
        number("Misses that lay in them", lambda row: _whole(row["missed_caught"])),
        Head("In keeping with the season", lambda row: "yes" if row["plausible"] else "no"),
    )
    return show_table(
        rows, heads, "What a limit of the hand test would have caught", "No limit can be compared."
    )


def comparison_table(season: SeasonReview) -> Fragment:
    heads = (
        Head("Compared", lambda row: row["question"], "place"),
        Head("This", lambda row: row["a"]),
        Head("Against", lambda row: row["b"]),
        number("Misses", lambda row: f"{_count(row['missed_a'])} of {_count(row['tried_a'])}"),
        number("Misses, other", lambda row: f"{_count(row['missed_b'])} of {_count(row['tried_b'])}"),
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
        Head("Kind", lambda row: row["kind"] or "not stated"),
        number("Tags", lambda row: say_number(row["tags"])),
        number("Weak (expected)", lambda row: f"{row['weak']:.1f}"),
        number("Share", lambda row: say_share(row["share"], max(row["tags"], 1))),
        number("Interval", lambda row: _interval(row, "share_low", "share_high", row["tags"])),
        number("Others of the same days", lambda row: _share(row["others"], row["tags"])),
        Head("Ask the maker", lambda row: "yes" if row["ask"] else "no"),
    )
    return show_table(season.batches, heads, "Weak tags by batch", "No tag could be judged.")


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
    return show_table(shown.to_quality_rows(season), heads, "Quality of the data, event by event")
