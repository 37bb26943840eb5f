"""The pictures of the purchase case by what they encode: the line of no gain crosses the whole picture."""

from __future__ import annotations

import re
from typing import Any

import altair as alt
import pytest
import vl_convert

from lineproof.replacement.pictures import draw_flows, draw_swings, draw_ways
from lineproof.replacement.report_rows import FLOW_ROWS, SWING_ROWS, WAY_ROWS


def ways() -> alt.LayerChart:
    rows = [
        {"label": name, "steps": "", "spending": 0.0, "gain": gain, "low": gain - 60, "high": gain + 60, "chance": 0.8,
         "best": gain > 0}
        for name, gain in (("Do nothing", 0.0), ("Buy", 50.0))
    ]  # fmt: skip
    return draw_ways(WAY_ROWS.shape_rows(rows), "EUR", "Ways")


def flows() -> alt.LayerChart:
    rows = [
        dict.fromkeys(FLOW_ROWS.columns, 0.0) | {"season": n, "running": 40.0 * n - 30, "running_low": 20.0 * n - 30, "running_high": 60.0 * n - 30}
        for n in range(4)
    ]  # fmt: skip
    return draw_flows(FLOW_ROWS.shape_rows(rows), "EUR", "Seasons")


def swings() -> alt.LayerChart:
    row = {"label": "Price", "unit": "EUR", "now": 34.0, "low": 20.0, "high": 60.0, "gain_low": 20.0, "gain_high": -20.0,
           "gain": 5.0, "flips": ""}  # fmt: skip
    return draw_swings(SWING_ROWS.shape_rows([row]), "EUR", "Swings")


@pytest.mark.parametrize(("draw", "axis"), [(ways, "x"), (flows, "y"), (swings, "x")])
def test_the_line_of_no_gain_is_bound_to_nothing_but_its_axis(draw: Any, axis: str) -> None:
    spec = draw().to_dict()
    (rule,) = [layer for layer in spec["layer"] if layer["mark"].get("strokeDash")]
    assert set(rule["encoding"]) == {axis}
    assert rule["encoding"][axis]["field"] == "zero"
    assert spec["datasets"][rule["data"]["name"]] == [{"zero": 0.0}]


@pytest.mark.parametrize("draw", [ways, flows, swings])
def test_the_dashed_line_is_drawn_with_a_length(draw: Any) -> None:
    """As drawn: the one dashed stroke runs over more than half of the picture one way and not at all the other."""
    drawing = vl_convert.vegalite_to_svg(draw().to_dict())
    (found,) = [line for line in re.findall(r"<line [^>]*>", drawing) if "stroke-dasharray" in line]
    ends = [abs(float(re.search(rf'{name}="([-\d.e]+)"', found)[1])) for name in ("x2", "y2")]  # type: ignore[index]
    assert min(ends) == 0
    assert max(ends) > 15
