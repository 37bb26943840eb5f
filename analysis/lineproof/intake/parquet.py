"""Parquet exports into raw tables: typed cells become texts that the time parser reads without loss."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from lineproof.errors import InputError
from lineproof.intake.files import Stamp, stamp
from lineproof.intake.raw import ROW_GROUP, RawTable


def load_parquet(path: Path, name: str, stem: Path) -> tuple[RawTable, Stamp]:
    """Read one Parquet export; its first data row counts as row 2, below the header.

    Raises ``InputError`` where the file is damaged.
    """
    before = stamp(path)
    part = stem.with_name(stem.name + ".0.parquet")
    try:
        frame = pl.scan_parquet(path, glob=False)
        schema = frame.collect_schema()
        cells = [_as_text(header, dtype).alias(f"c{i}") for i, (header, dtype) in enumerate(schema.items())]
        frame.with_row_index("_lineproof_row").select(
            (pl.col("_lineproof_row").cast(pl.Int64) + 2).alias("row"),
            *cells,
            pl.lit(None, dtype=pl.String).alias("trouble"),
        ).sink_parquet(part, compression="lz4", row_group_size=ROW_GROUP)
    # A damaged file can make the parser itself give up, which it calls a panic.
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
        raise InputError(
            "the Parquet file is damaged or incomplete", todo="export it again", file=path
        ) from None
    remarks = [
        f'the column "{h}" holds no plain values and was passed over'
        for h, d in schema.items()
        if d.is_nested()
    ]
    return RawTable(name, "", tuple(schema), 1, (part,), before.sha256, None, tuple(remarks)), before


def _as_text(header: str, dtype: pl.DataType) -> pl.Expr:
    column = pl.col(header)
    if dtype.is_nested() or dtype in (pl.Binary, pl.Object):
        return pl.lit(None, dtype=pl.String)
    if isinstance(dtype, pl.Datetime):
        micros = column.dt.cast_time_unit("us")
        if dtype.time_zone is None:
            return micros.dt.strftime("%Y-%m-%d %H:%M:%S%.6f")
        return micros.dt.convert_time_zone("UTC").dt.strftime("%Y-%m-%dT%H:%M:%S%.6fZ")
    if dtype == pl.Date:
        return column.dt.strftime("%Y-%m-%d")
    if dtype == pl.Time:
        return column.dt.strftime("%H:%M:%S%.9f")
    if isinstance(dtype, pl.Duration):
        return duration_text(column.dt.total_microseconds())
    if dtype.is_float():
        whole = column.is_finite() & (column == column.round()) & (column.abs() < 2**53)
        value = pl.when(column.is_finite()).then(column)
        return (
            pl.when(whole).then(column.cast(pl.Int64, strict=False).cast(pl.String)).otherwise(_plain(value))
        )
    return column.cast(pl.String)


def _plain(value: pl.Expr) -> pl.Expr:
    """A decimal number without exponent where it is of the size of a time, to the microsecond.

    A float of today's seconds since 1970 is certain to a quarter of a microsecond, so six decimals say all.
    """
    size = value.abs()
    micros = ((size - size.floor()) * 1_000_000).round().cast(pl.Int64, strict=False)
    whole = size.floor().cast(pl.Int64, strict=False) + micros.floordiv(1_000_000)
    text = pl.concat_str(
        [whole.cast(pl.String), (micros % 1_000_000).cast(pl.String).str.zfill(6)], separator="."
    )
    signed = pl.when(value < 0).then(pl.concat_str([pl.lit("-"), text])).otherwise(text)
    return pl.when(size < 1e15).then(signed).otherwise(value.cast(pl.String))


def duration_text(micros: pl.Expr) -> pl.Expr:
    """Microseconds as ``h:mm:ss.ffffff``, with a minus sign where negative."""
    size = micros.abs()
    whole = size.floordiv(1_000_000)
    parts = [
        whole.floordiv(3600).cast(pl.String),
        (whole.floordiv(60) % 60).cast(pl.String).str.zfill(2),
        (whole % 60).cast(pl.String).str.zfill(2),
    ]
    text = pl.concat_str(
        [pl.concat_str(parts, separator=":"), (size % 1_000_000).cast(pl.String).str.zfill(6)], separator="."
    )
    return pl.when(micros < 0).then(pl.concat_str([pl.lit("-"), text])).otherwise(text)
