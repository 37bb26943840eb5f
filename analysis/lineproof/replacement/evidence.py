"""What the ledger tells a purchase case: the item model, where items lie, who is young, and how trustworthy it is."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

import polars as pl

from lineproof.errors import PlanError
from lineproof.ledger import read_whole
from lineproof.replacement.beliefs import young_items
from lineproof.replacement.places import ITEM_COLUMNS, to_last_season, to_listed
from lineproof.replacement.plan import JUDGED_KINDS, Lay, Plan
from lineproof.season.effects import ItemModel, estimate_items
from lineproof.season_tables import CELLS
from lineproof.vocabulary import ItemKind


class Scans(Protocol):
    """What is asked of a ledger: its tables over all events, lazily, by name."""

    def scan(self, table: str) -> pl.LazyFrame: ...


@dataclass(frozen=True, slots=True)
class Evidence:
    """``known``: items of the ledger and their kinds; the frames keep the contracts of the ledger's tables."""

    model: ItemModel
    known: Mapping[str, ItemKind]
    events: pl.DataFrame
    visits: pl.DataFrame
    equipment: pl.DataFrame
    cells: pl.DataFrame
    diagnosis: pl.DataFrame
    tags: pl.DataFrame

    @property
    def last_day(self) -> dt.date:
        day = self.cells["date"].max()
        assert isinstance(day, dt.date)
        return day

    def young(self, kind: ItemKind, seasons: float) -> tuple[str, ...]:
        return young_items(self.equipment, kind, self.last_day, seasons)

    def laid(self, plan: Plan) -> pl.DataFrame:
        """LAID of the plan: as last season, or as it lists."""
        if plan.lay is Lay.LISTED:
            return to_listed(plan.lines, self.model.cells)
        return to_last_season(self.model.cells, self.visits)


def load_evidence(ledger: Scans) -> Evidence:
    """Read the ledger and fit its item model.

    Raises ``PlanError`` where the ledger has no line whose misses can be counted.
    """
    cells = CELLS.check(read_whole(ledger.scan("cells"))).sort("date", "event", "line", "slot")
    equipment = read_whole(ledger.scan("equipment"))
    if cells.select(pl.col(ITEM_COLUMNS).count().sum()).sum_horizontal().sum() == 0:
        raise PlanError(
            "the ledger cannot carry a purchase case: it does not know which mat, cable or reader lay where",
            todo="record it in setup.xlsx (lineproof sheet EVENT_DIR) and keep the events again",
        )
    try:
        model = estimate_items(cells)
    except ValueError as problem:
        raise PlanError(
            f"the ledger cannot carry a purchase case: {problem}", todo="keep reviewed events in it first"
        ) from None
    return Evidence(
        model,
        known_items(cells, equipment),
        read_whole(ledger.scan("events")).sort("date", "event"),
        read_whole(ledger.scan("visits")).sort("event", "course", "order"),
        equipment.sort("event", "item"),
        cells,
        read_whole(ledger.scan("diagnosis")).sort("event", "finding"),
        read_whole(ledger.scan("tags")).sort("event", "tag", "holder"),
    )


def known_items(cells: pl.DataFrame, equipment: pl.DataFrame) -> dict[str, ItemKind]:
    """Every item that lay somewhere or stands in a register, with its kind; what lay counts first."""
    found: dict[str, ItemKind] = {}
    judged = {kind.value for kind in JUDGED_KINDS}
    rows: Iterable[tuple[str, str]] = equipment.select("item", pl.col("kind").cast(pl.String)).iter_rows()
    found.update({item: ItemKind(kind) for item, kind in rows if kind in judged})
    for column in ITEM_COLUMNS:
        found.update(dict.fromkeys(cells[column].drop_nulls().unique().sort().to_list(), ItemKind(column)))
    return found


def uses_in(laid: pl.DataFrame) -> dict[str, float]:
    """Events of the plan at which each item lies."""
    counted = [
        laid.filter(pl.col(column).is_not_null())
        .group_by(item=pl.col(column))
        .agg(events=pl.col("event").n_unique())
        for column in ITEM_COLUMNS
    ]
    return {item: float(events) for item, events in pl.concat(counted).iter_rows()}


def runners_in(laid: pl.DataFrame) -> float:
    """Runners of all events: of each, the most that cross one of its points."""
    by_event = laid.group_by("event").agg(pl.col("crossings").max())
    return float(by_event["crossings"].sum())
