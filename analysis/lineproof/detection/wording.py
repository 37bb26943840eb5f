"""The words that stand beside a rate: how it was made, and why there is none or what limits it."""

from __future__ import annotations

from dataclasses import dataclass

from lineproof.vocabulary import Evidence, Quantity, Role

NOTHING_LATER = (
    "nothing later than this visit and no two lines that witness for each other: what was missed here "
    "cannot be known"
)

BOTH_OUT = (
    "for minutes on end most of the runners due here were read by neither line, and nothing later proves them: "
    "what was missed cannot be known"
)


@dataclass(frozen=True, slots=True)
class Facts:
    """Counts behind one rate.  ``left_out``: crossings at visits whose misses cannot be known."""

    quantity: Quantity
    role: Role | None
    known: int
    later: int
    seen_by_pair: int
    left_out: int
    dark: int
    unseen: int
    misses: int
    deff: float
    hidden: float
    exact: bool
    estimated: bool

    @property
    def evidence(self) -> Evidence:
        if self.later:
            return Evidence.SEEN_LATER
        return Evidence.SIBLING if self.seen_by_pair and self.estimated else Evidence.NONE


def method_of(facts: Facts) -> str:
    if not facts.estimated:
        return "not counted"
    if facts.quantity is Quantity.ACHIEVED:
        return _achieved(facts)
    return _by_later(facts) if facts.later else _by_pair(facts)


def _achieved(facts: Facts) -> str:
    base = "a count of all crossings that are proven"
    if facts.evidence is Evidence.SIBLING:
        base = "a count of all crossings read by either line"
    how = (
        "as runners of like record were missed"
        if facts.later
        else "by the two lines as witnesses of each other"
    )
    return (
        f"{base}, and {facts.hidden:.2g} more that nothing proves, estimated {how}; the interval covers these"
    )


def _by_later(facts: Facts) -> str:
    interval = "exact binomial interval" if facts.exact else "Wilson interval"
    text = f"of the runners who were read later on the course with a plausible time; {interval}"
    if facts.seen_by_pair:
        text += "; the visit with nothing later by its two lines as witnesses of each other"
    return text + _widened(facts)


def _by_pair(facts: Facts) -> str:
    what = "the share read by either line" if facts.role is None else "the runners whom the other line read"
    return (
        f"{what}, each line witnessing for the other among runners of like record at earlier points; assumes "
        f"that what else makes the two lines miss is unrelated; interval by simulation from the counts{_widened(facts)}"
    )


def _widened(facts: Facts) -> str:
    if facts.deff < 1.05:
        return ""
    return f"; widened, as misses came together {facts.deff:.1f} times as unevenly as by chance"


def reason_of(facts: Facts) -> str | None:
    if not facts.estimated:
        if facts.known or facts.left_out:
            if facts.dark:
                return BOTH_OUT
            return NOTHING_LATER if facts.left_out else "no runner of this group was read later"
        return "no crossing is proven here"
    notes = []
    if facts.left_out:
        notes.append(
            f"{facts.left_out:,} crossings left out at visits with nothing later to prove what was missed"
        )
    if facts.quantity is Quantity.CAPABILITY and facts.later and facts.misses == 0:
        notes.append("no miss, which shows the lower end of the interval and not 100 %")
    if not facts.later and facts.unseen:
        notes.append(f"{facts.unseen:,} runners were last read earlier: they stopped, or crossed unseen")
    return "; ".join(notes) or None
