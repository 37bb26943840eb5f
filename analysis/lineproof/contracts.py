"""What a table's contract is: columns with a meaning, a key, a null rule, and the check that holds a frame to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from lineproof.errors import TableError


@dataclass(frozen=True, slots=True)
class Column:
    dtype: pl.DataType | type[pl.DataType]
    meaning: str
    nullable: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A named contract.  ``check`` raises ``TableError`` naming the first breach."""

    name: str
    one_row_is: str
    key: tuple[str, ...]
    columns: dict[str, Column]

    @property
    def schema(self) -> pl.Schema:
        return pl.Schema({name: column.dtype for name, column in self.columns.items()})

    def empty(self) -> pl.DataFrame:
        return pl.DataFrame(schema=self.schema)

    def shape_rows(self, rows: Sequence[dict[str, object]]) -> pl.DataFrame:
        """A frame of this table from row dicts; columns left out are null."""
        return pl.DataFrame(rows, schema=self.schema) if rows else self.empty()

    def conform(self, frame: pl.DataFrame) -> pl.DataFrame:
        """Select and cast the contract's columns (missing nullable ones become null), then check."""
        lacking = [
            pl.lit(None, dtype=column.dtype).alias(name)
            for name, column in self.columns.items()
            if name not in frame.columns and column.nullable
        ]
        missing = [
            name for name, column in self.columns.items() if name not in frame.columns and not column.nullable
        ]
        if missing:
            raise TableError(f"{self.name} lacks the columns {missing}")
        shaped = frame.with_columns(lacking).select(
            pl.col(name).cast(column.dtype) for name, column in self.columns.items()
        )
        return self.check(shaped)

    def check(self, frame: pl.DataFrame) -> pl.DataFrame:
        """Return ``frame`` unchanged if it keeps the contract.

        Raises ``TableError`` on a wrong column list, dtype, a null where none may be, or a repeated key.
        """
        if frame.schema != self.schema:
            raise TableError(f"{self.name} has the schema {frame.schema}, not {self.schema}")
        required = [name for name, column in self.columns.items() if not column.nullable]
        nulls = frame.select(pl.col(required).null_count()).row(0, named=True) if required else {}
        holed = {name: count for name, count in nulls.items() if count}
        if holed:
            raise TableError(f"{self.name} has nulls where none may be: {holed}")
        if self.key and frame.height and frame.select(self.key).is_duplicated().any():
            raise TableError(f"{self.name} repeats the key {self.key}")
        return frame
