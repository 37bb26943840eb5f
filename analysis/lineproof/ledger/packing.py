"""Tables of one event as the files of its part.

Words of a fixed list (``Enum``) are stored as plain text, so that a list may grow.
"""

from __future__ import annotations

import io
from collections.abc import Mapping

import polars as pl

from lineproof.contracts import Table
from lineproof.ledger.part import Part
from lineproof.season_tables import KEPT


def to_part(event: str, date: str, key: str, tables: Mapping[str, pl.DataFrame]) -> Part:
    """Tables of ``season_tables.KEPT`` as a part ready to be stored."""
    files = {f"{name}.parquet": _to_parquet(tables[name], name) for name in KEPT if name in tables}
    return Part(event, date, key, files)


def _to_parquet(frame: pl.DataFrame, name: str) -> bytes:
    sink = io.BytesIO()
    to_stored(KEPT[name].check(frame), KEPT[name]).write_parquet(sink)
    return sink.getvalue()


def to_stored(frame: pl.DataFrame, table: Table) -> pl.DataFrame:
    return frame.cast(stored_schema(table))


def stored_schema(table: Table) -> pl.Schema:
    return pl.Schema(
        {name: pl.String() if isinstance(dtype, pl.Enum) else dtype for name, dtype in table.schema.items()}
    )
