"""The tables and the picture of the review's sections on single mats and on the camera, as HTML."""

from __future__ import annotations

import altair as alt
import polars as pl

from lineproof.event_report.road_chart import draw_road
from lineproof.figures import Fragment, Head, Row, number, show_table, show_text
from lineproof.wording import say_interval, say_number, say_share


def road_chart(rows: pl.DataFrame, lead: str) -> alt.FacetChart | Fragment:
    """The mats to scale; the lead alone where no line's mats can be told apart."""
    return draw_road(rows, lead) if rows.height else show_text([lead if lead.endswith(".") else f"{lead}."])


def audit_table(rows: pl.DataFrame) -> Fragment:
    """The audit of each finish beside what the course model says of it."""
    heads = (
        Head("Finish", lambda row: row["label"]),
        number("Minutes counted", lambda row: f"{say_number(row['minutes'])} of {say_number(row['drawn'])}"),
        number("Window", lambda row: say_number(row["window_minutes"])),
        number("Crossed", lambda row: say_number(row["crossed"]) if row["minutes"] else "–"),
        number("Read by no line", lambda row: say_number(row["missed"]) if row["minutes"] else "–"),
        number("By the audit", lambda row: _share(row, "share", "low", "high", row["crossed"])),
        number(
            "By the model",
            lambda row: _share(row, "model", "model_low", "model_high", row["model_crossed"] or 1),
        ),
        number("To settle", _more),
    )
    return show_table(
        rows,
        heads,
        "The share missed by every line: by the audit of camera minutes, and by the course model with the look-ups settled so far",
        "No audit is drawn.",
    )


def _share(row: Row, share: str, low: str, high: str, whole: int) -> str:
    if row[share] is None:
        return "not told"
    return f"{say_share(row[share], max(whole, 1))} ({say_interval(row[low], row[high], max(whole, 1))})"


def _more(row: Row) -> str:
    if row["needed"] is None:
        return "–"
    more = row["needed"] - row["minutes"]
    return f"{say_number(more)} more minutes" if more > 0 and row["word"] == "cannot tell" else "settled"


def sighting_table(rows: pl.DataFrame) -> Fragment:
    heads = (
        Head("Timing point", lambda row: row["label"]),
        number("Seen", lambda row: say_number(row["seen"])),
        number("Not there", lambda row: say_number(row["not there"])),
        number("Unclear", lambda row: say_number(row["unclear"])),
        number("Against the reads", lambda row: say_number(row["against"])),
    )
    return show_table(rows, heads, "Outcomes of look-ups") if rows.height else show_text([])
