"""The rows that the purchase report shows: each function takes the case and gives one frame in words and numbers."""

from __future__ import annotations

import numpy as np
import polars as pl

from lineproof.contracts import Column, Table
from lineproof.replacement.case import Case
from lineproof.replacement.cash import discount_factors, payback
from lineproof.replacement.evaluation import HIGH, LOW, Option, Way, Word
from lineproof.replacement.plan import PLAN_FILE, Step
from lineproof.replacement.words import say_step, say_steps
from lineproof.tables import COUNT, FLOAT, TEXT
from lineproof.wording import start_sentence

ORIGIN_ROWS = Table(
    "origin rows",
    "one reason for which crossings will be read by no line",
    ("label",),
    {
        "label": Column(TEXT, "the reason; drawn in the order given"),
        "unread": Column(FLOAT, "expected crossings of the coming season"),
        "cure": Column(TEXT, "what helps against it"),
        "by_purchase": Column(pl.Boolean(), "whether new items help"),
    },
)

WAY_ROWS = Table(
    "way rows",
    "one way to go on, weighed over the horizon against doing nothing",
    ("label",),
    {
        "label": Column(TEXT, "the way; drawn in the order given"),
        "steps": Column(TEXT, "what is bought"),
        "spending": Column(FLOAT, "money spent today"),
        "gain": Column(FLOAT, "mean money of today that it brings"),
        "low": Column(FLOAT, "lower end of its 90 % range"),
        "high": Column(FLOAT, "upper end"),
        "chance": Column(FLOAT, "chance that it brings money at all"),
        "best": Column(pl.Boolean(), "the largest mean gain"),
    },
)

FLOW_ROWS = Table(
    "flow rows",
    "the purchase's money by season, beyond what it stands on",
    ("season",),
    {
        "season": Column(COUNT, "0: today"),
        "spent": Column(
            FLOAT, "prices, upkeep, renting, trade-in and what is left at the end; money in is positive"
        ),
        "saved": Column(FLOAT, "mean saving on crossings that no line read"),
        "net": Column(FLOAT, "both together"),
        "discounted": Column(FLOAT, "net, in money of today"),
        "running": Column(FLOAT, "sum of discounted up to here"),
        "running_low": Column(FLOAT, "lower end of its 90 % range"),
        "running_high": Column(FLOAT, "upper end"),
        "unread_avoided": Column(FLOAT, "mean crossings that some line reads thanks to it"),
        "single_avoided": Column(FLOAT, "mean crossings that both lines read instead of one"),
        "look_up_hours": Column(FLOAT, "hours of looking up saved"),
    },
)

WISH_ROWS = Table(
    "wish rows",
    "one wish by itself, on the ground that the purchase stands on",
    ("wish",),
    {
        "wish": Column(TEXT, "id in the plan"),
        "step": Column(TEXT, "what is done"),
        "price": Column(FLOAT, "money today"),
        "unread": Column(FLOAT, "crossings read by no line that it avoids in the first season, mean"),
        "unread_low": Column(FLOAT, "lower end of their 90 % range"),
        "unread_high": Column(FLOAT, "upper end"),
        "single": Column(FLOAT, "single-line misses that it avoids in the first season, mean"),
        "hours": Column(FLOAT, "look-up hours that it avoids in the first season"),
        "gain": Column(FLOAT, "mean money of today over the horizon, price taken off"),
        "low": Column(FLOAT, "lower end of its 90 % range"),
        "high": Column(FLOAT, "upper end"),
        "chance": Column(FLOAT, "chance that it saves money"),
        "payback": Column(FLOAT, "seasons until it has paid for itself, discounted", nullable=True),
        "payback_plain": Column(FLOAT, "the same without interest", nullable=True),
        "chosen": Column(pl.Boolean(), "in the best set"),
    },
)

LIFE_ROWS = Table(
    "life rows",
    "one item that a wish would replace: its next seasons against a new one",
    ("item",),
    {
        "item": Column(TEXT, "item id"),
        "next": Column(FLOAT, "what the next season costs with the old one"),
        "after": Column(FLOAT, "what the season after it costs", nullable=True),
        "new": Column(FLOAT, "smallest annual cost of a new one"),
        "life": Column(COUNT, "seasons to keep the new one for that"),
        "at_limit": Column(pl.Boolean(), "no season looked at is dearer: its life is at least that"),
        "keep": Column(COUNT, "seasons in a row that the old one is cheaper"),
        "seasons": Column(COUNT, "seasons looked at"),
    },
)

SWING_ROWS = Table(
    "swing rows",
    "one assumption moved by itself, and the gain of the purchase at both ends",
    ("label",),
    {
        "label": Column(TEXT, "the assumption; drawn in the order given"),
        "unit": Column(TEXT, "its unit"),
        "now": Column(FLOAT, "its value"),
        "low": Column(FLOAT, "low end"),
        "high": Column(FLOAT, "high end"),
        "gain_low": Column(FLOAT, "gain of the purchase at the low end"),
        "gain_high": Column(FLOAT, "gain at the high end"),
        "gain": Column(FLOAT, "gain as planned"),
        "flips": Column(TEXT, "which other decision follows, and at which end; empty: none"),
    },
)

BREAK_ROWS = Table(
    "break-even rows",
    "the value at which the purchase gains nothing, all else as planned",
    ("label",),
    {
        "label": Column(TEXT, "what is moved"),
        "unit": Column(TEXT, "its unit"),
        "now": Column(FLOAT, "its value"),
        "value": Column(FLOAT, "where the gain is nothing; null: nowhere", nullable=True),
        "holds": Column(TEXT, "the purchase gains above, or below"),
    },
)


def to_origin_rows(case: Case) -> pl.DataFrame:
    o = case.origins
    rows: list[dict[str, object]] = [
        {"label": "better items would read them", "unread": o.curable, "cure": "repair, replace or rent", "by_purchase": True},
        {"label": "good tags, by chance", "unread": o.chance, "cure": "a third line, or nothing", "by_purchase": False},
        {"label": "weak tags", "unread": o.weak, "cure": "retire weak tags, wear them right", "by_purchase": False},
        {"label": "a line stood still", "unread": o.stopped, "cure": "second power source, lay early, lift late", "by_purchase": False},
    ]  # fmt: skip
    return ORIGIN_ROWS.conform(ORIGIN_ROWS.shape_rows(rows))


def to_way_rows(case: Case) -> pl.DataFrame:
    w = case.weighed
    rows = []
    for way in Way:
        option = w.options[way]
        low, high = option.span
        rows.append(
            {
                "label": start_sentence(way),
                "steps": say_steps(case.plan, option.steps),
                "spending": option.spending,
                "gain": option.gain,
                "low": low,
                "high": high,
                "chance": option.chance,
                "best": way is w.best.way,
            }
        )
    return WAY_ROWS.conform(WAY_ROWS.shape_rows(rows))


def to_shown(case: Case) -> Option:
    """The purchase that is shown in detail: the best set or, where nothing is bought, the nearest wish."""
    return case.weighed.added_by(case.sensitivity.steps)


def to_flow_rows(case: Case) -> pl.DataFrame:
    """Cash flows of the purchase shown, season by season."""
    plan, option = case.plan, to_shown(case)
    each = np.array([cost.per_unseen for cost in plan.costs.values()])
    minutes = np.array([cost.look_up_minutes for cost in plan.costs.values()])
    unread = option.avoided[..., 0]
    saved = np.concatenate([np.zeros((len(unread), 1)), unread @ each], axis=1)
    spent = option.flows - saved.mean(axis=0)
    later = discount_factors(plan.interest, plan.horizon)
    running = np.cumsum((saved + spent) * later, axis=1)
    low, high = np.quantile(running, [LOW, HIGH], axis=0)
    counted = option.avoided.mean(axis=0)
    none = np.zeros(1)
    frame = pl.DataFrame(
        {
            "season": np.arange(plan.horizon + 1),
            "spent": spent,
            "saved": saved.mean(axis=0),
            "net": option.flows,
            "discounted": option.flows * later,
            "running": np.cumsum(option.flows * later),
            "running_low": low,
            "running_high": high,
            "unread_avoided": np.concatenate([none, counted[..., 0].sum(axis=1)]),
            "single_avoided": np.concatenate([none, counted[..., 1].sum(axis=1)]),
            "look_up_hours": np.concatenate([none, counted[..., 0] @ minutes / 60]),
        }
    )
    return FLOW_ROWS.conform(frame)


def to_wish_rows(case: Case) -> pl.DataFrame:
    """Every wish by itself, largest gain first."""
    plan, chosen = case.plan, case.weighed.purchase.steps
    minutes = np.array([cost.look_up_minutes for cost in plan.costs.values()])
    rows = []
    for i, wish in enumerate(plan.wishes):
        option = case.weighed.added_by(frozenset([i]))
        first = option.avoided[:, 0, :, 0].sum(axis=1)
        low, high = option.span
        few, many = np.quantile(first, [LOW, HIGH])
        rows.append(
            {
                "wish": wish.id,
                "step": say_step(wish),
                "price": option.spending,
                "unread": float(first.mean()),
                "unread_low": float(few),
                "unread_high": float(many),
                "single": float(option.avoided[:, 0, :, 1].sum(axis=1).mean()),
                "hours": float((option.avoided[:, 0, :, 0].mean(axis=0) @ minutes) / 60),
                "gain": option.gain,
                "low": low,
                "high": high,
                "chance": option.chance,
                "payback": payback(option.flows, plan.interest),
                "payback_plain": payback(option.flows),
                "chosen": i in chosen,
            }
        )
    return WISH_ROWS.conform(WISH_ROWS.shape_rows(rows)).sort("gain", "wish", descending=[True, False])


def to_life_rows(case: Case) -> pl.DataFrame:
    rows: list[dict[str, object]] = [
        {
            "item": case.plan.wishes[life.step].item,
            "next": life.keep_costs[0],
            "after": life.keep_costs[1] if len(life.keep_costs) > 1 else None,
            "new": life.new.annual_cost,
            "life": life.new.seasons,
            "at_limit": life.new.at_limit,
            "keep": life.seasons_to_keep,
            "seasons": len(life.keep_costs),
        }
        for life in case.lives
    ]
    return LIFE_ROWS.conform(LIFE_ROWS.shape_rows(rows))


def to_swing_rows(case: Case) -> pl.DataFrame:
    """Assumptions by how much the gain swings, largest first."""
    s, gain = case.sensitivity, to_shown(case).gain
    rows: list[dict[str, object]] = [
        {
            "label": start_sentence(one.name),
            "unit": one.unit,
            "now": one.now,
            "low": one.low,
            "high": one.high,
            "gain_low": one.gain_low,
            "gain_high": one.gain_high,
            "gain": gain,
            "flips": _flips(one.word_low, one.word_high, s.word),
        }
        for one in s.moved
    ]
    return SWING_ROWS.conform(SWING_ROWS.shape_rows(rows))


def _flips(low: Word, high: Word, word: Word) -> str:
    ends = [(low, "low"), (high, "high")]
    return "; ".join(f"{end}: {told}" for told, end in ends if told is not word)


def to_break_rows(case: Case) -> pl.DataFrame:
    rows: list[dict[str, object]] = [
        {
            "label": start_sentence(one.name),
            "unit": case.plan.currency if one.unit == "money" else one.unit,
            "now": one.now,
            "value": one.value,
            "holds": one.holds,
        }
        for one in case.sensitivity.break_even
    ]
    return BREAK_ROWS.conform(BREAK_ROWS.shape_rows(rows))


def to_set_rows(case: Case) -> pl.DataFrame:
    """The best sets under the budget, largest mean gain first: ``rank``, ``steps``, ``spending``, ``gain``, ``chance``,
    ``chosen``."""
    sets = [case.weighed.added_by(choice.steps) for choice in case.weighed.purchases]
    return pl.DataFrame(
        {
            "rank": list(range(1, len(sets) + 1)),
            "steps": [say_steps(case.plan, option.steps, 99) for option in sets],
            "spending": [option.spending for option in sets],
            "gain": [option.gain for option in sets],
            "chance": [option.chance for option in sets],
            "chosen": [option.steps == case.weighed.purchase.steps for option in sets],
        },
        schema={
            "rank": COUNT,
            "steps": TEXT,
            "spending": FLOAT,
            "gain": FLOAT,
            "chance": FLOAT,
            "chosen": pl.Boolean(),
        },
    )


def to_evidence_rows(case: Case) -> pl.DataFrame:
    """The items that wishes name, with what the season says of each, and what its lines' diagnoses named it in."""
    named = sorted({wish.item for wish in case.plan.wishes if wish.item is not None})
    repairs = {
        row["item"]: row["repairs"]
        for row in case.evidence.equipment.sort("event").iter_rows(named=True)
        if row["repairs"]
    }
    faults = {item: _faults(case, item) for item in named}
    items = case.evidence.model.items.with_columns(pl.col("kind", "verdict").cast(TEXT))
    rows = pl.DataFrame({"item": named}, schema={"item": TEXT}).join(
        items, on="item", how="left", validate="1:1"
    )
    return rows.with_columns(
        tried_before=pl.Series([repairs.get(item, "") for item in named], dtype=TEXT),
        faults=pl.Series([faults[item] for item in named], dtype=TEXT),
    ).sort("item")


def _faults(case: Case, item: str) -> str:
    """What the diagnoses of the season named this item in, counted by cause."""
    found = case.evidence.diagnosis.filter(
        pl.col("items").str.split(" ").list.eval(pl.element().str.strip_chars(",;()")).list.contains(item)
    )
    counts = found.group_by(pl.col("cause").cast(TEXT)).len().sort("cause")
    return "; ".join(
        f"{cause} at {n} events" if n > 1 else f"{cause} at one event" for cause, n in counts.iter_rows()
    )


def to_assumption_rows(case: Case) -> pl.DataFrame:
    """Every number of the plan: ``table``, ``name``, ``value``, ``unit``, ``reason``, ``source``, ``given`` by."""
    from lineproof.replacement.assumptions import ASSUMPTIONS

    assumed = set(case.plan.assumed)
    kinds = {f"new.{wish.kind}" for wish in case.plan.wishes if wish.step is not Step.SPARE}
    rows = [
        {
            "table": table,
            "name": name.replace("_", " "),
            "value": value_of(case, table, name),
            "unit": case.plan.currency
            if assumption.unit == "money"
            else assumption.unit.replace("money", case.plan.currency),
            "reason": assumption.reason,
            "source": assumption.source,
            "given": "default" if f"{table}.{name}" in assumed else PLAN_FILE,
        }
        for table, group in ASSUMPTIONS.items()
        if not table.startswith("new.") or table in kinds
        for name, assumption in group.items()
    ]
    return pl.DataFrame(rows)


def value_of(case: Case, table: str, name: str) -> float:
    """A number of the plan in the unit of the plan file; costs as at the finish."""
    from lineproof.replacement.assumptions import ASSUMPTIONS

    plan = case.plan
    holders: dict[str, object] = {
        "plan": plan,
        "costs": list(plan.costs.values())[-1],
        "weak_tags": plan.weak_tags,
        "stops": plan.stops,
        "habits": plan.habits,
        **{f"new.{kind}": new for kind, new in plan.new.items()},
    }
    value = float(getattr(holders[table], name))
    return value * 100 if ASSUMPTIONS[table][name].unit.startswith("%") else value
