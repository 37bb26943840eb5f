"""The purchase case: everything that the report, the spreadsheet and the files tell, worked out once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from lineproof.replacement.choice import Choice
from lineproof.replacement.economics import KeepOrReplace, compare_lives
from lineproof.replacement.evaluation import Weighed, more_money, weigh
from lineproof.replacement.evidence import Evidence, Scans, load_evidence
from lineproof.replacement.origins import Origins, find_origins
from lineproof.replacement.plan import Plan
from lineproof.replacement.plan_reading import load_plan
from lineproof.replacement.sensitivity import Sensitivity, judge_sensitivity

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Case:
    """``more``: the smallest further money that buys a better set, and that set; None where none is better."""

    plan: Plan
    evidence: Evidence
    weighed: Weighed
    origins: Origins
    lives: tuple[KeepOrReplace, ...]
    more: tuple[float, Choice] | None
    sensitivity: Sensitivity

    def told(self, steps: frozenset[int]) -> list[str]:
        """Ids of the wishes of a set, in the order of the list."""
        return [self.plan.wishes[i].id for i in sorted(steps)]


def make_case(plan_path: str | Path, ledger: Scans, progress: Progress = lambda _step: None) -> Case:
    """Read the plan and the ledger and weigh the one by the other.

    Raises ``LineproofError`` with one sentence for the user.
    """
    load_plan(plan_path)  # a plan that cannot be is said at once, before the ledger is worked through
    progress("reading the ledger and fitting the item model")
    evidence = load_evidence(ledger)
    plan = load_plan(plan_path, evidence.known.items())
    return to_case(plan, evidence, progress)


def to_case(plan: Plan, evidence: Evidence, progress: Progress, draws: int | None = None) -> Case:
    """The case of a plan that is read already."""
    progress("weighing the wish list")
    weighed = weigh(plan, evidence, draws)
    progress("asking what the decision hangs on")
    return Case(
        plan,
        evidence,
        weighed,
        find_origins(weighed.counts.season, weighed.counts.rates, evidence.model.kinds),
        compare_lives(plan, weighed.counts),
        more_money(weighed),
        judge_sensitivity(weighed, evidence),
    )
