"""Set-up facts against misses: who kept a rule of the morning, who broke it, and who did not write it down."""

from __future__ import annotations

import polars as pl
import pytest

from lineproof.season.morning_rules import RULES, compare_rules
from lineproof.season_tables import KEPT
from unit.season_cells import cell, season

WALK = "a tag walked over every mat"
HEIGHT = "hand test of every mat up to 150 cm"


def laid(event: int, line: str, row: int, **more: object) -> dict:
    return {"event": f"e{event:02d}", "line": line, "file": "setup.csv", "sheet": "", "row": row, **more}


def lines(*rows: dict) -> pl.DataFrame:
    return KEPT["laid_lines"].shape_rows(list(rows))


def mats(*rows: dict) -> pl.DataFrame:
    return KEPT["laid_mats"].shape_rows(list(rows))


def rows_of(found: pl.DataFrame) -> dict[str, dict]:
    return {row["rule"]: row for row in found.iter_rows(named=True)}


def test_lines_are_counted_as_kept_broken_and_not_recorded() -> None:
    cells = season(*(cell(1, line, 0, None, 4) for line in ("a-main", "a-backup", "b-main")))
    record = lines(laid(1, "a-main", 2, walk_test=True), laid(1, "a-backup", 3, walk_test=False))
    row = rows_of(compare_rules(cells, record, mats()))[WALK]
    assert (row["lines_kept"], row["lines_broken"], row["lines_unknown"]) == (1, 1, 1)
    assert (row["tried_kept"], row["missed_broken"]) == (100, 4)
    assert row["factor"] is None
    assert row["reason"] == "no day had lines of one kind that kept and broke it"


def test_a_slot_without_a_height_leaves_the_line_untold() -> None:
    cells = season(cell(1, "a-main", 0, None), cell(1, "b-main", 0, None))
    heights = mats(
        laid(1, "a-main", 2, slot=1, hand_ceiling_cm=160.0),
        laid(1, "a-main", 3, slot=2),
        laid(1, "b-main", 4, slot=1, hand_ceiling_cm=150.0),
    )
    row = rows_of(compare_rules(cells, lines(), heights))[HEIGHT]
    assert (row["lines_kept"], row["lines_broken"], row["lines_unknown"]) == (1, 0, 1)
    assert row["reason"] == "every line of which it is known kept it"


def test_a_bare_strip_at_either_side_breaks_the_rule_of_the_whole_road() -> None:
    cells = season(*(cell(1, line, 0, None) for line in ("a-main", "b-main", "c-main", "d-main")))
    record = lines(
        laid(1, "a-main", 2, road_width_m=6.0, covered_width_m=6.0),
        laid(1, "b-main", 3, road_width_m=6.0, covered_width_m=5.0),
        laid(1, "c-main", 4, road_width_m=6.0, covered_width_m=5.0, near_gap_m=1.0),
        laid(1, "d-main", 5, road_width_m=6.0),
    )
    row = rows_of(compare_rules(cells, record, mats()))["mats over the whole road"]
    assert (row["lines_kept"], row["lines_broken"], row["lines_unknown"]) == (1, 2, 1)


def test_the_odds_compare_lines_of_one_day_and_role() -> None:
    """At each of six events one main line was walked over and missed 2 of 100, another was not and missed 4."""
    cells = season(
        *(cell(event, "a-main", 0, None, 2) for event in range(1, 7)),
        *(cell(event, "b-main", 0, None, 4) for event in range(1, 7)),
    )
    record = lines(
        *(laid(event, "a-main", 2, walk_test=True) for event in range(1, 7)),
        *(laid(event, "b-main", 3, walk_test=False) for event in range(1, 7)),
    )
    row = rows_of(compare_rules(cells, record, mats()))[WALK]
    assert row["factor"] == pytest.approx((4 * 98) / (2 * 96))
    assert row["low"] is not None
    assert row["reason"] is None


def test_nothing_recorded_leaves_no_row_and_each_rule_has_its_own_words() -> None:
    assert compare_rules(season(cell(1, "a-main", 0, None)), lines(), mats()).is_empty()
    assert len({rule.words for rule in RULES}) == len(RULES)
