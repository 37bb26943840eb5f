"""The picture across the road: the mats of a point's two lines to scale, each with the rate at which it answers.

A declared frame in, a chart out; nothing is estimated here.  The rate stands in figures on every mat, so that the
picture reads without its shades, in grey and on paper.
"""

from __future__ import annotations

from typing import cast

import altair as alt
import polars as pl

from lineproof.charts import BLACK, GREY, dress
from lineproof.contracts import Column, Table
from lineproof.tables import COUNT, FLOAT, TEXT

WIDTH = 560
BAND = 62
ROLES = ["main", "backup"]
WORDS = ["sound", "weak", "dead", "bare road", "cannot tell"]
LIGHT, DARK = "#EAF1F7", "#12405F"
DARKEST = 0.5  # a rate of this share or less has the darkest shade
WHITE_BELOW = 0.65  # figures on a darker mat are white

ROAD_ROWS = Table(
    "road rows",
    "one mat of a line, or the bare road beside it, to draw",
    ("label", "role", "begin_m"),
    {
        "label": Column(TEXT, "the timing point; points are drawn in the order given"),
        "role": Column(pl.Enum(ROLES), "main or backup line"),
        "line": Column(TEXT, "line id"),
        "slot": Column(
            pl.Int32(), "place across the road, 1 at the near side; null: beside the mats", nullable=True
        ),
        "begin_m": Column(FLOAT, "from the near end of the line, m"),
        "end_m": Column(FLOAT, "to, m"),
        "tried": Column(COUNT, "runners over it, estimated", nullable=True),
        "estimate": Column(FLOAT, "share for whom it answers", nullable=True),
        "rate": Column(TEXT, "the share in words"),
        "interval": Column(TEXT, "its interval in words", nullable=True),
        "verdict": Column(pl.Enum(WORDS), "in one word"),
        "item": Column(TEXT, "the item that lies there", nullable=True),
    },
)


def draw_road(rows: pl.DataFrame, title: str) -> alt.FacetChart:
    """ROAD_ROWS as two rows of mats for each point, the near side to the left."""
    rows = ROAD_ROWS.conform(rows)
    told = pl.col("estimate").is_not_null()
    bad = pl.col("verdict").cast(pl.String).is_in(["weak", "dead"])
    drawn = rows.with_columns(
        pl.col("role").cast(pl.String),
        pl.col("verdict").cast(pl.String),
        ((pl.col("begin_m") + pl.col("end_m")) / 2).alias("middle"),
        told.alias("told"),
        bad.alias("bad"),
        (told & (pl.col("estimate") < WHITE_BELOW)).alias("dark"),
        pl.when(pl.col("verdict") != "sound")
        .then(pl.col("verdict").cast(pl.String).str.to_uppercase())
        .alias("word"),
    )
    row = (
        alt.Row("label:N")
        .sort(rows["label"].unique(maintain_order=True).to_list())
        .title(None)
        .header(
            labelAngle=0, labelAlign="left", labelAnchor="start", labelOrient="top", labelFontWeight="bold"
        )
    )
    chart: alt.FacetChart = (
        alt.layer(_mats(drawn), *_writing(), data=drawn)
        .properties(width=WIDTH, height=alt.Step(BAND))
        .facet(row=row, spacing=14)
    )
    return dress(chart, title, CAPTION, drawn.height)


CAPTION = (
    "Seen along the road, the near side to the left, mats to scale. On each mat the share of the runners over it for whom it "
    "answered, in per cent, and the 95 % interval. The darker a mat, the fewer; a heavy frame marks a weak or dead one, a "
    "dashed frame road without a mat or a mat of which too little was seen. A mat is called weak beside the other mats of its "
    "point: what a line loses on all its mats alike (rain, a power cut) lowers them all and is no single mat's."
)


def _base() -> alt.Chart:
    tooltip = [
        alt.Tooltip("label:N", title="Point"),
        alt.Tooltip("role:N", title="Line"),
        alt.Tooltip("slot:Q", title="Mat from the near side"),
        alt.Tooltip("tried:Q", title="Runners over it, about"),
        alt.Tooltip("rate:N", title="Answered for"),
        alt.Tooltip("interval:N", title="Interval"),
        alt.Tooltip("verdict:N", title="In a word"),
    ]
    y = (
        alt.Y("role:N")
        .sort(ROLES)
        .scale(paddingInner=0.12, paddingOuter=0.06)
        .title(None)
        .axis(domain=False, ticks=False)
    )
    return alt.Chart().encode(y=y, tooltip=tooltip)


def _mats(drawn: pl.DataFrame) -> alt.LayerChart:
    low, high = float(str(drawn["begin_m"].min())), float(str(drawn["end_m"].max()))
    x = (
        alt.X("begin_m:Q")
        .scale(domain=[low, high], nice=False, zero=False)
        .axis(tickMinStep=1, format="d", grid=False)
        .title("Metres from the near end of the line")
    )
    shade = alt.Color("estimate:Q").scale(domain=[DARKEST, 1], range=[DARK, LIGHT], clamp=True).legend(None)
    base = _base().encode(x=x, x2="end_m:Q")
    return cast(
        "alt.LayerChart",
        alt.layer(
            base.transform_filter("datum.told && !datum.bad")
            .mark_rect(stroke=GREY, strokeWidth=1)
            .encode(color=shade),
            base.transform_filter("datum.bad").mark_rect(stroke=BLACK, strokeWidth=3).encode(color=shade),
            base.transform_filter("!datum.told").mark_rect(
                fill="white", fillOpacity=0, stroke=BLACK, strokeWidth=1.5, strokeDash=[5, 4]
            ),
        ),
    )


def _writing() -> list[alt.Chart]:
    """Rate, interval, verdict where it is not sound, and the item, one under the other."""
    ink = alt.condition("datum.dark", alt.value("white"), alt.value(BLACK))
    base = _base().encode(x="middle:Q", color=ink)
    return [
        base.mark_text(dy=-15, fontSize=14, fontWeight="bold").encode(text="rate:N"),
        _where_told(base, "interval").mark_text(dy=0, fontSize=11).encode(text="interval:N"),
        _where_told(base, "word").mark_text(dy=13, fontSize=11, fontWeight="bold").encode(text="word:N"),
        _where_told(base, "item").mark_text(dy=25, fontSize=10).encode(text="item:N"),
    ]


def _where_told(base: alt.Chart, name: str) -> alt.Chart:
    return base.transform_filter(f"isValid(datum.{name})")
