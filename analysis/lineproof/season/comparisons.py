"""Did a habit pay?  Habit against habit, season against season, model of mat against model, always matched.

A habit that differs between lines of one event is compared within events, between lines of the same role at the same kind
of point: day, field and weather are then the same.  A habit that only changes from event to event is compared within
lines, between events.  The witnesses are the events, and for models of mat also the single items: two
mats are no proof about a model, however many runners crossed them.  Interruptions are left out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from lineproof.season.matched import LEAST_WITNESSES, CommonOdds, Unit, estimate_common_odds, keep_matched
from lineproof.season_result_tables import COMPARISONS
from lineproof.wording import say_small

LEAST_EVENTS = 3  # with both, before a habit is compared within events
WITHIN_EVENTS = ("event", "role", "kind")
WITHIN_LINES = ("line",)
SAME_PLACE = "not matched for the weather and the field of the days"


@dataclass(frozen=True, slots=True)
class Habit:
    """A column of CELLS and how to speak of it; ``unit`` is None for yes and no."""

    column: str
    words: str
    unit: str | None = None


HABITS = (
    Habit("covers", "mats taped or covered"),
    Habit("two_tags", "two tags for each runner"),
    Habit("spacing_m", "spacing of the two lines", "m"),
    Habit("crew_minutes", "crew minutes on a line", "min"),
)


def _codes(frame: pl.DataFrame, columns: Sequence[str]) -> np.ndarray:
    return np.asarray(
        frame.select(pl.struct(columns).rank("dense")).to_series().to_numpy() - 1, dtype=np.int64
    )


def to_units(frame: pl.DataFrame, first: pl.Expr, within: Sequence[str], witness: str) -> Unit:
    """Units of a frame of cells: ``first`` tells those of the one from the other's."""
    return Unit(
        frame["missed_at_work"].to_numpy(),
        frame["tried_at_work"].to_numpy(),
        frame.select(first).to_series().to_numpy().astype(bool),
        _codes(frame, within),
        _codes(frame, [witness]),
    )


def _verdict(odds: CommonOdds) -> str:
    if np.isfinite(odds.high) and odds.high < 1:
        return "fewer misses"
    return "more misses" if np.isfinite(odds.low) and odds.low > 1 else "cannot tell"


def _why_none(odds: CommonOdds, within: str, witness: str) -> str | None:
    if odds.strata == 0:
        return f"no {within} had both"
    if odds.witnesses < LEAST_WITNESSES:
        had = say_small(odds.witnesses, witness.removesuffix("s"))
        return f"{had} had both; {LEAST_WITNESSES} are needed for an interval"
    return None if np.isfinite(odds.low) else "too few misses on one side"


def _row(
    units: Unit, odds: CommonOdds, question: str, a: str, b: str, matched: str, witness: str, limit: str = ""
) -> dict[str, object]:
    kept = keep_matched(units)

    def number(value: float) -> float | None:
        return float(value) if np.isfinite(value) else None

    reason = _why_none(odds, matched.removeprefix("within each "), witness)
    return {
        "question": question,
        "a": a,
        "b": b,
        "matched": matched,
        "strata": odds.strata,
        "tried_a": float(kept.tried[kept.first].sum()),
        "tried_b": float(kept.tried[~kept.first].sum()),
        "missed_a": float(kept.missed[kept.first].sum()),
        "missed_b": float(kept.missed[~kept.first].sum()),
        "factor": number(odds.factor),
        "low": number(odds.low),
        "high": number(odds.high),
        "witnesses": odds.witnesses,
        "chance": number(odds.chance),
        "verdict": _verdict(odds),
        "reason": reason or (limit or None),
    }


def _whole_lines(cells: pl.DataFrame) -> pl.DataFrame:
    return cells.filter(pl.col("slot") == 0, pl.col("tried_at_work") > 0).sort("date", "event", "line")


def compare_habit(cells: pl.DataFrame, habit: Habit, limit: float | None = None) -> dict[str, object] | None:
    """One row of COMPARISONS, or None where the habit was not recorded both ways.

    ``limit``: of a measured habit, from where on it counts as the one; by default the middle of its range that
    parts the records most evenly.
    """
    known = _whole_lines(cells).filter(pl.col(habit.column).is_not_null())
    first = pl.col(habit.column)
    names = ("yes", "no")
    if habit.unit is not None:
        values = np.unique(known[habit.column].to_numpy())
        if len(values) < 2:
            return None
        cut = _even_limit(known[habit.column].to_numpy()) if limit is None else limit
        first = pl.col(habit.column) >= cut
        names = (f"{cut:g} {habit.unit} or more", f"under {cut:g} {habit.unit}")
    sides = known.select(one=first)["one"]
    if not known.height or sides.all() or not sides.any():
        return None
    within = to_units(known, first, WITHIN_EVENTS, "event")
    inside = keep_matched(within)
    if len(inside.witness) and int(inside.witness.max()) + 1 >= LEAST_EVENTS:
        odds = estimate_common_odds(within)
        matched = "within each event, role and kind of point"
        return _row(within, odds, habit.words, *names, matched, "events")
    units = to_units(known, first, WITHIN_LINES, "event")
    return _row(
        units, estimate_common_odds(units), habit.words, *names, "within each line", "events", SAME_PLACE
    )


def _even_limit(values: np.ndarray) -> float:
    """The value for which those at or above it come nearest to half of all, above the smallest."""
    levels = np.unique(values)[1:]
    above = np.array([(values >= level).mean() for level in levels])
    return float(levels[np.abs(above - 0.5).argmin()])


def compare_habits(cells: pl.DataFrame, limits: Mapping[str, float] | None = None) -> pl.DataFrame:
    """COMPARISONS of every habit of HABITS that was recorded both ways.  ``limits``: by column, in its unit."""
    rows = [compare_habit(cells, habit, (limits or {}).get(habit.column)) for habit in HABITS]
    found = [row for row in rows if row is not None]
    return (
        COMPARISONS.conform(pl.DataFrame(found, infer_schema_length=None)) if found else COMPARISONS.empty()
    )


def compare_seasons(
    earlier: pl.DataFrame, later: pl.DataFrame, names: tuple[str, str] = ("earlier", "later")
) -> pl.DataFrame:
    """COMPARISONS with one row: the later season against the earlier, within lines that both had.

    Raises ``ValueError`` where an event is in both.
    """
    shared = set(earlier["event"].to_list()) & set(later["event"].to_list())
    if shared:
        raise ValueError(f"in both seasons: {', '.join(sorted(shared))}")
    both = pl.concat(
        [earlier.with_columns(later=pl.lit(False)), later.with_columns(later=pl.lit(True))], how="vertical"
    )
    lines = _whole_lines(both)
    if lines.is_empty():
        return COMPARISONS.empty()
    units = to_units(lines, pl.col("later"), WITHIN_LINES, "event")
    row = _row(
        units,
        estimate_common_odds(units),
        "season against season",
        names[1],
        names[0],
        "within each line",
        "events",
        SAME_PLACE,
    )
    return COMPARISONS.conform(pl.DataFrame([row], infer_schema_length=None))


def compare_models(cells: pl.DataFrame, equipment: pl.DataFrame, kind: str = "mat") -> pl.DataFrame:
    """COMPARISONS of every two models of a kind that lay in the same line at the same event.

    ``equipment``: rows of EQUIPMENT (``item``, ``model``).  The interval is the wider of two: events as witnesses,
    and items as witnesses.
    """
    register = equipment.filter(pl.col("model").is_not_null()).select(pl.col("item").alias(kind), "model")
    slots = cells.filter(pl.col("slot") > 0, pl.col("tried_at_work") > 0)
    placed = slots.join(register, on=kind, how="inner", validate="m:1").sort("date", "event", "line", "slot")
    models = sorted(placed["model"].unique().to_list())
    rows = []
    for number, a in enumerate(models):
        for b in models[number + 1 :]:
            two = placed.filter(pl.col("model").is_in([a, b]))
            by_event, by_item = (
                to_units(two, pl.col("model") == a, ("event", "line"), witness) for witness in ("event", kind)
            )
            choices = [
                (estimate_common_odds(units), word)
                for units, word in ((by_event, "events"), (by_item, f"{kind}s"))
            ]
            odds, word = max(choices, key=_width)
            rows.append(_row(by_event, odds, f"model of {kind}", a, b, "within each line on each day", word))
    return COMPARISONS.conform(pl.DataFrame(rows, infer_schema_length=None)) if rows else COMPARISONS.empty()


def _width(choice: tuple[CommonOdds, str]) -> float:
    """Width of the interval; no interval is the widest."""
    odds = choice[0]
    return float(np.log(odds.high / odds.low)) if np.isfinite(odds.low) else np.inf
