"""Words of ``line_names`` and ``point_names`` that stand in no file of their input: misspelt, or of another day."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from lineproof.intake.sources import Source, cells, words_of
from lineproof.vocabulary import Level

UNUSED = "which no row names"


def to_unused_names(sources: Sequence[Source]) -> dict[str, str]:
    """A remark for the first file of each input whose names stand in none of its files.

    A wide table is left out: there each name heads a column, and a missing one is an error.
    """
    remarks: dict[str, str] = {}
    for section in dict.fromkeys(source.section for source in sources):
        mine = [source for source in sources if source.section == section]
        said = [
            sentence
            for column, names in (("line", "line_names"), ("point", "point_names"))
            if (sentence := _unused(mine, column, names)) is not None
        ]
        if said:
            remarks[mine[0].table.file] = "; ".join(said)
    return remarks


def _unused(sources: Sequence[Source], column: str, names: str) -> str | None:
    given = sources[0].given
    wanted = given.line_names if column == "line" else given.point_names
    if not wanted or given.level is Level.WIDE or not all(column in s.columns for s in sources):
        return None
    there = {word.strip().casefold() for s in sources for word in words_of(cells(s), column)}
    missing = [word for word in wanted if word.strip().casefold() not in there]
    if not missing:
        return None
    shown = ", ".join(f'"{word}"' for word in missing[:6]) + (" …" if len(missing) > 6 else "")
    return f"{names} has {shown}, {UNUSED}: misspelt, or nothing was read there"


def with_remarks(account: pl.DataFrame, remarks: dict[str, str]) -> pl.DataFrame:
    """ACCOUNT with further remarks by file."""
    if not remarks:
        return account
    more = pl.col("file").replace_strict(remarks, default=None, return_dtype=pl.String)
    both = pl.concat_str([pl.col("remarks"), more], separator="; ", ignore_nulls=True)
    return account.with_columns(pl.when(more.is_null()).then("remarks").otherwise(both).alias("remarks"))
