"""The demo season's records against what was really laid: true where they speak, and the slips are found."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from lineproof.event import load_event
from lineproof.setup import Setup, load_setup
from lineproof.setup.readiness import run_rules
from lineproof.setup.rules import State

SEASON = Path(__file__).parents[2] / "demo_data"
EVENTS = sorted(path.parent.name for path in SEASON.glob("*/event.toml"))
TRUE = pl.read_csv(SEASON / "truth/equipment.csv")
SLIPS = {
    "02-quillbeck-10k": [
        "event.toml has common-main as the main line",
        "event.toml has common-backup as the backup",
    ],
    "03-weir-10-mile": ["the heights are swapped"],
    "04-valley-half": ['there is no mat "M99" in the register'],
    "06-fennick-skyline": ['the line "quarry-main" of event.toml has no row'],
    "07-kestrin-marathon": ["this looks like inches"],
    "13-canal-evening-4": ['the line "sluice-backup" of event.toml has no row'],
}


def setup_of(event: str) -> Setup:
    return load_setup(load_event(SEASON / event))


def changes_of(event: str) -> pl.DataFrame:
    return pl.read_csv(SEASON / f"truth/{event}-setup.csv", infer_schema=False)


@pytest.mark.parametrize("event", EVENTS)
def test_items_and_ports_are_those_that_were_laid(event: str) -> None:
    setup = setup_of(event)
    true = TRUE.filter(pl.col("event") == event)
    both = setup.mats.join(true, on=["line", "slot"], how="inner", validate="1:1", suffix="_true")
    lost = changes_of(event).filter(pl.col("true") == "the whole line")["line"].to_list()
    assert both.height == setup.mats.height == true.filter(~pl.col("line").is_in(lost)).height
    for name in ("mat", "cable", "port"):
        known = both.filter(pl.col(name).is_not_null())
        assert known[name].to_list() == known[f"{name}_true"].to_list()
        assert known.height >= both.height - 1
    readers = setup.lines.join(
        true.select("line", "reader").unique(), on="line", validate="1:1", suffix="_true"
    )
    assert readers["reader"].to_list() == readers["reader_true"].to_list()


@pytest.mark.parametrize("event", EVENTS)
def test_the_slips_are_found_and_nothing_else_is(event: str) -> None:
    found = setup_of(event).complaints["sentence"].to_list()
    expected = SLIPS.get(event, [])
    assert len(found) == len(expected), found
    for said in expected:
        assert any(said in sentence for sentence in found)


def test_ailing_items_answer_the_hand_test_lower() -> None:
    """A logit of lost read chance costs 22 cm of height in the simulation; a tape adds 5 cm of noise."""
    laid = pl.concat(
        setup_of(event).mats.select(pl.lit(event).alias("event"), "line", "slot", "hand_ceiling_cm")
        for event in EVENTS
    )
    both = laid.join(TRUE, on=["event", "line", "slot"], validate="1:1").drop_nulls("hand_ceiling_cm")
    sound = both.filter(pl.col("loss") == 0)["hand_ceiling_cm"]
    ailing = both.filter(pl.col("loss") >= 1.1)["hand_ceiling_cm"]
    assert ailing.len() >= 7
    assert float(ailing.mean()) < float(sound.mean()) - 22  # type: ignore[arg-type]
    assert (sound >= 150).mean() > 0.98  # type: ignore[operator]
    dead = both.filter(pl.col("loss") > 100)
    assert dead.is_empty(), "a slot that never answered was not tested"


def test_the_morning_of_the_half_finds_the_worst_mat() -> None:
    event = load_event(SEASON / "04-valley-half")
    look = {(v.place, v.rule.name): v.seen.facts for v in run_rules(event, load_setup(event)).of(State.LOOK)}
    assert "M17" in look[("start-backup", "hand test")]


@pytest.mark.parametrize(
    ("event", "line"), [("02-quillbeck-10k", "bridge-main"), ("06-fennick-skyline", "hut-main")]
)
def test_a_clock_that_was_an_hour_behind_was_set_by_hand(event: str, line: str) -> None:
    row = setup_of(event).lines.row(by_predicate=pl.col("line") == line, named=True)
    assert "by hand" in row["clock_source"]
    others = setup_of(event).lines.filter(pl.col("line") != line)["clock_source"]
    assert set(others) == {"satellite time"}


def test_lines_that_shared_their_power_say_so() -> None:
    lines = setup_of("03-weir-10-mile").lines
    weir = lines.filter(pl.col("line").str.starts_with("weir"))
    assert weir["power"].n_unique() == 1
    assert weir["change_over"].null_count() == 0
    assert lines["power"].n_unique() == lines.height - 1


@pytest.mark.parametrize("event", EVENTS)
def test_lifting_is_recorded_after_the_last_runner_or_when_it_was_too_early(event: str) -> None:
    lines = setup_of(event).lines
    assert (lines["lifted"] > lines["laid"]).all()
    assert (lines["clock_set"] >= lines["power_on"]).all()


def test_the_register_knows_every_item_and_prices_them() -> None:
    items = setup_of("01-lantern-5k").equipment
    used = {*TRUE["mat"], *TRUE["cable"], *TRUE["reader"]}
    assert used <= set(items["item"])
    assert items.filter(pl.col("retired").is_not_null())["item"].to_list() == ["C73", "M65"]
    assert items["price"].null_count() == 0
    assert set(items["kind"].cast(pl.String)) == {"mat", "cable", "reader", "antenna", "power unit"}
