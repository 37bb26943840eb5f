"""Set-up facts against misses: lines that kept a rule of the morning, and lines that broke it.

One row for each rule of which the record tells (``RULES``): how many lines kept and broke it, what they missed, and
the odds of a miss of those that broke it beside those that kept it *on the same day, in the same role at the same kind of
point* (``matched.py``).  What was not recorded is counted as such.  Rules that only keep times right or people safe are not
here: they miss nobody.  The limits are the defaults of the settings, the same for all events.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from lineproof.season.comparisons import WITHIN_EVENTS, to_units
from lineproof.season.matched import LEAST_WITNESSES, estimate_common_odds
from lineproof.season_result_tables import MORNING_RULES
from lineproof.setup.rules import TAPE_M
from lineproof.vocabulary import SETTINGS
from lineproof.wording import say_small


def _limit(name: str) -> float:
    return SETTINGS[name].value


def _widest_bare_m() -> pl.Expr:
    """The wider of the bare strips at the two sides of the road; null where a width is not recorded."""
    bare, near = pl.col("road_width_m") - pl.col("covered_width_m"), pl.coalesce("near_gap_m", pl.lit(0.0))
    return pl.when(bare.is_not_null()).then(pl.max_horizontal(near, bare - near))


@dataclass(frozen=True, slots=True)
class KeptRule:
    """``kept`` is null where the record does not tell."""

    words: str
    kept: pl.Expr


RULES: tuple[KeptRule, ...] = (
    KeptRule(
        f"hand test of every mat up to {_limit('hand_ceiling_cm'):g} cm",
        pl.col("least_ceiling_cm") >= _limit("hand_ceiling_cm"),
    ),
    KeptRule(
        f"hand test of every mat from {_limit('hand_floor_cm'):g} cm",
        pl.col("most_floor_cm") <= _limit("hand_floor_cm"),
    ),
    KeptRule("a tag walked over every mat", pl.col("walk_test")),
    KeptRule("reader told as many ports as were used", pl.col("ports_told") == pl.col("highest_port")),
    KeptRule("reader set to race", pl.col("reader_role").cast(pl.String) == "race"),
    KeptRule("mats over the whole road", _widest_bare_m() <= _limit("bare_width_m")),
    KeptRule("a second power source", pl.col("backup_power")),
    KeptRule(
        f"lines {_limit('line_spacing_m'):g} m apart or more",
        pl.col("spacing_m") + TAPE_M >= _limit("line_spacing_m"),
    ),
)


def compare_rules(cells: pl.DataFrame, laid_lines: pl.DataFrame, laid_mats: pl.DataFrame) -> pl.DataFrame:
    """MORNING_RULES in the order of ``RULES``, from CELLS, LAID_LINES and LAID_MATS of all events.

    A rule of which no record tells has no row.
    """
    tested = laid_mats.group_by("event", "line").agg(
        _of_all("hand_ceiling_cm", pl.col("hand_ceiling_cm").min()).alias("least_ceiling_cm"),
        _of_all("hand_floor_cm", pl.col("hand_floor_cm").max()).alias("most_floor_cm"),
        _of_all("port", pl.col("port").max()).alias("highest_port"),
    )
    recorded = laid_lines.drop("role", "reader", "surface", "weather", "covers", "crew_minutes", strict=False)
    whole = (
        cells.filter(pl.col("slot") == 0, pl.col("tried") > 0)
        .select("event", "line", "role", "kind", "tried", "missed", "tried_at_work", "missed_at_work")
        .join(recorded, on=["event", "line"], how="left", validate="1:1")
        .join(tested, on=["event", "line"], how="left", validate="1:1")
        .sort("event", "line")
    )
    rows = [row for rule in RULES if (row := _row(rule, whole)) is not None]
    return MORNING_RULES.shape_rows(rows)


def _of_all(name: str, value: pl.Expr) -> pl.Expr:
    """Null where any slot is without."""
    return pl.when(pl.col(name).is_not_null().all()).then(value)


def _row(rule: KeptRule, lines: pl.DataFrame) -> dict[str, object] | None:
    told = lines.with_columns(rule.kept.alias("kept"))
    known = told.filter(pl.col("kept").is_not_null())
    if known.is_empty():
        return None
    kept, broken = known.filter("kept"), known.filter(~pl.col("kept"))
    row: dict[str, object] = {"rule": rule.words, "lines_unknown": told.height - known.height}
    for name, part in (("kept", kept), ("broken", broken)):
        row |= {
            f"lines_{name}": part.height,
            f"tried_{name}": float(part["tried"].sum()),
            f"missed_{name}": float(part["missed"].sum()),
        }
    at_work = known.filter(pl.col("tried_at_work") > 0)
    if broken.is_empty() or kept.is_empty():
        return {
            **row,
            "reason": f"every line of which it is known {'kept' if broken.is_empty() else 'broke'} it",
        }
    odds = estimate_common_odds(to_units(at_work, ~pl.col("kept"), WITHIN_EVENTS, "event"))
    numbers = {
        name: float(value) if np.isfinite(value := getattr(odds, name)) else None
        for name in ("factor", "low", "high")
    }
    if not odds.strata:
        return {**row, "reason": "no day had lines of one kind that kept and broke it"}
    few = f"{say_small(odds.witnesses, 'event')} had both; {LEAST_WITNESSES} are needed for an interval"
    return {**row, **numbers, "reason": few if odds.witnesses < LEAST_WITNESSES else None}
