"""The lists of a plan: the wishes, the quantity discounts, and the lines where the plan lists them."""

from __future__ import annotations

from collections.abc import Sequence

from lineproof.event.sections import Section, refuse_twice, sections_of, suggest
from lineproof.replacement.assumptions import ASSUMPTIONS, Assumption
from lineproof.replacement.plan import JUDGED_KINDS, Discount, ListedLine, NewItem, Step, Wish
from lineproof.replacement.plan_sections import PlanSection, limited, words_of
from lineproof.vocabulary import ItemKind, PointKind, Role


def to_wishes(
    root: PlanSection, new: dict[ItemKind, NewItem], known: dict[str, ItemKind] | None
) -> tuple[Wish, ...]:
    wishes = tuple(_wish(section, new, known) for section in sections_of(root.whole, root, "wish"))
    refuse_twice((wish.id for wish in wishes), "the wish", root)
    ids = {wish.id for wish in wishes}
    for section, wish in zip(sections_of(root.whole, root, "wish"), wishes, strict=True):
        for need in wish.needs:
            if need not in ids or need == wish.id:
                raise section.error(
                    f'"needs" names the wish "{need}", which is not another one of the list',
                    suggest(need, ids - {wish.id}) or "add it as [[wish]], or leave it out",
                    "needs",
                )
    return wishes


def _wish(section: Section, new: dict[ItemKind, NewItem], known: dict[str, ItemKind] | None) -> Wish:
    section.only(("id", "do", "kind", "item", "price", "trade_in", "life", "needs", "group"))
    step = Step(section.choice("do", [word.value for word in Step]))
    item = section.optional_text("item")
    if (item is None) != (step is Step.SPARE):
        raise section.error(
            f'a wish to {step} needs "item"' if item is None else 'a spare replaces no "item"',
            "name the item of the ledger" if item is None else 'leave it out, or write do = "replace"',
            "item",
        )
    kind = _kind_of(section, item, known)
    usual = new[kind]
    table = ASSUMPTIONS[f"new.{kind}"]
    price = {Step.REPAIR: usual.repair, Step.RENT: usual.rent}.get(step, usual.price)
    stated = {name: limited(section, name, table[name]) for name in ("price", "trade_in", "life")}
    return Wish(
        id=section.text("id"),
        step=step,
        kind=kind,
        item=item,
        price=price if stated["price"] is None else stated["price"],
        trade_in=usual.trade_in if stated["trade_in"] is None else stated["trade_in"],
        life=usual.life if stated["life"] is None else int(stated["life"]),
        needs=words_of(section, "needs"),
        group=section.optional_text("group"),
    )


def _kind_of(section: Section, item: str | None, known: dict[str, ItemKind] | None) -> ItemKind:
    words = [kind.value for kind in JUDGED_KINDS]
    if item is None or known is None:
        return ItemKind(section.choice("kind", words, ItemKind.MAT.value))
    _require_item(section, item, known, "item")
    kind = ItemKind(section.choice("kind", words, known[item].value))
    if kind is not known[item]:
        raise section.error(
            f'"{item}" is a {known[item]} by the ledger, not a {kind}', "leave the kind out", "kind"
        )
    return kind


def _require_item(section: Section, item: str, known: dict[str, ItemKind], key: str) -> None:
    """Raise where the ledger does not hold ``item``."""
    if item not in known:
        raise section.error(
            f'the ledger holds no item "{item}"',
            suggest(item, known) or "write it as on the item, or leave it out: nothing is known of it",
            key,
        )


def to_discounts(root: PlanSection, wishes: Sequence[Wish]) -> tuple[Discount, ...]:
    groups = {wish.group for wish in wishes if wish.group is not None}
    found = []
    for section in sections_of(root.whole, root, "discount"):
        section.only(("group", "from", "per_cent"))
        group = section.text("group")
        if group not in groups:
            raise section.error(
                f'no wish has the group "{group}"',
                suggest(group, groups) or f'write group = "{group}" in the wishes that it is for',
                "group",
            )
        least = limited(section, "from", Assumption(2, "pieces", "", least=1, most=10_000, whole=True))
        share = limited(section, "per_cent", Assumption(5, "% off", "", most=100))
        if least is None or share is None:
            raise section.error('a discount needs "from" and "per_cent"', "write from = 3 and per_cent = 5")
        found.append(Discount(group, int(least), share / 100))
    return tuple(found)


def to_lines(root: PlanSection, known: dict[str, ItemKind] | None) -> tuple[ListedLine, ...]:
    lines = []
    for section in sections_of(root.whole, root, "line"):
        section.only(("event", "point", "kind", "role", "mats", "cables", "reader", "spacing_m", "crossings"))
        mats, cables = words_of(section, "mats"), words_of(section, "cables")
        if not mats:
            raise section.error(
                'a line needs "mats"', 'write mats = ["…", "…"] from the near side to the far side'
            )
        if cables and len(cables) != len(mats):
            raise section.error(
                f"{len(mats)} mats but {len(cables)} cables", "give one cable for each mat, or none", "cables"
            )
        twice = sorted({m for m in mats if mats.count(m) > 1})
        if twice:
            raise section.error(f'the mat "{twice[0]}" lies twice in one line', "a mat lies once", "mats")
        reader = section.optional_text("reader")
        for key, words in (("mats", mats), ("cables", cables), ("reader", [reader] if reader else [])):
            for item in words if known is not None else ():
                _require_item(section, item, known or {}, key)
        crossings = limited(section, "crossings", Assumption(0, "runners over the line", "", most=1e7))
        if crossings is None:
            raise section.error(
                '"crossings" is missing', "write how many runners cross the line at the event"
            )
        lines.append(
            ListedLine(
                event=section.text("event"),
                point=section.text("point"),
                kind=PointKind(section.choice("kind", [k.value for k in PointKind])),
                role=section.choice("role", [r.value for r in Role]),
                mats=mats,
                cables=cables,
                reader=reader,
                spacing_m=limited(section, "spacing_m", Assumption(3, "m", "", most=1000)),
                crossings=crossings,
            )
        )
    return _each_line_once(root, lines)


def _each_line_once(root: Section, lines: list[ListedLine]) -> tuple[ListedLine, ...]:
    places = [(line.event, line.point, line.role) for line in lines]
    for place in places:
        if places.count(place) > 1:
            raise root.error(
                f"the {place[2]} line of {place[1]} at {place[0]} is listed twice", "keep one of the two"
            )
    for event, point, role in places:
        if role == Role.BACKUP and (event, point, Role.MAIN.value) not in places:
            raise root.error(
                f"{point} at {event} has a backup line but no main line", "list its main line too"
            )
    return tuple(lines)
