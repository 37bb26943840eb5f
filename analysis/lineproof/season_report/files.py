"""The season's tables as files: CSV beside the page, for a spreadsheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from lineproof.results import replacing, write_csv
from lineproof.season_report import rows as shown
from lineproof.season_tables import ITEM_RATES

if TYPE_CHECKING:
    from lineproof.season_report.flow import SeasonReview

ZONE = "UTC"  # a season may span zones; its tables hold days, hardly any instants


def write_season_results(season: SeasonReview, out: str | Path) -> list[Path]:
    """Write the season's tables into ``out`` and return their paths.

    Raises ``OutputError`` where the folder cannot be written; what was there before stays.
    """
    out = Path(out)
    items = season.items.items if season.items else ITEM_RATES.empty()
    tables = {
        "events": shown.to_event_totals(season),
        "lines": shown.to_line_table(season),
        "over_events": season.line_season,
        "segments": shown.to_segment_table(season),
        "misses": shown.to_explained_rows(season),
        "morning_rules": season.morning_rules,
        "causes": shown.to_cause_rows(season),
        "items": items,
        "monitoring": season.monitoring,
        "changes": season.changes,
        "trends": season.trends,
        "swaps": season.swaps,
        "funnel": season.funnel,
        "comparisons": season.comparisons,
        "hand_test": season.hand_test.limits,
        "tags": season.tags,
        "tag_batches": season.batches,
        "tag_ages": season.tag_ages,
        "checks": shown.to_check_rows(season),
        "quality": shown.to_quality_rows(season),
    }
    with replacing(out) as new:
        for name, frame in tables.items():
            write_csv(_flat(frame), new / f"season_{name}.csv", ZONE)
    return [out / f"season_{name}.csv" for name in tables]


def _flat(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.drop("place", strict=False)
