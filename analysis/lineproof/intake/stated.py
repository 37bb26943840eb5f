"""What results say in words where a time would stand: that a runner stopped on the way, or did not start.

Such a word is a statement of whoever made the results.  It is no time and no proof; a disqualified runner may have
finished, so that word states nothing here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import polars as pl

from lineproof.camera_tables import STATED
from lineproof.vocabulary import Stated

PATTERNS = {
    Stated.STOPPED: r"(?i)^\W*(?:d\.?n\.?f\.?|did not finish|not finished|retired|ret\.?|dropped out|stopped)\W*$",
    Stated.NOT_STARTED: r"(?i)^\W*(?:d\.?n\.?s\.?|did not start|not started|no[- ]?show)\W*$",
}
NAMED = pl.Schema({"tag": pl.String(), "bib": pl.String(), "stated": STATED.schema["stated"]})


def stated_in(text: pl.Expr) -> pl.Expr:
    """The statement that a cell holds, null for anything else."""
    found = pl.lit(None, dtype=pl.String)
    for word, pattern in PATTERNS.items():
        found = pl.when(text.str.contains(pattern)).then(pl.lit(word.value)).otherwise(found)
    return found


def to_statements(frame: pl.LazyFrame, ids: Sequence[pl.Expr], columns: Iterable[str]) -> pl.DataFrame:
    """``tag``, ``bib``, ``stated`` of the rows in which any of the text columns holds such a word."""
    said = pl.coalesce([stated_in(pl.col(name)) for name in columns])
    return (
        frame.select(*ids, said.cast(NAMED["stated"]).alias("stated"))
        .filter(pl.col("stated").is_not_null())
        .collect()
    )


def to_stated(frames: Iterable[pl.DataFrame], entries: pl.DataFrame, tags: pl.DataFrame) -> pl.DataFrame:
    """STATED of the runners whom the statements name by bib, else by tag; a start that never was outdoes a stop."""
    said = pl.concat([pl.DataFrame(schema=NAMED), *frames]).unique()
    bibs = entries.filter(pl.col("bib").is_not_null()).select("bib", by_bib="runner")
    holders = tags.group_by("tag").agg(
        pl.col("runner").sort().first().alias("by_tag"), pl.len().alias("holders")
    )
    single = holders.filter(pl.col("holders") == 1).drop(
        "holders"
    )  # a re-issued tag does not tell whom it means
    named = (
        said.join(bibs, on="bib", how="left", validate="m:1")
        .join(single, on="tag", how="left", validate="m:1")
        .with_columns(pl.coalesce("by_bib", "by_tag").alias("runner"))
        .filter(pl.col("runner").is_not_null())
    )
    return STATED.check(named.group_by("runner").agg(pl.col("stated").max()).sort("runner"))
