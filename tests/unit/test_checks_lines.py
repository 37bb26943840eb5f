"""What a line missed, when it missed it, and whether its clock agrees with its sibling's."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from lineproof.checks.bursts import count_windows, estimate_bursts
from lineproof.passings import number_passings
from unit.checked_event import (
    RUNNERS,
    clean_crossings,
    clean_passings,
    findings_of,
    make_entries,
    material_of,
    names_found,
    of_crossings,
    stated_event,
)

MINUTE = 60_000_000


def without(line: str, runners: tuple[str, ...]) -> pl.DataFrame:
    tags = [f"t-{runner}" for runner in runners]
    return clean_passings().filter(~((pl.col("line") == line) & pl.col("tag").is_in(tags)))


def test_read_by_one_line_only_is_a_note_on_the_other() -> None:
    material = material_of(without("mill-main", ("A01", "A02")))
    assert names_found(material) == {"backup line only"}
    found = findings_of("backup line only", material)
    assert found.select("line", "rows", "value").rows() == [("mill-main", 2, pytest.approx(2 / 12))]
    material = material_of(without("mill-backup", ("A01",)))
    assert names_found(material) == {"main line only"}


def test_missed_by_both_and_read_later_is_proof() -> None:
    gone = clean_passings().filter(~((pl.col("point") == "mill") & (pl.col("tag") == "t-A06")))
    found = findings_of("missed with proof", material_of(gone))
    assert found.select("severity", "runner", "bib", "point", "order").rows() == [
        ("warning", "A06", "A06", "mill", 1)
    ]


def test_a_line_that_read_nobody() -> None:
    material = material_of(without("mill-backup", RUNNERS))
    found = findings_of("silent line", material)
    assert found.select("line", "rows").rows() == [("mill-backup", 12)]
    assert "burst of misses" not in names_found(material)


def test_a_line_silent_for_a_while_is_a_burst() -> None:
    crowd = tuple(f"B{n:03}" for n in range(200))
    dark = [f"t-B{n:03}" for n in range(80, 110)]
    passings = clean_passings(crowd).filter(~((pl.col("line") == "mill-main") & pl.col("tag").is_in(dark)))
    found = findings_of("burst of misses", material_of(passings, entries=make_entries(crowd)))
    assert found.select("line", "rows", "value", "limit").rows() == [("mill-main", 30, 1.0, 0.0)]
    # Runner B080 comes 13 min 23 s after the first, who is there at 9:30:03; B109 at 9:48:13.
    assert "From 09:43 to 09:48 the line read nobody of 30\u00a0runners" in found["detail"][0]


def test_a_point_of_a_wide_table_has_bursts_too() -> None:
    crowd = tuple(f"B{n:03}" for n in range(200))
    dark = [f"B{n:03}" for n in range(80, 110)]
    crossings = material_of(clean_passings(crowd), entries=make_entries(crowd)).crossings.with_columns(
        pl.lit(None, dtype=pl.Boolean).alias("seen_main"), pl.lit(None, dtype=pl.Boolean).alias("seen_backup")
    )
    crossings = crossings.filter(~((pl.col("point") == "mill") & pl.col("runner").is_in(dark)))
    event = replace(stated_event(), inputs=())
    found = findings_of("burst of misses", of_crossings(crossings, event, make_entries(crowd)))
    assert found.select("point", "line", "rows").rows() == [("mill", None, 30)]


def even_day(misses: list[int], runners: int = 1000) -> tuple[np.ndarray, np.ndarray]:
    """A runner every six seconds; those numbered in ``misses`` were missed."""
    missed = np.zeros(runners, dtype=bool)
    missed[misses] = True
    return np.arange(runners, dtype=np.int64) * 6_000_000, missed


def test_misses_spread_over_the_day_are_no_burst() -> None:
    times, missed = even_day(list(range(0, 1000, 50)))
    assert estimate_bursts(times, missed, MINUTE, 1e-6, 5) == []


def test_two_bursts_are_told_apart_and_measured() -> None:
    times, missed = even_day([*range(100, 140), *range(700, 720), 900])
    bursts = estimate_bursts(times, missed, MINUTE, 1e-6, 5)
    assert [(b.begin_us // 6_000_000, b.end_us // 6_000_000, b.crossed, b.missed) for b in bursts] == [
        (100, 139, 40, 40),
        (700, 719, 20, 20),
    ]
    assert bursts[0].usual == pytest.approx(1 / 940, abs=2e-4)


def test_too_few_misses_are_not_worth_a_look() -> None:
    times, missed = even_day([500, 501, 502, 503])
    assert estimate_bursts(times, missed, MINUTE, 0.5, 5) == []


def test_windows_are_counted_for_the_correction() -> None:
    """Four bins: four windows of one, three of two, one of four."""
    assert count_windows(np.array([0, 3 * MINUTE], dtype=np.int64), MINUTE) == 8
    assert count_windows(np.array([], dtype=np.int64), MINUTE) == 0


def test_chance_bursts_are_as_rare_as_promised() -> None:
    """2,000 days of independent misses at 1 %: bursts in no more than the promised share, here 5 %."""
    rng = np.random.default_rng(20260517)
    times = np.sort(rng.integers(0, 60 * MINUTE, 400))
    promised = 0.05
    chance = promised / count_windows(times, MINUTE)
    days = sum(bool(estimate_bursts(times, rng.random(400) < 0.03, MINUTE, chance, 1)) for _ in range(500))
    assert days / 500 <= promised


@pytest.mark.parametrize(
    ("seconds", "spacing", "hint"),
    [(3600, None, "summer time"), (18, 3.0, "satellite time"), (60, None, ""), (-43200, 3.0, "12-hour")],
)
def test_a_line_whose_clock_is_off(seconds: int, spacing: float | None, hint: str) -> None:
    shift = dt.timedelta(seconds=seconds)
    backup = pl.col("line") == "mill-backup"
    passings = number_passings(
        [
            clean_passings().with_columns(
                pl.when(backup).then(pl.col(c) + shift).otherwise(pl.col(c)).alias(c)
                for c in ("first", "strongest", "last")
            )
        ]
    )
    event = stated_event()
    event = replace(event, lines=tuple(replace(line, spacing_m=spacing) for line in event.lines))
    found = findings_of("line clock offset", material_of(passings, event))
    assert found.select("severity", "line", "rows").rows() == [("warning", "mill-backup", 12)]
    assert found["value"][0] == pytest.approx(seconds + 1)
    assert hint in found["detail"][0]


def test_a_walk_between_the_lines_is_no_offset() -> None:
    assert findings_of("line clock offset", material_of(clean_passings())).is_empty()


def test_merged_data_is_not_asked_for_lines() -> None:
    crossings = clean_crossings().with_columns(
        pl.lit(None, dtype=pl.Boolean).alias("seen_main"), pl.lit(None, dtype=pl.Boolean).alias("seen_backup")
    )
    assert names_found(of_crossings(crossings, replace(stated_event(), inputs=()))) == set()


def test_a_finish_dark_on_both_lines_is_a_hole() -> None:
    """Nothing later proves these runners; that 30 in a row drop out is no chance."""
    crowd = tuple(f"B{n:03}" for n in range(200))
    dark = [f"t-B{n:03}" for n in range(80, 110)]
    passings = clean_passings(crowd).filter(~((pl.col("point") == "finish") & pl.col("tag").is_in(dark)))
    material = material_of(passings, entries=make_entries(crowd))
    assert names_found(material) == {"hole at the end"}
    found = findings_of("hole at the end", material)
    assert found.select("severity", "point", "rows").rows() == [("warning", "finish", 30)]


def test_drop_outs_spread_over_the_day_are_no_hole() -> None:
    crowd = tuple(f"B{n:03}" for n in range(200))
    out = [f"t-B{n:03}" for n in range(0, 200, 7)]
    passings = clean_passings(crowd).filter(~((pl.col("point") == "finish") & pl.col("tag").is_in(out)))
    assert names_found(material_of(passings, entries=make_entries(crowd))) == set()
