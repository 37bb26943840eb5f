"""Every number that a plan takes for granted, with its unit, its reason, and how far it may be off.

A draft writes them out and marks each ASSUMPTION; a plan that leaves one out uses the value here and
says so.  ``low`` and ``high`` are how far the sensitivity table moves the number, as factors of it.
Prices are placeholders of ours without a source: nobody else's quote is right for a crew.
"""

from __future__ import annotations

from dataclasses import dataclass

COMMON_PRACTICE = "common practice"
PLACEHOLDER = "placeholder of ours, no source: put your own figure here"


@dataclass(frozen=True, slots=True)
class Assumption:
    """``most`` is the largest value that a plan may state, in ``unit``; ``least`` the smallest."""

    value: float
    unit: str
    reason: str
    source: str = COMMON_PRACTICE
    low: float = 0.5
    high: float = 2.0
    least: float = 0.0
    most: float = 1e9
    whole: bool = False


PER_CENT = "%"
MONEY = "money"

_PLAN = {
    "budget": Assumption(1000, MONEY, "what may be spent on equipment this winter", PLACEHOLDER),
    "interest": Assumption(
        4, "% a season", "what the money would earn, or cost to borrow, elsewhere", PLACEHOLDER, most=100
    ),
    "horizon": Assumption(
        5, "seasons", "how far ahead the case looks; nobody knows the races of later seasons",
        low=0.6, high=1.6, least=1, most=30, whole=True,
    ),
    "growth": Assumption(0, "% more runners", "next season as last season", least=-95, most=1000),
    "certainty": Assumption(
        80, PER_CENT, "the chance of saving money that a purchase is asked to have", PLACEHOLDER, most=100
    ),
    "young_seasons": Assumption(
        2, "seasons", "an item bought within this time before the last event is young", least=0.1, most=50
    ),
}  # fmt: skip

_COSTS = {
    "staff_per_hour": Assumption(20, "money an hour", "whoever looks runners up on the camera", PLACEHOLDER),
    "look_up_minutes": Assumption(
        6, "minutes", "to find one runner on the camera and enter the time", most=600
    ),
    "complaint_share": Assumption(
        10, "% of unread", "runners without a time who write to the office", PLACEHOLDER, most=100
    ),
    "complaint": Assumption(15, MONEY, "to answer one complaint, in office time", PLACEHOLDER),
    "refund_share": Assumption(
        1, "% of unread", "runners without a time who get money back", PLACEHOLDER, most=100
    ),
    "refund": Assumption(40, MONEY, "one refund or free entry", PLACEHOLDER),
}

_WEAK_TAGS = {
    "share": Assumption(
        0.15, "% of tags", "tags that are bent, badly worn or worn out, on a usual day", low=0.3, high=4, most=50
    ),
    "reads": Assumption(
        60, PER_CENT, "what a line reads a weak tag at, where it reads good tags at 99 %",
        low=0.8, high=1.3, least=1, most=98,
    ),
    "found": Assumption(50, "% of weak tags", "that the season's tag lists find, so that they can be retired", most=100),
    "per_tag": Assumption(1, MONEY, "to find, throw away and replace one tag", PLACEHOLDER),
}  # fmt: skip

_STOPS = {
    "main": Assumption(0.2, "% of crossings", "that come while the main line does not work", most=100),
    "backup": Assumption(0.2, "% of crossings", "that come while the backup line does not work", most=100),
    "both": Assumption(
        0.01, "% of crossings", "that come while both lines are out at once (shared power, laid late, lifted early)", most=100,
    ),
}  # fmt: skip

_HABITS = {
    "close_m": Assumption(
        2.5, "m", "lines nearer to each other than this disturb each other; about 3 m is usual", most=50
    ),
    "spacing_cures": Assumption(
        20, "% of their misses", "that lines laid too close lose when laid about 3 m apart", most=99
    ),
    "spacing_cost": Assumption(0, "money a season", "laying lines at the right distance takes no longer"),
    "swap_cost": Assumption(0, "money a season", "laying the worst items where fewest cross takes no longer"),
}

_NEW = {
    "trade_in": "what the old item fetches", "life": "seasons until a new one is worn out",
    "upkeep": "tests, cleaning and small repairs of a new one", "upkeep_old": "the same for an old one",
    "loses": "of its worth, lost each season", "wears": "more misses each season of use",
    "repair": "one repair", "repair_works": "chance that a repaired item reads like a new one again",
    "rent": "renting one for the season, due at its start", "price": "a new one",
}  # fmt: skip
_UNITS = {
    "trade_in": MONEY, "life": "seasons", "upkeep": "money a season", "upkeep_old": "money a season",
    "loses": "% a season", "wears": "% a season", "repair": MONEY, "repair_works": PER_CENT,
    "rent": "money a season", "price": MONEY,
}  # fmt: skip
_BY_KIND = {
    "mat": {"price": 400, "trade_in": 20, "life": 8, "upkeep": 5, "upkeep_old": 5, "loses": 25, "wears": 5, "repair": 60, "repair_works": 60, "rent": 60},
    "cable": {"price": 45, "trade_in": 0, "life": 4, "upkeep": 1, "upkeep_old": 1, "loses": 60, "wears": 10, "repair": 12, "repair_works": 60, "rent": 8},
    "reader": {"price": 2500, "trade_in": 150, "life": 8, "upkeep": 30, "upkeep_old": 30, "loses": 25, "wears": 2, "repair": 250, "repair_works": 60, "rent": 300},
}  # fmt: skip


def _of_kind(kind: str) -> dict[str, Assumption]:
    found = {}
    for name, value in _BY_KIND[kind].items():
        per_cent = _UNITS[name].startswith("%")
        found[name] = Assumption(
            float(value), _UNITS[name], _NEW[name], PLACEHOLDER,
            least=1.0 if name == "life" else 0.0, most=100.0 if per_cent else 200.0 if name == "life" else 1e9,
            whole=name == "life",
        )  # fmt: skip
    return found


ASSUMPTIONS: dict[str, dict[str, Assumption]] = {
    "plan": _PLAN,
    "costs": _COSTS,
    "weak_tags": _WEAK_TAGS,
    "stops": _STOPS,
    "habits": _HABITS,
    **{f"new.{kind}": _of_kind(kind) for kind in _BY_KIND},
}
