"""Two open result tables: which splits of each finisher were missing, counted again by our proofs.

Sources: an open road marathon table of 2014, https://github.com/llimllib/bostonmarathon
(``results/2014``, MIT licence), and one of 2002, https://github.com/davidjaimes/nyc-marathon (MIT
licence); ``data/README.md`` says how they were counted.  Split times are invented from a pace model
stated here, because only who was read where is in the counts.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from lineproof.detection.proofs import to_proofs
from lineproof.detection.rates import estimate_rates
from lineproof.event import Course, Event, Point, Visit, Wave
from lineproof.tables import CROSSINGS, ENTRIES
from lineproof.vocabulary import SETTINGS, PointKind, ReadChoice

DATA = Path(__file__).parent / "data"
GUN = dt.datetime(2026, 5, 17, 8, 0, tzinfo=dt.UTC)
GUN_US = int(GUN.timestamp()) * 1_000_000
FINISH_M = 42_195.0


@dataclass(frozen=True)
class OpenTable:
    file: str
    finishers: int
    points: dict[str, float]
    misses: tuple[int, ...]


# Misses per point as counted from the published tables, not by the code under test.
TABLE_2014 = OpenTable(
    "road_marathon_2014.csv",
    31_931,
    {
        "5K": 5e3,
        "10K": 10e3,
        "20K": 20e3,
        "half": 21_097.5,
        "25K": 25e3,
        "30K": 30e3,
        "35K": 35e3,
        "40K": 40e3,
    },
    (52, 50, 51, 72, 216, 40, 34, 39),
)
TABLE_2002 = OpenTable(
    "road_marathon_2002.csv",
    31_836,
    {"start": 0.0, "10K": 10e3, "half": 21_097.5, "20M": 32_187.0},
    (298, 123, 105, 1523),
)
TABLES = pytest.mark.parametrize("table", [TABLE_2014, TABLE_2002], ids=["2014", "2002"])


def event_of(table: OpenTable) -> Event:
    stops = [*table.points.items(), ("finish", FINISH_M)]
    kinds = {"start": PointKind.START, "finish": PointKind.FINISH}
    return Event(
        id="open",
        name="Open table",
        date=GUN.date(),
        zone="UTC",
        folder=Path(),
        courses=(
            Course("road", "Road", tuple(Visit(i, p, 1, m) for i, (p, m) in enumerate(stops)), 1_000_000),
        ),
        waves=(Wave("all", "road", GUN),),
        points=tuple(Point(p, p, kinds.get(p, PointKind.SPLIT), ReadChoice.FIRST) for p, _ in stops),
        lines=(),
        inputs=(),
        entries=None,
        course_names={},
        wave_names={},
        class_names={},
        settings={name: setting.value for name, setting in SETTINGS.items()},
        gate={},
    )


def finishers_of(table: OpenTable) -> pl.DataFrame:
    """One row per finisher: runner, decile, history."""
    counts = pl.read_csv(DATA / table.file, schema_overrides={"history": pl.String})
    return (
        counts.select(pl.col("history", "decile").repeat_by("runners"))
        .explode("history", "decile")
        .with_columns(pl.format("r{}", pl.int_range(pl.len()).cast(pl.String).str.zfill(6)).alias("runner"))
    )


def crossings_of(table: OpenTable, event: Event) -> pl.DataFrame:
    """Invented times: over the start line by 30 s + 60 s per tenth, then an even pace of 240 + 18 s/km per
    tenth, +-8 s/km from runner to runner, that rises by a tenth towards the finish; wide, so no line is told."""
    people = finishers_of(table)
    rng = np.random.default_rng(2014)
    decile = people["decile"].to_numpy()
    delay = 30 + 60 * decile + rng.uniform(0, 60, len(decile))
    pace = 240 + 18 * decile + rng.uniform(-8, 8, len(decile))
    visits = event.courses[0].visits
    at_m = np.array([visit.at_m for visit in visits])
    seconds = delay[:, None] + pace[:, None] * at_m / 1000 * (0.95 + 0.1 * at_m / FINISH_M)
    read = np.array([[mark == "1" for mark in word] + [True] for word in people["history"]])
    frame = pl.DataFrame(
        {
            "runner": np.repeat(people["runner"].to_numpy(), len(visits)),
            "order": np.tile(np.arange(len(visits)), len(decile)),
            "point": np.tile([visit.point for visit in visits], len(decile)),
            "at_m": np.tile(at_m, len(decile)),
            "gun_us": np.round(seconds.ravel() * 1e6).astype(np.int64),
        }
    ).filter(pl.Series(read.ravel()))
    return CROSSINGS.conform(
        frame.with_columns(
            course=pl.lit("road"),
            wave=pl.lit("all"),
            visit=pl.lit(1),
            time=(pl.col("gun_us") + GUN_US).cast(pl.Datetime("us")).dt.replace_time_zone("UTC"),
            time_source=pl.lit("unstated"),
            passings=pl.lit(1),
            tags=pl.lit(1),
            level=pl.lit("wide"),
            key=pl.format("{}/{}", "runner", "order"),
        )
    )


def proofs_of(table: OpenTable) -> tuple[pl.DataFrame, Event]:
    event = event_of(table)
    entries = ENTRIES.conform(
        finishers_of(table).select(
            "runner", bib="runner", course=pl.lit("road"), wave=pl.lit("all"), runner_class=pl.lit("foot")
        )
    )
    return to_proofs(crossings_of(table, event), entries, event), event


@TABLES
def test_published_every_missing_split_of_a_finisher_is_a_proven_miss_and_no_other(table: OpenTable) -> None:
    proofs, _ = proofs_of(table)
    counted = (
        proofs.group_by("order", "point")
        .agg(
            (pl.col("proof") == "proven").sum().alias("proven"),
            (pl.col("proof") == "seen").sum().alias("seen"),
        )
        .sort("order")
    )
    expected = [*table.misses, 0]
    assert counted["point"].to_list() == [*table.points, "finish"]
    assert counted["proven"].to_list() == expected
    assert counted["seen"].to_list() == [table.finishers - misses for misses in expected]


@TABLES
def test_published_rates_are_one_less_the_share_missed_and_the_finish_has_none(table: OpenTable) -> None:
    proofs, event = proofs_of(table)
    rates = estimate_rates(proofs, event)
    assert rates.filter(level="line").height == 0
    for quantity in ("achieved", "capability"):
        points = rates.filter(pl.col("order").is_not_null(), level="point", quantity=quantity).sort("order")
        splits = points.filter(pl.col("point") != "finish")
        assert splits["estimate"].to_list() == pytest.approx(
            [1 - m / table.finishers for m in table.misses], abs=1e-12
        )
        assert splits["proven"].to_list() == [table.finishers] * len(table.misses)
        assert splits["evidence"].to_list() == ["seen later"] * len(table.misses)
        finish = points.filter(point="finish").row(0, named=True)
        assert (finish["estimate"], finish["evidence"]) == (None, "none")
        assert "cannot be known" in finish["reason"]
