"""The register of the demo crew's equipment: what was bought when, for how much, and mended.  All invented.

It shows what a crew knows: bought, price, repairs; nothing of the true state that the simulation gave an item.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import polars as pl

from lineproof.simulate.equipment import CABLES, MATS, PORTS, POWER_UNITS, READERS
from lineproof.vocabulary import ItemKind

# Years in which the crew bought, the same kinds in lots; prices in the crew's currency.
_LOTS: dict[ItemKind, tuple[tuple[int, float], ...]] = {
    ItemKind.MAT: ((2017, 195), (2019, 210), (2022, 238), (2024, 255)),
    ItemKind.CABLE: ((2017, 31), (2020, 34), (2023, 39)),
    ItemKind.READER: ((2018, 2890), (2021, 3120), (2024, 3350)),
    ItemKind.ANTENNA: ((2021, 140),),
    ItemKind.POWER_UNIT: ((2019, 265), (2023, 310)),
}
_REPAIRS = {
    "M17": "2023-09-30 joint opened and sealed; 2025-03-02 new connector",
    "M31": "2024-10-12 connector flap replaced",
    "M44": "2022-05-28 surface patched",
    "C09": "2024-08-19 plug shortened by 10 cm",
    "R05": "2025-01-22 clock battery replaced",
}
_RETIRED = {"M65": dt.date(2025, 11, 3), "C73": dt.date(2025, 6, 14)}
_CABLE_M = (10.0, 10.0, 12.0, 15.0)
_HEADERS = {
    "item": "Item",
    "kind": "Kind",
    "model": "Model",
    "bought": "Bought",
    "price": "Price",
    "repairs": "Repairs",
    "retired": "Retired",
    "length_m": "Length (m)",
    "ports": "Ports",
    "notes": "Notes",
}


def write_register(path: Path, rng: np.random.Generator) -> None:
    """Write ``equipment.csv``; items that lie in the van only are in it, too."""
    rows = [
        _row(item, kind, place, len(items), rng)
        for kind, items in _items().items()
        for place, item in enumerate(items)
    ]
    pl.DataFrame(rows, infer_schema_length=None).rename(_HEADERS).write_csv(path)


def _items() -> dict[ItemKind, tuple[str, ...]]:
    return {
        ItemKind.MAT: (*MATS, "M65"),
        ItemKind.CABLE: (*CABLES, "C73"),
        ItemKind.READER: READERS,
        ItemKind.ANTENNA: ("A01", "A02"),
        ItemKind.POWER_UNIT: POWER_UNITS,
    }


def _row(item: str, kind: ItemKind, place: int, count: int, rng: np.random.Generator) -> dict[str, object]:
    lots = _LOTS[kind]
    year, price = lots[place * len(lots) // count]
    day = dt.date(year, 1, 1) + dt.timedelta(days=int(rng.integers(20, 330)))
    lengths = {ItemKind.MAT: 1.0, ItemKind.CABLE: _CABLE_M[place % len(_CABLE_M)]}
    return {
        "item": item,
        "kind": kind.value,
        "model": f"{kind.value}, lot of {year}",
        "bought": day,
        "price": price,
        "repairs": _REPAIRS.get(item),
        "retired": _RETIRED.get(item),
        "length_m": lengths.get(kind),
        "ports": PORTS if kind is ItemKind.READER else None,
        "notes": "spare, for narrow gates" if kind is ItemKind.ANTENNA else None,
    }
