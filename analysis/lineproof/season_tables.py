"""The contracts of the season: what one event leaves in the ledger, and what is said of an item."""

from __future__ import annotations

import polars as pl

from lineproof.contracts import Column, Table
from lineproof.setup_tables import SMALL, YES_NO
from lineproof.tables import COUNT, FLOAT, INSTANT, TEXT
from lineproof.vocabulary import ItemKind, Role

CELLS = Table(
    "cells",
    "one line, or one slot of a line, at one event: who tried, who was missed, and what lay there",
    ("event", "line", "slot"),
    {
        "event": Column(TEXT, "event id"),
        "date": Column(pl.Date(), "day of the event"),
        "point": Column(TEXT, "timing point id"),
        "kind": Column(TEXT, "kind of point: start, split, finish"),
        "line": Column(TEXT, "line id"),
        "role": Column(pl.Enum([role.value for role in Role]), "main or backup"),
        "slot": Column(SMALL, "place across the road, 1 at the near side; 0: the whole line"),
        "mat": Column(TEXT, "mat id; null: not recorded, or the whole line", nullable=True),
        "cable": Column(TEXT, "cable id", nullable=True),
        "reader": Column(TEXT, "reader id", nullable=True),
        "tried": Column(FLOAT, "crossings proven without this line (of a slot: estimated)"),
        "missed": Column(FLOAT, "of these, not read (of a slot: estimated)"),
        "tried_at_work": Column(FLOAT, "tried, without the line's interruptions"),
        "missed_at_work": Column(FLOAT, "missed, without the line's interruptions"),
        "flow": Column(FLOAT, "median runners per minute at the point", nullable=True),
        "weather": Column(TEXT, "weather, by the record", nullable=True),
        "surface": Column(TEXT, "surface, by the record", nullable=True),
        "spacing_m": Column(FLOAT, "to the other line, m", nullable=True),
        "covers": Column(YES_NO, "mats taped or covered", nullable=True),
        "hand_ceiling_cm": Column(FLOAT, "greatest height of the hand test, cm", nullable=True),
        "crew_minutes": Column(FLOAT, "crew minutes on the line", nullable=True),
        "two_tags": Column(YES_NO, "runners carried two tags", nullable=True),
        "laid": Column(INSTANT, "laid and tested", nullable=True),
    },
)

ITEM_RATES = Table(
    "item rates",
    "one item over the season: the rate it would reach in common conditions, and whether it changes",
    ("item",),
    {
        "item": Column(TEXT, "item id"),
        "kind": Column(pl.Enum([kind.value for kind in ItemKind]), "what it is"),
        "events": Column(COUNT, "events at which it lay"),
        "tried": Column(FLOAT, "crossings it was tried on"),
        "missed": Column(FLOAT, "of these, missed"),
        "effect": Column(FLOAT, "its own part of the logit of a miss; above 0 is worse", nullable=True),
        "effect_sd": Column(FLOAT, "its standard deviation, given the season", nullable=True),
        "rate": Column(FLOAT, "share read in common conditions, shrunken", nullable=True),
        "rate_low": Column(FLOAT, "its lower end (95 %)", nullable=True),
        "rate_high": Column(FLOAT, "its upper end", nullable=True),
        "among_worst": Column(FLOAT, "chance of being among the worst few of its kind", nullable=True),
        "trend": Column(FLOAT, "change of the logit of a miss per event used", nullable=True),
        "trend_sd": Column(FLOAT, "its standard deviation", nullable=True),
        "verdict": Column(
            pl.Enum(["sound", "watch", "test", "repair or retire", "cannot tell"]), "what to do"
        ),
        "bound_to": Column(TEXT, "places or items it cannot be told apart from", nullable=True),
        "reason": Column(TEXT, "why there is no number, or what limits it", nullable=True),
    },
)
