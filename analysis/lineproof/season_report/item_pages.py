"""Items, and lines over time, as HTML: tables and charts of sections 5 and 6 of the season report."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import altair as alt
import polars as pl

from lineproof.figures import Fragment, Head, number, show_table, show_text
from lineproof.season_report import charts as season_charts
from lineproof.season_report import rows as shown
from lineproof.season_report import words
from lineproof.season_report.numbers import said_count, said_interval, said_share, said_whole
from lineproof.wording import say_number, start_sentence

if TYPE_CHECKING:
    from lineproof.season_report.flow import SeasonReview

MOST_ROWS = 25


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
        number("Crossings", lambda row: said_count(row["tried"])),
        number("Missed", lambda row: said_count(row["missed"])),
        number("Read in common conditions", lambda row: said_share(row["rate"], row["tried"])),
        number("Interval", lambda row: said_interval(row, "rate_low", "rate_high", row["tried"])),
        number(
            "Among the worst",
            lambda row: "–" if row["among_worst"] is None else said_whole(row["among_worst"]),
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
        season.swaps.head(MOST_ROWS),
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


def funnel_chart(season: SeasonReview) -> alt.LayerChart | Fragment:
    rows, lead = shown.to_funnel_rows(season), words.say_funnel(season)
    return season_charts.draw_funnel(rows, lead) if rows.height else show_text([f"{lead}."])


def control_chart(season: SeasonReview) -> alt.FacetChart | Fragment:
    rows, lead = shown.to_control_rows(season), words.say_watched(season)
    return season_charts.draw_control(rows, lead) if rows.height else show_text([f"{lead}."])


def signal_table(season: SeasonReview) -> Fragment:
    rows = shown.to_signal_rows(season).head(MOST_ROWS)
    heads = (
        Head("Item or line", lambda row: row["label"], "brief"),
        Head("Event", lambda row: row["at"], "place"),
        number("Missed", lambda row: f"{said_count(row['missed'])} of {said_count(row['tried'])}"),
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
        number("Share of all", lambda row: said_whole(row["share_failed"])),
        number("Misses that lay in them", lambda row: said_whole(row["missed_caught"])),
        Head("In keeping with the season", lambda row: "yes" if row["plausible"] else "no"),
    )
    return show_table(
        rows, heads, "What a limit of the hand test would have caught", "No limit can be compared."
    )
