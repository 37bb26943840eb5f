"""The plan for next season: what it says, in one frozen object; shares as fractions, times in seasons.

``plan.toml`` is the user's file (``plan_reading.py`` reads it, ``plan_writing.py`` drafts it); this is
what the rest of the case works with.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from lineproof.vocabulary import ItemKind, PointKind

PLAN_FILE = "plan.toml"
# Kinds of item whose part in the misses the season can tell, and a plan may therefore replace.
JUDGED_KINDS = (ItemKind.MAT, ItemKind.CABLE, ItemKind.READER)


class Step(StrEnum):
    """What one may do about an item."""

    REPLACE = "replace"
    REPAIR = "repair"
    RENT = "rent"
    SPARE = "spare"  # bought because another step needs it; reads nothing by itself


class Lay(StrEnum):
    """Where the items will lie."""

    LAST_SEASON = "as last season"
    LISTED = "as listed"


@dataclass(frozen=True, slots=True)
class Costs:
    """What a crossing that no line read costs; shares are of such crossings."""

    staff_per_hour: float
    look_up_minutes: float
    complaint_share: float
    complaint: float
    refund_share: float
    refund: float

    @property
    def per_unseen(self) -> float:
        """Money for one crossing that no line read."""
        staff = self.staff_per_hour * self.look_up_minutes / 60
        return staff + self.complaint_share * self.complaint + self.refund_share * self.refund


@dataclass(frozen=True, slots=True)
class NewItem:
    """A new item of one kind.

    ``reads`` (share read in common conditions, with its 95 % range) is None where a new item is taken
    to read as the young items of the ledger do.  ``loses`` is the share of its worth lost each season,
    ``wears`` the growth of its misses each season.
    """

    price: float
    trade_in: float
    life: int
    upkeep: float
    upkeep_old: float
    loses: float
    wears: float
    repair: float
    repair_works: float
    rent: float
    reads: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True)
class WeakTags:
    """Tags that are hard to read: their share, and what a weak one is read at where good ones are at 99 %."""

    share: float
    reads: float
    found: float
    per_tag: float


@dataclass(frozen=True, slots=True)
class Stops:
    """Share of the crossings that come while a line does not work: main, backup, and both at once."""

    main: float
    backup: float
    both: float


@dataclass(frozen=True, slots=True)
class Habits:
    """What better habits would do and cost a season; ``spacing_cures`` is a share of the misses of close lines."""

    close_m: float
    spacing_cures: float
    spacing_cost: float
    swap_cost: float


@dataclass(frozen=True, slots=True)
class Wish:
    """One step on the wish list.  ``needs`` are ids of wishes of which one at least must go with it."""

    id: str
    step: Step
    kind: ItemKind
    item: str | None
    price: float
    trade_in: float
    life: int
    needs: tuple[str, ...]
    group: str | None


@dataclass(frozen=True, slots=True)
class Discount:
    """``share`` off all of a group once ``least`` of its wishes are bought."""

    group: str
    least: int
    share: float


@dataclass(frozen=True, slots=True)
class ListedLine:
    """One line of an event as the plan lists it: its items from the near side to the far side."""

    event: str
    point: str
    kind: PointKind
    role: str
    mats: tuple[str, ...]
    cables: tuple[str, ...]
    reader: str | None
    spacing_m: float | None
    crossings: float


@dataclass(frozen=True, slots=True)
class Plan:
    """The whole plan.  ``certainty`` is the chance of saving money that a purchase is asked to have."""

    name: str
    currency: str
    budget: float
    interest: float
    horizon: int
    growth: float
    certainty: float
    young_seasons: float
    lay: Lay
    costs: Mapping[PointKind, Costs]
    weak_tags: WeakTags
    stops: Stops
    habits: Habits
    new: Mapping[ItemKind, NewItem]
    wishes: tuple[Wish, ...]
    discounts: tuple[Discount, ...]
    lines: tuple[ListedLine, ...]
    assumed: tuple[str, ...] = ()
