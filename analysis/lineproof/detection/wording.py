"""The words that stand beside a rate: how it was made, and why there is none or what limits it."""

from __future__ import annotations

from dataclasses import dataclass

from lineproof.vocabulary import Evidence, Quantity, Role

NOTHING_LATER = (
    "nothing later than this visit and no two lines that witness for each other: what was missed here "
    "cannot be known"
)

SMALLEST, MANY = 0.05, 9.95  # expected crossings: below, none is shown in figures; above, no tenths

BOTH_OUT = (
    "for minutes on end most of the runners due here were read by neither line, and nothing later proves them: "
    "what was missed cannot be known"
)


@dataclass(frozen=True, slots=True)
class Facts:
    """Counts behind one rate.  ``left_out``: crossings at visits whose misses cannot be known.

    ``settled``: of ``later`` those at visits where the camera settled everybody; ``camera``: found by it.
    ``by_runner``: each runner of whom it is open was asked by the runner's own record.
    """

    quantity: Quantity
    role: Role | None
    known: int
    later: int
    settled: int
    camera: int
    seen_by_pair: int
    left_out: int
    dark: int
    unseen: int
    misses: int
    deff: float
    hidden: float
    by_runner: bool
    exact: bool
    estimated: bool

    @property
    def evidence(self) -> Evidence:
        if self.later:
            return Evidence.CAMERA if self.settled == self.later else Evidence.SEEN_LATER
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
    how = "by the two lines as witnesses of each other"
    if facts.later:
        how = (
            "as runners of like record were missed" if facts.by_runner else "as those read later were missed"
        )
    return f"{base}, and {_few(facts.hidden)} more that nothing proves, estimated {how}; the interval covers these"


def _few(number: float) -> str:
    """An expected number as exact as it deserves: ``0``, ``under 0.1``, ``2.3``, ``31``."""
    if 0 < number < SMALLEST:
        return "under 0.1"
    return f"{number:.1f}" if 0 < number < MANY else f"{number:,.0f}"


def _by_later(facts: Facts) -> str:
    interval = "exact binomial interval" if facts.exact else "Wilson interval"
    what = "of the runners who were read later on the course with a plausible time"
    if facts.settled:
        what = "of all runners who crossed, as the camera settled everybody of whom it was open"
        if facts.settled < facts.later:
            what = "of the runners who were read later or whom the camera settled"
    text = f"{what}; {interval}"
    if facts.seen_by_pair:
        text += "; the visit with nothing later by its two lines as witnesses of each other"
    return text + _widened(facts)


def _by_pair(facts: Facts) -> str:
    what = "the share read by either line" if facts.role is None else "the runners whom the other line read"
    among = "among runners of like record at earlier points; assumes that what else makes the two lines miss is unrelated"
    if not facts.by_runner:
        among = "among all runners of the group; assumes that the two lines' misses are unrelated, which errs on the hopeful side"
    return f"{what}, each line witnessing for the other {among}; interval by simulation from the counts{_widened(facts)}"


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
    if not facts.later and facts.camera:
        shows = f"the camera shows {facts.camera:,} whom neither line read"
        if facts.quantity is Quantity.CAPABILITY:
            shows += "; they count here once every look-up of the point is settled"
        notes.append(shows)
    if not facts.later and facts.unseen:
        notes.append(f"{facts.unseen:,} runners were last read earlier: they stopped, or crossed unseen")
    return "; ".join(notes) or None
