"""The season on one page: from the ledger to everything its report shows.

    ledger -> rates, unseen, misses          event by event
           -> cells -> items, monitoring     which item, since when
           -> tags, batches, ages            which tags
           -> comparisons, morning rules     which habits, which set-up facts

Only the small tables of the ledger are read; no raw read is needed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.errors import LedgerError
from lineproof.ledger import open_ledger, read_whole
from lineproof.season.change_points import estimate_change_points, estimate_season_trends
from lineproof.season.comparisons import compare_habits, compare_models, compare_seasons
from lineproof.season.connectivity import to_swaps
from lineproof.season.effects import ItemModel, estimate_items
from lineproof.season.hand_test import HandTest, estimate_hand_test
from lineproof.season.line_rates import to_line_history, to_line_season
from lineproof.season.monitoring import monitor_season, to_funnel
from lineproof.season.morning_rules import compare_rules
from lineproof.season.tags import estimate_batches, estimate_season_tags, estimate_tag_ages
from lineproof.season_result_tables import CHANGE_POINTS, COMPARISONS, FUNNEL, MONITORING, SWAPS, TRENDS

Progress = Callable[[str], None]

# Tables of the ledger that the report shows as they were kept.
AS_KEPT = (
    "rates",
    "unseen",
    "cells",
    "mats",
    "interruptions",
    "diagnosis",
    "miss_counts",
    "laid_lines",
    "laid_mats",
    "equipment",
    "complaints",
    "finding_counts",
    "gate",
    "account",
)


@dataclass(frozen=True, slots=True)
class SeasonReview:
    """Everything known of one season.  Frames keep the contracts of season_tables.py.

    ``items`` is None where no item can be judged; ``no_items`` then says why.
    """

    events: pl.DataFrame
    kept: dict[str, pl.DataFrame]
    items: ItemModel | None
    no_items: str | None
    monitoring: pl.DataFrame
    changes: pl.DataFrame
    trends: pl.DataFrame
    swaps: pl.DataFrame
    funnel: pl.DataFrame
    line_history: pl.DataFrame
    line_season: pl.DataFrame
    comparisons: pl.DataFrame
    morning_rules: pl.DataFrame
    hand_test: HandTest
    tags: pl.DataFrame
    batches: pl.DataFrame
    tag_ages: pl.DataFrame


def _silent(_step: str) -> None:
    return None


def review_season(ledger_folder: str | Path, progress: Progress = _silent) -> SeasonReview:
    """Review all events of the ledger.  Raises ``LedgerError`` where there is none, or no event in it."""
    progress("opening the ledger")
    ledger = open_ledger(ledger_folder)
    events = ledger.events
    if events.is_empty():
        raise LedgerError(
            f'the ledger in "{Path(ledger_folder).name}" holds no event',
            todo="keep one first: lineproof keep EVENT_DIR --ledger DIR",
        )
    kept = {name: read_whole(ledger.scan(name)) for name in AS_KEPT}
    progress("judging the items")
    items, no_items = _items(kept["cells"])
    progress("watching lines and items over time")
    history = to_line_history(kept["rates"], events)
    progress("comparing habits")
    comparisons = [
        _years(kept["cells"]),
        compare_habits(kept["cells"]),
        compare_models(kept["cells"], _register(kept["equipment"])),
    ]
    progress("judging the tags")
    tags = read_whole(ledger.scan("tags"))
    return SeasonReview(
        events=events,
        kept=kept,
        items=items,
        no_items=no_items,
        monitoring=monitor_season(items) if items else MONITORING.empty(),
        changes=estimate_change_points(items) if items else CHANGE_POINTS.empty(),
        trends=estimate_season_trends(items) if items else TRENDS.empty(),
        swaps=to_swaps(items.standing) if items else SWAPS.empty(),
        funnel=to_funnel(items) if items else FUNNEL.empty(),
        line_history=history,
        line_season=to_line_season(history),
        comparisons=pl.concat(comparisons),
        morning_rules=compare_rules(kept["cells"], kept["laid_lines"], kept["laid_mats"]),
        hand_test=estimate_hand_test(kept["cells"]),
        tags=estimate_season_tags(tags),
        batches=estimate_batches(tags),
        tag_ages=estimate_tag_ages(tags, events),
    )


def _items(cells: pl.DataFrame) -> tuple[ItemModel | None, str | None]:
    recorded = cells.filter(pl.any_horizontal(pl.col("mat", "cable", "reader").is_not_null()))
    if recorded.is_empty():
        return None, "no set-up record says which mat, cable or reader lay where"
    try:
        return estimate_items(cells), None
    except ValueError as reason:
        return None, str(reason)


def _years(cells: pl.DataFrame) -> pl.DataFrame:
    """The last year of the ledger against those before it, where it holds more than one."""
    year = pl.col("date").dt.year()
    last = cells.select(year.max()).item()
    earlier, later = cells.filter(year < last), cells.filter(year == last)
    return (
        compare_seasons(earlier, later, ("earlier years", str(last)))
        if earlier.height
        else COMPARISONS.empty()
    )


def _register(equipment: pl.DataFrame) -> pl.DataFrame:
    """The register as it stood at the last event that each item was kept with."""
    return equipment.sort("event").unique("item", keep="last", maintain_order=True)
