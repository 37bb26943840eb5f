"""Whether the morning's work is ready: every rule at every line, as go, look again or not recorded."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from lineproof.event import Event
from lineproof.setup.laid import LaidLine, to_laid_lines
from lineproof.setup.loading import Setup
from lineproof.setup.rules import RULES, Rule, Seen, State


@dataclass(frozen=True, slots=True)
class Verdict:
    """One rule at one line (or at a point's pair of lines); ``point`` is the name of the timing point."""

    rule: Rule
    point: str
    place: str
    seen: Seen

    @property
    def state(self) -> State:
        return self.seen.state


@dataclass(frozen=True, slots=True)
class Readiness:
    """``verdicts`` in the order of the rules and the plan; ``complaints`` are sentences about the record."""

    event: Event
    verdicts: tuple[Verdict, ...]
    complaints: tuple[str, ...]
    has_record: bool

    def count(self, state: State) -> int:
        return Counter(verdict.state for verdict in self.verdicts)[state]

    def of(self, state: State) -> tuple[Verdict, ...]:
        return tuple(verdict for verdict in self.verdicts if verdict.state is state)

    @property
    def all_go(self) -> bool:
        return self.has_record and not self.complaints and all(v.state is State.GO for v in self.verdicts)


def run_rules(event: Event, setup: Setup) -> Readiness:
    """Hold the record against every rule.  What was not recorded is said so, and never taken for done."""
    lines = to_laid_lines(event, setup)
    by_point = {point.id: _of_point(lines, event, point.id) for point in event.points}
    verdicts = [
        Verdict(rule, line.point.name, _place(line, rule), seen)
        for rule in RULES
        for line in lines
        if (seen := rule.judge(line, by_point[line.line.point])) is not None
    ]
    return Readiness(event, tuple(verdicts), tuple(setup.complaints["sentence"]), bool(setup.sources))


def _of_point(lines: tuple[LaidLine, ...], event: Event, point: str) -> tuple[LaidLine, ...]:
    by_id = {line.line.id: line for line in lines}
    return tuple(by_id[line.id] for line in event.lines_at(point))


def _place(line: LaidLine, rule: Rule) -> str:
    return line.point.name if rule.name in ("distance of lines", "main and backup") else line.line.id
