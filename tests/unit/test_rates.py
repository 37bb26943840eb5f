"""Rates from fields so small that every count can be checked by eye.

A field is a list of words, one per runner, one letter per visit: B read by both lines, M by main only, K by
backup only, - not read.  Runner i crosses the start i seconds after the gun and runs 5 minutes a kilometre.
"""

from __future__ import annotations

import dataclasses
import datetime as dt

import polars as pl
import pytest

from lineproof.detection.intervals import clopper_pearson
from lineproof.detection.proofs import to_proofs
from lineproof.detection.rates import compare_with_target, estimate_rates
from lineproof.detection.tries import FLOW_LABELS
from lineproof.event import Event
from lineproof.tables import CROSSINGS, RATES
from lineproof.vocabulary import Level
from unit.small_event import GUN, entries, small_event

EVENT = small_event()  # start, mill at 5 km, finish at 10 km


def proofs_of(field: list[str], event: Event = EVENT, no_shows: int = 0) -> pl.DataFrame:
    rows = []
    for i, word in enumerate(field):
        for visit, letter in zip(event.courses[0].visits, word, strict=True):
            if letter != "-":
                rows.append(
                    {
                        "runner": f"{i:04}",
                        "course": "road",
                        "wave": "A",
                        "point": visit.point,
                        "order": visit.order,
                        "visit": visit.visit,
                        "at_m": visit.at_m,
                        "time": GUN + dt.timedelta(seconds=i + 0.3 * visit.at_m),
                        "time_source": "main",
                        "seen_main": letter in "BM",
                        "seen_backup": letter in "BK",
                        "passings": 1,
                        "tags": 1,
                        "level": "passings",
                        "key": f"{i}/{visit.order}",
                    }
                )
    people = entries(*(f"{i:04}" for i in range(len(field) + no_shows)))
    return to_proofs(CROSSINGS.shape_rows(rows), people, event)


def rates_of(field: list[str], event: Event = EVENT, no_shows: int = 0) -> pl.DataFrame:
    return estimate_rates(proofs_of(field, event, no_shows), event)


def one(rates: pl.DataFrame, **where: object) -> dict[str, object]:
    """The single row with these values; ``order`` None is the row that pools all visits."""
    tests = [pl.col(k).is_null() if v is None else pl.col(k) == v for k, v in where.items()]
    return rates.filter(*tests).row(0, named=True)


def test_missed_at_the_mill_by_both_of_ten() -> None:
    rates = rates_of(["BBB"] * 6 + ["BMB", "BKB", "B-B", "B-B"])
    point = {"level": "point", "point": "mill", "order": 1}
    today, ahead = one(rates, quantity="achieved", **point), one(rates, quantity="capability", **point)
    for row in (today, ahead):
        assert (row["proven"], row["detected"], row["estimate"]) == (10, 8, 0.8)
        assert row["evidence"] == "seen later"
    assert (today["conf_low"], today["conf_high"], today["std_error"]) == (0.8, 0.8, 0.0)
    exact = clopper_pearson(8, 10)
    assert (ahead["conf_low"], ahead["conf_high"]) == pytest.approx((float(exact.low), float(exact.high)))
    for role, detected in (("main", 7), ("backup", 7)):
        line = one(rates, level="line", quantity="achieved", order=1, line=f"mill-{role}")
        assert (line["detected"], line["proven"], line["role"]) == (detected, 10, role)


def test_runners_who_stopped_and_no_shows_are_not_missed() -> None:
    rates = rates_of(["BBB"] * 8 + ["BB-", "B--"], no_shows=5)
    mill = one(rates, level="point", quantity="capability", point="mill", order=1)
    assert (mill["proven"], mill["detected"]) == (8, 8)
    today = one(rates, level="point", quantity="achieved", point="mill", order=1)
    assert (today["proven"], today["detected"]) == (9, 9)
    assert today["conf_low"] < 1  # the one who was read at the start only may have crossed unseen


def test_no_miss_is_not_a_rate_of_one_for_certain() -> None:
    row = one(rates_of(["BBB"] * 200), level="point", quantity="capability", point="mill", order=1)
    assert (row["estimate"], row["conf_high"], row["std_error"]) == (1.0, 1.0, None)
    assert row["conf_low"] == pytest.approx(0.025 ** (1 / 200))
    assert "no miss" in str(row["reason"])


def test_one_line_at_the_finish_cannot_be_judged() -> None:
    single = dataclasses.replace(
        EVENT, lines=tuple(line for line in EVENT.lines if line.id != "finish-backup")
    )
    proofs = proofs_of(["BBM"] * 10).with_columns(
        pl.when(pl.col("point") != "finish").then("seen_backup").alias("seen_backup")
    )
    rates = estimate_rates(proofs, single)
    for quantity in ("achieved", "capability"):
        row = one(rates, level="point", quantity=quantity, point="finish", order=2)
        assert (row["estimate"], row["proven"], row["evidence"]) == (None, 0, "none")
        assert "nothing later" in str(row["reason"])
    course = one(rates, level="course", quantity="achieved", course="road")
    assert course["proven"] == 20
    assert "10 crossings left out" in str(course["reason"])


def test_two_lines_witness_for_each_other_at_the_finish() -> None:
    rates = rates_of(["BBB"] * 80 + ["BBM"] * 12 + ["BBK"] * 8)
    main = one(rates, level="line", quantity="capability", line="finish-main", order=2)
    assert (main["proven"], main["detected"], main["evidence"]) == (88, 80, "sibling line")
    assert "unrelated" in str(main["method"])
    either = one(rates, level="point", quantity="achieved", point="finish", order=2)
    # Nobody was read earlier and not at the finish, so nobody crossed it unseen.
    assert (either["estimate"], either["conf_low"]) == (1.0, 1.0)


def test_a_fill_in_feed_at_the_finish_is_refused() -> None:
    rates = rates_of(["BBM"] * 90 + ["BBK"] * 10)
    row = one(rates, level="line", quantity="capability", line="finish-main", order=2)
    assert row["estimate"] is None
    assert "nothing later" in str(row["reason"])


def test_doubtful_runners_are_counted_and_left_out() -> None:
    proofs = proofs_of(["BBB"] * 9 + ["B-B"]).with_columns(
        pl.when((pl.col("proof") == "proven") & (pl.col("order") == 1))
        .then(pl.lit("doubtful").cast(CROSSINGS.schema["point"]))
        .otherwise(pl.col("proof").cast(pl.String))
        .cast(pl.Enum(["seen", "proven", "doubtful", "unproven"]))
        .alias("proof")
    )
    row = one(estimate_rates(proofs, EVENT), level="point", quantity="capability", point="mill", order=1)
    assert (row["proven"], row["detected"], row["doubtful"]) == (9, 9, 1)


def test_an_export_without_lines_gives_points_and_refuses_lines() -> None:
    wide = dataclasses.replace(
        EVENT, inputs=tuple(dataclasses.replace(i, level=Level.WIDE) for i in EVENT.inputs)
    )
    proofs = proofs_of(["BBB"] * 9 + ["B-B"]).with_columns(
        pl.lit(None, dtype=pl.Boolean).alias("seen_main"), pl.lit(None, dtype=pl.Boolean).alias("seen_backup")
    )
    rates = estimate_rates(proofs, wide)
    assert one(rates, level="point", quantity="achieved", point="mill", order=1)["estimate"] == 0.9
    line = one(rates, level="line", quantity="achieved", line="mill-main", order=1)
    assert line["estimate"] is None
    assert "does not tell" in str(line["reason"])


def test_an_export_that_names_the_backup_only_where_it_filled_in_tells_nothing_of_the_backup() -> None:
    proofs = proofs_of(["BBB"] * 9 + ["BKB"]).with_columns(
        pl.when(pl.col("seen_main")).then(None).otherwise("seen_backup").alias("seen_backup")
    )
    rates = estimate_rates(proofs, EVENT)
    main = one(rates, level="line", quantity="achieved", line="mill-main", order=1)
    backup = one(rates, level="line", quantity="achieved", line="mill-backup", order=1)
    assert (main["estimate"], backup["estimate"]) == (0.9, None)


def test_a_segment_counts_both_ends_and_does_not_multiply() -> None:
    """The same two runners are missed at both ends: 0.8, where a product would say 0.64."""
    event = small_event((("start", 0), ("mill", 5000), ("lake", 7500), ("finish", 10000)))
    rates = rates_of(["BBBB"] * 8 + ["B--B"] * 2, event)
    row = one(rates, level="segment", quantity="capability", from_point="mill", point="lake", order=2)
    assert (row["proven"], row["detected"], row["estimate"]) == (10, 8, 0.8)


def test_visits_of_a_looped_point_stand_alone_and_pooled() -> None:
    event = small_event((("start", 0), ("mill", 3000), ("mill", 6000), ("finish", 9000)))
    rates = rates_of(["BBBB"] * 8 + ["B-BB", "BB-B"], event)
    each = [one(rates, level="point", quantity="achieved", point="mill", order=o)["estimate"] for o in (1, 2)]
    pooled = one(rates, level="point", quantity="achieved", point="mill", order=None)
    assert each == [0.9, 0.9]
    assert (pooled["proven"], pooled["detected"], pooled["course"]) == (20, 18, None)


def test_misses_of_one_minute_widen_the_interval() -> None:
    """Sixty misses in one minute say less of the next event than sixty spread over an hour."""
    together = ["BBB"] * 1200 + ["B-B"] * 60 + ["BBB"] * 1140
    spread = ["B-B" if i % 40 == 0 else "BBB" for i in range(2400)]
    width = []
    for field in (together, spread):
        row = one(rates_of(field), level="point", quantity="capability", point="mill", order=1)
        assert row["estimate"] == pytest.approx(0.975)
        width.append(row["conf_high"] - row["conf_low"])
    assert width[0] > 3 * width[1]


def test_time_and_flow_bins_partition_the_crossings() -> None:
    rates = rates_of(["BBB"] * 1000 + ["B-B"] * 30)
    for level in ("time", "flow"):
        rows = rates.filter(pl.col("role").is_null(), level=level, quantity="achieved", point="mill")
        assert (rows["proven"].sum(), rows["detected"].sum()) == (1030, 1000)
    times = rates.filter(pl.col("role").is_null(), level="time", quantity="achieved", point="mill")["group"]
    assert times.to_list() == ["2026-05-17T09:20+00:00", "2026-05-17T09:30+00:00", "2026-05-17T09:40+00:00"]
    flows = rates.filter(level="flow", point="mill")["group"].unique()
    assert set(flows) <= set(FLOW_LABELS)
    assert FLOW_LABELS[2] in flows  # one runner a second


def test_row_order_changes_nothing() -> None:
    proofs = proofs_of(["BBB"] * 40 + ["BMB", "BKM", "B-B", "BB-", "MKK"] * 3)
    assert estimate_rates(proofs, EVENT).equals(
        estimate_rates(proofs.sample(fraction=1, shuffle=True, seed=4), EVENT)
    )


def test_an_event_without_a_read_has_no_rates() -> None:
    assert estimate_rates(proofs_of([], no_shows=3), EVENT).equals(RATES.empty())


def compare(proven: int, misses: int, **more: object):
    estimate = 1 - misses / proven
    error = (estimate * (1 - estimate) / proven) ** 0.5 or None
    rate = {"quantity": "capability", "evidence": "seen later", "proven": proven, "detected": proven - misses}
    return compare_with_target(
        {**rate, "estimate": estimate, "std_error": error, "reason": None, **more}, 0.998
    )


@pytest.mark.parametrize(
    ("proven", "misses", "word", "needed"),
    [
        (1497, 0, "shows", None),
        (1496, 0, "cannot tell", 1497),
        (2371, 1, "shows", None),
        (2370, 1, "cannot tell", 2371),
        (1000, 2, "cannot tell", 3146),
        (1000, 20, "falls short", None),
    ],
)
def test_what_it_takes_to_show_the_target(proven: int, misses: int, word: str, needed: int | None) -> None:
    found = compare(proven, misses)
    assert found.word == word
    if needed is not None:
        assert found.needed == needed
        assert f"{1497:,} proven crossings without a miss" in found.sentence


def test_shared_causes_weaken_the_verdict() -> None:
    assert compare(4000, 3).word == "shows"
    spread_out = compare(4000, 3, std_error=2 * (0.00075 / 4000) ** 0.5)
    assert spread_out.word == "cannot tell"


def test_two_lines_alone_cannot_show_more_than_their_crossings_could() -> None:
    sibling = {"evidence": "sibling line", "conf_low": 0.99999, "conf_high": 1.0, "std_error": 1e-6}
    assert compare(200, 0, **sibling).word == "cannot tell"
    assert compare(1497, 0, **sibling).word == "shows"


def test_a_share_of_today_needs_no_sample() -> None:
    today = {"quantity": "achieved", "conf_low": 0.999, "conf_high": 1.0}
    assert compare(50, 0, **today).word == "shows"
    assert compare(50, 0, **{**today, "conf_low": 0.99}).word == "cannot tell"
    assert compare(50, 1, **{**today, "conf_low": 0.98, "conf_high": 0.98}).word == "falls short"


def test_no_estimate_cannot_tell_and_says_why() -> None:
    found = compare_with_target({"estimate": None, "reason": "nothing later"}, 0.998)
    assert (found.word, found.needed) == ("cannot tell", None)
    assert "nothing later" in found.sentence


def test_crossings_that_do_not_count_still_show_that_the_runner_came() -> None:
    """100 of 300 crossed the finish while its main line was out; they neither stopped nor count."""
    proofs = proofs_of(["BBB"] * 200 + ["BBK"] * 100 + ["BB-"] * 6)
    inside = pl.col("runner").is_in([f"{i:04}" for i in (*range(200, 300), 300, 301)])
    counted = proofs.filter(~(inside & (pl.col("point") == "finish"))).select("runner", "order")
    where = {"level": "point", "point": "finish", "order": 2, "quantity": "achieved"}
    row = one(estimate_rates(proofs, EVENT, counted), **where)
    assert (row["proven"], row["detected"]) == (200, 200)
    # Two of the six who were not read again may have come by in the outage: of the other four it is asked.
    assert "4 runners were last read earlier" in str(row["reason"])
    at_mill = {**where, "point": "mill", "order": 1}
    assert one(estimate_rates(proofs, EVENT, counted), **at_mill)["proven"] == 304


def test_an_outage_left_out_hides_no_more_and_no_fewer_than_a_day_without_it() -> None:
    """Ten weak tags are missed by both lines of the finish; whether others crossed in an outage changes nothing."""
    weak = ["M--"] * 3 + ["K--"] * 3 + ["M-K"] * 10 + ["-KM"] * 10
    quiet = ["BBB"] * 400 + weak
    where = {"level": "point", "point": "finish", "order": 2, "quantity": "achieved"}
    alone = one(estimate_rates(proofs_of(quiet), EVENT), **where)
    proofs = proofs_of(quiet + ["BBK"] * 80)
    inside = (pl.col("runner") >= f"{len(quiet):04}") & (pl.col("point") == "finish")
    counted = proofs.filter(~inside).select("runner", "order")
    beside = one(estimate_rates(proofs, EVENT, counted), **where)
    assert beside["estimate"] == pytest.approx(alone["estimate"], abs=2e-3)
    assert beside["estimate"] < 1


def test_the_method_says_how_a_rate_was_made() -> None:
    rates = rates_of(["BBB"] * 300 + ["BBM"] * 5 + ["BBK"] * 5 + ["B--"])
    at_finish = {"level": "point", "point": "finish", "quantity": "achieved", "order": 2}
    assert "and under 0.1 more that nothing proves" in str(one(rates, **at_finish)["method"])
    flow = rates.filter(level="flow", point="finish", quantity="capability").filter(pl.col("line").is_null())
    assert all("hopeful side" in text for text in flow["method"])
    by_line = rates.filter(level="line", point="finish", quantity="capability")
    assert all("of like record" in text for text in by_line["method"])


def test_half_a_miss_is_said_and_counted_as_one() -> None:
    rate = {
        "quantity": "capability", "estimate": 1 - 0.5 / 1024, "proven": 1024, "detected": 1023, "std_error": 0.0007,
        "conf_low": 0.997, "conf_high": 1.0, "evidence": "sibling line", "reason": None,
    }  # fmt: skip
    found = compare_with_target(rate, 0.998)
    assert "with 1 miss" in found.sentence
    assert found.needed == 2371
