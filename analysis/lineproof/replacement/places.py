"""Where the items will lie: places of mats next season, and the stretches of road that two lines share.

"As last season" takes the season's cells as they stand; a listed plan gives its own lines, which then meet the
usual conditions of their role and kind of point.  A runner crosses both lines of a point at about the same
lateral place, so a main and a backup mat share the runners of the part of the road that both span.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import polars as pl

from lineproof.contracts import Column, Table
from lineproof.replacement.plan import ListedLine
from lineproof.replacement.store import KINDS, Floats, Places
from lineproof.setup_tables import SMALL
from lineproof.tables import FLOAT, TEXT
from lineproof.vocabulary import ItemKind, PointKind, Role

ITEM_COLUMNS = (ItemKind.MAT.value, ItemKind.CABLE.value, ItemKind.READER.value)

LAID = Table(
    "laid next season",
    "one place of a mat (or a whole line whose mats are not known) at one event of the plan",
    ("event", "point", "role", "slot"),
    {
        "event": Column(TEXT, "event id"),
        "point": Column(TEXT, "timing point id"),
        "kind": Column(pl.Enum([kind.value for kind in PointKind]), "start, split or finish"),
        "role": Column(pl.Enum([role.value for role in Role]), "main or backup"),
        "slot": Column(SMALL, "place across the road, 1 at the near side; 0: the whole line"),
        "mat": Column(TEXT, "mat id", nullable=True),
        "cable": Column(TEXT, "cable id", nullable=True),
        "reader": Column(TEXT, "reader id", nullable=True),
        "share": Column(FLOAT, "of the line's crossings"),
        "crossings": Column(FLOAT, "of the point at the event"),
        "spacing_m": Column(FLOAT, "to the other line, m", nullable=True),
        "rest": Column(FLOAT, "logit of a miss there without the items' own parts"),
    },
)


def to_last_season(cells: pl.DataFrame, visits: pl.DataFrame) -> pl.DataFrame:
    """LAID as last season.  ``cells``: CELLS that count, with ``rest``; ``visits``: VISITS, for the crossings.

    Where no visit tells of a point, its crossings are the most that any of its lines was tried on.
    """
    line_tried = pl.col("tried_at_work").sum().over("event", "line")
    told = (
        visits.filter(pl.col("read").is_not_null())
        .group_by("event", "point")
        .agg((pl.col("read") + pl.col("missed").fill_null(0)).sum().cast(FLOAT).alias("told"))
    )
    rows = (
        cells.with_columns(share=pl.col("tried_at_work") / line_tried, line_tried=line_tried)
        .join(told, on=["event", "point"], how="left", validate="m:1")
        .with_columns(crossings=pl.coalesce("told", pl.col("line_tried").max().over("event", "point")))
    )
    return LAID.conform(rows).sort(LAID.key)


def to_listed(lines: tuple[ListedLine, ...], cells: pl.DataFrame) -> pl.DataFrame:
    """LAID as the plan lists it; ``cells`` as for ``to_last_season``.

    A line meets the season's usual conditions of its role and kind of point; without such lines, of its role.
    """
    usual = _usual(cells)
    rows = [
        {
            "event": line.event,
            "point": line.point,
            "kind": line.kind.value,
            "role": line.role,
            "slot": slot,
            "mat": mat,
            "cable": line.cables[slot - 1] if line.cables else None,
            "reader": line.reader,
            "share": 1 / len(line.mats),
            "crossings": line.crossings,
            "spacing_m": line.spacing_m,
            "rest": usual.get((line.role, line.kind.value), usual.get((line.role, None), usual[None, None])),
        }
        for line in lines
        for slot, mat in enumerate(line.mats, start=1)
    ]
    return LAID.conform(pl.DataFrame(rows, infer_schema_length=None)).sort(LAID.key)


def _usual(cells: pl.DataFrame) -> dict[tuple[str | None, str | None], float]:
    """Logit of the mean chance of ``rest`` by role and kind, by role, and of all, each cell as often as it was tried."""
    chance = 1 / (1 + (-pl.col("rest")).exp())
    mean = (chance * pl.col("tried_at_work")).sum() / pl.col("tried_at_work").sum()
    logit = (mean / (1 - mean)).log().alias("rest")
    both = cells.group_by(pl.col("role").cast(TEXT), pl.col("kind").cast(TEXT)).agg(logit)
    by_role = cells.group_by(pl.col("role").cast(TEXT)).agg(logit)
    return {
        (None, None): float(cells.select(logit).item()),
        **{(row[0], None): row[1] for row in by_role.iter_rows()},
        **{(row[0], row[1]): row[2] for row in both.iter_rows()},
    }


def to_places(laid: pl.DataFrame, names: tuple[str, ...], close_m: float, growth: float) -> Places:
    """Places and stretches of LAID; ``names`` are the items that have a number, ``growth`` a share."""
    number = {name: place for place, name in enumerate(names)}
    items = np.array(
        [[number.get(word, -1) for word in row] for row in laid.select(ITEM_COLUMNS).iter_rows()],
        dtype=np.int64,
    ).reshape(-1, len(ITEM_COLUMNS))
    stretches = [
        stretch
        for _, group in laid.with_row_index("place").group_by("event", "point", maintain_order=True)
        for stretch in _stretches(group, close_m)
    ]
    columns = [np.array(column) for column in zip(*stretches, strict=True)] or [np.zeros(0)] * 5
    return Places(
        items,
        columns[0].astype(np.int64),
        columns[1].astype(np.int64),
        columns[2].astype(np.float64) * (1 + growth),
        columns[3].astype(np.int64),
        columns[4].astype(np.bool_),
    )


def _stretches(group: pl.DataFrame, close_m: float) -> list[tuple[int, int, float, int, bool]]:
    """Of one point at one event: main place, backup place (-1: none), crossings, kind, lines too close."""
    lines = [group.filter(pl.col("role").cast(TEXT) == role.value).sort("slot") for role in Role]
    present = [line for line in lines if line.height]
    crossings = float(group.select(pl.col("crossings").max()).item())
    kind = KINDS.index(PointKind(group["kind"][0]))
    close = bool(group.select((pl.col("spacing_m") < close_m).any()).item()) and len(present) > 1
    shares = [_share_of(line) for line in present]
    if len(present) == 1:
        return [
            (int(place), -1, crossings * share, kind, False)
            for place, share in zip(present[0]["place"], shares[0], strict=True)
        ]
    overlap = _overlap(present[0].height, present[1].height)
    main, backup = shares[0] * present[0].height, shares[1] * present[1].height
    at = [line["place"].to_list() for line in present]
    return [
        (at[0][i], at[1][j], crossings * overlap[i, j] * float(main[i] + backup[j]) / 2, kind, close)
        for i, j in np.argwhere(overlap).tolist()
    ]


def _share_of(line: pl.DataFrame) -> Floats:
    return np.asarray(line["share"].to_numpy() / line["share"].sum())


def _overlap(first: int, second: int) -> Floats:
    """Part of the road that slot i of ``first`` and slot j of ``second`` both span."""
    edges = [np.linspace(0, 1, count + 1) for count in (first, second)]
    low = np.maximum.outer(edges[0][:-1], edges[1][:-1])
    high = np.minimum.outer(edges[0][1:], edges[1][1:])
    part: npt.NDArray[np.float64] = np.maximum(high - low, 0.0)
    part[part < 1e-9] = 0.0
    return part
