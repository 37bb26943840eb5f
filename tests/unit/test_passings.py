"""A passing is all reads of one tag by one line closer than the gap."""

from __future__ import annotations

import datetime as dt

import polars as pl
from hypothesis import given
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from lineproof.passings import number_passings, to_passings
from lineproof.tables import READS
from unit.small_event import GUN, at, reads, small_event

EVENT = small_event()
GAP_US = EVENT.setting_us("passing_gap_s")


def test_reads_within_the_gap_are_one_passing_and_beyond_it_two() -> None:
    found = to_passings(
        reads(
            ("t1", "mill-main", "09:20:00"),
            ("t1", "mill-main", "09:20:10"),
            ("t1", "mill-main", "09:20:20.000001"),
        ),
        EVENT,
    )
    assert found.select("first", "last", "reads").rows() == [
        (at("09:20:00"), at("09:20:10"), 2),
        (at("09:20:20.000001"), at("09:20:20.000001"), 1),
    ]


def test_each_line_and_each_tag_has_passings_of_its_own() -> None:
    found = to_passings(
        reads(
            ("t1", "mill-main", "09:20:00"),
            ("t1", "mill-backup", "09:20:01"),
            ("t2", "mill-main", "09:20:02"),
        ),
        EVENT,
    )
    assert found.select("tag", "line", "point").rows() == [
        ("t1", "mill-main", "mill"),
        ("t1", "mill-backup", "mill"),
        ("t2", "mill-main", "mill"),
    ]


def test_the_strongest_read_gives_antenna_and_time_and_the_earliest_of_equals_wins() -> None:
    rows = reads(*[("t1", "mill-main", f"09:20:0{i}") for i in range(4)]).with_columns(
        pl.Series("strength", [-70, -55, -55, None], dtype=pl.Float32),
        pl.Series("antenna", [3, 4, 5, 4], dtype=pl.Int32),
    )
    row = to_passings(rows, EVENT).row(0, named=True)
    assert (row["strongest"], row["antenna"], row["antennas"], row["strength"]) == (at("09:20:01"), 4, 3, -55)


def test_without_strength_and_antenna_the_first_read_counts_as_strongest() -> None:
    rows = reads(("t1", "mill-main", "09:20:00"), ("t1", "mill-main", "09:20:01")).with_columns(
        pl.lit(None, dtype=pl.Float32).alias("strength"), pl.lit(None, dtype=pl.Int32).alias("antenna")
    )
    row = to_passings(rows, EVENT).row(0, named=True)
    assert (row["strongest"], row["antenna"], row["antennas"]) == (at("09:20:00"), None, 0)


def test_no_reads_make_an_empty_table() -> None:
    assert to_passings(READS.empty().lazy(), EVENT).is_empty()


READ_ROWS = st.lists(
    st.tuples(
        st.sampled_from(["t1", "t2"]),
        st.sampled_from(["mill-main", "mill-backup"]),
        st.integers(0, 12).map(lambda n: n * 5_000_000),
        st.sampled_from([1, 2, None]),
        st.sampled_from([-60.0, -50.0, None]),
    ),
    max_size=25,
)


def frame_of(rows: list[tuple[str, str, int, int | None, float | None]]) -> pl.DataFrame:
    return READS.shape_rows(
        [
            {
                "tag": tag,
                "line": line,
                "time": GUN + dt.timedelta(microseconds=us),
                "antenna": antenna,
                "strength": strength,
                "file": "a.csv",
                "row": i,
            }
            for i, (tag, line, us, antenna, strength) in enumerate(rows)
        ]
    )


@given(READ_ROWS, st.randoms())
def test_row_order_is_irrelevant_and_a_read_given_twice_counts_once(rows, random) -> None:
    frame = frame_of(rows)
    once = to_passings(frame.lazy(), EVENT)
    shuffled = frame.sample(fraction=1, shuffle=True, seed=random.randrange(1000))
    assert_frame_equal(once, to_passings(shuffled.lazy(), EVENT))
    assert_frame_equal(once, to_passings(pl.concat([frame, frame]).lazy(), EVENT))


@given(READ_ROWS)
def test_it_equals_the_slow_obvious_way(rows) -> None:
    found = to_passings(frame_of(rows).lazy(), EVENT)
    expected = []
    for key in sorted({(tag, line) for tag, line, *_ in rows}):
        times = sorted(us for tag, line, us, *_ in rows if (tag, line) == key)
        go = [times[0]]
        for us in times[1:]:
            if us - go[-1] > GAP_US:
                expected.append((*key, go[0], go[-1]))
                go = [us]
            else:
                go.append(us)
        expected.append((*key, go[0], go[-1]))
    gun = pl.lit(GUN)
    got = found.select(
        "tag",
        "line",
        (pl.col("first") - gun).dt.total_microseconds(),
        (pl.col("last") - gun).dt.total_microseconds().alias("l"),
    ).rows()
    assert sorted(got) == sorted(expected)


def test_numbering_does_not_depend_on_the_order_of_the_parts() -> None:
    first = to_passings(reads(("t1", "mill-main", "09:20:00")), EVENT)
    second = to_passings(reads(("t2", "mill-main", "09:19:00")), EVENT)
    assert_frame_equal(number_passings([first, second]), number_passings([second, first]))
    assert number_passings([first, second])["passing"].to_list() == [0, 1]
