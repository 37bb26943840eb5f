"""From proofs to counted histories: what counts as a hit, as a miss, and as neither."""

from __future__ import annotations

import datetime as dt

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lineproof.detection.course_model import to_course_histories, to_flow_strata
from lineproof.detection.course_model.histories import CourseHistories, Occasion, compress
from lineproof.detection.course_model.outcomes import NOTHING_TOLD, READ_BY_EITHER, to_outcome, was_read
from lineproof.event import Event
from lineproof.tables import PROOFS
from unit.small_event import GUN, small_event

EVENT = small_event()
COURSE = EVENT.courses[0].id
BOTH, MAIN, BACKUP, NONE = (True, True), (True, False), (False, True), (False, False)
Flags = tuple[bool | None, bool | None]


def proofs(*runners: tuple[Flags | str, ...], event: Event = EVENT) -> pl.DataFrame:
    """One runner per tuple, r0, r1 …: flags of main and backup at each visit; "doubtful", or "seen" by a line not told."""
    visits = event.courses[0].visits
    rows = []
    for number, record in enumerate(runners):
        read = [word == "seen" or (not isinstance(word, str) and True in word) for word in record]
        for visit, word in zip(visits, record, strict=True):
            later = any(read[visit.order + 1 :])
            seen = read[visit.order]
            flags = (None, None) if isinstance(word, str) else word
            proof = "seen" if seen else "proven" if later else "unproven"
            rows.append(
                {
                    "runner": f"r{number}",
                    "course": event.courses[0].id,
                    "wave": event.waves[0].id,
                    "point": visit.point,
                    "order": visit.order,
                    "visit": visit.visit,
                    "at_m": visit.at_m,
                    "proof": "doubtful" if word == "doubtful" else proof,
                    "seen_later": later and word != "doubtful",
                    "seen_main": flags[0],
                    "seen_backup": flags[1],
                    "time": GUN + dt.timedelta(minutes=10 * visit.order) if seen else None,
                }
            )
    return PROOFS.conform(PROOFS.shape_rows(rows))


def history_of(histories: CourseHistories, runner: str) -> list[int]:
    assert histories.history_of is not None
    row = histories.history_of[histories.runners.index(runner)]
    return histories.outcome[row].tolist()


def test_two_lines_and_runners_alike_are_counted_together() -> None:
    found = to_course_histories(
        proofs((BOTH, MAIN, BOTH), (BOTH, MAIN, BOTH), (BACKUP, NONE, BOTH), (BOTH, NONE, NONE)),
        EVENT,
        COURSE,
    )
    assert [o.lines for o in found.occasions] == [("main", "backup")] * 3
    assert sorted(found.count.tolist()) == [1, 1, 2]
    assert history_of(found, "r0") == history_of(found, "r1") == [4, 3, 4]
    assert history_of(found, "r2") == [1, 0, 4]
    assert found.read.tolist() == [4, 2, 3]
    assert found.missed.tolist() == [0, 1, 0]
    assert dict(zip(found.outcome[:, 2].tolist(), found.known.tolist(), strict=True))[0] == 0


def test_runners_nobody_saw_do_not_enter_and_a_course_without_any_is_refused() -> None:
    found = to_course_histories(proofs((BOTH, BOTH, BOTH), (NONE, NONE, NONE)), EVENT, COURSE)
    assert found.runners == ("r0",)
    with pytest.raises(ValueError, match="nobody was seen"):
        to_course_histories(proofs((NONE, NONE, NONE)), EVENT, COURSE)


def test_a_doubtful_crossing_says_nothing_of_the_lines() -> None:
    found = to_course_histories(proofs((BOTH, "doubtful", BOTH), (BOTH, MAIN, BOTH)), EVENT, COURSE)
    assert history_of(found, "r0") == [4, NOTHING_TOLD, 4]
    assert found.missed.tolist() == [0, 0, 0]


def test_a_wide_table_has_one_line_at_each_point() -> None:
    untold = (None, None)
    found = to_course_histories(proofs(("seen", "seen", "seen"), ("seen", untold, "seen")), EVENT, COURSE)
    assert [o.lines for o in found.occasions] == [("either",)] * 3
    assert history_of(found, "r0") == [5, 5, 5]  # read, and no second line
    assert history_of(found, "r1") == [5, 2, 5]
    assert found.missed.tolist() == [0, 1, 0]


def test_one_export_of_two_leaves_reads_by_either() -> None:
    found = to_course_histories(proofs((BOTH, BOTH, BOTH), (BOTH, "seen", BACKUP)), EVENT, COURSE)
    assert history_of(found, "r1") == [4, READ_BY_EITHER, 1]


def test_a_point_with_one_line_has_one() -> None:
    only = (True, None)
    found = to_course_histories(proofs((BOTH, only, BOTH), (BOTH, (False, None), BOTH)), EVENT, COURSE)
    assert found.occasions[1].lines == ("main",)
    assert history_of(found, "r1")[1] == 2


def test_merged_data_tell_of_backup_only_where_main_missed() -> None:
    """Main's time says nothing of the backup line, the backup's time says that main missed, no time that both did."""
    found = to_course_histories(
        proofs((BOTH, (True, None), BOTH), (BOTH, BACKUP, BOTH), (BOTH, NONE, BOTH)), EVENT, COURSE
    )
    assert [history_of(found, f"r{i}")[1] for i in range(3)] == [5, 1, 0]
    assert set(found.unread[:, 1].tolist()) == {0}


def test_a_masked_line_is_struck_out_read_or_not() -> None:
    masks = pl.DataFrame(
        {
            "runner": ["r0", "r1", "r2"],
            "order": pl.Series([1, 1, 2], dtype=pl.Int16),
            "main_available": [False, False, False],
            "backup_available": [True, True, False],
        }
    )
    found = to_course_histories(
        proofs((BOTH, BACKUP, BOTH), (BOTH, BOTH, BOTH), (BOTH, BOTH, NONE)), EVENT, COURSE, masks
    )
    assert history_of(found, "r0") == history_of(found, "r1") == [4, 7, 4]  # nothing of main, read by backup
    assert history_of(found, "r2") == [4, 4, NOTHING_TOLD]
    row = found.history_of[found.runners.index("r2")]  # type: ignore[index]
    assert found.unread[row].tolist() == [0, 0, NOTHING_TOLD]
    assert found.read.tolist() == [3, 3, 2]


def test_each_visit_of_a_loop_is_an_occasion_of_its_own() -> None:
    looped = small_event((("start", 0), ("mill", 2000), ("mill", 5000), ("finish", 8000)))
    found = to_course_histories(proofs((BOTH, MAIN, NONE, BOTH), event=looped), looped, COURSE)
    assert [o.name for o in found.occasions] == ["start", "mill#1", "mill#2", "finish"]
    assert history_of(found, "r0") == [4, 3, 0, 4]


def test_a_list_of_finishers_proves_the_finish_and_ends_the_others() -> None:
    rows = proofs((BOTH, BOTH, BOTH), (BOTH, NONE, NONE), (BOTH, BOTH, NONE), (NONE, NONE, NONE))
    found = to_course_histories(rows, EVENT, COURSE, finishers=["r0", "r1", "r3"])
    at = {runner: found.history_of[i] for i, runner in enumerate(found.runners)}  # type: ignore[index]
    assert sorted(at) == ["r0", "r1", "r2", "r3"]
    assert [found.known[at[r]] for r in ("r0", "r1", "r2", "r3")] == [2, 2, 1, 2]
    assert [found.until[at[r]] for r in ("r0", "r1", "r2", "r3")] == [2, 2, 1, 2]
    assert [bool(found.given[at[r]]) for r in ("r0", "r2", "r3")] == [True, False, True]
    assert found.missed.tolist() == [1, 2, 2]


def test_strata_of_crossings() -> None:
    strata = pl.DataFrame({"runner": ["r0"], "order": [1], "stratum": [2]})
    found = to_course_histories(proofs((BOTH, BOTH, BOTH), (BOTH, BOTH, BOTH)), EVENT, COURSE, strata=strata)
    assert found.strata == 3
    assert sorted(found.stratum[:, 1].tolist()) == [0, 2]


@given(
    st.lists(
        st.lists(st.integers(0, 4).filter(lambda o: o != 2), min_size=3, max_size=3), min_size=1, max_size=30
    ),
    st.randoms(use_true_random=False),
)
def test_compression_keeps_every_runner_whatever_their_order(records: list[list[int]], random) -> None:
    occasions = tuple(Occasion(str(k), k, ("main", "backup")) for k in range(3))
    names = tuple(f"r{i}" for i in range(len(records)))

    def compressed(order: list[int]) -> CourseHistories:
        outcome = np.array([records[i] for i in order], dtype=np.int8)
        return compress(occasions, outcome, np.zeros_like(outcome), runners=tuple(names[i] for i in order))

    order = list(range(len(records)))
    plain = compressed(order)
    random.shuffle(order)
    mixed = compressed(order)
    assert plain.total == len(records)
    assert len(plain.count) == len({tuple(r) for r in records})
    assert plain.outcome.tolist() == mixed.outcome.tolist()
    assert plain.count.tolist() == mixed.count.tolist()
    for name, record in zip(names, records, strict=True):
        assert history_of(plain, name) == history_of(mixed, name) == record


def test_courses_of_any_length_compress() -> None:
    """Forty visits exceed one machine word: the key is then built in parts."""
    rng = np.random.default_rng(1)
    said = rng.integers(0, 2, (50, 40)).astype(np.int8)
    outcome = np.repeat(to_outcome(said, 1 - said), 2, axis=0)
    occasions = tuple(Occasion(str(k), k, ("main", "backup")) for k in range(40))
    found = compress(occasions, outcome, np.zeros_like(outcome))
    assert found.count.tolist() == [2] * 50
    assert was_read(found.outcome).all()


def test_strata_by_crowding_join_where_they_are_few() -> None:
    """Thirty runners within ten seconds at each point, ten times over, and three alone."""
    visits = EVENT.courses[0].visits
    crowd = [(BOTH, BOTH, BOTH)] * 303
    rows = proofs(*crowd).with_columns(
        number=pl.col("runner").str.slice(1).cast(pl.Int64),
    )
    apart = pl.when(pl.col("number") < 300).then(pl.col("number") // 30).otherwise(pl.col("number"))
    when = pl.lit(GUN).dt.cast_time_unit("us") + pl.duration(
        seconds=apart * 100 + pl.col("order") * 1_000_000
    )
    rows = rows.with_columns(about=when).drop("number")
    strata = to_flow_strata(rows, COURSE)
    assert strata.height == 303 * len(visits)
    assert dict(strata.group_by("stratum").len().rows()) == {2: 900, 0: 9}
    few = to_flow_strata(rows.filter(pl.col("runner").str.slice(1).cast(pl.Int64) < 60), COURSE)
    assert set(few["stratum"]) == {0}
    found = to_course_histories(rows, EVENT, COURSE, strata=strata)
    assert found.strata == 3
