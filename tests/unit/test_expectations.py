"""The validation gate on merged passing data: what it asks, what it sees, and that it stays at home."""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

from lineproof.checks.rules import RULES
from lineproof.errors import EventError
from lineproof.expectations import GATE, GateLine, GateResult, gate_shares, run_gate
from unit.checked_event import clean_crossings, make_entries, stated_event
from unit.test_checks_pace import timed

S = 1_000_000


def gate(crossings: pl.DataFrame, **shares: float) -> GateResult:
    return run_gate(crossings, replace(stated_event(), gate=shares), make_entries())


def line(result: GateResult, name: str) -> GateLine:
    return next(line for line in result.results if line.name == name)


@pytest.fixture(scope="module")
def clean() -> GateResult:
    return gate(clean_crossings())


def test_clean_data_pass(clean: GateResult) -> None:
    assert clean.passed
    assert [line.name for line in clean.results] == list(GATE)
    assert all(line.passed and line.failing == 0 and line.examples == () for line in clean.results)
    assert line(clean, "one_row_per_visit").rows == 36
    assert line(clean, "times_in_order").rows == 24  # 12 starts have no crossing before them
    assert line(clean, "start_not_filled_in").rows == 12


def test_rule_texts_are_those_of_the_checks(clean: GateResult) -> None:
    for rule in RULES:
        assert line(clean, rule.name).text == rule.text
        assert GATE[rule.name].text == rule.text


def test_suite_and_outcome_are_json_and_repeatable(clean: GateResult) -> None:
    again = gate(clean_crossings())
    for one, other in ((clean.suite, again.suite), (clean.outcome, again.outcome)):
        assert json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)
    named = {row["meta"]["name"]: row for row in clean.suite["expectations"]}
    assert set(named) == set(GATE)
    assert named["pace_possible"]["kwargs"]["mostly"] == GATE["pace_possible"].share
    assert named["pace_possible"]["description"] == GATE["pace_possible"].text


BREACHES = {
    "runner_stated": clean_crossings().with_columns(
        runner=pl.when(pl.int_range(pl.len()) == 4).then(None).otherwise("runner")
    ),
    "time_stated": clean_crossings().with_columns(
        time=pl.when(pl.int_range(pl.len()) == 4).then(None).otherwise("time")
    ),
    "one_row_per_visit": pl.concat([clean_crossings(), clean_crossings()[4:5]]),
    "point_known": clean_crossings().with_columns(
        point=pl.when(pl.int_range(pl.len()) == 4).then(pl.lit("moon")).otherwise("point")
    ),
    "line_known": clean_crossings().with_columns(
        line=pl.when(pl.int_range(pl.len()) == 4).then(pl.lit("moon-main")).otherwise("line")
    ),
    "times_in_order": timed({"A02": {"mill": -1.0}}),
    "pace_possible": timed({"A02": {"mill": 12.0}}),
    "net_within_gun": clean_crossings().with_columns(
        net_us=pl.when(pl.int_range(pl.len()) == 4).then(pl.col("gun_us") + 2 * S).otherwise("net_us")
    ),
    "inside_event": timed({"A02": {"finish": 17 * 60.0}}),
    "not_placeholder": clean_crossings().with_columns(
        time=pl.when(pl.int_range(pl.len()) == 4)
        .then(pl.lit(0).cast(pl.Datetime("us", "UTC")))
        .otherwise("time")
    ),
}


@pytest.mark.parametrize("name", BREACHES)
def test_a_row_that_breaks_a_rule_is_counted_and_named(name: str) -> None:
    result = gate(BREACHES[name], **{name: 1.0})
    assert not result.passed
    broken = line(result, name)
    assert not broken.passed
    assert broken.failing == (2 if name == "one_row_per_visit" else 1)
    assert broken.share_seen == pytest.approx(1 - broken.failing / broken.rows)
    keys = set(BREACHES[name].filter(pl.col("runner").eq_missing("A02") | pl.col("runner").is_null())["key"])
    assert set(broken.examples) <= keys
    assert len(broken.examples) == broken.failing


def test_shares_allow_what_a_real_day_brings() -> None:
    """A net time too long in one row of 36 is 3 %, in one row of 360 it is 0.3 %: one in a hundred may."""
    few = BREACHES["net_within_gun"]
    many = [
        clean_crossings().with_columns(pl.concat_str("runner", pl.lit(f"-{n}")).alias("runner"))
        for n in range(9)
    ]
    assert not line(gate(few), "net_within_gun").passed
    assert line(gate(pl.concat([few, *many])), "net_within_gun").passed


def test_at_most_five_examples_of_many() -> None:
    result = gate(clean_crossings().with_columns(point=pl.lit("moon")))
    assert line(result, "point_known").failing == 36
    assert len(line(result, "point_known").examples) == 5


def test_no_rows_is_a_failed_gate_and_no_traceback() -> None:
    result = gate(clean_crossings().clear())
    assert not result.passed
    assert [line.name for line in result.results if not line.passed] == ["rows_present"]
    assert line(result, "pace_possible").share_seen is None


def test_merged_data_without_lines_pass() -> None:
    nobody = pl.lit(None, dtype=pl.String)
    result = gate(clean_crossings().with_columns(line=nobody))
    assert result.passed
    assert line(result, "line_known").rows == 0


def test_without_entries_everybody_may_be_on_wheels() -> None:
    event = stated_event()
    assert not line(run_gate(timed({"A02": {"mill": 12.0}}), event, make_entries()), "pace_possible").passed
    assert line(run_gate(timed({"A02": {"mill": 12.0}}), event), "pace_possible").passed
    assert not line(run_gate(timed({"A02": {"mill": 5.0}}), event), "pace_possible").passed


def test_an_event_tightens_the_gate() -> None:
    shares = gate_shares(replace(stated_event(), gate={"pace_possible": 0.9999}))
    assert shares["pace_possible"] == 0.9999
    assert shares["times_in_order"] == GATE["times_in_order"].share


@pytest.mark.parametrize(
    ("shares", "words"),
    [
        ({"pace_posible": 1.0}, 'did you mean "pace_possible"?'),
        ({"zzz": 1.0}, "use rows_present"),
        ({"pace_possible": 0.5}, "tightened, not loosened"),
    ],
)
def test_a_wrong_gate_is_one_clear_sentence(shares: dict[str, float], words: str) -> None:
    with pytest.raises(EventError) as caught:
        gate(clean_crossings(), **shares)
    assert words in str(caught.value)
    assert str(caught.value).startswith("event.toml")


def test_nothing_is_sent_or_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("the gate opened a connection")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    assert gate(clean_crossings()).passed
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_printed(capfd: pytest.CaptureFixture[str]) -> None:
    gate(clean_crossings())
    assert capfd.readouterr() == ("", "")


def test_the_library_is_imported_late() -> None:
    """It takes seconds: only a review that reaches the gate pays for it."""
    code = (
        "import sys, lineproof.expectations, lineproof.pipeline; print('great_expectations' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
