"""Charts: a declared frame in, an ``alt.Chart`` out; nothing is estimated here.

One look for all: the colours of Okabe and Ito (2008, "Color universal design"), which colour-blind
readers tell apart, and beside each colour a shape, a dash or a word, so that a grey print says the same.
Titles say what the chart shows; captions say how to read it.  Clock times are local; they are handed
over as if they were UTC and drawn on UTC scales, so that no zone of the reader's machine can move them.
"""

from __future__ import annotations

import math
import textwrap
from typing import Any, TypeVar, cast

import altair as alt
import polars as pl

from lineproof.contracts import Column, Table
from lineproof.tables import COUNT, FLOAT, TEXT
from lineproof.vocabulary import Severity
from lineproof.wording import HARD_SPACE, say_count, say_interval, say_number, say_share, say_target

BLUE, ORANGE, VERMILLION, GREY, PALE, BLACK = (
    "#0072B2",
    "#E69F00",
    "#D55E00",
    "#8A8A8A",
    "#DADADA",
    "#222222",
)
EITHER = "either line"
KIND_WORDS = ["main line", "backup line", EITHER]
SEVERITY_WORDS = [severity.value for severity in Severity]
MOST_ROWS = 5000
FONT = "Helvetica, Arial, 'Liberation Sans', sans-serif"
TITLE_LETTERS = 78
LABEL_ROOM = 290
NEAR = 0.9  # rates below this do not stretch the axis; they are drawn at its edge
PLOT_WIDTH = 300
STRAY_SHARE = 0.001  # of the crossings, at either end of the day, are not drawn over time

Chart = TypeVar("Chart", alt.LayerChart, alt.FacetChart)

RATE_ROWS = Table(
    "rate rows",
    "one rate to draw",
    ("label", "kind"),
    {
        "label": Column(TEXT, "what it is a rate of; rows are drawn in the order given"),
        "kind": Column(pl.Enum(KIND_WORDS), "read by which line"),
        "proven": Column(COUNT, "denominator"),
        "missed": Column(COUNT, "of these, not read"),
        "estimate": Column(FLOAT, "the rate", nullable=True),
        "conf_low": Column(FLOAT, "lower end of its interval", nullable=True),
        "conf_high": Column(FLOAT, "upper end", nullable=True),
    },
)

TIME_ROWS = Table(
    "time rows",
    "one line in one time bin",
    ("label", "begin"),
    {
        "label": Column(TEXT, "the line; lines are drawn in the order given"),
        "kind": Column(pl.Enum(KIND_WORDS), "role of the line"),
        "begin": Column(pl.Datetime("us"), "begin of the bin, clock time as at the first gun"),
        "end": Column(pl.Datetime("us"), "end of the bin, likewise"),
        "clock": Column(TEXT, "begin and end of the bin, true local clock time"),
        "proven": Column(COUNT, "crossings proven in the bin"),
        "missed": Column(COUNT, "of these, not read by the line"),
        "flow": Column(FLOAT, "proven crossings of the point per minute"),
    },
)

CHECK_ROWS = Table(
    "check rows",
    "one check that caught something",
    ("label",),
    {
        "label": Column(TEXT, "the check in words; drawn in the order given"),
        "severity": Column(pl.Enum(SEVERITY_WORDS), "its severity"),
        "findings": Column(COUNT, "what it caught"),
    },
)


def draw_rates(rows: pl.DataFrame, target: float, title: str) -> alt.LayerChart:
    """Dot and interval for each row against the target, with the counts beside it.

    The axis begins just below the lowest interval, never below 90 % while a rate lies above that; a rate
    below the axis is drawn as an arrow at its left edge with its value in words.
    """
    rows = RATE_ROWS.conform(rows)
    begin = axis_begin(rows, target)
    kinds = [kind for kind in KIND_WORDS if kind in rows["kind"].to_list()]
    drawn = rows.with_columns(
        inside=pl.col("estimate") >= begin,
        low=pl.max_horizontal("conf_low", pl.lit(begin)),
        edge=pl.lit(begin),
        words=pl.Series([_rate_words(row) for row in rows.iter_rows(named=True)], dtype=pl.String),
        says=pl.Series([_rate_count(row, begin) for row in rows.iter_rows(named=True)], dtype=pl.String),
    )
    x = (
        alt.X("estimate:Q")
        .scale(domain=[begin, 1], nice=False, zero=False)
        .title(f"Share of proven crossings that were read (axis begins at {say_target(begin)})")
        .axis(labelExpr=_percent_labels(begin), tickCount=4, labelFlush=False)
    )
    y = alt.Y("label:N").sort(rows["label"].to_list()).title(None)
    colour = alt.Color("kind:N").scale(domain=KIND_WORDS, range=[BLUE, VERMILLION, BLACK])
    shape = alt.Shape("kind:N").scale(domain=KIND_WORDS, range=["circle", "diamond", "square"])
    legend = alt.Legend(title=None, orient="top", values=kinds) if len(kinds) > 1 else None
    base = alt.Chart(drawn).encode(
        y=y, tooltip=[alt.Tooltip("label:N", title="Where"), alt.Tooltip("words:N", title="Rate")]
    )
    inside = base.transform_filter("datum.inside")
    layers = [
        inside.mark_rule(strokeWidth=2).encode(
            x=alt.X("low:Q").scale(domain=[begin, 1], nice=False, zero=False),
            x2="conf_high:Q",
            color=colour.legend(legend),
        ),
        inside.mark_point(filled=True, size=90, opacity=1).encode(
            x=x, color=colour.legend(legend), shape=shape.legend(legend)
        ),
        base.transform_filter("isValid(datum.estimate) && !datum.inside")
        .mark_point(shape="triangle-left", filled=True, size=120, color=BLACK, opacity=1)
        .encode(x="edge:Q"),
        base.mark_text(align="left", dx=10, color=BLACK, fontSize=13).encode(
            x=alt.value(PLOT_WIDTH), text="says:N"
        ),
        _target_rule(target),
    ]
    chart = cast("alt.LayerChart", alt.layer(*layers)).properties(width=PLOT_WIDTH, height=alt.Step(26))
    return dress(chart, title, _rate_caption(rows, begin, target), rows.height)


def axis_begin(rows: pl.DataFrame, target: float) -> float:
    """Where the axis of rates begins: a round share below all intervals that lie above 90 %."""
    near = rows.filter(pl.col("estimate") >= NEAR)["conf_low"].drop_nulls().to_list()
    if not near and rows["estimate"].count():
        return 0.0
    lowest = max(NEAR, min([*near, target]))
    gap = (1 - lowest) * 1.05
    step = 10.0 ** math.floor(math.log10(gap)) / 2
    return float(max(0.0, round(1 - math.ceil(gap / step) * step, 6)))


def _percent_labels(begin: float) -> str:
    digits = 2 if begin > 0.99 else 1 if begin > 0.95 else 0
    return f"format(datum.value * 100, '.{digits}f') + '{HARD_SPACE}%'"


def _rate_words(row: dict[str, Any]) -> str:
    if row["estimate"] is None:
        return "not known"
    whole = max(row["proven"], 1)
    interval = (
        say_interval(row["conf_low"], row["conf_high"], whole)
        if row["conf_low"] is not None
        else "no interval"
    )
    return f"{say_share(row['estimate'], whole)} ({interval}), {say_count(row['missed'], 'miss', 'misses')} of {say_number(row['proven'])}"


def _rate_count(row: dict[str, Any], begin: float) -> str:
    if row["estimate"] is None:
        return "rate not known"
    value = f"{say_share(row['estimate'], max(row['proven'], 1))}, " if row["estimate"] < begin else ""
    return f"{value}{say_number(row['missed'])} of {say_number(row['proven'])} missed"


def _rate_caption(rows: pl.DataFrame, begin: float, target: float) -> str:
    below = rows.filter(pl.col("estimate") < begin).height
    cut = rows.filter(pl.col("estimate") >= begin, pl.col("conf_low") < begin).height
    parts = [
        "Mark: share of the proven crossings that were read. Bar: 95 % interval.",
        f"Dashed: the target of {say_target(target)}, which is meant for a point with two lines.",
        f"The axis begins at {say_target(begin)}, not at 0." if begin > 0 else "",
        f"An arrow at the left edge: a rate below {say_target(begin)}, written beside it." if below else "",
        "A bar that touches the left edge goes on beyond it." if cut else "",
    ]
    return " ".join(part for part in parts if part)


def _target_rule(target: float) -> alt.Chart:
    rule: alt.Chart = (
        alt.Chart(pl.DataFrame({"target": [target]}))
        .mark_rule(strokeDash=[6, 4], color=BLACK, strokeWidth=1.5)
        .encode(x="target:Q", tooltip=[alt.Tooltip("target:Q", title="Target", format=".1%")])
    )
    return rule


def draw_misses_over_time(rows: pl.DataFrame, title: str) -> alt.FacetChart:
    """For each line, misses in each time bin (dark bars) before the flow at its point (grey).

    Flow is drawn to the height of the panel, so that one scale, that of the misses, serves all lines.
    """
    rows, left_out = _busy_hours(TIME_ROWS.conform(rows))
    most_missed = max(2, _most(rows, "missed"))
    most_flow = _most(rows, "flow")
    minutes = rows.select((pl.col("end") - pl.col("begin")).max().dt.total_minutes()).item() or 0
    says = [f"{row['missed']} of {say_number(row['proven'])}" for row in rows.iter_rows(named=True)]
    drawn = rows.with_columns(
        begin=pl.col("begin").dt.epoch("ms"),
        end=pl.col("end").dt.epoch("ms"),
        says=pl.Series(says, dtype=pl.String),
        height=pl.col("flow") / (most_flow or 1) * most_missed,
    )
    clock = (
        alt.X("begin:T")
        .scale(type="utc")
        .axis(format="%H:%M", tickCount=8, labelFlush=False)
        .title(f"Local clock time, bins of {minutes}{HARD_SPACE}minutes")
    )
    tooltip = [
        alt.Tooltip("label:N", title="Line"),
        alt.Tooltip("clock:N", title="Time"),
        alt.Tooltip("says:N", title="Missed"),
        alt.Tooltip("flow:Q", title="Crossings per minute", format=".1f"),
    ]
    scale = alt.Scale(domain=[0, most_missed], nice=False)
    base = alt.Chart().encode(x=clock, x2="end:T", tooltip=tooltip)
    axis = alt.Axis(values=[0, most_missed], format="d")
    flow = base.mark_rect(color=PALE).encode(
        y=alt.Y("height:Q").scale(scale).title(None).axis(axis), y2=alt.Y2Datum(0)
    )
    misses = (
        base.mark_rect(color=BLUE, stroke="white", strokeWidth=0.5)
        .transform_filter("datum.missed > 0")
        .encode(y=alt.Y("missed:Q").scale(scale).title(None), y2=alt.Y2Datum(0))
    )
    row = (
        alt.Row("label:N")
        .sort(rows["label"].unique(maintain_order=True).to_list())
        .title(None)
        .header(labelAngle=0, labelAlign="left", labelLimit=LABEL_ROOM, labelOrient="left")
    )
    chart: alt.FacetChart = (
        alt.layer(flow, misses, data=drawn).properties(width=400, height=40).facet(row=row, spacing=16)
    )
    caption = (
        "Dark bars and scale: proven crossings that were not read there. Grey: proven crossings of its point per minute, the "
        f"highest {most_flow:.0f} a minute. A crossing not read at its point is placed by the runner's times before and after."
    )
    caption += left_out
    if (rows["clock"].str.slice(0, 5) != rows["begin"].dt.strftime("%H:%M")).any():
        caption += " The clocks were changed during the event: the axis goes on in the time of the first gun."
    return dress(chart, title, caption, drawn.height)


def _busy_hours(rows: pl.DataFrame) -> tuple[pl.DataFrame, str]:
    """The rows of the hours in which nearly everybody crossed, and a sentence on those left out.

    One tag read at midnight would otherwise squeeze the race into a corner.
    """
    by_bin = rows.group_by("begin").agg(pl.col("proven").sum()).sort("begin")
    before = pl.col("proven").cum_sum() / pl.col("proven").sum()
    after = pl.col("proven").cum_sum(reverse=True) / pl.col("proven").sum()
    busy = by_bin.filter(before > STRAY_SHARE, after > STRAY_SHARE)["begin"]
    kept = rows.filter(pl.col("begin").is_between(busy.min(), busy.max()))
    crossed, missed = (int(rows[name].sum()) - int(kept[name].sum()) for name in ("proven", "missed"))
    remark = f" Left out, as too far from the others: {say_count(crossed, 'crossing')}, {say_number(missed)} of them missed."
    return kept, remark if crossed else ""


def _most(rows: pl.DataFrame, column: str) -> float:
    return float(max(rows[column].to_list(), default=0))


def draw_checks(rows: pl.DataFrame, title: str) -> alt.LayerChart:
    """How much each check caught, by severity; the severity stands in words beside the bar."""
    rows = CHECK_ROWS.conform(rows)
    drawn = rows.with_columns(
        says=pl.Series(
            [say_count(r["findings"], r["severity"]) for r in rows.iter_rows(named=True)], dtype=pl.String
        )
    )
    base = alt.Chart(drawn).encode(
        y=alt.Y("label:N").sort(rows["label"].to_list()).title(None),
        x=alt.X("findings:Q").title("Findings").axis(tickMinStep=1, format="d", tickCount=5),
        tooltip=[alt.Tooltip("label:N", title="Check"), alt.Tooltip("says:N", title="Found")],
    )
    bars = base.mark_bar(height=14).encode(
        color=alt.Color("severity:N")
        .scale(domain=SEVERITY_WORDS, range=[VERMILLION, ORANGE, GREY])
        .legend(None)
    )
    words = base.mark_text(align="left", dx=6, fontSize=13, color=BLACK).encode(text="says:N")
    chart = cast("alt.LayerChart", alt.layer(bars, words)).properties(width=300, height=alt.Step(24))
    return dress(
        chart,
        title,
        "Bars: findings of each check, errors first; the word beside a bar is the severity.",
        rows.height,
    )


CONFIG: dict[str, Any] = {
    "background": "white",
    "font": FONT,
    "view": {"stroke": None},
    "axis": {
        "labelFontSize": 14, "titleFontSize": 14, "titleFontWeight": "normal", "labelColor": BLACK, "titleColor": BLACK,
        "gridColor": "#E3E3E3", "domainColor": "#777777", "tickColor": "#777777", "labelLimit": LABEL_ROOM,
    },
    "axisY": {"grid": False},
    "legend": {"labelFontSize": 14, "titleFontSize": 14, "symbolSize": 90, "labelColor": BLACK},
    "header": {"labelFontSize": 14, "labelColor": BLACK},
    "title": {"fontSize": 16, "anchor": "start", "frame": "bounds", "color": BLACK, "offset": 12, "lineHeight": 20},
}  # fmt: skip


def dress(chart: Chart, title: str, caption: str, height: int) -> Chart:
    """Dress a chart: title in lines, our look, caption, and a description for those who cannot see it."""
    if height > MOST_ROWS:
        raise ValueError(f"a chart of {height} rows: aggregate first")
    dressed = chart.properties(
        title=textwrap.wrap(title, TITLE_LETTERS),
        description=f"{title}. {caption}",
        usermeta={"caption": caption},
    ).configure(**CONFIG)
    return cast("Chart", dressed)
