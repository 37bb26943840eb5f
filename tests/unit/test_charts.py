"""Charts by what they encode: the definition is read, nothing is drawn but once."""

from __future__ import annotations

import datetime as dt
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from lineproof import charts
from lineproof.errors import TableError
from lineproof.event_report import shown
from lineproof.figures import show_chart
from sample_review import BIBS, make_review

ROWS = pl.DataFrame(
    [
        ("Start, main", "main line", 2400, 3, 0.99875, 0.9964, 0.9997),
        ("Start, backup", "backup line", 2400, 25, 0.98958, 0.9847, 0.9929),
        ("5 km, main", "main line", 2000, 400, 0.8, 0.782, 0.817),
        ("Finish, main", "main line", 0, 0, None, None, None),
    ],
    schema=charts.RATE_ROWS.schema,
    orient="row",
)


def rates_spec(rows: pl.DataFrame = ROWS) -> dict[str, Any]:
    return charts.draw_rates(rows, 0.998, "Start, backup missed 25 of 2,400").to_dict()


def layer(spec: dict[str, Any], mark: str) -> dict[str, Any]:
    return next(one for one in spec["layer"] if one["mark"]["type"] == mark)


def data_of(spec: dict[str, Any], name: str | None = None) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = spec["datasets"][
        name or max(spec["datasets"], key=lambda n: len(spec["datasets"][n]))
    ]
    return found


def test_a_rate_is_a_dot_with_its_interval_in_the_order_given() -> None:
    spec = rates_spec()
    dot, bar = layer(spec, "point")["encoding"], layer(spec, "rule")["encoding"]
    assert dot["x"]["field"] == "estimate"
    assert (bar["x"]["field"], bar["x2"]["field"]) == ("low", "conf_high")
    assert dot["y"]["sort"] == ROWS["label"].to_list()
    assert dot["shape"]["scale"]["domain"] == dot["color"]["scale"]["domain"] == charts.KIND_WORDS
    assert len(set(dot["shape"]["scale"]["range"])) == len(charts.KIND_WORDS)


def test_the_target_is_a_dashed_rule() -> None:
    spec = rates_spec()
    rule = spec["layer"][-1]
    assert rule["mark"]["strokeDash"]
    assert data_of(spec, rule["data"]["name"]) == [{"target": 0.998}]


def test_the_axis_says_where_it_begins_and_holds_every_interval_above_90() -> None:
    spec = rates_spec()
    begin = layer(spec, "point")["encoding"]["x"]["scale"]["domain"][0]
    assert 0.9 < begin < 0.9847
    words = f"{begin * 100:g}\u00a0%"
    assert words in layer(spec, "point")["encoding"]["x"]["title"]
    assert f"The axis begins at {words}, not at 0" in spec["usermeta"]["caption"]


def test_a_rate_below_the_axis_is_an_arrow_with_its_value_in_words() -> None:
    spec = rates_spec()
    row = next(row for row in data_of(spec) if row["label"] == "5 km, main")
    assert not row["inside"]
    assert row["says"] == "80.00\u00a0%, 400 of 2,000 missed"
    assert any(one["mark"].get("shape") == "triangle-left" for one in spec["layer"])
    assert "An arrow at the left edge" in spec["usermeta"]["caption"]


def test_a_rate_that_is_not_known_is_said_and_not_drawn() -> None:
    row = next(row for row in data_of(rates_spec()) if row["label"] == "Finish, main")
    assert row["estimate"] is None
    assert row["says"] == "rate not known"


def test_only_poor_rates_are_drawn_from_zero() -> None:
    assert charts.axis_begin(ROWS.filter(pl.col("estimate") == 0.8), 0.998) == 0
    assert charts.axis_begin(ROWS.clear(), 0.998) < 0.998


def test_the_legend_names_only_the_kinds_drawn() -> None:
    assert layer(rates_spec(), "point")["encoding"]["color"]["legend"]["values"] == [
        "main line",
        "backup line",
    ]
    single = layer(rates_spec(ROWS.filter(pl.col("kind") == "main line")), "point")
    assert single["encoding"]["color"]["legend"] is None


def test_misses_over_time_stand_on_local_clock_time_free_of_the_readers_zone(tmp_path: Path) -> None:
    rows = shown.to_time_rows(make_review(tmp_path))
    spec = charts.draw_misses_over_time(rows, "Misses").to_dict()
    x = spec["spec"]["layer"][0]["encoding"]["x"]
    assert x["scale"]["type"] == "utc"
    first = data_of(spec)[0]
    # 09:00 in Brussels was handed over as if it were UTC
    assert dt.datetime.fromtimestamp(first["begin"] / 1000, dt.UTC).isoformat() == "2026-05-17T09:00:00+00:00"
    assert first["clock"] == "09:00–09:10"


def test_the_drawing_shows_the_same_clock_in_any_zone(tmp_path: Path) -> None:
    """Drawn in a process of another zone, the axis carries the same labels."""
    rows = shown.to_time_rows(make_review(tmp_path))
    spec = tmp_path / "spec.json"
    spec.write_text(charts.draw_misses_over_time(rows, "Misses").to_json(), encoding="utf-8")
    code = (
        "import json, sys; from lineproof.figures import show_chart; "
        "sys.stdout.buffer.write(show_chart(json.load(open(sys.argv[1], encoding='utf-8'))).encode())"
    )
    drawings = [
        subprocess.run(
            [sys.executable, "-c", code, str(spec)],
            env={**os.environ, "TZ": zone},
            capture_output=True,
            check=True,
        ).stdout.decode()
        for zone in ("Pacific/Auckland", "America/Los_Angeles")
    ]
    labels = [re.findall(r">(\d\d:\d\d)</text>", drawing) for drawing in drawings]
    assert labels[0] == labels[1]
    assert "10:30" in labels[0]


def test_time_counts_equal_the_planted_misses(tmp_path: Path) -> None:
    rows = shown.to_time_rows(make_review(tmp_path))
    missed = dict(rows.group_by("label").agg(pl.col("missed").sum()).iter_rows())
    assert missed["Finish, backup"] == 20
    assert missed["Start, backup"] == 7
    assert "Start, main" not in missed  # it missed nobody
    assert missed["15 km, main"] == 9


def test_misses_are_bars_from_zero_before_flow_of_the_same_panel(tmp_path: Path) -> None:
    rows = shown.to_time_rows(make_review(tmp_path))
    flow, misses = charts.draw_misses_over_time(rows, "Misses").to_dict()["spec"]["layer"]
    assert flow["encoding"]["y"]["field"] == "height"
    assert misses["encoding"]["y"]["field"] == "missed"
    assert misses["encoding"]["y2"]["datum"] == 0
    assert flow["encoding"]["y"]["scale"] == misses["encoding"]["y"]["scale"]
    assert flow["mark"]["color"] != misses["mark"]["color"]


def test_too_many_bins_are_made_wider(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    settings = {**review.event.settings, "time_bin_min": 1}
    event = type(review.event)(
        **{n: getattr(review.event, n) for n in review.event.__dataclass_fields__} | {"settings": settings}
    )
    long = pl.concat([review.proofs.with_columns(pl.col("about") + pl.duration(hours=h)) for h in range(24)])
    rows = shown.to_time_rows(make_review(tmp_path, event=event, proofs=long))
    assert rows.height <= charts.MOST_ROWS
    assert int(rows.filter(pl.col("label") == "Finish, backup")["missed"].sum()) == 20 * 24


def test_checks_say_their_severity_in_words(tmp_path: Path) -> None:
    rows = shown.to_check_rows(make_review(tmp_path))
    spec = charts.draw_checks(rows, "Two errors").to_dict()
    assert [row["says"] for row in data_of(spec)] == ["3\u00a0errors", "1\u00a0warning", "1\u00a0note"]
    assert layer(spec, "bar")["encoding"]["y"]["sort"] == ["Impossible pace", "Unknown tag", "Main line only"]


def test_every_chart_has_title_caption_description_and_units(tmp_path: Path) -> None:
    review = make_review(tmp_path)
    specs = [
        rates_spec(),
        charts.draw_misses_over_time(shown.to_time_rows(review), "Misses").to_dict(),
        charts.draw_checks(shown.to_check_rows(review), "Checks").to_dict(),
    ]
    for spec in specs:
        assert spec["title"]
        assert spec["usermeta"]["caption"] in spec["description"]
        assert spec["config"]["axis"]["labelFontSize"] >= 14
        assert not [bib for bib in BIBS if bib in json.dumps(spec)]


def test_a_long_title_is_broken_into_lines() -> None:
    spec = charts.draw_rates(ROWS, 0.998, "word " * 40).to_dict()
    assert len(spec["title"]) > 1
    assert max(len(line) for line in spec["title"]) <= charts.TITLE_LETTERS


def test_a_frame_that_breaks_its_contract_is_refused() -> None:
    with pytest.raises(TableError):
        charts.draw_rates(ROWS.drop("missed"), 0.998, "x")


def test_more_rows_than_a_page_can_carry_are_refused() -> None:
    many = pl.DataFrame(
        {"label": [str(i) for i in range(charts.MOST_ROWS + 1)], "severity": "note", "findings": 1}
    )
    with pytest.raises(ValueError, match="aggregate"):
        charts.draw_checks(many, "x")


def test_a_figure_is_static_described_and_escaped() -> None:
    rows = ROWS.with_columns(label=pl.lit('</script><script>alert("x")</script> & <b>') + pl.col("label"))
    html = show_chart(charts.draw_rates(rows, 0.998, "<i>Title</i>").to_dict())
    assert html.count("<svg") == 1
    assert 'role="img"' in html
    assert "aria-label=" in html
    assert "&lt;i&gt;Title" in html
    assert "<script>alert" not in html
    assert html.count("</script>") == 1  # the end of the stored definition


def test_ids_of_two_drawings_do_not_meet() -> None:
    first, second = (show_chart(rates_spec()) for _ in range(2))
    ids = [set(re.findall(r'\bid="([^"]+)"', html)) for html in (first, second)]
    assert not ids[0] & ids[1]


def test_a_stray_crossing_at_midnight_does_not_squeeze_the_race(tmp_path: Path) -> None:
    rows = shown.to_time_rows(make_review(tmp_path))
    late = rows.head(1).with_columns(
        pl.col("begin", "end") + dt.timedelta(hours=14),
        proven=pl.lit(1, pl.UInt32),
        missed=pl.lit(1, pl.UInt32),
    )
    spec = charts.draw_misses_over_time(pl.concat([rows, late]), "Misses").to_dict()
    assert len(data_of(spec)) == rows.height
    assert (
        "Left out, as too far from the others: 1\u00a0crossing, 1 of them missed."
        in spec["usermeta"]["caption"]
    )
    whole = charts.draw_misses_over_time(rows, "Misses").to_dict()
    assert len(data_of(whole)) == rows.height
    assert "Left out" not in whole["usermeta"]["caption"]
