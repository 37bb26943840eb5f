"""The constant lag between the two lines of a point."""

from __future__ import annotations

from lineproof.clocks import estimate_line_lags
from unit.small_event import passings, small_event

EVENT = small_event()


def both(tag: str, main: str, backup: str) -> list[tuple[str, str, str]]:
    return [(tag, "mill-main", main), (tag, "mill-backup", backup)]


def test_the_lag_is_the_median_over_tags_that_both_lines_read() -> None:
    found = estimate_line_lags(
        passings(
            *both("t1", "09:20:00", "09:20:01"),
            *both("t2", "09:21:00", "09:21:02"),
            *both("t3", "09:22:00", "09:22:09"),
            *both("t4", "09:23:00", "09:23:02"),
            *both("t5", "09:24:00", "09:24:03"),
            ("t6", "mill-main", "09:23:00"),
        ),
        EVENT,
    )
    # Lags 1, 2, 2, 3, 9 s: median 2 s; absolute deviations 0, 0, 1, 1, 7 s: median 1 s, times 1.4826.
    assert found.rows() == [("mill", "mill-main", "mill-backup", 5, 2_000_000, 1_482_600)]


def test_a_whole_hour_is_measured_as_well_and_visits_pair_in_order() -> None:
    laps = [both(f"t{i}", f"09:{20 + i}:00", f"10:{20 + i}:01") for i in range(3)]
    laps += [both(f"t{i}", f"09:{50 + i}:00", f"10:{50 + i}:01") for i in range(3)]
    found = estimate_line_lags(passings(*(row for lap in laps for row in lap)), EVENT)
    assert found.select("pairs", "lag_us").rows() == [(6, 3_601_000_000)]


def test_too_few_common_tags_no_lag() -> None:
    few = [both(f"t{i}", f"09:{20 + i}:00", f"09:{20 + i}:01") for i in range(4)]
    assert estimate_line_lags(passings(*(row for pair in few for row in pair)), EVENT).is_empty()
