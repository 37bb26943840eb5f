"""Charts of the purchase case: a declared frame in, a chart out; nothing is estimated here."""

from __future__ import annotations

from typing import cast

import altair as alt
import polars as pl

from lineproof.charts import BLACK, BLUE, GREY, PALE, PLOT_WIDTH, VERMILLION, dress
from lineproof.replacement.report_rows import FLOW_ROWS, ORIGIN_ROWS, SWING_ROWS, WAY_ROWS
from lineproof.replacement.words import say_about, say_some

MOST_SWINGS = 12


def draw_origins(rows: pl.DataFrame, title: str) -> alt.LayerChart:
    """Unread crossings of the coming season by reason; what a purchase can cure stands apart by colour and word."""
    rows = ORIGIN_ROWS.conform(rows)
    drawn = rows.with_columns(
        says=pl.Series([say_some(count) for count in rows["unread"]], dtype=pl.String),
        who=pl.when("by_purchase").then(pl.lit("a purchase helps")).otherwise(pl.lit("no purchase helps")),
    )
    base = alt.Chart(drawn).encode(
        y=alt.Y("label:N").sort(rows["label"].to_list()).title(None),
        x=alt.X("unread:Q").title("Crossings read by no line, next season").axis(tickCount=5),
        tooltip=[
            alt.Tooltip("label:N", title="Reason"),
            alt.Tooltip("says:N", title="Crossings"),
            alt.Tooltip("cure:N", title="What helps"),
        ],
    )
    bars = base.mark_bar(height=14).encode(
        color=alt.Color("who:N")
        .scale(domain=["a purchase helps", "no purchase helps"], range=[BLUE, GREY])
        .legend(alt.Legend(title=None, orient="top"))
    )
    words = base.mark_text(align="left", dx=6, fontSize=13, color=BLACK).encode(text="says:N")
    chart = cast("alt.LayerChart", alt.layer(bars, words)).properties(width=PLOT_WIDTH, height=alt.Step(18))
    return dress(
        chart,
        title,
        "Bars: expected crossings of the coming season that no line reads, nothing bought, by what would have read them.",
        rows.height,
    )


def _zero_rule() -> alt.Chart:
    """A dashed line across the whole picture: rows of its own, as beside a category it would have no length."""
    rule: alt.Chart = alt.Chart(pl.DataFrame({"zero": [0.0]})).mark_rule(strokeDash=[4, 3], color=BLACK)
    return rule


def draw_ways(rows: pl.DataFrame, currency: str, title: str) -> alt.LayerChart:
    """Mean gain of each way with its 90 % range, against doing nothing."""
    rows = WAY_ROWS.conform(rows)
    drawn = rows.with_columns(
        says=pl.Series([say_about(gain, currency) for gain in rows["gain"]], dtype=pl.String),
        mark=pl.when("best").then(pl.lit("best on average")).otherwise(pl.lit("other")),
    )
    low, high = min(0.0, float(rows["low"].to_numpy().min())), max(1.0, float(rows["high"].to_numpy().max()))
    scale = alt.Scale(domain=[low, high], nice=True, zero=True)
    base = alt.Chart(drawn).encode(
        y=alt.Y("label:N").sort(rows["label"].to_list()).title(None),
        tooltip=[
            alt.Tooltip("label:N", title="Way"),
            alt.Tooltip("steps:N", title="Buys"),
            alt.Tooltip("says:N", title="Gain"),
        ],
    )
    title_x = f"Money of today gained over the seasons looked at, {currency}"
    layers = [
        _zero_rule().encode(x=alt.X("zero:Q").scale(scale)),
        base.mark_rule(strokeWidth=3, color=BLUE).encode(
            x=alt.X("low:Q").scale(scale).title(title_x), x2="high:Q"
        ),
        base.mark_point(filled=True, size=110, opacity=1, color=BLACK).encode(
            x=alt.X("gain:Q").scale(scale).title(title_x).axis(tickCount=5),
            shape=alt.Shape("mark:N")
            .scale(domain=["best on average", "other"], range=["diamond", "circle"])
            .legend(alt.Legend(title=None, orient="top")),
        ),
        base.mark_text(align="left", dx=10, color=BLACK, fontSize=13).encode(
            x=alt.value(PLOT_WIDTH), text="says:N"
        ),
    ]
    chart = cast("alt.LayerChart", alt.layer(*layers)).properties(width=PLOT_WIDTH, height=alt.Step(20))
    caption = "Mark: mean gain against doing nothing, price taken off. Bar: holds the gain with 90 %. Dashed: no gain."
    return dress(chart, title, caption, rows.height)


def draw_flows(rows: pl.DataFrame, currency: str, title: str) -> alt.LayerChart:
    """The running sum of the purchase's money, season by season, with its 90 % band."""
    rows = FLOW_ROWS.conform(rows)
    drawn = rows.with_columns(
        says=pl.Series([say_about(money, currency) for money in rows["running"]], dtype=pl.String),
    )
    y_title = f"Running sum, {currency} of today"
    base = alt.Chart(drawn).encode(
        x=alt.X("season:O").title("After season (0: today)").axis(labelAngle=0),
        tooltip=[alt.Tooltip("season:O", title="After season"), alt.Tooltip("says:N", title="Running sum")],
    )
    layers = [
        base.mark_area(color=PALE).encode(y=alt.Y("running_low:Q").title(y_title), y2="running_high:Q"),
        _zero_rule().encode(y="zero:Q"),
        base.mark_line(
            color=BLUE, strokeWidth=2, point=alt.OverlayMarkDef(color=BLUE, filled=True, size=60)
        ).encode(y=alt.Y("running:Q").title(y_title).axis(tickCount=5)),
    ]
    chart = cast("alt.LayerChart", alt.layer(*layers)).properties(width=PLOT_WIDTH + 100, height=90)
    caption = "Line: what the purchase has cost and saved on average up to then. Grey: holds it with 90 %. Dashed: paid back."
    return dress(chart, title, caption, rows.height)


def draw_swings(rows: pl.DataFrame, currency: str, title: str) -> alt.LayerChart:
    """Tornado: the gain at the low and the high end of each assumption; the largest swings."""
    rows = SWING_ROWS.conform(rows).head(MOST_SWINGS)
    ends = pl.concat(
        [
            rows.select(
                "label", "gain", "flips", at=pl.col(f"gain_{end}"), value=pl.col(end), unit="unit"
            ).with_columns(end=pl.lit(f"{end} end"))
            for end in ("low", "high")
        ]
    )
    drawn = ends.with_columns(
        says=pl.Series(
            [
                f"{row['value']:.3g} {row['unit']}: {say_about(row['at'], currency)}"
                for row in ends.iter_rows(named=True)
            ],
            dtype=pl.String,
        ),
    )
    x_title = f"Gain of the purchase, {currency} of today"
    base = alt.Chart(drawn).encode(
        y=alt.Y("label:N").sort(rows["label"].to_list()).title(None),
        tooltip=[alt.Tooltip("label:N", title="Assumption"), alt.Tooltip("says:N", title="Gain at")],
    )
    layers = [
        base.mark_rule(strokeWidth=8, color=PALE).encode(x=alt.X("gain:Q"), x2="at:Q"),
        _zero_rule().encode(x="zero:Q"),
        base.mark_point(filled=True, size=90, opacity=1).encode(
            x=alt.X("at:Q").title(x_title).axis(tickCount=5),
            color=alt.Color("end:N")
            .scale(domain=["low end", "high end"], range=[BLUE, VERMILLION])
            .legend(alt.Legend(title=None, orient="top")),
            shape=alt.Shape("end:N")
            .scale(domain=["low end", "high end"], range=["circle", "square"])
            .legend(alt.Legend(title=None, orient="top")),
        ),
    ]
    chart = cast("alt.LayerChart", alt.layer(*layers)).properties(width=PLOT_WIDTH, height=alt.Step(22))
    caption = (
        "Marks: gain of the purchase with one assumption at the low or high end of its range, all others as planned. "
        "Where a bar crosses the dashed line, that assumption alone decides whether the purchase pays."
    )
    return dress(chart, title, caption, drawn.height)
