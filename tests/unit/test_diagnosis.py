"""Patterns in the misses, on tries that are counted out by hand."""

from __future__ import annotations

import dataclasses

import numpy as np
import polars as pl
import pytest
from small_event import GUN, small_event

from lineproof.diagnosis import Evidence, estimate_diagnosis
from lineproof.diagnosis.antennas import (
    find_silent_antennas,
    find_weak_antennas,
    join_highest_ports,
    to_across,
)
from lineproof.diagnosis.explanations import PRECEDENCE, to_first_explanations
from lineproof.diagnosis.false_discovery import adjust_chances
from lineproof.diagnosis.gaps import find_gaps
from lineproof.diagnosis.pattern import Pattern, Search
from lineproof.diagnosis.roads import find_bare_roads
from lineproof.diagnosis.setup_facts import LaidSetup
from lineproof.diagnosis.single_lines import find_silent_numbers
from lineproof.diagnosis.sureness import keep_sure
from lineproof.diagnosis.tags import find_weak_tags
from lineproof.diagnosis.tries import Tries, to_arrays, to_tries
from lineproof.diagnosis.whole_lines import find_weak_lines
from lineproof.event import Event
from lineproof.setup_tables import DIAGNOSIS, LAID_LINES, LAID_MATS, MISSES
from lineproof.tables import CROSSINGS, INTERRUPTIONS, MATS, PASSINGS, PROOFS
from lineproof.unseen_tables import WEAK_TAGS
from lineproof.vocabulary import Cause

SECOND = 1_000_000
GUN_US = int(GUN.timestamp()) * SECOND
NO_RECORD = LaidSetup(LAID_LINES.empty(), LAID_MATS.empty())


def event(**points: float) -> Event:
    found = small_event(tuple(points.items()) or (("start", 0), ("mill", 5000), ("finish", 10_000)))
    return dataclasses.replace(
        found, lines=tuple(dataclasses.replace(line, width_m=4.0) for line in found.lines)
    )


def rows(
    line: str, number: int, missed: int, *, place: int = 0, own: int | None = None, **words: object
) -> list[dict[str, object]]:
    """``number`` tries of a line at one place of its sibling, the first ``missed`` of them missed, two seconds apart."""
    point, role = line.rsplit("-", 1)
    begin = int(str(words.pop("begin", 0)))
    return [
        {
            "point": point,
            "line": line,
            "role": role,
            "runner": f"{line}/{place}/{begin + i}",
            "course": "road",
            "wave": "A",
            "order": {"start": 0, "mill": 1, "finish": 2}[point],
            "at": GUN_US + (begin + 2 * i) * SECOND,
            "doubt_us": 0,
            "missed": i < missed,
            "unseen": False,
            "sibling": place,
            "own": 0 if i < missed else place if own is None else own,
            "flow": 30.0,
            "weak": None,
            "late": None,
            "seen_later": True,
            "told": True,
            "camera": False,
            **words,
        }
        for i in range(number)
    ]


def tries_of(parts: list[list[dict[str, object]]], here: Event) -> Tries:
    schema = {"weak": pl.Float64, "late": pl.Float64}
    frame = pl.DataFrame(
        [row for part in parts for row in part], schema_overrides=schema, infer_schema_length=None
    )
    place = {line.id: number for number, line in enumerate(here.lines)}
    return to_arrays(frame.sort(pl.col("line").replace_strict(place), "at", "runner"), here)


def nothing(tries: Tries) -> np.ndarray:
    return np.zeros(len(tries.at), dtype=np.bool_)


def sound(line: str, each: int = 200, missed: int = 2, mats: int = 4) -> list[list[dict[str, object]]]:
    """Runners over every mat: of ten read, the mat underfoot is strongest for eight and a neighbour for two."""
    parts = []
    for place in range(1, mats + 1):
        beside = place - 1 if place > 1 else place + 1
        parts += [
            rows(line, each * 4 // 5, missed, place=place),
            rows(line, each // 5, 0, place=place, own=beside, begin=1),
        ]
    return parts


def across(tries: Tries, here: Event, line: str) -> object:
    found = to_across(here.line(line), tries, nothing(tries), 4)
    assert found is not None
    return found


def test_a_silent_antenna_is_found_by_the_runners_over_it() -> None:
    here = event()
    parts = [part for part in sound("mill-main") if part[0]["sibling"] != 2]
    parts += [rows("mill-main", 200, 30, place=2, own=1)]
    tries = tries_of(parts, here)
    found = find_silent_antennas([across(tries, here, "mill-main")], tries)  # type: ignore[list-item]
    (pattern,) = (p for p in found.found if p.chance < 1e-6)
    assert (pattern.line, pattern.antenna, pattern.kind) == ("mill-main", 2, "all day")
    assert found.looked_for == 4
    assert tries.missed[pattern.rows].sum() == 30


def test_an_antenna_that_falls_silent_is_found_with_its_moment() -> None:
    here = event()
    parts = [part for part in sound("mill-main") if part[0]["sibling"] != 3]
    parts += [
        rows("mill-main", 100, 1, place=3),
        rows("mill-main", 60, 12, place=3, own=2, begin=1000),
    ]
    tries = tries_of(parts, here)
    found = find_silent_antennas([across(tries, here, "mill-main")], tries)  # type: ignore[list-item]
    (pattern,) = (p for p in found.found if p.chance < 1e-6)
    assert (pattern.antenna, pattern.kind, pattern.end) == (3, "from then on", None)
    assert pattern.begin == GUN_US + 1000 * SECOND
    assert tries.missed[pattern.rows].sum() == 12


def silent(antenna: int, line: str = "mill-main") -> Pattern:
    return Pattern(
        Cause.SILENT_ANTENNA, "mill", line, np.array([antenna]), 0.01, 1e-9, "", (antenna,), kind="all day"
    )


def test_two_highest_antennas_silent_are_a_reader_told_too_few_ports() -> None:
    here = event()
    tries = tries_of(sound("mill-main"), here)
    lines = [across(tries, here, "mill-main")]
    (joined,) = join_highest_ports([silent(3), silent(4)], lines, {})  # type: ignore[arg-type]
    assert (joined.cause, joined.antennas) == (Cause.PORTS_NOT_TOLD, (3, 4))
    kept = join_highest_ports([silent(1), silent(2)], lines, {})  # type: ignore[arg-type]
    assert [p.cause for p in kept] == [Cause.SILENT_ANTENNA] * 2


def test_one_highest_antenna_needs_the_record_to_be_a_port_not_told() -> None:
    here = event()
    tries = tries_of(sound("mill-main"), here)
    lines = [across(tries, here, "mill-main")]
    (alone,) = join_highest_ports([silent(4)], lines, {})  # type: ignore[arg-type]
    assert alone.cause is Cause.SILENT_ANTENNA
    (told,) = join_highest_ports([silent(4)], lines, {"mill-main": 3})  # type: ignore[arg-type]
    assert told.cause is Cause.PORTS_NOT_TOLD
    (right,) = join_highest_ports([silent(4)], lines, {"mill-main": 4})  # type: ignore[arg-type]
    assert right.cause is Cause.SILENT_ANTENNA


def test_a_weak_antenna_is_found_by_its_misses_and_a_sound_line_has_none() -> None:
    here = event()
    parts = [part for part in sound("mill-main") if part[0]["sibling"] != 1]
    tries = tries_of([*parts, rows("mill-main", 200, 40, place=1)], here)
    found = find_weak_antennas([across(tries, here, "mill-main")], [], MATS.empty(), tries)  # type: ignore[list-item]
    (pattern,) = (p for p in found.found if p.chance < 1e-6)
    assert (pattern.cause, pattern.antenna) == (Cause.WEAK_ANTENNA, 1)
    even = tries_of(sound("mill-main", missed=4), here)
    assert not find_weak_antennas([across(even, here, "mill-main")], [], MATS.empty(), even).found  # type: ignore[list-item]


def both_lines(edge: tuple[int, int], here: Event) -> tuple[Tries, list]:  # type: ignore[type-arg]
    """Misses of 200 at the far mat of the main and of the backup line, 2 of 160 elsewhere."""
    parts = []
    for line, missed in zip(("mill-main", "mill-backup"), edge, strict=True):
        parts += [part for part in sound(line) if part[0]["sibling"] != 4]
        parts += [rows(line, 200, missed, place=4)]
    tries = tries_of(parts, here)
    return tries, [(across(tries, here, "mill-main"), across(tries, here, "mill-backup"))]


def test_both_last_mats_losing_runners_are_a_road_wider_than_the_line() -> None:
    here = event()
    tries, pairs = both_lines((25, 30), here)
    (pattern,) = find_bare_roads(pairs, tries, nothing(tries)).found
    assert (pattern.cause, pattern.point, pattern.line, pattern.kind) == (
        Cause.ROAD_WIDER,
        "mill",
        None,
        "far side",
    )
    assert pattern.chance < 1e-6
    one_sided, pairs = both_lines((50, 2), here)
    assert not find_bare_roads(pairs, one_sided, nothing(one_sided)).found


def test_a_whole_line_must_miss_several_times_what_the_others_do() -> None:
    here = event()
    parts = [rows("mill-main", 500, 60), rows("mill-backup", 500, 5), rows("finish-main", 500, 6)]
    tries = tries_of(parts, here)
    found = find_weak_lines(tries, nothing(tries), PASSINGS.empty(), NO_RECORD, here)
    (pattern,) = (p for p in found.found if p.chance < 0.01)
    assert (pattern.cause, pattern.line) == (Cause.WHOLE_LINE, "mill-main")
    differ = tries_of([rows("mill-main", 500, 8), *parts[1:]], here)
    rest = find_weak_lines(differ, nothing(differ), PASSINGS.empty(), NO_RECORD, here)
    assert all(p.chance > 0.5 for p in rest.found)


def passings_of(reads: dict[str, list[int]]) -> pl.DataFrame:
    return pl.DataFrame(
        [{"line": line, "reads": n} for line, counts in reads.items() for n in counts],
        schema={"line": pl.String, "reads": pl.UInt32},
    )


def test_passings_of_one_read_each_are_a_practice_role() -> None:
    here = event()
    tries = tries_of(
        [rows("mill-main", 500, 300), rows("mill-backup", 500, 5), rows("finish-main", 500, 6)], here
    )
    single, several = [1] * 28 + [2] * 2, [1] * 2 + [8] * 28
    passings = passings_of({"mill-main": single, "mill-backup": several, "finish-main": several})
    found = find_weak_lines(tries, nothing(tries), passings, NO_RECORD, here).found
    assert [p.cause for p in found if p.chance < 0.01] == [Cause.PRACTICE_ROLE]
    weak = passings_of({"mill-main": several, "mill-backup": several, "finish-main": several})
    found = find_weak_lines(tries, nothing(tries), weak, NO_RECORD, here).found
    assert [p.cause for p in found if p.chance < 0.01] == [Cause.WHOLE_LINE]


def test_a_line_that_read_nobody_says_so() -> None:
    here = event()
    tries = tries_of(
        [rows("mill-main", 100, 100), rows("mill-backup", 100, 1), rows("finish-main", 100, 1)], here
    )
    found = find_weak_lines(tries, nothing(tries), PASSINGS.empty(), NO_RECORD, here).found
    (pattern,) = (p for p in found if p.chance < 0.01)
    assert pattern.kind == "nobody"
    assert "read none of 100 runners" in pattern.why


def field(often: int) -> Tries:
    """200 runners at three visits, two missed at each; ``often`` runners missed at all three beside."""
    parts = []
    for order, point in enumerate(("start", "mill", "finish")):
        for i in range(200 + often):
            missed = i >= 200 or i in (10 * order, 10 * order + 1)
            parts.append(
                rows(f"{point}-main", 1, int(missed), runner=f"r{i:03d}", begin=3 * i + 1000 * order)
            )
    return tries_of(parts, event())


def test_runners_missed_at_every_visit_have_weak_tags() -> None:
    tries = field(4)
    (pattern,) = find_weak_tags(tries, nothing(tries)).found
    assert pattern.chance < 1e-4
    assert set(tries.frame["runner"].gather(pattern.rows)) == {"r200", "r201", "r202", "r203"}
    lucky = field(0)
    assert all(p.chance > 0.05 for p in find_weak_tags(lucky, nothing(lucky)).found)


def test_a_gap_in_the_reads_holds_the_runners_whom_neither_line_read() -> None:
    """A runner every two seconds, none read from 200 s to 300 s; their own times are not known."""
    here = event()
    unread = {"unseen": True, "begin": 5000}
    parts = []
    for line in ("start-main", "start-backup"):
        parts += [rows(line, 100, 0), rows(line, 100, 0, begin=300), rows(line, 50, 50, **unread)]
    parts += [part for line in ("mill-main", "mill-backup") for part in [rows(line, 250, 2)]]
    tries = tries_of(parts, here)
    (pattern,) = (p for p in find_gaps(tries, nothing(tries), here).found if p.chance < 0.01)
    assert (pattern.cause, pattern.point) == (Cause.BOTH_LINES, "start")
    assert pattern.begin == GUN_US + 198 * SECOND
    assert pattern.end == GUN_US + 300 * SECOND
    assert tries.missed[pattern.rows].sum() == 100


def alone() -> Event:
    here = event()
    return dataclasses.replace(here, lines=tuple(line for line in here.lines if line.id != "mill-backup"))


def numbered(antennas: list[int]) -> pl.DataFrame:
    at = [GUN_US + 2 * i * SECOND for i in range(len(antennas))]
    return pl.DataFrame(
        {
            "passing": range(len(antennas)),
            "line": ["mill-main"] * len(antennas),
            "antenna": antennas,
            "strongest": pl.Series(at).cast(pl.Datetime("us", "UTC")),
        }
    )


def test_a_number_that_stops_coming_is_a_silent_antenna_of_a_line_alone() -> None:
    here = alone()
    tries = tries_of(
        [rows("mill-main", 600, 60), rows("start-main", 600, 6), rows("finish-main", 600, 6)], here
    )
    mats = {line.id: 4 for line in here.lines}
    stops = numbered([1, 2, 3, 4] * 50 + [1, 2, 4] * 100)
    (pattern,) = (
        p for p in find_silent_numbers(stops, tries, nothing(tries), mats, here).found if p.chance < 0.01
    )
    assert (pattern.antenna, pattern.kind) == (3, "from then on")
    assert pattern.chance < 1e-6
    never = numbered([1, 2, 4] * 150)
    (pattern,) = (
        p for p in find_silent_numbers(never, tries, nothing(tries), mats, here).found if p.chance < 0.01
    )
    assert (pattern.antenna, pattern.kind) == (3, "all day")
    even = find_silent_numbers(numbered([1, 2, 3, 4] * 100), tries, nothing(tries), mats, here).found
    assert all(p.chance > 0.5 for p in even)


def test_each_miss_has_one_first_explanation_and_reads_have_none() -> None:
    here = event()
    tries = tries_of([rows("mill-main", 10, 6)], here)
    window = Pattern(Cause.INTERRUPTION, "mill", "mill-main", np.array([0, 1, 8]), 0.0, 1e-3, "")
    line = Pattern(Cause.WHOLE_LINE, "mill", "mill-main", np.arange(10), 0.01, 1e-9, "")
    explained = to_first_explanations(tries, [line, window])
    assert explained.tolist() == [1, 1, 0, 0, 0, 0, -1, -1, -1, -1]


def test_every_cause_has_its_place_in_the_order() -> None:
    assert sorted(PRECEDENCE) == sorted(Cause)


def test_windows_bring_a_bound_of_their_own() -> None:
    window = Pattern(Cause.INTERRUPTION, "mill", "mill-main", np.array([0]), 0.0, 0.001, "")
    weak = Pattern(Cause.WEAK_ANTENNA, "mill", "mill-main", np.array([0]), 0.0, 0.001, "")
    sure = keep_sure([Search([window], 1, bounded=True), Search([weak], 100)], 0.02)
    assert [pattern.cause for pattern, _ in sure] == [Cause.INTERRUPTION]


@pytest.mark.parametrize("chances", [[-0.1], [1.1], [float("nan")]])
def test_what_is_no_chance_is_refused(chances: list[float]) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        adjust_chances(chances)


def proofs_and_crossings(here: Event) -> tuple[pl.DataFrame, pl.DataFrame]:
    """a: read by all lines; b: missed by the main line at the mill; c: by both there; d: seen at the start only."""
    read = {"a": "111111", "b": "110111", "c": "110011", "d": "110000"}
    proofs, crossings = [], []
    for runner, flags in read.items():
        for order, point in enumerate(("start", "mill", "finish")):
            main, backup = (flag == "1" for flag in flags[2 * order : 2 * order + 2])
            seen, later = main or backup, "1" in flags[2 * order + 2 :]
            at = GUN_US + (1 + 1000 * order) * SECOND
            base = {
                "runner": runner,
                "course": "road",
                "wave": "A",
                "point": point,
                "order": order,
                "visit": 1,
            }
            base |= {"at_m": 5000.0 * order, "seen_main": main, "seen_backup": backup}
            word = "seen" if seen else "proven" if later else "unproven"
            time = at if seen else None
            proofs.append({**base, "proof": word, "seen_later": later, "time": time, "about": at})
            if seen:
                crossings.append(
                    {
                        "runner": runner,
                        "order": order,
                        "main_antenna": 2 if main else None,
                        "backup_antenna": 3 if backup else None,
                    }
                )
    schema = {name: PROOFS.schema[name] for name in PROOFS.columns if name in proofs[0]}
    proof_frame = pl.DataFrame(proofs, schema_overrides={"time": pl.Int64}).select(
        pl.col(name).cast(dtype) for name, dtype in schema.items()
    )
    antennas = {
        name: CROSSINGS.schema[name] for name in ("runner", "order", "main_antenna", "backup_antenna")
    }
    return PROOFS.conform(proof_frame), pl.DataFrame(crossings, schema=antennas)


def test_a_line_is_tried_by_the_other_line_or_by_later_reads_never_by_its_own() -> None:
    here = event()
    proofs, crossings = proofs_and_crossings(here)
    tries = to_tries(proofs, crossings, WEAK_TAGS.empty(), here)
    tried = {line: sorted(tries.frame["runner"].gather(rows_)) for line, rows_ in tries.rows_of.items()}
    assert tried["mill-main"] == ["a", "b", "c"]
    assert tried["mill-backup"] == ["a", "b", "c"]  # b by the read at the finish
    assert tried["finish-main"] == ["a", "b", "c"]  # each by the backup line: nothing is read later
    missed = tries.frame.filter("missed").select("line", "runner").rows()
    assert sorted(missed) == [("mill-backup", "c"), ("mill-main", "b"), ("mill-main", "c")]


def evidence(proofs: pl.DataFrame, crossings: pl.DataFrame) -> Evidence:
    return Evidence(
        proofs=proofs,
        crossings=crossings,
        passings=PASSINGS.empty(),
        interruptions=INTERRUPTIONS.empty(),
        mats=MATS.empty(),
        weak_tags=WEAK_TAGS.empty(),
    )


def test_misses_without_a_pattern_stay_unexplained() -> None:
    here = event()
    found = estimate_diagnosis(evidence(*proofs_and_crossings(here)), here)
    MISSES.check(found.misses)
    DIAGNOSIS.check(found.findings)
    assert found.findings.is_empty()
    assert found.misses.select("line", "runner", "both", "sibling_antenna", "cause").rows() == [
        ("mill-main", "b", False, 3, None),
        ("mill-main", "c", True, None, None),
        ("mill-backup", "c", True, None, None),
    ]


def test_an_event_without_a_row_has_no_misses() -> None:
    found = estimate_diagnosis(evidence(PROOFS.empty(), CROSSINGS.empty()), event())
    assert found.misses.is_empty()
    assert found.findings.is_empty()


def laid(**facts: object) -> LaidSetup:
    """A record of four mats at the mill's main line, with the facts given for line or mat 2."""
    place = {"file": "setup.csv", "sheet": "", "row": 2}
    of_mat = {name: facts.pop(name) for name in list(facts) if name in LAID_MATS.columns}
    mats = [
        {"line": "mill-main", "slot": slot, "mat": f"M0{slot}", "cable": f"C0{slot}", "port": slot, **place}
        for slot in range(1, 5)
    ]
    mats[1] |= of_mat
    lines = [{"line": "mill-main", "reader": "R03", **place, **facts}]
    return LaidSetup(LAID_LINES.shape_rows(lines), LAID_MATS.shape_rows(mats))


def test_facts_that_agree_speak_against_or_are_missing() -> None:
    here = event()
    low = laid(hand_ceiling_cm=110.0, walk_test=True).facts(silent(2), here)
    assert low.items == "mat M02, cable C02, reader R03"
    assert low.agree == ("hand test of slot 2 reached only 110 cm; 150 cm is asked for",)
    assert low.disagree == ("the walk test had an answer from every mat",)
    good = laid(hand_ceiling_cm=185.0).facts(silent(2), here)
    assert good.disagree == ("hand test of slot 2 reached 185 cm, as asked for",)
    assert good.missing == ("walk test",)
    none = NO_RECORD.facts(silent(2), here)
    assert none.items is None
    assert len(none.missing) == 3


def test_a_weak_last_mat_beside_bare_road_is_the_roads() -> None:
    weak = dataclasses.replace(silent(4), cause=Cause.WEAK_ANTENNA)
    assert laid(road_width_m=6.0, covered_width_m=4.0).as_bare_road(weak).cause is Cause.ROAD_WIDER
    assert laid(road_width_m=4.0, covered_width_m=4.0).as_bare_road(weak).cause is Cause.WEAK_ANTENNA
    # The gap is at the near side: what lies before the first mat is not at the last one.
    near = laid(road_width_m=6.0, covered_width_m=4.0, near_gap_m=2.0)
    assert near.as_bare_road(weak).cause is Cause.WEAK_ANTENNA
    assert NO_RECORD.as_bare_road(weak).cause is Cause.WEAK_ANTENNA


def test_ports_told_are_held_against_the_silent_ones() -> None:
    ports = dataclasses.replace(silent(3), cause=Cause.PORTS_NOT_TOLD, antennas=(3, 4))
    assert laid(ports_told=2).facts(ports, event()).agree == (
        "the reader was told 2 ports, and 4 were in use",
    )
    assert laid(ports_told=4).facts(ports, event()).disagree == ("the reader was told 4 ports",)
    assert laid().facts(ports, event()).missing == ("how many ports the reader was told",)
