"""The open marathon tables as a timer would have them: a wide results table, reviewed as an event folder.

Sources as in ``test_open_histories.py``.  Only who was read where is published; the split times are
invented here: within each tenth of the field the finishing times lie evenly, everybody slows down by
the same share, and each split lies within two minutes of that, drawn with a stated seed.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from lineproof.pipeline import review_event
from reference.test_open_histories import DATA, FINISH_M, TABLE_2002, TABLE_2014, OpenTable

FASTEST_S, DECILE_S = 8_400, 1_100  # the first tenth begins at 2:20:00; each tenth spans 18:20
SLOWING = 0.15  # the last metre is this share slower than the first

EVENT = """
[event]
name = "Open table"
date = 2026-05-17
zone = "UTC"

[[course]]
id = "road"
visits = [{visits}]

[[wave]]
id = "all"
gun = 08:00:00

{points}

[[input]]
files = "exports/results.csv"
level = "wide"
times = "elapsed"
missing = ["?"]

[input.columns]
bib = "No"

[input.point_names]
{names}
"""


def elapsed(finish_s: float, at_m: float, wobble_s: float) -> str:
    share = at_m / FINISH_M
    seconds = finish_s * share * (1 + SLOWING / 2 * share) / (1 + SLOWING / 2)
    # A start read lies two minutes after the gun, more or less, where a table states it.
    total = round(130 + seconds * (1 - 130 / finish_s) + wobble_s)
    return f"{total // 3600}:{total % 3600 // 60:02d}:{total % 60:02d}"


def write_event(folder: Path, table: OpenTable) -> None:
    stops = [*table.points.items(), ("finish", FINISH_M)]
    kinds = {"start": "start", "finish": "finish"}
    (folder / "exports").mkdir(parents=True)
    (folder / "event.toml").write_text(
        EVENT.format(
            visits=", ".join(f'{{ point = "{p}", at_m = {m} }}' for p, m in stops),
            points="\n".join(f'[[point]]\nid = "{p}"\nkind = "{kinds.get(p, "split")}"' for p, _ in stops),
            names="\n".join(f'"{p}" = "{p}"' for p, _ in stops),
        )
    )
    lines = [",".join(["No", *(p for p, _ in stops)])]
    counts = pl.read_csv(DATA / table.file, schema_overrides={"history": pl.String})
    number = 0
    rng = np.random.default_rng(2014)
    for decile, rows in sorted(counts.group_by("decile")):
        field = sum(rows["runners"])
        place = 0
        for history, _, runners in rows.sort("history").iter_rows():
            for _ in range(runners):
                number += 1
                finish_s = FASTEST_S + DECILE_S * (decile[0] - 1 + place / field)
                place += 1
                wobble = rng.uniform(-120, 120, len(stops))
                cells = [
                    elapsed(finish_s, at_m, wobble[i]) if read == "1" else "-"
                    for i, (read, (_, at_m)) in enumerate(zip(history + "1", stops, strict=True))
                ]
                lines.append(",".join([f"{number:05d}", *cells]))
    (folder / "exports" / "results.csv").write_text("\n".join(lines) + "\n")


@pytest.mark.parametrize("table", [TABLE_2014, TABLE_2002], ids=["2014", "2002"])
def test_published_misses_are_exactly_those_of_the_review(table: OpenTable, tmp_path: Path) -> None:
    write_event(tmp_path / "open", table)
    review = review_event(tmp_path / "open")
    assert review.entries.height == table.finishers
    assert review.rejects.is_empty()
    rates = review.rates.filter(
        (pl.col("quantity") == "capability")
        & (pl.col("level") == "point")
        & pl.col("course").is_null()
        & (pl.col("point") != "finish")
    )
    missed = {row["point"]: row["proven"] - row["detected"] for row in rates.iter_rows(named=True)}
    assert missed == dict(zip(table.points, table.misses, strict=True))
    assert set(rates["proven"]) == {table.finishers}
    assert set(rates["doubtful"]) == {0}
    found = review.findings.filter(pl.col("check") == "missed with proof")
    assert found.height == sum(table.misses)
