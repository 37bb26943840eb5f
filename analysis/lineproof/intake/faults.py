"""What is wrong with a row or a cell, as expressions, and the rejects made of it.

A ``Fault`` that loses the row is noted in ``fault_column``, ``fault_value`` and ``fault_reason``; the
first one that holds counts.  A cell that is lost while its row is kept becomes a reject of its own.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from lineproof.tables import REJECTS

SUGGESTIONS = 200  # unknown words looked up for a "did you mean"; more of them is a wrong column
FEW_WORDS = 40  # up to here a chain of comparisons, which streams; a look-up table does not


@dataclass(frozen=True, slots=True)
class Fault:
    """A row is lost where ``when`` holds; ``header`` and ``value`` name the cell, null for the row."""

    when: pl.Expr
    reason: pl.Expr
    header: str | None = None
    value: pl.Expr | None = None


def says(sentence: str) -> pl.Expr:
    return pl.lit(sentence, dtype=pl.String)


def mark_faults(frame: pl.LazyFrame, faults: Sequence[Fault]) -> pl.LazyFrame:
    """Add ``fault_column``, ``fault_value``, ``fault_reason``: null throughout for a sound row."""
    null = pl.lit(None, dtype=pl.String)

    def first(part: Iterable[pl.Expr]) -> pl.Expr:
        chain = null
        for fault, expr in reversed(list(zip(faults, part, strict=True))):
            chain = pl.when(fault.when).then(expr).otherwise(chain)
        return chain

    return frame.with_columns(
        first(says(f.header) if f.header else null for f in faults).alias("fault_column"),
        first(f.value if f.value is not None else null for f in faults).alias("fault_value"),
        first(f.reason for f in faults).alias("fault_reason"),
    )


def damaged_id(value: pl.Expr) -> pl.Expr:
    """True where a spreadsheet has turned a long id into a rounded number."""
    return value.str.contains(r"^\d[.,]\d+[Ee]\+\d+$|^\dE\+\d+$")


DAMAGED_ID = "a spreadsheet has rounded this id to a number; export it again as text"


def to_row_rejects(frame: pl.LazyFrame, file: str) -> pl.DataFrame:
    """REJECTS of the rows that are lost."""
    lost = frame.filter(pl.col("fault_reason").is_not_null()).select(
        pl.lit(file).alias("file"),
        "row",
        pl.col("fault_column").alias("column"),
        pl.col("fault_value").alias("value"),
        pl.col("fault_reason").alias("reason"),
    )
    return REJECTS.conform(lost.collect()).sort("row")


def to_cell_rejects(
    frame: pl.LazyFrame, file: str, header: str, value: str, when: pl.Expr, reason: pl.Expr | str
) -> pl.DataFrame:
    """REJECTS of single cells whose rows are kept."""
    lost = frame.filter(when).select(
        pl.lit(file).alias("file"),
        "row",
        pl.lit(header).alias("column"),
        pl.col(value).alias("value"),
        (says(reason) if isinstance(reason, str) else reason).alias("reason"),
    )
    return REJECTS.conform(lost.collect()).sort("row")


@dataclass(frozen=True, slots=True)
class Words:
    """Words of an export with our ids, or with the reason why there is none."""

    ids: Mapping[str, str]
    reasons: Mapping[str, str]

    def id_of(self, column: str) -> pl.Expr:
        return _looked_up(column, self.ids)

    def reason_of(self, column: str) -> pl.Expr:
        return _looked_up(column, self.reasons)


def _looked_up(column: str, words: Mapping[str, str]) -> pl.Expr:
    if len(words) > FEW_WORDS:
        return pl.col(column).replace_strict(
            list(words), list(words.values()), default=None, return_dtype=pl.String
        )
    chain = pl.lit(None, dtype=pl.String)
    for word, ours in words.items():
        chain = pl.when(pl.col(column) == word).then(pl.lit(ours)).otherwise(chain)
    return chain


def match_words(words: Iterable[str], names: Mapping[str, str], what: str, map_name: str) -> Words:
    """Match words to ids by ``names`` (word to id), exactly or else without regard to letter case."""
    folded = {word.strip().casefold(): ours for word, ours in names.items()}
    ids: dict[str, str] = {}
    reasons: dict[str, str] = {}
    for word in sorted(set(words)):
        ours = names.get(word, folded.get(word.strip().casefold()))
        if ours is not None:
            ids[word] = ours
            continue
        close = difflib.get_close_matches(word.casefold(), folded, n=1) if len(reasons) < SUGGESTIONS else []
        known = next((name for name in names if close and name.strip().casefold() == close[0]), None)
        reasons[word] = f'there is no {what} "{word}" in {map_name}' + (
            f'; did you mean "{known}"?' if known else ""
        )
    return Words(ids, reasons)
