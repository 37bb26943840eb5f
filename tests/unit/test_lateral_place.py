"""Rates of single mats: the fit's slopes, its symmetry, what it refuses, and the trap it must not fall into."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from scipy import optimize

from lineproof.detection.lateral_place import count_antennas, estimate_mats, estimate_point, verdict_of
from lineproof.detection.mat_model import _Model, fit_mats
from lineproof.detection.mat_places import make_answers, make_drift, make_road
from lineproof.tables import CROSSINGS, MATS
from simulation.crossed_mats import Crossed, draw_counts
from unit.small_event import small_event

DEAD_MIDDLE = Crossed(main=(1.0, 1.0, 0.0, 1.0, 1.0))


def test_outcomes_of_a_place_are_all_there_are() -> None:
    answers = make_answers(make_road(5), np.array([0.9, 1.0, 0.0, 0.7, 1.0]), 0.02, 1.0, np.log(0.12))
    assert answers.outcome.sum(axis=1) == pytest.approx(np.ones(28), abs=1e-12)
    assert (answers.outcome >= 0).all()


def test_a_runner_over_a_sound_mat_is_read_by_it_or_missed_by_the_whole_line() -> None:
    answers = make_answers(make_road(3), np.ones(3), 0.02, 1.0, np.log(0.12))
    over_second = answers.outcome[make_road(3).strip_of_mat == 1]
    assert over_second[:, 2] == pytest.approx(np.full(4, 0.98))
    assert over_second[:, 0] == pytest.approx(np.full(4, 0.02))


def test_over_a_dead_mat_the_nearer_neighbour_reads_most() -> None:
    answers = make_answers(make_road(3), np.array([1.0, 0.0, 1.0]), 0.0, 1.0, np.log(0.12))
    near_quarter = answers.outcome[make_road(3).strip_of_mat == 1][0]
    assert near_quarter[1] > 0.9  # 0.625 of a mat from the middle of the first
    assert near_quarter[3] < 0.05
    assert near_quarter[2] == 0.0


def test_nobody_is_beyond_the_lines_unless_that_is_allowed() -> None:
    road = make_road(4)
    inside = make_drift(road, np.zeros(6), 0.0, np.log(0.3), bare=False).joint
    assert inside[~road.inside].sum() + inside[:, ~road.inside].sum() < 1e-12
    assert make_drift(road, np.zeros(6), 0.0, np.log(0.3), bare=True).joint[~road.inside].sum() > 0.2


@pytest.mark.parametrize("bare", [True, False])
def test_slopes_are_those_of_the_likelihood(bare: bool) -> None:
    """By finite differences, at a point away from the maximum; lines of 4 and 5 mats."""
    counts = draw_counts(Crossed(main=(1, 0.7, 1, 0.2, 1), backup=(1, 1, 0.9, 1)), 1)
    model = _Model(counts, bare)
    theta = model.start() + 0.3 * np.random.default_rng(2).standard_normal(len(model.start()))
    by_steps = optimize.approx_fprime(theta, lambda t: model.loss(t)[0], 1e-6)
    assert model.loss(theta)[1] == pytest.approx(by_steps, rel=1e-3, abs=0.02)


def test_lines_change_places_and_so_do_their_mats() -> None:
    counts = draw_counts(Crossed(main=(1, 1, 0.6, 1, 1)), 3)
    one, other = fit_mats(counts, bare=True), fit_mats(counts.T, bare=True)
    assert one.main == pytest.approx(other.backup, abs=0.002)
    assert one.backup == pytest.approx(other.main, abs=0.002)
    assert one.offset == pytest.approx(-other.offset, abs=0.005)


def spread_by_transitions(counts: np.ndarray) -> np.ndarray:
    """The trap: misses of sibling antenna i shared out as the runners whom both lines read moved."""
    both = counts[1:, 1:]
    moved = both / both.sum(axis=1, keepdims=True)
    lost = (counts[1:, :1] * moved).sum(axis=0)
    read = both.sum(axis=0)
    return np.asarray(read / np.where(read + lost > 0, read + lost, np.nan))


def test_the_trap_acquits_a_dead_mat_and_blames_its_neighbours() -> None:
    counts = draw_counts(DEAD_MIDDLE, 4)
    trapped = spread_by_transitions(counts)
    assert np.isnan(trapped[2])  # no runner and no miss: nothing to say of it
    assert max(trapped[1], trapped[3]) < 0.95
    found = estimate_point(counts)
    assert found.main[2].estimate < 0.1
    assert min(found.main[1].estimate, found.main[3].estimate) > 0.94  # truly 0.99
    assert [verdict_of(mat) for mat in found.main] == ["sound", "sound", "dead", "sound", "sound"]
    assert {verdict_of(mat) for mat in found.backup} == {"sound"}


def test_runners_are_shared_out_without_loss() -> None:
    counts = draw_counts(DEAD_MIDDLE, 5)
    fit = fit_mats(counts, bare=True)
    assert fit.over_main.sum() / (1 - sum(fit.beyond)) == pytest.approx(counts.sum(), rel=0.01)
    assert fit.lost_main.sum() == pytest.approx(counts[:, 0].sum(), rel=0.06)


@pytest.mark.parametrize(
    ("counts", "reason"),
    [
        (draw_counts(Crossed(main=(1, 1), backup=(1, 1), road=2), 6), "fewer than 3 mats"),
        (draw_counts(Crossed(runners=20), 6), "were read by an antenna of either line"),
        (draw_counts(Crossed(), 6)[[0, 5, 4, 3, 2, 1]], "counts from the other side"),
        (np.full((6, 6), 40.0), "do not go together"),
        (np.zeros((6, 6)), "only 0 runners"),
    ],
)
def test_refusals(counts: np.ndarray, reason: str) -> None:
    found = estimate_point(counts)
    assert reason in (found.reason or "")
    assert found.main == ()


def test_too_few_runners_over_a_mat_is_said_of_that_mat() -> None:
    """Sixty runners, a dozen to a mat: no mat can be called sound, least of all by what is usual."""
    found = estimate_point(draw_counts(Crossed(runners=60), 7))
    assert found.reason is None
    assert {verdict_of(mat) for mat in (*found.main, *found.backup)} == {"cannot tell"}
    (row,) = estimate_mats(crossings(draw_counts(Crossed(runners=60), 7)), small_event()).filter(
        line="mill-main", antenna=1
    ).rows(named=True)  # fmt: skip
    assert row["estimate"] is None
    assert "too few runners over this mat" in row["reason"]


def test_counts_must_be_counts() -> None:
    with pytest.raises(ValueError, match="counts must be"):
        estimate_point(np.full((4, 4), -1.0))


# --- from CROSSINGS to MATS ---


def crossings(counts: np.ndarray, point: str = "mill") -> pl.DataFrame:
    """One crossing for each runner of ``counts``; [0, 0] has nobody."""
    rows = []
    for backup, main in np.ndindex(*counts.shape):
        rows += [(main or None, backup or None)] * int(counts[backup, main])
    event = small_event()
    return CROSSINGS.conform(
        pl.DataFrame(rows, schema={"main_antenna": pl.Int32, "backup_antenna": pl.Int32}, orient="row")
        .with_row_index("runner")
        .with_columns(
            pl.col("runner").cast(pl.String),
            course=pl.lit("road"),
            wave=pl.lit("A"),
            point=pl.lit(point),
            order=pl.lit(1),
            visit=pl.lit(1),
            at_m=pl.lit(5000.0),
            time=pl.lit(event.waves[0].gun),
            time_source=pl.lit("main"),
            seen_main=pl.col("main_antenna").is_not_null(),
            seen_backup=pl.col("backup_antenna").is_not_null(),
            passings=pl.lit(1),
            tags=pl.lit(1),
            level=pl.lit("reads"),
            key=pl.col("runner").cast(pl.String),
        )
    )


def test_counting_gives_back_the_table() -> None:
    counts = draw_counts(DEAD_MIDDLE, 8)
    assert (count_antennas(crossings(counts), "mill", (5, 5)) == counts).all()
    assert count_antennas(crossings(counts), "finish", (5, 5)).sum() == 0


def test_mats_of_an_event() -> None:
    mats = estimate_mats(crossings(draw_counts(DEAD_MIDDLE, 8)), small_event())
    assert mats["point"].unique(maintain_order=True).to_list() == ["start", "mill", "finish"]
    here = mats.filter(point="mill")
    assert here["line"].to_list() == ["mill-main"] * 5 + ["mill-backup"] * 5
    assert here["antenna"].to_list() == [1, 2, 3, 4, 5] * 2
    assert here["verdict"].to_list() == ["sound", "sound", "dead", "sound", "sound"] + ["sound"] * 5
    assert here["reason"].null_count() == 10
    elsewhere = mats.filter(pl.col("point") != "mill")
    assert elsewhere["reason"].unique().to_list() == ["the exports of this point give no antenna numbers"]
    assert elsewhere["estimate"].null_count() == elsewhere.height == 4


def test_a_dead_mat_at_the_end_of_a_line_is_counted_by_the_width_of_the_line() -> None:
    counts = draw_counts(Crossed(main=(1, 1, 1, 1, 0)), 9)
    event = small_event()
    wide = replace(event, lines=tuple(replace(line, width_m=5.0) for line in event.lines))
    last = estimate_mats(crossings(counts), wide).filter(line="mill-main", antenna=5).row(0, named=True)
    assert (last["read"], last["verdict"]) == (0, "dead")


def test_one_line_alone_has_no_mats() -> None:
    event = small_event()
    single = replace(event, lines=event.lines[::2])
    mats = estimate_mats(crossings(draw_counts(Crossed(), 9)), single)
    assert mats["place"].to_list() == ["line"] * 3
    assert all("no second line" in reason for reason in mats["reason"])
    assert estimate_mats(CROSSINGS.empty(), replace(event, lines=())).equals(MATS.empty())
