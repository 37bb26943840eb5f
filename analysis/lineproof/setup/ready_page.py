"""The readiness of the morning for a terminal, a phone and a printer."""

from __future__ import annotations

from collections.abc import Iterator

from lineproof.event import Event
from lineproof.setup.page_templates import CAUTIONS, fill_page
from lineproof.setup.readiness import Readiness, Verdict
from lineproof.setup.rules import RULES, Rule, State
from lineproof.vocabulary import SETTINGS
from lineproof.wording import HARD_SPACE, say_count, say_list

NO_RECORD = (
    "There is no set-up record in the event folder, so nothing can be go. "
    "Make one with lineproof sheet, fill it in, and look again."
)


def say_readiness(readiness: Readiness) -> list[str]:
    """The list for the terminal: what to look at first, then what was not recorded, then the count."""
    lines = [] if readiness.has_record else [NO_RECORD]
    if readiness.has_record:
        lines += [
            f"look again: {verdict.place}: {verdict.rule.name}: {verdict.seen.facts}. {verdict.rule.todo}"
            for verdict in readiness.of(State.LOOK)
        ]
        lines += [
            f"not recorded: {rule.name}: {facts} ({say_list(places, 4)})"
            for rule, facts, places in _by_rule(readiness.of(State.UNKNOWN))
        ]
        lines += [f"in the record: {sentence}" for sentence in readiness.complaints]
    lines.append(say_count_of(readiness))
    return lines


def say_count_of(readiness: Readiness) -> str:
    """One sentence with the three counts."""
    if readiness.all_go:
        return f"all {readiness.count(State.GO)} answers are go"
    parts = [
        f"{readiness.count(State.LOOK)} to look at again",
        f"{readiness.count(State.UNKNOWN)} not recorded",
        f"{readiness.count(State.GO)} go",
    ]
    if readiness.complaints:
        parts.append(f"{say_count(len(readiness.complaints), 'entry', 'entries')} of the record to put right")
    return ", ".join(parts).replace(HARD_SPACE, " ")


def render_ready(readiness: Readiness) -> str:
    """The page, whole in one file: 380 px wide or more, and on paper."""
    event = readiness.event
    return fill_page(
        "ready.html.j2",
        event=event.name,
        day=f"{event.date:%A} {event.date.day} {event.date:%B %Y}",
        summary=say_count_of(readiness),
        all_go=readiness.all_go,
        no_record=None if readiness.has_record else NO_RECORD,
        points=list(_by_point(readiness)),
        unknown=[
            {"asks": rule.question(event), "facts": facts, "places": say_list(places, 12)}
            for rule, facts, places in _by_rule(readiness.of(State.UNKNOWN))
        ],
        complaints=readiness.complaints,
        go=list(_go(readiness)),
        limits=list(_limits(readiness)),
        cautions=CAUTIONS,
    )


def _by_rule(verdicts: tuple[Verdict, ...]) -> Iterator[tuple[Rule, str, list[str]]]:
    """Verdicts of one rule with the same facts together: the rule, the facts, the places."""
    together: dict[tuple[str, str], tuple[Rule, list[str]]] = {}
    for verdict in verdicts:
        _, places = together.setdefault((verdict.rule.name, verdict.seen.facts), (verdict.rule, []))
        places.append(verdict.place)
    for (_, facts), (rule, places) in together.items():
        yield rule, facts, places


def _by_point(readiness: Readiness) -> Iterator[dict[str, object]]:
    """What to look at again, in the order in which a crew drives the course."""
    explained: set[str] = set()
    for name in dict.fromkeys(point.name for point in readiness.event.points):
        items = [_item(v, explained, readiness.event) for v in readiness.of(State.LOOK) if v.point == name]
        if items:
            yield {"name": name, "items": items}


def _item(verdict: Verdict, explained: set[str], event: Event) -> dict[str, object]:
    """One box to tick; the reason of a rule is given the first time only."""
    rule = verdict.rule
    reason = "" if rule.name in explained else rule.reason
    explained.add(rule.name)
    return {
        "place": "both lines" if verdict.place == verdict.point else verdict.place,
        "asks": rule.question(event),
        "facts": verdict.seen.facts,
        "reason": reason,
        "todo": rule.todo,
    }


def _go(readiness: Readiness) -> Iterator[dict[str, object]]:
    for rule in RULES:
        mine = [verdict for verdict in readiness.verdicts if verdict.rule.name == rule.name]
        if mine:
            go = sum(verdict.state is State.GO for verdict in mine)
            yield {"asks": rule.question(readiness.event), "go": go, "all": len(mine)}


def _limits(readiness: Readiness) -> Iterator[str]:
    for name in dict.fromkeys(name for rule in RULES for name in rule.settings):
        value, setting = readiness.event.setting(name), SETTINGS[name]
        yield f"{name} = {value:g} {setting.unit}: {setting.reason}"
