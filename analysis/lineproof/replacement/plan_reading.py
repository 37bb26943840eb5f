"""Reads ``plan.toml`` whole and refuses what cannot be, so that everything after can trust it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from lineproof.errors import PlanError
from lineproof.event.mistakes import find_mistake
from lineproof.event.sections import Section
from lineproof.replacement.assumptions import ASSUMPTIONS, Assumption
from lineproof.replacement.plan import (
    JUDGED_KINDS,
    PLAN_FILE,
    Costs,
    Habits,
    Lay,
    NewItem,
    Plan,
    Stops,
    WeakTags,
)
from lineproof.replacement.plan_lists import to_discounts, to_lines, to_wishes
from lineproof.replacement.plan_sections import PlanSection, limited
from lineproof.vocabulary import ItemKind, PointKind

_TABLES = ("plan", "costs", "weak_tags", "stops", "habits", "new", "wish", "discount", "line")
_READS = ("reads", "reads_low", "reads_high")
TOO_SMALL_INTEREST = 0.3  # per cent: who writes 0.04 means 4 %


def _root(path: Path) -> PlanSection:
    """The whole file; complaints name it as the user does."""
    data, text = _read_toml(path)
    named = type("NamedPlanSection", (PlanSection,), {"file": path.name})
    root: PlanSection = named(data, "the file", text, "")
    return root


def load_plan(path: str | Path, items: Iterable[tuple[str, ItemKind]] | None = None) -> Plan:
    """Read a plan.  ``items`` are the ids and kinds of the ledger; None leaves them unchecked.

    Raises ``PlanError`` with one sentence where the file is missing, is not TOML, asks for what cannot
    be, or names an item that the ledger does not hold.
    """
    root = _root(Path(path))
    root.only(_TABLES)
    assumed: list[str] = []
    head = root.table("plan")
    head.only(("name", "currency", "lay", *ASSUMPTIONS["plan"]))
    numbers = _numbers(head, "plan", assumed)
    if 0 < numbers["interest"] < TOO_SMALL_INTEREST:
        raise head.error(
            f'"interest" is {numbers["interest"]:g} % a season', "write 4 for 4 %, not 0.04", "interest"
        )
    new = _new_items(_own(root, "new"), assumed)
    known = None if items is None else dict(items)
    lay = Lay(head.choice("lay", [word.value for word in Lay], Lay.LAST_SEASON.value))
    lines = to_lines(root, known)
    if lay is Lay.LISTED and not lines:
        raise head.error(
            f'the lay is "{lay}" but no [[line]] is there',
            f'list the lines, or write lay = "{Lay.LAST_SEASON}"',
            "lay",
        )
    wishes = to_wishes(root, new, known)
    return Plan(
        name=head.text("name", "Next season"),
        currency=head.text("currency", "EUR"),
        budget=numbers["budget"],
        interest=numbers["interest"] / 100,
        horizon=int(numbers["horizon"]),
        growth=numbers["growth"] / 100,
        certainty=numbers["certainty"] / 100,
        young_seasons=numbers["young_seasons"],
        lay=lay,
        costs=_costs(_own(root, "costs"), assumed),
        weak_tags=_weak_tags(root.table("weak_tags"), assumed),
        stops=_stops(root.table("stops"), assumed),
        habits=_habits(root.table("habits"), assumed),
        new=new,
        wishes=wishes,
        discounts=to_discounts(root, wishes),
        lines=lines,
        assumed=tuple(assumed),
    )


def _own(root: PlanSection, key: str) -> PlanSection:
    table = root.table(key)
    assert isinstance(table, PlanSection)
    return table


def _read_toml(path: Path) -> tuple[dict[str, Any], str]:
    if path.exists() and not path.is_file() and not path.is_dir():
        raise PlanError("this is no plain file", todo=f"give the {PLAN_FILE}", file=path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (FileNotFoundError, NotADirectoryError):
        raise PlanError(
            f'there is no plan "{path.name}"', todo="run lineproof plan --ledger DIR to draft one"
        ) from None
    except IsADirectoryError:
        raise PlanError(f'"{path.name}" is a folder', todo=f"give the {PLAN_FILE} in it") from None
    except UnicodeDecodeError:
        raise PlanError("the file is not UTF-8 text", todo="save it as UTF-8", file=path) from None
    except OSError as problem:
        raise PlanError(f"the file cannot be opened ({problem.strerror})", file=path) from None
    try:
        return tomllib.loads(text), text
    except (tomllib.TOMLDecodeError, RecursionError) as problem:
        wrong = find_mistake(text, str(problem))
        raise PlanError(wrong.problem, todo=wrong.todo, file=path, row=wrong.row) from None
    except ValueError:  # Python reads no number of so many digits
        raise PlanError("a number has thousands of digits", todo="write it shorter", file=path) from None


def _numbers(section: Section, table: str, assumed: list[str]) -> dict[str, float]:
    """The numbers of one table of assumptions, each inside its limits; defaults are noted in ``assumed``."""
    found = {}
    for name, assumption in ASSUMPTIONS[table].items():
        value = limited(section, name, assumption)
        if value is None:
            assumed.append(f"{table}.{name}")
        found[name] = assumption.value if value is None else value
    return found


def _costs(section: PlanSection, assumed: list[str]) -> dict[PointKind, Costs]:
    """Costs for all kinds of point, changed where ``[costs.finish]`` and the like say so."""
    kinds = [kind.value for kind in PointKind]
    section.only((*ASSUMPTIONS["costs"], *kinds))
    common = _numbers(section, "costs", assumed)
    found = {}
    for kind in PointKind:
        own = section.inner(kind)
        own.only(ASSUMPTIONS["costs"])
        changed = {name: limited(own, name, limits) for name, limits in ASSUMPTIONS["costs"].items()}
        n = {name: common[name] if value is None else value for name, value in changed.items()}
        found[kind] = Costs(
            staff_per_hour=n["staff_per_hour"],
            look_up_minutes=n["look_up_minutes"],
            complaint_share=n["complaint_share"] / 100,
            complaint=n["complaint"],
            refund_share=n["refund_share"] / 100,
            refund=n["refund"],
        )
    return found


def _weak_tags(section: Section, assumed: list[str]) -> WeakTags:
    section.only(ASSUMPTIONS["weak_tags"])
    n = _numbers(section, "weak_tags", assumed)
    return WeakTags(n["share"] / 100, n["reads"] / 100, n["found"] / 100, n["per_tag"])


def _stops(section: Section, assumed: list[str]) -> Stops:
    section.only(ASSUMPTIONS["stops"])
    n = _numbers(section, "stops", assumed)
    return Stops(n["main"] / 100, n["backup"] / 100, n["both"] / 100)


def _habits(section: Section, assumed: list[str]) -> Habits:
    section.only(ASSUMPTIONS["habits"])
    n = _numbers(section, "habits", assumed)
    return Habits(n["close_m"], n["spacing_cures"] / 100, n["spacing_cost"], n["swap_cost"])


def _new_items(section: PlanSection, assumed: list[str]) -> dict[ItemKind, NewItem]:
    section.only([kind.value for kind in JUDGED_KINDS])
    found = {}
    for kind in JUDGED_KINDS:
        table = f"new.{kind}"
        own = section.inner(kind)
        own.only((*ASSUMPTIONS[table], *_READS))
        n = _numbers(own, table, assumed)
        found[kind] = NewItem(
            price=n["price"],
            trade_in=n["trade_in"],
            life=int(n["life"]),
            upkeep=n["upkeep"],
            upkeep_old=n["upkeep_old"],
            loses=n["loses"] / 100,
            wears=n["wears"] / 100,
            repair=n["repair"],
            repair_works=n["repair_works"] / 100,
            rent=n["rent"],
            reads=_stated_reads(own),
        )
    return found


def _stated_reads(section: Section) -> tuple[float, float, float] | None:
    """The stated rate of a new item with its range; all three or none."""
    limits = Assumption(99, "% read in common conditions", "", least=1e-6, most=99.9999)
    values = [limited(section, key, limits) for key in _READS]
    if all(value is None for value in values):
        return None
    best, low, high = values
    if best is None or low is None or high is None:
        raise section.error(
            'a stated rate needs "reads", "reads_low" and "reads_high"', "give all three, or none of them"
        )
    if not low <= best <= high:
        raise section.error(
            f'"reads" is {best:g} % and not between {low:g} and {high:g} %', "order the three", "reads"
        )
    return best / 100, low / 100, high / 100
