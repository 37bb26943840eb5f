"""What the camera settles: proofs, rates, the list of look-ups and the hidden crossings that are left."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from lineproof.camera import draw_audits, estimate_audits, seed_of, settle_unseen, to_sighted
from lineproof.camera_tables import MINUTES, SIGHTINGS
from lineproof.detection.proofs import to_proofs
from lineproof.detection.rates import estimate_rates
from lineproof.errors import EventError
from lineproof.lookups import to_lookups
from lineproof.tables import PROOFS
from lineproof.unseen_tables import UNSEEN
from unit.small_event import at, entries, small_event
from unit.test_proofs import crossings

EVENT = small_event((("start", 0), ("mill", 5000), ("lake", 10000), ("finish", 15000)))
PLACES = ("start", "mill", "lake", "finish")


def outcome(runner: str, order: int, word: str, clock: str | None = None) -> dict[str, object]:
    return {
        "runner": runner, "course": "road", "point": PLACES[order], "order": order, "outcome": word,
        "time": at(clock) if clock else None, "who": "Ada", "when": "today", "file": "sightings.csv", "row": 2,
    }  # fmt: skip


def field(n: int, last: int = 3) -> list[tuple[str, int, str]]:
    clocks = ("09:00", "09:25", "09:50", "10:15")
    return [(f"f{i:03}", k, f"{clocks[k]}:{i % 60:02}") for i in range(n) for k in range(last + 1)]


def proofs_of(
    rows: list[tuple[str, int, str]], *outcomes: dict[str, object]
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Proofs by the reads alone, and with the camera."""
    people = entries(*sorted({row[0] for row in rows}))
    read = crossings(EVENT, *rows)
    looked = SIGHTINGS.shape_rows(list(outcomes))
    return to_proofs(read, people, EVENT), to_proofs(read, people, EVENT, looked)


def words(proofs: pl.DataFrame, runner: str) -> list[str]:
    return proofs.filter(pl.col("runner") == runner)["proof"].cast(pl.String).to_list()


LOST = [("x", 0, "09:00:00"), ("x", 1, "09:25:10")]


def test_without_sightings_nothing_changes() -> None:
    before, after = proofs_of([*field(20), *LOST])
    assert_frame_equal(before, after)
    assert words(before, "x") == ["seen", "seen", "unproven", "unproven"]


def test_seen_at_the_finish_proves_the_finish_and_the_visits_before() -> None:
    _, after = proofs_of([*field(20), *LOST], outcome("x", 3, "seen", "10:15:30"))
    assert words(after, "x") == ["seen", "seen", "proven", "camera"]
    finish = after.filter(runner="x", order=3).row(0, named=True)
    assert (finish["about"], finish["time"], finish["seen_main"]) == (at("10:15:30"), None, False)
    assert after.filter(runner="x", order=2)["after_time"].item() == at("10:15:30")


def test_not_there_ends_the_course() -> None:
    _, after = proofs_of([*field(20), *LOST], outcome("x", 2, "not there"))
    assert words(after, "x") == ["seen", "seen", "not there", "not there"]


def test_unclear_says_nothing() -> None:
    before, after = proofs_of([*field(20), *LOST], outcome("x", 2, "unclear"))
    assert_frame_equal(before, after)


def test_a_read_stands_against_the_camera_and_both_contradictions_are_told() -> None:
    rows = [*field(20), ("x", 0, "09:00:00"), ("x", 1, "09:25:00"), ("x", 3, "10:15:00")]
    looked = [outcome("x", 1, "not there"), outcome("x", 2, "not there")]
    before, after = proofs_of(rows, *looked)
    assert words(before, "x") == ["seen", "seen", "proven", "seen"]
    assert words(after, "x") == ["seen", "seen", "not there", "seen"]
    told = to_sighted(SIGHTINGS.shape_rows(looked), before, after)
    assert told["remark"][0].startswith("a line read the runner there")
    assert told["remark"][1].startswith("read later on the course, but not on the camera: consistent with")


def test_what_is_settled_is_no_longer_listed_and_what_is_unclear_says_so() -> None:
    rows = [
        *field(50),
        *LOST,
        ("y", 0, "09:00:00"),
        ("y", 1, "09:25:10"),
        ("z", 0, "09:00:00"),
        ("z", 1, "09:25:12"),
    ]
    looked = SIGHTINGS.shape_rows(
        [outcome("x", 2, "not there"), outcome("y", 3, "seen", "10:15:20"), outcome("z", 3, "unclear")]
    )
    people = entries(*sorted({row[0] for row in rows}))
    proofs = to_proofs(crossings(EVENT, *rows), people, EVENT, looked)
    found = to_lookups(proofs, people, EVENT, sightings=looked)
    assert sorted(found.select("runner", "point").rows()) == [("y", "lake"), ("z", "finish"), ("z", "lake")]
    y = found.filter(runner="y").row(0, named=True)
    assert (y["proof"], y["chance"]) == ("proven", 1.0)
    assert "After: seen on the camera at finish at 10:15:20." in y["evidence"]
    assert found.filter(runner="z", point="finish")["evidence"].item().endswith("Looked for before: unclear.")


def rate(proofs: pl.DataFrame, quantity: str) -> dict[str, object]:
    rows = estimate_rates(proofs, EVENT).filter(
        pl.col("level") == "point", pl.col("quantity") == quantity, pl.col("course").is_null(), point="finish"
    )
    return rows.row(0, named=True)


def test_the_finish_is_counted_once_everybody_is_settled() -> None:
    """Of 40 who crossed lake 36 were read at the finish, two are on the camera, two stopped: 36 of 38."""
    lost = [
        (f"x{i}", k, clock) for i in range(4) for k, clock in enumerate(("09:00:00", "09:25:10", "09:50:20"))
    ]
    rows = [*field(36), *lost]
    some = [
        outcome("x0", 3, "seen", "10:15:30"),
        outcome("x1", 3, "seen", "10:15:40"),
        outcome("x2", 3, "not there"),
    ]
    before, partly = proofs_of(rows, *some)
    assert rate(before, "achieved")["evidence"] == "sibling line"
    open_yet = rate(partly, "achieved")
    assert (open_yet["proven"], open_yet["detected"]) == (38, 36)
    assert "the camera shows 2 whom neither line read" in str(open_yet["reason"])
    _, settled = proofs_of(rows, *some, outcome("x3", 3, "not there"))
    for quantity in ("achieved", "capability"):
        row = rate(settled, quantity)
        assert (row["evidence"], row["proven"], row["detected"]) == ("camera", 38, 36)
        assert row["estimate"] == pytest.approx(36 / 38)
    achieved = rate(settled, "achieved")
    assert (achieved["conf_low"], achieved["conf_high"]) == (achieved["estimate"], achieved["estimate"])


def unseen_row(**changed: object) -> pl.DataFrame:
    row = {
        "event": "small", "course": "road", "point": "finish", "order": 3, "visit": 1, "read": 36, "missed_seen_later": 0,
        "hidden": 2.0, "hidden_low": 0.0, "hidden_high": 4.0, "lower_bound": 0.2, "independence": 0.1, "rate": 36 / 38,
        "rate_low": 36 / 40, "rate_high": 1.0,
    }  # fmt: skip
    return UNSEEN.shape_rows([{**row, **changed}])


def settled_rows(*now: str) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Chances 0.8, 0.1 and 0.1 of three open runners; proofs before, and ``now``."""
    base = {
        "course": "road",
        "wave": "A",
        "point": "finish",
        "order": 3,
        "visit": 1,
        "at_m": 15000.0,
        "seen_later": False,
    }
    who = ["a", "b", "c"]
    before = PROOFS.shape_rows([{**base, "runner": r, "proof": "unproven"} for r in who])
    after = PROOFS.shape_rows([{**base, "runner": r, "proof": w} for r, w in zip(who, now, strict=True)])
    chances = pl.DataFrame(
        {"runner": who, "order": [3, 3, 3], "chance": [0.8, 0.1, 0.1]}, schema_overrides={"order": pl.Int16}
    )
    return chances, before, after


def test_hidden_crossings_that_the_camera_found_are_exact_and_their_part_is_taken_off() -> None:
    chances, before, after = settled_rows("camera", "unproven", "unproven")
    row = settle_unseen(unseen_row(), chances, before, after).row(0, named=True)
    assert row["missed_seen_later"] == 1
    assert row["hidden"] == pytest.approx(2.0 * 0.2)
    assert (row["hidden_low"], row["hidden_high"]) == (0.0, 1.0)
    assert row["rate"] == pytest.approx(36 / 37.4)


def test_where_nobody_is_open_nobody_is_hidden_and_a_refusal_is_answered() -> None:
    chances, before, after = settled_rows("camera", "not there", "camera")
    refused = unseen_row(
        hidden=None,
        hidden_low=None,
        hidden_high=None,
        rate=None,
        rate_low=None,
        rate_high=None,
        reason="one line",
    )
    row = settle_unseen(refused, chances, before, after).row(0, named=True)
    assert (row["missed_seen_later"], row["hidden"], row["reason"]) == (2, 0.0, None)
    assert row["rate"] == row["rate_low"] == row["rate_high"] == pytest.approx(36 / 38)


def test_a_visit_without_outcomes_stays_as_it_is() -> None:
    chances, before, _ = settled_rows("unproven", "unproven", "unproven")
    assert_frame_equal(settle_unseen(unseen_row(), chances, before, before), unseen_row())


def finishers(n: int) -> pl.DataFrame:
    rows = [
        (f"f{i:03}", k, f"{9 + (15 * k + i) // 60:02}:{(15 * k + i) % 60:02}:07")
        for i in range(n)
        for k in range(4)
    ]
    return crossings(EVENT, *rows)


def no_minutes() -> pl.DataFrame:
    return MINUTES.empty()


def test_the_draw_is_the_same_at_every_review() -> None:
    first, second = (draw_audits(finishers(40), no_minutes(), EVENT) for _ in range(2))
    assert_frame_equal(first, second)
    assert first["point"].unique().to_list() == ["finish"]
    assert first["seed"].unique().to_list() == [seed_of(EVENT, "finish")]
    assert first.height == 30
    # The window runs from ten minutes before the first finish to ten after the last.
    assert first["begin"].min() >= at("09:35:00")
    assert first["end"].max() <= at("10:36:00")
    assert seed_of(replace(EVENT, id="other"), "finish") != seed_of(EVENT, "finish")


def as_filled(
    audit: pl.DataFrame, crossed: int = 10, missed: int = 0, keep: int | None = None
) -> pl.DataFrame:
    rows = audit.head(keep or audit.height).with_row_index("row", offset=2)
    counted = rows.with_columns(
        pl.lit(crossed, dtype=pl.UInt32).alias("crossed"),
        pl.lit(missed, dtype=pl.UInt32).alias("missed"),
        pl.lit("sightings.csv").alias("file"),
    )
    return MINUTES.conform(counted)


def test_a_filled_in_copy_is_the_draw_even_after_the_reads_changed() -> None:
    drawn = draw_audits(finishers(40), no_minutes(), EVENT)
    again = draw_audits(finishers(25), as_filled(drawn), EVENT)
    assert_frame_equal(again.drop("crossed", "missed"), drawn.drop("crossed", "missed"))
    assert again["crossed"].to_list() == [10] * 30


def test_counts_without_the_design_are_matched_to_the_draw() -> None:
    drawn = draw_audits(finishers(40), no_minutes(), EVENT)
    bare = as_filled(drawn, keep=3).with_columns(pl.lit(None, dtype=pl.Int16).alias("stratum"))
    again = draw_audits(finishers(40), bare, EVENT)
    assert (again.height, again["crossed"].count()) == (30, 3)
    stranger = bare.with_columns(pl.col("begin") - dt.timedelta(hours=3))
    with pytest.raises(
        EventError, match=r'sightings\.csv, row 2, column "begin": the minute from \d\d:\d\d was not drawn'
    ):
        draw_audits(finishers(40), stranger, EVENT)


def test_a_design_that_contradicts_itself_is_named() -> None:
    filled = as_filled(draw_audits(finishers(40), no_minutes(), EVENT))
    wrong = filled.with_columns(
        pl.when(pl.col("row") == 3)
        .then(1)
        .otherwise("stratum_minutes")
        .cast(pl.UInt32)
        .alias("stratum_minutes")
    )
    with pytest.raises(EventError, match=r'row \d+, column "stratum_minutes"'):
        draw_audits(finishers(40), wrong, EVENT)


def test_the_audit_says_how_far_it_is() -> None:
    drawn = draw_audits(finishers(40), no_minutes(), EVENT)
    nothing = estimate_audits(drawn, EVENT).row(0, named=True)
    assert (nothing["drawn"], nothing["minutes"], nothing["share"], nothing["reason"]) == (
        30,
        0,
        None,
        "no minute was counted yet",
    )
    counted = estimate_audits(draw_audits(finishers(40), as_filled(drawn), EVENT), EVENT).row(0, named=True)
    assert (counted["minutes"], counted["crossed"], counted["missed"], counted["share"]) == (30, 300, 0, 0.0)
    assert counted["word"] == "cannot tell"
    assert 30 < counted["needed"] <= counted["window_minutes"]


def test_nobody_at_the_finish_no_audit() -> None:
    nobody = crossings(EVENT, *field(5, last=2))
    assert draw_audits(nobody, no_minutes(), EVENT).is_empty()
    assert estimate_audits(draw_audits(nobody, no_minutes(), EVENT), EVENT).is_empty()
