"""What is believed of kept and new items: from the register, from the season, from the plan."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from lineproof.errors import PlanError
from lineproof.replacement.beliefs import MOST_GROWTH, to_beliefs, to_new_rate, young_items
from lineproof.replacement.case import to_case
from lineproof.replacement.evaluation import Word, count_all
from lineproof.replacement.evidence import load_evidence
from lineproof.replacement.plan import Lay, Step
from lineproof.season.standardising import to_rates
from lineproof.season_tables import KEPT
from lineproof.vocabulary import ItemKind
from purchase_case import DRAWS, evidence, small_plan, true_season, worst
from simulation.purchases import OnlyCells, a_plan


def register(*rows: tuple[str, str, str, dt.date | None]) -> pl.DataFrame:
    return KEPT["equipment"].conform(
        pl.DataFrame(
            [
                {"event": event, "item": item, "kind": kind, "bought": bought, "row": row}
                for row, (event, item, kind, bought) in enumerate(rows, start=2)
            ],
            infer_schema_length=None,
        )
    )


def test_young_is_by_the_newest_register_and_the_last_event() -> None:
    rows = register(
        ("e1", "M1", "mat", dt.date(2020, 1, 1)),
        ("e2", "M1", "mat", dt.date(2030, 1, 1)),  # put right later
        ("e2", "M2", "mat", dt.date(2029, 4, 1)),
        ("e2", "M3", "mat", dt.date(2025, 1, 1)),
        ("e2", "M4", "mat", None),
        ("e2", "C1", "cable", dt.date(2030, 1, 1)),
        ("e2", "M5", "mat", dt.date(2031, 9, 1)),  # bought after the last event
    )
    assert young_items(rows, ItemKind.MAT, dt.date(2031, 3, 1), 2.0) == ("M1", "M2")
    assert young_items(rows.clear(), ItemKind.MAT, dt.date(2031, 3, 1), 2.0) == ()


def test_a_stated_rate_is_met_in_common_conditions() -> None:
    model = evidence().model
    plan = a_plan([])
    stated = replace(plan.new[ItemKind.MAT], reads=(0.97, 0.95, 0.985))
    rate = to_new_rate(model, ItemKind.MAT, replace(plan, new={**plan.new, ItemKind.MAT: stated}), ())
    assert rate is not None
    assert rate.stated
    assert float(to_rates(model.conditions["mat"], np.array([rate.mean]))[0]) == pytest.approx(0.97)
    assert rate.spread[0] > 0


def test_young_items_stand_for_new_ones_when_there_are_three() -> None:
    model, plan = evidence().model, a_plan([])
    mats = tuple(n for n, k in zip(model.names, model.kinds, strict=True) if k == "mat")
    three, two = mats[:3], mats[:2]
    at = [model.names.index(name) for name in three]
    found = to_new_rate(model, ItemKind.MAT, plan, three)
    few = to_new_rate(model, ItemKind.MAT, plan, two)
    assert found is not None
    assert few is not None
    assert found.young == three
    assert found.mean == pytest.approx(float(model.draws[:, at].mean()))
    assert few.young == ()


def test_a_kept_item_never_grows_beyond_the_limit_and_wears() -> None:
    model = evidence().model
    plan = a_plan([], horizon=12)
    beliefs = to_beliefs(model, np.zeros(3), dict.fromkeys(model.names, 10.0), plan, DRAWS)
    assert beliefs.kept.shape == (DRAWS, len(model.names), 12)
    growth = beliefs.kept[:, :, -1] - model.now[:DRAWS]
    assert growth.max() <= MOST_GROWTH + 1e-9 + float(np.abs(model.now - model.draws).max())
    worn = replace(plan, new={kind: replace(new, wears=0.1) for kind, new in plan.new.items()})
    later = to_beliefs(model, np.zeros(3), dict.fromkeys(model.names, 10.0), worn, DRAWS)
    assert later.kept - beliefs.kept == pytest.approx(
        np.broadcast_to(np.log(1.1) * (np.arange(12) + 0.5), beliefs.kept.shape)
    )


def test_the_draws_of_a_season_keep_its_misses() -> None:
    """Where items are drawn higher, the rest is lower: the mean logit over the season's cells hardly moves."""
    ev = evidence()
    beliefs = to_beliefs(ev.model, ev.model.cells["rest"].to_numpy(), {}, a_plan([]), None)
    shift = (beliefs.base - ev.model.cells["rest"].to_numpy()).mean(axis=1)
    tried = ev.model.cells["tried_at_work"].to_numpy()
    parts = np.zeros(len(ev.model.draws))
    for kind in ("mat", "cable", "reader"):
        number = {name: n for n, name in enumerate(ev.model.names)}
        at = np.array([number[word] for word in ev.model.cells[kind]])
        parts += (ev.model.draws[:, at] @ tried) / tried.sum()
    assert float(np.std(parts + shift)) < 0.02


def test_a_repair_works_in_the_stated_share_of_the_draws() -> None:
    plan = small_plan()
    step = next(i for i, wish in enumerate(plan.wishes) if wish.step is Step.REPAIR)
    counts = count_all(plan, evidence(), DRAWS)
    item = counts.season.changes[step].item
    part = counts.season.changes[step].part
    assert item is not None
    assert part is not None
    as_before = (part == counts.season.beliefs.kept[:, item]).all(axis=1).mean()
    assert as_before == pytest.approx(0.4, abs=0.12)


def test_a_ledger_that_does_not_know_what_lay_where_is_refused() -> None:
    nothing = [pl.lit(None, dtype=pl.String).alias(name) for name in ("mat", "cable", "reader")]
    lines = true_season().cells.filter(pl.col("slot") == 0).with_columns(nothing)
    with pytest.raises(PlanError, match="which mat, cable or reader lay where"):
        load_evidence(OnlyCells(lines))


def test_a_ledger_of_whole_lines_knows_readers_only() -> None:
    lines = true_season().cells.filter(pl.col("slot") == 0)
    bare = load_evidence(OnlyCells(lines))
    case = to_case(replace(small_plan(), lay=Lay.LAST_SEASON), bare, lambda _step: None, 50)
    assert case.weighed.word is Word.LEAVE  # nothing is known of the mats on the list
    assert case.origins.unread > 0
    assert worst(ItemKind.MAT, 1)[0] not in bare.known
