"""The picture of a question that two lines cannot answer: how many both missed, if their misses go together.

A declared frame in, a chart out, in the look of all charts; nothing is estimated here.
"""

from __future__ import annotations

import altair as alt
import polars as pl

from lineproof.charts import BLACK, BLUE, LABEL_ROOM, PALE, VERMILLION, dress
from lineproof.contracts import Column, Table
from lineproof.tables import FLOAT, TEXT

TOGETHER_ROWS = Table(
    "together rows",
    "one finish, and crossings hidden from both lines for one strength of dependence",
    ("label", "times"),
    {
        "label": Column(TEXT, "the finish"),
        "times": Column(FLOAT, "times the odds of a miss by one line where the other missed"),
        "hidden": Column(FLOAT, "crossings that neither line read"),
        "model": Column(FLOAT, "as the runners' whole records tell", nullable=True),
        "model_low": Column(FLOAT, "fewest of them", nullable=True),
        "model_high": Column(FLOAT, "most of them", nullable=True),
    },
)


def draw_together(rows: pl.DataFrame, title: str) -> alt.FacetChart:
    """A line per finish; behind it a band and a dashed line: what the whole records tell, where they tell it."""
    rows = TOGETHER_ROWS.conform(rows)
    x = (
        alt.X("times:Q")
        .scale(type="log", domain=[1, 100], nice=False)
        .axis(values=[1, 2, 5, 10, 20, 50, 100], format="d")
        .title("Odds of a miss, where the other line missed: times those where it read")
    )
    base = alt.Chart().encode(
        x=x,
        tooltip=[
            alt.Tooltip("label:N", title="Finish"),
            alt.Tooltip("times:Q", title="Times", format="d"),
            alt.Tooltip("hidden:Q", title="Missed by both", format=".1f"),
        ],
    )
    told = base.transform_filter("isValid(datum.model)")
    band = told.mark_area(color=PALE, opacity=0.8).encode(y="model_low:Q", y2="model_high:Q")
    estimate = told.mark_line(color=VERMILLION, strokeDash=[6, 4], strokeWidth=2).encode(y="model:Q")
    hidden = base.mark_line(color=BLUE, strokeWidth=2).encode(
        y=alt.Y("hidden:Q").title("Crossings").axis(tickCount=4)
    )
    marks = base.mark_point(filled=True, size=50, color=BLACK, opacity=1).encode(y="hidden:Q")
    knows = rows["model"].is_not_null().any()  # a scale over no value at all would be infinite
    row = (
        alt.Row("label:N")
        .sort(rows["label"].unique(maintain_order=True).to_list())
        .title(None)
        .header(labelAngle=0, labelAlign="left", labelLimit=LABEL_ROOM, labelOrient="left")
    )
    chart: alt.FacetChart = (
        alt.layer(*([band, estimate] if knows else []), hidden, marks, data=rows)
        .properties(width=400, height=120)
        .facet(row=row)
    )
    whole = "Dashed line and grey band: the estimate from the runners' whole records, with its range. "
    caption = (
        "Line with dots: crossings that neither line read, by how far the two lines' misses go together; 1: not at all. "
        f"{whole if knows else ''}The two lines alone cannot tell where on the line the truth lies."
    )
    return dress(chart, title, caption, rows.height)
