"""The timeline: for each line that a finding speaks of, when runners came by and when it missed them.

A declared frame in, a chart out; nothing is estimated here.  Each mark bears the number of its finding, so that the
picture reads without its colours.
"""

from __future__ import annotations

from typing import cast

import altair as alt
import polars as pl

from lineproof.charts import BLACK, GREY, ORANGE, PALE, VERMILLION, dress
from lineproof.contracts import Column, Table
from lineproof.tables import COUNT, TEXT
from lineproof.vocabulary import Cause

CAME_BY = "runners came by"
WORDS = [CAME_BY, *(cause.value for cause in Cause)]
SHORT = (Cause.BOTH_LINES.value, Cause.INTERRUPTION.value)
WIDTH, BAND = 480, 30

TIMELINE_ROWS = Table(
    "timeline rows",
    "one stretch of time of one line: when runners came by, or the window of a finding",
    ("label", "finding"),
    {
        "label": Column(TEXT, "the line; lines are drawn in the order given"),
        "begin": Column(pl.Datetime("us"), "begin, clock time as at the first gun"),
        "end": Column(pl.Datetime("us"), "end, likewise"),
        "what": Column(pl.Enum(WORDS), "cause of the finding, or that runners came by"),
        "finding": Column(COUNT, "number of the finding; 0: none"),
        "explained": Column(COUNT, "misses of which it is the first explanation"),
    },
)


def draw_timeline(rows: pl.DataFrame, title: str) -> alt.LayerChart:
    """TIMELINE_ROWS as one band for each line."""
    rows = TIMELINE_ROWS.conform(rows)
    what = pl.col("what").cast(pl.String)
    drawn = rows.with_columns(
        what,
        pl.col("begin").dt.epoch("ms"),
        pl.col("end").dt.epoch("ms"),
        pl.when(what == CAME_BY)
        .then(pl.lit("ground"))
        .when(what.is_in(SHORT))
        .then(pl.lit("silent"))
        .otherwise(pl.lit("part"))
        .alias("part"),
        pl.col("finding").cast(pl.String).alias("number"),
    )
    x = (
        alt.X("begin:T")
        .scale(type="utc", nice=False)
        .axis(format="%H:%M", tickCount=8, labelFlush=False)
        .title("Local clock time")
    )
    x_end = alt.X("end:T").scale(type="utc", nice=False)
    y = alt.Y("label:N").sort(rows["label"].unique(maintain_order=True).to_list()).title(None)
    tooltip = [
        alt.Tooltip("label:N", title="Line"),
        alt.Tooltip("what:N", title="Consistent with"),
        alt.Tooltip("number:N", title="Finding"),
        alt.Tooltip("explained:Q", title="Misses explained"),
    ]
    base = alt.Chart(drawn).encode(y=y, tooltip=tooltip)
    span = base.encode(x=x, x2="end:T")
    parts = {
        "ground": span.mark_bar(height=BAND * 0.8, color=PALE),
        "part": span.mark_bar(height=BAND * 0.34, color=ORANGE, stroke=GREY, strokeWidth=0.5),
        "silent": span.mark_bar(height=BAND * 0.8, color=VERMILLION, minBandSize=3),
    }
    # A layer without rows has no extent, of which a browser complains.
    present = [part for part in parts if part in drawn["part"].to_list()]
    layers = [parts[part].transform_filter(f"datum.part === '{part}'") for part in present]
    if len(present) > 1:
        number = base.mark_text(align="left", dx=3, fontSize=13, fontWeight="bold", color=BLACK)
        layers.append(number.transform_filter("datum.part !== 'ground'").encode(x=x_end, text="number:N"))
    chart = cast("alt.LayerChart", alt.layer(*layers).properties(width=WIDTH, height=alt.Step(BAND)))
    return dress(chart, title, CAPTION, drawn.height)


CAPTION = (
    "Grey: from the first to the last runner at the line. Dark blocks: windows in which it read nobody. Thin bars: "
    "findings that concern part of the line, for as long as they lasted. The numbers are those of the findings below."
)
