"""Clocks against each other, on times that are made by hand from a clock, a pace and a spacing."""

from __future__ import annotations

import dataclasses
import datetime as dt

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_event import GUN, small_event

from lineproof.clock_faults import estimate_clock_faults
from lineproof.clock_faults.far import far_clocks
from lineproof.clock_faults.fingerprints import name_offset
from lineproof.clock_faults.lags import estimate_lag
from lineproof.clock_faults.robust import fit_robust
from lineproof.clock_faults.segments import doubt_of_fading, estimate_by_clock
from lineproof.clock_faults.times import LineTimes
from lineproof.decisions import apply_decisions, clock_shifts, load_decisions
from lineproof.errors import EventError
from lineproof.event import Event
from lineproof.setup_tables import CLOCK_FAULTS, LAID_LINES
from lineproof.tables import PASSINGS
from lineproof.vocabulary import Level

STOPS = (("start", 0.0), ("km2", 2000.0), ("km4", 4000.0), ("km6", 6000.0), ("finish", 8000.0))
RUNNERS = 400


def event() -> Event:
    here = small_event(STOPS)
    return dataclasses.replace(here, lines=tuple(dataclasses.replace(x, spacing_m=3.0) for x in here.lines))


def times_of(offsets: dict[str, float], drift: dict[str, float] | None = None) -> LineTimes:
    """Runners of 0.25 to 0.45 s/m who start within ten minutes, the backup line 3 m on; offsets in s, drift in ppm."""
    here = event()
    rng = np.random.default_rng(4)
    pace, begin = np.linspace(0.25, 0.45, RUNNERS), 600 * rng.random(RUNNERS)
    at = dict(STOPS)
    columns: list[np.ndarray] = []
    for line in here.lines:
        way = at[line.point] + (3.0 if line.role.value == "backup" else 0.0)
        walk = 0.52 if line.point == "start" and line.role.value == "backup" else pace
        true = (
            begin + pace * at[line.point] + walk * (way - at[line.point]) + 0.1 * rng.standard_normal(RUNNERS)
        )
        if at[line.point]:
            true = true + 2.0 * rng.standard_normal(RUNNERS) * (line.role.value == "main")
            if line.role.value == "backup":
                true = (
                    columns[-1]
                    - offsets.get(f"{line.point}-main", 0.0)
                    + pace * 3
                    + 0.1 * rng.standard_normal(RUNNERS)
                )
        columns.append(true + offsets.get(line.id, 0.0) + (drift or {}).get(line.id, 0.0) * 1e-6 * true)
    return LineTimes(
        "road",
        here.lines,
        np.array([at[x.point] for x in here.lines]),
        np.column_stack(columns),
        np.zeros(RUNNERS),
    )


def held_of(times: LineTimes) -> pl.DataFrame:
    """The same as passings of single reads, with their runners and gun."""
    rows: list[dict[str, object]] = []
    for column, line in enumerate(times.lines):
        for runner, seconds in enumerate(times.times[:, column]):
            at = GUN + dt.timedelta(seconds=float(seconds))
            rows.append(
                {
                    "passing": len(rows),
                    "tag": f"t{runner}",
                    "point": line.point,
                    "line": line.id,
                    "first": at,
                    "strongest": at,
                    "last": at,
                    "reads": 3,
                    "level": Level.PASSINGS.value,
                    "file": "a.csv",
                    "row": len(rows) + 2,
                }
            )
    words = pl.lit("road").alias("course"), pl.lit("A").alias("wave"), pl.lit(GUN).alias("gun")
    frame = PASSINGS.shape_rows(rows).with_columns(
        pl.col("tag").str.replace("t", "r").alias("runner"), *words
    )
    return frame.with_columns(pl.col("gun").cast(pl.Datetime("us", "UTC")), runner_class=pl.lit("foot"))


def judged(
    offsets: dict[str, float], laid: pl.DataFrame | None = None, shifts: dict[str, int] | None = None
) -> dict[str, dict[str, object]]:
    record = LAID_LINES.empty() if laid is None else laid
    found = estimate_clock_faults(held_of(times_of(offsets)), frozenset(), event(), record, shifts or {})
    CLOCK_FAULTS.check(found)
    return {str(row["line"]): row for row in found.iter_rows(named=True)}


def test_right_clocks_are_sound() -> None:
    found = judged({})
    assert {row["looks_like"] for row in found.values()} == {"sound"}
    assert all(row["correction_us"] is None and not row["accepted"] for row in found.values())


@pytest.mark.parametrize(
    ("offset", "word", "correction"),
    [
        (-3600.0, "zone", 3600),
        (43_200.0, "half day", -43_200),
        (86_400.0, "date", -86_400),
        (5400.0, "zone", -5400),
    ],
)
@pytest.mark.parametrize("line", ["km4-main", "finish-backup", "start-main"])
def test_far_clocks_are_named_and_corrected_exactly(
    line: str, offset: float, word: str, correction: int
) -> None:
    found = judged({line: offset})
    assert found[line]["looks_like"] == word
    assert found[line]["correction_us"] == correction * 1_000_000
    others = {row["looks_like"] for name, row in found.items() if name != line}
    assert others == {"sound"}


def test_two_lines_that_differ_by_seconds_need_a_word_from_elsewhere() -> None:
    """The measure by the stretches tells three seconds here only roughly; the record settles it."""
    place = {"file": "setup.csv", "sheet": "", "row": 2}
    record = LAID_LINES.shape_rows(
        [
            {"line": "km4-main", "clock_source": "satellite time", **place},
            {"line": "km4-backup", "clock_source": "by hand, from a phone", **place},
        ]
    )
    found = judged({"km4-backup": 3.0}, record)
    row = found["km4-backup"]
    assert row["looks_like"] == "offset"
    assert row["offset_us"] == pytest.approx(3_000_000, abs=2.5 * float(str(row["offset_se_us"])))
    assert found["km4-main"]["looks_like"] == "sound"


def test_satellite_seconds_are_known_by_their_size() -> None:
    assert judged({"km4-backup": 18.0})["km4-backup"]["looks_like"] == "satellite seconds"
    assert name_offset(18.2, 0.2).looks_like == "satellite seconds"
    assert name_offset(18.2, 5.0).looks_like == "offset"
    assert name_offset(-37.1, 0.1).seconds == -37.0


@given(st.integers(1, 14), st.sampled_from([-1, 1]), st.floats(0.05, 20.0), st.floats(-2.0, 2.0))
def test_whole_hours_within_their_doubt_are_zones(hours: int, sign: int, error: float, off: float) -> None:
    named = name_offset(sign * (3600 * hours + off), error)
    assert named.looks_like == ("half day" if hours == 12 else "zone")
    assert named.seconds == sign * 3600 * hours


def test_a_gaining_clock_is_measured_against_its_sibling() -> None:
    times = times_of({}, {"km6-backup": 500.0})
    here = event()
    lag = estimate_lag(times, here.line("km6-main"), here.line("km6-backup"), [0, 2, 4, 8], here)
    assert lag is not None
    assert lag.drift == pytest.approx(500.0, abs=4 * lag.drift_error)
    assert lag.drift_error < 120


def test_a_wrong_spacing_is_told_from_a_wrong_clock() -> None:
    """Stated 13 m and lying 3 m apart, or stated right and a clock 3.5 s ahead: both put the backup late."""
    here = event()
    apart = dataclasses.replace(
        here,
        lines=tuple(
            dataclasses.replace(x, spacing_m=13.0) if x.id == "km4-backup" else x for x in here.lines
        ),
    )
    moved = estimate_lag(times_of({}), apart.line("km4-main"), apart.line("km4-backup"), [0, 2, 6, 8], apart)
    assert moved is not None
    assert moved.distance == pytest.approx(10.0, abs=0.5)
    clock = estimate_lag(
        times_of({"km4-backup": 3.5}), here.line("km4-main"), here.line("km4-backup"), [0, 2, 6, 8], here
    )
    assert clock is not None
    assert clock.distance is None
    assert clock.offset == pytest.approx(3.5, abs=2.5 * clock.error)


def test_the_clock_alone_is_measured_whatever_the_distance() -> None:
    """A point that lies elsewhere than stated changes the share of the time for slow and fast alike."""
    times = times_of({"km4-main": 60.0})
    found = estimate_by_clock(times, 4, [0, 2, 6, 8])
    assert found is not None
    assert found.offset == pytest.approx(60.0, abs=3 * found.error)


def test_with_few_points_the_fading_of_slow_runners_is_a_stated_doubt() -> None:
    assert doubt_of_fading([None, None], 0) == 0.003


def test_far_clocks_need_places_to_compare_with() -> None:
    times = times_of({"finish-main": 7200.0, "finish-backup": 7200.0})
    assert set(far_clocks(times)) == {"finish-main", "finish-backup"}
    empty = LineTimes("road", (), np.empty(0), np.empty((3, 0)), np.zeros(3))
    assert far_clocks(empty) == {}


def test_a_line_without_reads_has_a_reason() -> None:
    found = estimate_clock_faults(held_of(times_of({})).head(0), frozenset(), event(), LAID_LINES.empty(), {})
    assert set(found["looks_like"]) == {"cannot tell"}
    assert found["reason"].null_count() == 0


def test_a_wild_value_does_not_move_the_line() -> None:
    x = np.linspace(0, 1, 50)
    y = 2 + 3 * x
    y[7] = 1000.0
    fit = fit_robust(np.column_stack([np.ones(50), x]), y)
    assert fit.coefficients == pytest.approx([2, 3], abs=0.01)


def test_a_line_through_one_place_is_refused() -> None:
    with pytest.raises(ValueError, match="determine"):
        fit_robust(np.ones((5, 2)), np.arange(5.0))
    with pytest.raises(ValueError, match="fewer values"):
        fit_robust(np.ones((2, 2)), np.arange(2.0))


def test_an_accepted_correction_shows_what_was_and_what_is_left() -> None:
    """The passings that come in are corrected already."""
    row = judged({}, shifts={"km4-main": 3_600_000_000})["km4-main"]
    assert row["accepted"]
    assert row["looks_like"] == "zone"
    assert row["offset_us"] == pytest.approx(-3_600_000_000, abs=300_000)
    assert row["correction_us"] == 3_600_000_000
    assert "as the reviewer accepted" in str(row["reason"])


def decided(tmp_path, *rows: str) -> pl.DataFrame:  # type: ignore[no-untyped-def]
    (tmp_path / "decisions.csv").write_text(
        "\n".join(["key,decision,time,who,when,why", *rows]), encoding="utf-8"
    )
    return load_decisions(dataclasses.replace(event(), folder=tmp_path))


def test_an_accepted_correction_moves_the_line_and_no_other(tmp_path) -> None:  # type: ignore[no-untyped-def]
    decisions = decided(tmp_path, "clock/km4-main,correct,'+3600,AB,2026-05-18,clocks.csv")
    assert clock_shifts(decisions) == {"km4-main": 3_600_000_000}
    passings = held_of(times_of({})).select(PASSINGS.schema.names())
    after = apply_decisions(passings, decisions)
    moved = (after.passings["first"] - passings["first"]).dt.total_seconds()
    assert set(moved.filter(passings["line"] == "km4-main")) == {3600}
    assert set(moved.filter(passings["line"] != "km4-main")) == {0}
    assert after.report["rows"].to_list() == [RUNNERS]


def test_rows_are_found_by_their_key_before_and_after_the_correction(tmp_path) -> None:  # type: ignore[no-untyped-def]
    passings = held_of(times_of({})).select(PASSINGS.schema.names())
    first = passings.filter(line="km4-main").row(0, named=True)
    as_read, moved = (
        f"km4-main/{first['tag']}/{first['first'] + dt.timedelta(hours=h):%Y-%m-%dT%H:%M:%S.%fZ}"
        for h in (0, 1)
    )
    for key in (as_read, moved):
        decisions = decided(
            tmp_path, "clock/km4-main,correct,3600,AB,2026-05-18,clocks.csv", f"{key},void,,AB,2026-05-18,x"
        )
        after = apply_decisions(passings, decisions)
        assert after.passings.height == passings.height - 1
        assert after.report.filter(decision="void")["key_now"].to_list() == [moved]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("clock/km4-main,correct,soon,AB,2026-05-18,x", "no number of seconds"),
        ("clock/km4-main,correct,,AB,2026-05-18,x", "correct needs a time"),
        ("clock/km4-main,void,,AB,2026-05-18,x", "a clock cannot be void"),
        ("clock/km4-main,correct,99999999,AB,2026-05-18,x", "more than two weeks"),
        ("clock/km4-main,correct,nan,AB,2026-05-18,x", "more than two weeks"),
    ],
)
def test_a_clock_decision_that_cannot_be_followed_is_one_sentence(tmp_path, row: str, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(EventError, match=words) as caught:
        decided(tmp_path, row)
    assert str(caught.value).startswith("decisions.csv, row 2")


def test_a_clock_of_no_line_is_reported(tmp_path) -> None:  # type: ignore[no-untyped-def]
    decisions = decided(tmp_path, "clock/nowhere,correct,3600,AB,2026-05-18,x")
    report = apply_decisions(held_of(times_of({})).select(PASSINGS.schema.names()), decisions).report
    assert report["rows"].to_list() == [0]
    assert "no passing of the data" in report["remark"][0]
