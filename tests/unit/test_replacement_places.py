"""Places of mats and the stretches of road that two lines share."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from lineproof.replacement.places import LAID, to_last_season, to_listed, to_places
from lineproof.replacement.plan import ListedLine
from lineproof.season_tables import CELLS, VISITS
from lineproof.vocabulary import PointKind


def cell(line: str, slot: int, tried: float, mat: str | None, rest: float = -4.0) -> dict[str, object]:
    return {
        "event": "e", "date": None, "point": "p", "kind": "finish", "line": line, "role": line, "slot": slot, "mat": mat,
        "tried": tried, "missed": 1.0, "tried_at_work": tried, "missed_at_work": 1.0, "spacing_m": 2.0, "rest": rest,
    }  # fmt: skip


def cells(*rows: dict[str, object]) -> pl.DataFrame:
    import datetime as dt

    dated = [{**row, "date": dt.date(2031, 5, 1)} for row in rows]
    rest = pl.Series("rest", [row["rest"] for row in rows], dtype=pl.Float64)
    return CELLS.conform(
        CELLS.shape_rows([{k: v for k, v in row.items() if k != "rest"} for row in dated])
    ).with_columns(rest)


def test_two_lines_of_equal_slots_pair_one_to_one() -> None:
    laid = to_last_season(
        cells(
            cell("main", 1, 30, "A"),
            cell("main", 2, 10, "B"),
            cell("backup", 1, 20, "C"),
            cell("backup", 2, 20, "D"),
        ),
        VISITS.empty(),
    )
    places = to_places(laid, ("A", "B", "C", "D"), close_m=2.5, growth=0.5)
    assert [(laid["mat"][int(m)], laid["mat"][int(b)]) for m, b in zip(places.main, places.backup, strict=True)] == [
        ("A", "C"), ("B", "D"),
    ]  # fmt: skip
    # 40 crossings, half as many again; shares are the mean of 3/4 and 1/2, and of 1/4 and 1/2.
    assert places.crossings.tolist() == pytest.approx([37.5, 22.5])
    assert places.close.all()


def test_three_mats_over_two_share_the_road() -> None:
    rows = [cell("main", n, 10, None) for n in (1, 2, 3)] + [cell("backup", n, 15, None) for n in (1, 2)]
    places = to_places(to_last_season(cells(*rows), VISITS.empty()), (), 1.0, 0.0)
    assert len(places.main) == 4  # the middle mat lies before both
    assert places.crossings.tolist() == pytest.approx([10, 5, 5, 10])
    assert not places.close.any()


def test_a_line_whose_mats_are_not_known_is_one_place() -> None:
    laid = to_last_season(cells(cell("main", 0, 50, None)), VISITS.empty())
    places = to_places(laid, ("A",), 2.5, 0.0)
    assert places.backup.tolist() == [-1]
    assert places.items.tolist() == [[-1, -1, -1]]
    assert not places.close.any()  # no second line to be close to


def test_visits_tell_the_crossings_where_they_can() -> None:
    visits = VISITS.conform(
        pl.DataFrame(
            {"event": ["e", "e"], "course": ["c", "c"], "order": [0, 1], "point": ["p", "p"], "visit": [1, 2],
             "kind": ["finish", "finish"], "at_m": [0.0, 1.0], "read": [90, 50], "missed": [10, None]}
        )
    )  # fmt: skip
    laid = to_last_season(cells(cell("main", 1, 30, "A")), visits)
    assert laid["crossings"].to_list() == [150.0]


def test_a_listed_line_meets_the_usual_conditions_of_its_role_and_kind() -> None:
    known = cells(cell("main", 1, 30, "A", rest=-3.0), cell("backup", 1, 30, "B", rest=-5.0))
    line = ListedLine("next", "q", PointKind.FINISH, "main", ("A", "B"), (), "R", None, 800.0)
    other = ListedLine("next", "s", PointKind.START, "backup", ("C",), (), None, 3.0, 10.0)
    laid = to_listed((line, other), known)
    assert laid.schema == LAID.schema
    assert laid["rest"].to_list() == pytest.approx([-3.0, -3.0, -5.0])
    places = to_places(laid, ("A", "B", "R"), 2.5, 0.0)
    assert places.items.tolist() == [[0, -1, 2], [1, -1, 2], [-1, -1, -1]]
    assert places.crossings.tolist() == pytest.approx([400, 400, 10])


def test_stretches_hold_all_crossings_of_the_point() -> None:
    rng = np.random.default_rng(3)
    rows = [cell("main", n, float(rng.integers(5, 50)), None) for n in range(1, 6)]
    rows += [cell("backup", n, float(rng.integers(5, 50)), None) for n in range(1, 4)]
    laid = to_last_season(cells(*rows), VISITS.empty())
    total = float(laid["crossings"][0])
    assert to_places(laid, (), 2.5, 0.0).crossings.sum() == pytest.approx(total, rel=0.35)
