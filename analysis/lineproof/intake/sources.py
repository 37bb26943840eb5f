"""One export with the input that claims it, and what became of its rows.

A row is lost only where it cannot say who was seen, where or when; a cell that merely adds detail
(antenna, strength, one split of many) is rejected alone and its row kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from lineproof.errors import InputError
from lineproof.event import Input
from lineproof.intake.columns import require
from lineproof.intake.faults import Fault, mark_faults
from lineproof.intake.raw import RawTable
from lineproof.tables import ACCOUNT, PASSINGS, REJECTS
from lineproof.vocabulary import Level

SOUND = ~pl.col("blank") & pl.col("fault_reason").is_null()


@dataclass(frozen=True, slots=True)
class Source:
    """One export with the input that claims it and its columns (ours, with index in the export)."""

    table: RawTable
    given: Input
    columns: dict[str, int]
    section: str

    def header(self, ours: str) -> str:
        return self.table.headers[self.columns[ours]]


@dataclass(frozen=True, slots=True)
class Outcome:
    """``rows`` are the kept ones; ``rejects`` hold lost rows and lost cells; ``account`` is one row.

    ``stated`` (tag, bib, stated): runners of whom a word stands where a time would.
    """

    rows: pl.LazyFrame
    rejects: pl.DataFrame
    account: pl.DataFrame
    stated: pl.DataFrame | None = None


def clean(name: str) -> pl.Expr:
    """A cell without outer blanks; null where nothing is left."""
    text = pl.col(name).str.strip_chars()
    return pl.when(text.str.len_bytes() > 0).then(text)


def is_blank(table: RawTable) -> pl.Expr:
    """True for a row that splits cleanly and holds nothing."""
    cells = [clean(f"c{i}").is_null() for i in range(len(table.headers))]
    return pl.all_horizontal(pl.col("trouble").is_null(), *cells)


def cells(source: Source) -> pl.LazyFrame:
    """``row``, ``trouble``, ``blank`` and the mapped columns under our names, cleaned.

    The input's own words for "missing" become null, except in ids, where "0" may be somebody.
    """
    words = [word.strip().casefold() for word in source.given.layout.missing]

    def cell(index: int, ours: str) -> pl.Expr:
        text = clean(f"c{index}")
        if not words or ours in ("tag", "tag_2", "bib", "runner"):
            return text
        return pl.when(~text.str.to_lowercase().is_in(words)).then(text)

    return source.table.scan().select(
        "row",
        "trouble",
        is_blank(source.table).alias("blank"),
        *(cell(index, ours).alias(ours) for ours, index in source.columns.items()),
    )


def words_of(frame: pl.LazyFrame, column: str) -> list[str]:
    return frame.select(pl.col(column).drop_nulls().unique().sort()).collect().to_series().to_list()


def who_column(source: Source) -> str:
    """The column that names the runner: bib before tag."""
    if "bib" not in source.columns and "tag" not in source.columns:
        require(source.table, source.columns, "bib", f'{source.section}, columns, or tag = "…"')
    return "bib" if "bib" in source.columns else "tag"


def named_ids(source: Source) -> list[pl.Expr]:
    return [
        pl.col(name) if name in source.columns else pl.lit(None, dtype=pl.String).alias(name)
        for name in ("tag", "bib")
    ]


def marked_rows(frame: pl.LazyFrame, faults: Sequence[Fault]) -> pl.LazyFrame:
    sound = [Fault(~pl.col("blank") & f.when, f.reason, f.header, f.value) for f in faults]
    return mark_faults(frame, sound).collect().lazy()


def count_rows(marked: pl.LazyFrame, times: pl.Expr | None = None) -> pl.DataFrame:
    """``rows_read, kept, blank, rejected, times`` of a frame marked with ``blank`` and ``fault_reason``."""
    kept = ~pl.col("blank") & pl.col("fault_reason").is_null()
    return marked.select(
        pl.len().alias("rows_read"),
        kept.sum().alias("kept"),
        pl.col("blank").sum().alias("blank"),
        (~pl.col("blank") & pl.col("fault_reason").is_not_null()).sum().alias("rejected"),
        (kept.sum() if times is None else times).alias("times"),
    ).collect()


def to_account(source: Source, counts: pl.DataFrame, remarks: Sequence[str]) -> pl.DataFrame:
    """The one ACCOUNT row of a file from its counts ``rows_read, kept, blank, rejected, times``."""
    table = source.table
    return account_row(table, source.given.level, counts, remarks)


def account_row(
    table: RawTable, level: Level | None, counts: pl.DataFrame, remarks: Sequence[str]
) -> pl.DataFrame:
    said = [*table.remarks, *remarks]
    if counts.item(0, "rows_read") == 0:
        said.append("there is no row below the header")
    elif counts.item(0, "kept") == 0:
        said.append("not one row could be kept")
    row = {
        "file": table.file,
        "sheet": table.sheet,
        "level": level.value if level else None,
        **counts.row(0, named=True),
        "encoding": table.encoding,
        "sha256": table.sha256,
        "remarks": "; ".join(said) or None,
    }
    return ACCOUNT.check(ACCOUNT.shape_rows([row]))


def passing_outcome(
    source: Source,
    marked: pl.LazyFrame,
    kept: pl.LazyFrame,
    rejects: Sequence[pl.DataFrame],
    remarks: Sequence[str],
    times: int | None = None,
) -> Outcome:
    names = kept.collect_schema().names()
    wanted = [name for name in PASSINGS.columns if name != "passing"]
    stated = {"level": pl.lit(source.given.level.value), "file": pl.lit(source.table.file)}
    rows = kept.select(
        (stated[n] if n in stated else pl.col(n) if n in names else pl.lit(None))
        .cast(PASSINGS.columns[n].dtype)
        .alias(n)
        for n in wanted
    )
    counts = count_rows(marked, None if times is None else pl.lit(times, dtype=pl.UInt32))
    return Outcome(rows, pl.concat([REJECTS.empty(), *rejects]), to_account(source, counts, remarks))


def refuse_level(source: Source, problem: str, todo: str) -> InputError:
    return InputError(problem, todo=todo, file=source.table.file, row=source.table.header_row or None)
