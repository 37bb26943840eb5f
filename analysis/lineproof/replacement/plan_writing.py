"""Drafts ``plan.toml`` from the ledger: what the ledger tells is filled in, the rest is marked ASSUMPTION with its reason."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from pathlib import Path

import polars as pl

from lineproof.errors import OutputError, one_line
from lineproof.replacement.assumptions import ASSUMPTIONS, COMMON_PRACTICE, MONEY, Assumption
from lineproof.replacement.beliefs import DAYS_A_YEAR
from lineproof.replacement.evidence import Evidence, Scans, load_evidence
from lineproof.replacement.plan import JUDGED_KINDS, PLAN_FILE, Lay, Step
from lineproof.replacement.wear import estimate_life
from lineproof.vocabulary import ItemKind, Role

MARK = "ASSUMPTION"
WISHES = 5  # items on the drafted wish list
WORTH_A_WISH = ("repair or retire", "test", "watch")

_HEAD = f"""\
# Drafted from the ledger.  Lines marked {MARK} are guesses of ours: put your own figure there, then delete the
# mark.  Shares are in per cent, money in the currency below, times in seasons unless said otherwise.
"""
_ABOUT = {
    "costs": "What one crossing costs that no line read.  A miss that the other line covers costs nothing.\n"
    "# [costs.finish] with any of these lines changes them for the finish alone; likewise start and split.",
    "weak_tags": "Tags that are hard to read for every line: no mat cures them.",
    "stops": "How often lines stand still, whatever lies in them.",
    "habits": "The rival without a purchase.",
}

Found = dict[str, tuple[float, str]]


def write_plan(ledger: Scans, path: str | Path) -> Path:
    """Draft a plan at ``path`` (a file, or a folder for ``plan.toml`` in it).

    Raises ``OutputError`` where there is one already, ``PlanError`` where the ledger cannot carry a case.
    """
    target = Path(path) / PLAN_FILE if Path(path).is_dir() else Path(path)
    if target.exists():
        raise OutputError(
            "there is a plan already", todo="move it away or choose another name with --out", file=target
        )
    text = draft_plan(load_evidence(ledger))
    try:
        target.write_text(text, encoding="utf-8")
    except OSError as problem:
        raise OutputError(
            f"the draft cannot be written ({problem.strerror})", todo="check the folder", file=target
        ) from None
    return target


def draft_plan(evidence: Evidence) -> str:
    """The text of a plan that ``load_plan`` accepts as it stands."""
    year = evidence.last_day.year + 1
    events = evidence.cells["event"].n_unique()
    parts = [
        _HEAD,
        "[plan]",
        f'name = "Season {year}"',
        f'currency = "EUR"  # {MARK}: the three letters of your currency',
        f"lay = {json.dumps(Lay.LAST_SEASON.value)}  # the {events} events of the ledger again; or {json.dumps(Lay.LISTED.value)} with [[line]] tables",
        *_numbers("plan", {}),
    ]
    for table, found in (
        ("costs", {}),
        ("weak_tags", _weak_share(evidence)),
        ("stops", _stops(evidence)),
        ("habits", {}),
    ):
        parts += ["", f"# {_ABOUT[table]}", f"[{table}]", *_numbers(table, found)]
    for kind in JUDGED_KINDS:
        if kind in set(evidence.known.values()):
            parts += ["", *_new_item(evidence, kind)]
    return "\n".join([*parts, *_wishes(evidence), ""])


def _numbers(table: str, found: Found) -> Iterator[str]:
    for name, assumption in ASSUMPTIONS[table].items():
        value, told = found.get(name, (assumption.value, ""))
        yield f"{name} = {value:.6g}  # {_told(assumption, told)}"


def _told(assumption: Assumption, from_ledger: str) -> str:
    unit = "" if assumption.unit == MONEY else f"{assumption.unit}; "
    if from_ledger:
        return f"{unit}{assumption.reason}; from the ledger: {from_ledger}"
    source = "" if assumption.source == COMMON_PRACTICE else f"; {assumption.source}"
    return f"{MARK}: {unit}{assumption.reason}{source}"


def _weak_share(evidence: Evidence) -> Found:
    """Mean chance of being weak over all tags of all events whose record tells."""
    known = evidence.tags.filter(pl.col("weak").is_not_null())
    if known.is_empty():
        return {}
    share = 100 * float(known["weak"].to_numpy().mean())
    told = f"mean chance of being weak over {known.height:,} records of tags"
    return {"share": (round(min(share, ASSUMPTIONS["weak_tags"]["share"].most), 3), told)}


def _stops(evidence: Evidence) -> Found:
    """Shares of the crossings that came in a line's interruptions; both at once: the fewer of the two lines', at most."""
    lines = evidence.cells.filter(pl.col("slot") == 0, pl.col("tried") > 0).with_columns(
        out=pl.col("tried") - pl.col("tried_at_work")
    )
    found: Found = {}
    for role in Role:
        mine = lines.filter(pl.col("role").cast(pl.String) == role.value)
        if mine.height:
            share = 100 * float(mine["out"].sum()) / float(mine["tried"].sum())
            found[role.value] = (round(share, 4), f"{mine.height} lines and days")
    points = lines.group_by("event", "point").agg(
        pl.col("out").min().alias("out"), pl.col("tried").max().alias("tried"), pl.len().alias("lines")
    )
    two = points.filter(pl.col("lines") > 1)
    if two.height:
        share = 100 * float(two["out"].sum()) / float(two["tried"].sum())
        found["both"] = (round(share, 4), "at most this, by the line of each point that was out less")
    return found


def _new_item(evidence: Evidence, kind: ItemKind) -> Iterator[str]:
    found: Found = {}
    own = _register(evidence).filter(pl.col("kind").cast(pl.String) == kind.value)
    prices = own["price"].drop_nulls()
    if len(prices):
        found["price"] = (
            float(prices.sort()[len(prices) // 2]),
            f"middle price of {len(prices)} in the register",
        )
    life = _life(own, evidence)
    if life is not None:
        found["life"] = life
    yield f"[new.{kind}]"
    yield from _numbers(f"new.{kind}", found)
    yield f"# What a new {kind} reads is taken from the young ones of the ledger.  To state it instead, with its 95 % range:"
    yield "# reads = 99.2"
    yield "# reads_low = 98.5"
    yield "# reads_high = 99.6"


def _register(evidence: Evidence) -> pl.DataFrame:
    """The newest row of each item."""
    return evidence.equipment.sort("event").unique("item", keep="last", maintain_order=True).sort("item")


def _life(own: pl.DataFrame, evidence: Evidence) -> tuple[float, str] | None:
    """Middle life by the register's dates, in whole seasons; None with too few ends."""
    dated = own.filter(pl.col("bought").is_not_null())
    years = (
        pl.coalesce("retired", pl.lit(evidence.last_day)) - pl.col("bought")
    ).dt.total_days() / DAYS_A_YEAR
    lives = dated.with_columns(years=years).filter(pl.col("years") > 0)
    ended = lives.filter(pl.col("retired").is_not_null())["years"].to_list()
    in_use = lives.filter(pl.col("retired").is_null())["years"].to_list()
    life = estimate_life(ended, in_use)
    if life is None:
        return None
    return float(max(1, round(life.median))), f"{len(ended)} retired, {len(in_use)} in use"


def _wishes(evidence: Evidence) -> Iterator[str]:
    items = evidence.model.items.filter(pl.col("effect").is_not_null()).with_columns(
        urgent=pl.col("verdict").cast(pl.String).is_in(list(WORTH_A_WISH))
    )
    worst = items.sort(["urgent", "effect", "item"], descending=[True, True, False]).head(WISHES)
    yield "\n# The wish list, drafted: the items that look worst, each to be replaced or repaired.  Price, trade_in and life may be"
    yield '# stated for each.  A wish may name others that it needs (needs = ["…"]) and a group for a discount:'
    yield '# [[discount]]\n# group = "mats"\n# from = 3\n# per_cent = 5'
    for row in worst.iter_rows(named=True):
        kind = ItemKind(row["kind"])
        yield f"\n# {one_line(row['item'])}: {_why(row)}"
        yield from _wish(Step.REPLACE, kind, row["item"])
        yield from _wish(Step.REPAIR, kind, row["item"])


def _why(row: dict[str, object]) -> str:
    missed, tried, events = row["missed"], row["tried"], row["events"]
    assert isinstance(missed, float)
    assert isinstance(tried, float)
    return f"{row['verdict']} by the season, about {missed:,.0f} missed of {tried:,.0f} at {events} events"


def _quoted(word: str) -> str:
    """A word as a basic string of TOML: the escapes of JSON are among those of TOML, which forbids one sign more."""
    return json.dumps(word, ensure_ascii=False).replace("\x7f", "\\u007f")


def _wish(step: Step, kind: ItemKind, item: str) -> Iterable[str]:
    return (
        "[[wish]]",
        f"id = {_quoted(f'{step} {item}')}",
        f'do = "{step}"',
        f"item = {_quoted(item)}",
        f'kind = "{kind}"',
    )
