"""How the tables of older versions read as those of today.

All parts of one version have the
same columns: whoever changes a contract of ``season_tables.KEPT`` raises ``SCHEMA_VERSION``.  A new nullable column
or a new table then needs no more; older parts read as if it had never been recorded.  For any other change add to
``STEPS``, under the version it starts from, what makes the table one version younger.  Parts are never rewritten.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import polars as pl

from lineproof.contracts import Table
from lineproof.ledger.manifest import SCHEMA_VERSION, hash_of
from lineproof.ledger.packing import stored_schema
from lineproof.season_tables import KEPT

Step = Callable[[pl.LazyFrame], pl.LazyFrame]


def _tell_clocks(decisions: pl.LazyFrame) -> pl.LazyFrame:
    """Version 1 gave decisions on a clock the place "clock", and did not say of which line or by how much."""
    clock = pl.col("place") == "clock"
    return decisions.with_columns(
        pl.when(clock).then(pl.lit("clock")).otherwise(pl.lit("row")).alias("about"),
        pl.when(~clock).then("place").alias("place"),
    )


STEPS: Mapping[int, Mapping[str, Step]] = {1: {"decisions": _tell_clocks}}


def print_of_contracts() -> str:
    """Changes with every change of what is stored; a test holds it to the version."""
    told = [
        f"{name}.{column}: {dtype}"
        for name, table in KEPT.items()
        for column, dtype in stored_schema(table).items()
    ]
    return hash_of("\n".join(told).encode())[:16]


def to_present(
    frame: pl.LazyFrame,
    table: Table,
    name: str,
    version: int,
    steps: Mapping[int, Mapping[str, Step]] = STEPS,
) -> pl.LazyFrame:
    """The stored table ``name`` of ``version`` with the columns of today's contract, those never recorded null."""
    for older in range(version, SCHEMA_VERSION):
        step = steps.get(older, {}).get(name)
        frame = frame if step is None else step(frame)
    there = frame.collect_schema().names()
    lacking = [
        pl.lit(None, dtype=column.dtype).alias(column_name)
        for column_name, column in table.columns.items()
        if column_name not in there and column.nullable
    ]
    return frame.with_columns(lacking).select(
        pl.col(column_name).cast(column.dtype) for column_name, column in table.columns.items()
    )
