"""Charts of the season report: a declared frame in, a chart out; nothing is estimated here.

They share the look of ``charts.py``: a mark never speaks by its colour alone.
"""

from __future__ import annotations

from typing import cast

import altair as alt
import polars as pl

from lineproof.charts import (
    BLACK,
    BLUE,
    GREY,
    KIND_WORDS,
    ORANGE,
    PALE,
    PLOT_WIDTH,
    VERMILLION,
    dress,
)
from lineproof.contracts import Column, Table
from lineproof.tables import COUNT, FLOAT, TEXT
from lineproof.wording import HARD_SPACE, say_count, say_interval, say_number, say_share

PERCENT = f"format(datum.value * 100, '.3~f') + '{HARD_SPACE}%'"

VERDICT_WORDS = ["sound", "watch", "test", "repair or retire", "cannot tell"]
VERDICT_COLOURS = [BLUE, ORANGE, VERMILLION, BLACK, GREY]
VERDICT_SHAPES = ["circle", "diamond", "triangle-up", "square", "cross"]
SIDE_WORDS = ["within", "worse", "better"]

ITEM_ROWS = Table(
    "item rows",
    "one item to draw",
    ("label",),
    {
        "label": Column(TEXT, "kind and id; items are drawn in the order given"),
        "verdict": Column(pl.Enum(VERDICT_WORDS), "what to do"),
        "events": Column(COUNT, "events at which it lay"),
        "tried": Column(FLOAT, "crossings it was tried on"),
        "rate": Column(FLOAT, "share missed in common conditions"),
        "rate_low": Column(FLOAT, "lower end of its interval"),
        "rate_high": Column(FLOAT, "upper end"),
    },
)

LINE_ROWS = Table(
    "line rows",
    "one line at one event",
    ("event", "label"),
    {
        "event": Column(TEXT, "the event; drawn in the order given"),
        "label": Column(TEXT, "the line"),
        "kind": Column(pl.Enum(KIND_WORDS), "role of the line"),
        "proven": Column(COUNT, "denominator"),
        "missed": Column(COUNT, "of these, not read"),
        "estimate": Column(FLOAT, "the rate"),
        "conf_low": Column(FLOAT, "lower end of its interval"),
        "conf_high": Column(FLOAT, "upper end"),
    },
)

FUNNEL_ROWS = Table(
    "funnel rows",
    "one item among its kind: how many crossings, which share missed, and the limits for that many",
    ("label",),
    {
        "label": Column(TEXT, "the item"),
        "tried": Column(FLOAT, "crossings it was tried on"),
        "share": Column(FLOAT, "share missed"),
        "centre": Column(FLOAT, "share missed by all of its kind"),
        "low": Column(FLOAT, "lower limit for that many crossings"),
        "high": Column(FLOAT, "upper limit"),
        "side": Column(pl.Enum(SIDE_WORDS), "where it lies"),
    },
)

CONTROL_ROWS = Table(
    "control rows",
    "one item or line at one event, with the limits of its chart",
    ("label", "event"),
    {
        "label": Column(TEXT, "item or line; drawn in the order given"),
        "event": Column(TEXT, "event"),
        "number": Column(COUNT, "its place in the season"),
        "share": Column(FLOAT, "share missed"),
        "centre": Column(FLOAT, "centre line"),
        "high": Column(FLOAT, "upper limit"),
        "out": Column(pl.Boolean(), "beyond the limit"),
    },
)

CAUSE_ROWS = Table(
    "cause rows",
    "one likely reason and the misses of which it is the first explanation",
    ("label",),
    {
        "label": Column(TEXT, "the reason; drawn in the order given"),
        "misses": Column(COUNT, "misses explained"),
        "explained": Column(pl.Boolean(), "false: the rest, without an explanation"),
    },
)


def draw_items(rows: pl.DataFrame, title: str) -> alt.LayerChart:
    """For each item the share it would miss in common conditions, with its interval and what to do."""
    rows = ITEM_ROWS.conform(rows)
    words = [_item_words(row) for row in rows.iter_rows(named=True)]
    drawn = rows.with_columns(words=pl.Series(words, dtype=pl.String), says=pl.col("verdict").cast(pl.String))
    scale = alt.Scale(domain=VERDICT_WORDS, range=VERDICT_COLOURS)
    x = alt.X("rate:Q").title("Share missed in common conditions").axis(labelExpr=PERCENT, tickCount=4)
    base = alt.Chart(drawn).encode(
        y=alt.Y("label:N").sort(rows["label"].to_list()).title(None),
        tooltip=[alt.Tooltip("label:N", title="Item"), alt.Tooltip("words:N", title="Missed")],
    )
    layers = [
        base.mark_rule(strokeWidth=2).encode(
            x=alt.X("rate_low:Q").title("Share missed in common conditions"),
            x2="rate_high:Q",
            color=alt.Color("verdict:N").scale(scale).legend(None),
        ),
        base.mark_point(filled=True, size=90, opacity=1).encode(
            x=x,
            color=alt.Color("verdict:N").scale(scale).legend(None),
            shape=alt.Shape("verdict:N").scale(domain=VERDICT_WORDS, range=VERDICT_SHAPES).legend(None),
        ),
        base.mark_text(align="left", dx=10, fontSize=13, color=BLACK).encode(
            x=alt.value(PLOT_WIDTH), text="says:N"
        ),
    ]
    chart = cast("alt.LayerChart", alt.layer(*layers)).properties(width=PLOT_WIDTH, height=alt.Step(24))
    caption = (
        "Mark: the share of crossings that the item would miss in the conditions common to the season, drawn towards the "
        "middle of its kind where little is known of it. Bar: 95 % interval. The word says what to do."
    )
    return dress(chart, title, caption, rows.height)


def _item_words(row: dict[str, float]) -> str:
    whole = max(int(row["tried"]), 1)
    events = say_count(int(row["events"]), "event")
    return (
        f"{say_share(row['rate'], whole)} ({say_interval(row['rate_low'], row['rate_high'], whole)}), "
        f"{events}, about {say_count(whole, 'crossing')}"
    )


def draw_lines_by_event(rows: pl.DataFrame, target: float, title: str) -> alt.LayerChart:
    """Every line of every event on one scale: which share of the proven crossings it missed."""
    rows = LINE_ROWS.conform(rows)
    words = [
        f"{say_share(row['estimate'], max(row['proven'], 1))}, {say_count(row['missed'], 'miss', 'misses')} "
        f"of {say_number(row['proven'])}"
        for row in rows.iter_rows(named=True)
    ]
    drawn = rows.with_columns(
        words=pl.Series(words, dtype=pl.String), share=1 - pl.col("estimate"), goal=pl.lit(1 - target)
    )
    kinds = [kind for kind in KIND_WORDS if kind in rows["kind"].to_list()]
    legend = alt.Legend(title=None, orient="top", values=kinds)
    marks = (
        alt.Chart(drawn)
        .mark_point(filled=True, size=70, opacity=0.75)
        .encode(
            y=alt.Y("event:N").sort(rows["event"].unique(maintain_order=True).to_list()).title(None),
            x=alt.X("share:Q")
            .scale(type="sqrt", nice=False)
            .axis(labelExpr=PERCENT, values=[0.002, 0.01, 0.05, 0.1, 0.25, 0.5, 1])
            .title("Share of proven crossings that the line missed (root scale)"),
            color=alt.Color("kind:N")
            .scale(domain=KIND_WORDS, range=[BLUE, VERMILLION, BLACK])
            .legend(legend),
            shape=alt.Shape("kind:N")
            .scale(domain=KIND_WORDS, range=["circle", "diamond", "square"])
            .legend(legend),
            tooltip=[
                alt.Tooltip("event:N", title="Event"),
                alt.Tooltip("label:N", title="Line"),
                alt.Tooltip("words:N", title="Read"),
            ],
        )
    )
    rule = (
        alt.Chart(drawn.head(1)).mark_rule(strokeDash=[6, 4], color=BLACK, strokeWidth=1.5).encode(x="goal:Q")
    )
    chart = cast("alt.LayerChart", alt.layer(marks, rule)).properties(width=430, height=alt.Step(30))
    caption = (
        f"One mark for each line. Dashed: {100 * (1 - target):.2g}{HARD_SPACE}% missed, the target of a point with two lines. "
        "The scale is drawn out near 0, where most lines lie."
    )
    return dress(chart, title, caption, rows.height)


def draw_funnel(rows: pl.DataFrame, title: str) -> alt.LayerChart:
    """Share missed against how often the item was tried, with limits that widen for few crossings."""
    rows = FUNNEL_ROWS.conform(rows).sort("tried")
    scale = alt.Scale(domain=SIDE_WORDS, range=[GREY, VERMILLION, BLUE])
    base = alt.Chart(rows)
    x = alt.X("tried:Q").title("Crossings tried").axis(format=",d", tickCount=5)
    layers = [
        base.mark_area(color=PALE, opacity=0.7).encode(
            x=x, y=alt.Y("low:Q").title("Share missed").axis(labelExpr=PERCENT), y2="high:Q"
        ),
        base.mark_line(color=BLACK, strokeWidth=1, strokeDash=[4, 3]).encode(x=x, y="centre:Q"),
        base.mark_point(filled=True, size=60, opacity=1).encode(
            x=x,
            y="share:Q",
            color=alt.Color("side:N").scale(scale).legend(None),
            shape=alt.Shape("side:N")
            .scale(domain=SIDE_WORDS, range=["circle", "triangle-up", "diamond"])
            .legend(None),
            tooltip=[
                alt.Tooltip("label:N", title="Item"),
                alt.Tooltip("tried:Q", title="Crossings", format=",.0f"),
                alt.Tooltip("share:Q", title="Missed", format=".2%"),
            ],
        ),
        base.transform_filter("datum.side != 'within'")
        .mark_text(align="left", dx=8, dy=-6, fontSize=13, color=BLACK)
        .encode(x=x, y="share:Q", text="label:N"),
    ]
    chart = cast("alt.LayerChart", alt.layer(*layers)).properties(width=460, height=260)
    caption = (
        "One mark for each item. Dashed: the share missed by all of the kind. Grey band: where luck and the usual spread between "
        "places would put an item (99.8 % limits). A named mark lies outside: a triangle missed more, a diamond fewer."
    )
    return dress(chart, title, caption, rows.height)


def draw_control(rows: pl.DataFrame, title: str) -> alt.FacetChart:
    """For each item or line the share missed, event by event, with its upper limit."""
    rows = CONTROL_ROWS.conform(rows)
    events = rows.sort("number")["event"].unique(maintain_order=True).to_list()
    x = alt.X("event:N").sort(events).title(None).axis(labelAngle=-35, labelLimit=140)
    base = alt.Chart().encode(x=x)
    y = alt.Y("share:Q").title(None).axis(labelExpr=PERCENT, tickCount=3)
    layers = [
        base.mark_line(color=GREY, strokeDash=[6, 3], interpolate="step").encode(y="high:Q"),
        base.mark_line(color=BLACK, strokeWidth=1).encode(y="centre:Q"),
        base.mark_line(color=BLUE, strokeWidth=1.5).encode(y=y),
        base.mark_point(filled=True, size=70, opacity=1).encode(
            y=y,
            color=alt.condition("datum.out", alt.value(VERMILLION), alt.value(BLUE)),
            shape=alt.condition("datum.out", alt.value("triangle-up"), alt.value("circle")),
            tooltip=[
                alt.Tooltip("event:N", title="Event"),
                alt.Tooltip("share:Q", title="Missed", format=".2%"),
                alt.Tooltip("high:Q", title="Upper limit", format=".2%"),
            ],
        ),
    ]
    header = alt.Header(labelAngle=0, labelAlign="left", labelOrient="top", labelAnchor="start")
    labels = rows["label"].unique(maintain_order=True).to_list()
    chart: alt.FacetChart = (
        alt.layer(*layers, data=rows)
        .properties(width=460, height=90)
        .facet(row=alt.Row("label:N").sort(labels).title(None).header(header), spacing=14)
        .resolve_scale(y="independent")
    )
    caption = (
        "Blue: share missed at each event. Thin line: its centre. Dashed: upper limit, wide where few crossings were tried or "
        "events differ much from one another. A triangle lies beyond the limit. Each panel has its own scale."
    )
    return dress(chart, title, caption, rows.height)


def draw_causes(rows: pl.DataFrame, title: str) -> alt.LayerChart:
    """How many misses each likely reason explains first, and how many none explains."""
    rows = CAUSE_ROWS.conform(rows)
    drawn = rows.with_columns(
        says=pl.Series([say_number(n) for n in rows["misses"].to_list()], dtype=pl.String)
    )
    base = alt.Chart(drawn).encode(
        y=alt.Y("label:N").sort(rows["label"].to_list()).title(None),
        x=alt.X("misses:Q").title("Misses").axis(tickMinStep=1, format=",d", tickCount=5),
    )
    bars = base.mark_bar(height=15).encode(
        color=alt.condition("datum.explained", alt.value(BLUE), alt.value(PALE))
    )
    words = base.mark_text(align="left", dx=6, fontSize=13, color=BLACK).encode(text="says:N")
    chart = cast("alt.LayerChart", alt.layer(bars, words)).properties(width=320, height=alt.Step(25))
    caption = (
        "Each miss is counted once, under the first reason that it is consistent with; pale: no reason found."
    )
    return dress(chart, title, caption, rows.height)
