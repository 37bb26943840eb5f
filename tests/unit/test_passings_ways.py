"""Two ways from reads to passings, sorted and flowing, and a slow obvious one that both must equal."""

from __future__ import annotations

import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from lineproof import passings
from lineproof.checks import to_repeated_reads
from lineproof.passings import number_passings, to_passings
from lineproof.passings.flowing import join_flowing
from lineproof.passings.kernel import LAST_ANTENNA, LONGEST_TIE
from lineproof.passings.plain import join_plainly
from lineproof.tables import PASSINGS, READS
from unit.small_event import reads, small_event

EVENT = small_event()
GAP_US = EVENT.setting_us("passing_gap_s")
POINT_OF = {line.id: line.point for line in EVENT.lines}
COLUMNS = ("tag", "line", "time", "antenna", "strength", "file", "row")
FIRST_US, LAST_US = -(2**63), 2**63 - 1

Read = tuple[str, str, int, int | None, float | None, str, int]


def frame_of(rows: list[Read]) -> pl.DataFrame:
    """READS of rows whose time is a whole number of microseconds since 1970."""
    columns = dict(zip(COLUMNS, zip(*rows, strict=True), strict=True)) if rows else {}
    plain = {name: pl.Int64() if name == "time" else dtype for name, dtype in READS.schema.items()}
    frame = pl.DataFrame({name: list(columns.get(name, ())) for name in COLUMNS}, schema=plain)
    return READS.check(frame.with_columns(pl.col("time").cast(READS.schema["time"])))


def slow_and_obvious(rows: list[Read]) -> pl.DataFrame:
    """PASSINGS, one read after the other, in whole numbers of any size."""

    def null_first(value: float | str | None) -> tuple[bool, float | str]:
        return (value is not None, 0 if value is None else value)

    made = []
    for tag, line in sorted({(row[0], row[1]) for row in rows}):
        mine = sorted(
            (row for row in rows if row[:2] == (tag, line)), key=lambda r: tuple(map(null_first, r))
        )
        cuts = [i for i in range(1, len(mine)) if mine[i][2] - mine[i - 1][2] > GAP_US]
        for begin, end in zip([0, *cuts], [*cuts, len(mine)], strict=True):
            go = mine[begin:end]
            strengths = [row[4] for row in go if row[4] is not None]
            top = max(strengths, default=None)
            best = next(row for row in go if row[4] == top)
            made.append(
                {
                    "tag": tag, "line": line, "point": POINT_OF[line],
                    "first": go[0][2], "strongest": best[2], "last": go[-1][2],
                    "reads": len({row[2:5] for row in go}),
                    "antenna": best[3], "antennas": len({row[3] for row in go} - {None}), "strength": top,
                    "level": "reads", "file": go[0][5], "row": go[0][6],
                }
            )  # fmt: skip
    made.sort(key=lambda row: (row["first"], row["point"], row["line"], row["tag"], row["file"], row["row"]))
    instants = {"first", "strongest", "last"}
    schema = {
        name: pl.Int64() if name in instants else dtype
        for name, dtype in PASSINGS.schema.items()
        if name != "passing"
    }
    frame = pl.DataFrame(made, schema=schema).with_row_index("passing")
    return PASSINGS.conform(frame.with_columns(pl.col(*instants).cast(READS.schema["time"])))


TIMES = st.one_of(
    st.integers(0, 6).map(lambda n: n * GAP_US),
    st.integers(0, 6).map(lambda n: n * (GAP_US + 1)),
    st.sampled_from([FIRST_US, FIRST_US + GAP_US, -1, LAST_US - GAP_US - 1, LAST_US - 1, LAST_US]),
)
ROWS = st.lists(
    st.tuples(
        st.sampled_from(["t1", "t2", "Ω 3"]),
        st.sampled_from(["start-main", "mill-main", "mill-backup"]),
        TIMES,
        st.sampled_from([0, 1, 2, LAST_ANTENNA, None]),
        st.sampled_from([-60.0, -50.5, 0.0, None]),
        st.sampled_from(["b.csv", "a.csv"]),
    ),
    max_size=40,
).map(lambda rows: [(*row, number) for number, row in enumerate(rows)])
AT_THE_ENDS: list[Read] = [
    ("t1", "mill-main", FIRST_US, 1, -50.0, "a.csv", 2),
    ("t1", "mill-main", LAST_US, 1, -50.0, "a.csv", 3),
]


@settings(deadline=None, max_examples=300)
@given(ROWS)
@example([])
@example(AT_THE_ENDS)
@example(AT_THE_ENDS[::-1])
def test_both_ways_equal_the_slow_and_obvious_one(rows: list[Read]) -> None:
    expected = slow_and_obvious(rows)
    for ordered in (rows, sorted(rows, key=lambda row: row[2])):
        frame = frame_of(ordered).lazy()
        assert_frame_equal(number_passings(join_plainly(frame, EVENT)), expected)
        flowing = join_flowing(frame, EVENT)
        assert flowing is not None
        assert_frame_equal(number_passings(flowing), expected)


def test_a_batch_may_end_in_the_middle_of_a_passing(monkeypatch: pytest.MonkeyPatch) -> None:
    rows: list[Read] = [
        (f"t{i % 3}", "mill-main", i // 7 * 1_500_000 + i // 40 * GAP_US, i % 4, -50.0 - i % 5, "a.csv", i)
        for i in range(400)
    ]
    monkeypatch.setattr("lineproof.passings.flowing.CHUNK", 16)
    for ordered in (rows, rows[::-1]):
        flowing = join_flowing(frame_of(ordered).lazy(), EVENT)
        assert flowing is not None
        assert_frame_equal(number_passings(flowing), slow_and_obvious(rows))


def test_files_of_several_lines_one_after_the_other_need_no_order_between_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rows: list[Read] = [
        ("t1", "mill-main", 5_000_000, 1, -50.0, "b.csv", 2),
        ("t1", "mill-backup", 1_000_000, 1, -50.0, "a.csv", 2),
    ]
    monkeypatch.setattr("lineproof.passings.flowing._by_line", lambda *_: pytest.fail("was sorted"))
    assert join_flowing(frame_of(rows).lazy(), EVENT) is not None


@pytest.mark.parametrize("antenna", [LAST_ANTENNA + 1, -1, -(2**31), 2**31 - 1])
def test_antennas_that_the_loop_cannot_count_go_the_plain_way(
    antenna: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows: list[Read] = [
        ("t1", "mill-main", 5_000_000, antenna, -50.0, "a.csv", 2),
        ("t1", "mill-main", 6_000_000, 1, -60.0, "a.csv", 3),
    ]
    assert join_flowing(frame_of(rows).lazy(), EVENT) is None
    monkeypatch.setattr(passings, "FLOWING_FROM", 0)
    assert_frame_equal(to_passings(frame_of(rows).lazy(), EVENT), slow_and_obvious(rows))


def test_very_many_reads_in_one_instant_go_the_plain_way(monkeypatch: pytest.MonkeyPatch) -> None:
    rows: list[Read] = [
        ("t1", "mill-main", 5, n % 8, -50.0 - n // 8, "a.csv", n) for n in range(2 * LONGEST_TIE)
    ]
    few = rows[:LONGEST_TIE]
    flowing = join_flowing(frame_of(few).lazy(), EVENT)
    assert flowing is not None
    assert_frame_equal(number_passings(flowing), slow_and_obvious(few))
    assert join_flowing(frame_of(rows).lazy(), EVENT) is None
    monkeypatch.setattr(passings, "FLOWING_FROM", 0)
    assert_frame_equal(to_passings(frame_of(rows).lazy(), EVENT), slow_and_obvious(rows))


def test_few_reads_do_not_start_the_compiled_loop(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(passings, "join_flowing", lambda *_: pytest.fail("started"))
    assert to_passings(reads(("t1", "mill-main", "09:20:00")).lazy(), EVENT).height == 1


@settings(deadline=None)
@given(ROWS)
def test_the_number_of_different_reads_spares_the_search_for_copies_and_nothing_else(
    rows: list[Read],
) -> None:
    frame = frame_of([*rows, *rows[:2]]).lazy()
    different = int(to_passings(frame, EVENT)["reads"].sum())
    assert_frame_equal(to_repeated_reads(frame, different), to_repeated_reads(frame))
    assert to_repeated_reads(frame).height == len([*rows, *rows[:2]]) - different
