"""Who carried the tag: passings to runners, through the start list and the times of re-issue."""

from __future__ import annotations

import polars as pl

from lineproof.event import Event
from lineproof.tables import INSTANT

ALWAYS = pl.lit(0, dtype=pl.Int64).cast(pl.Datetime("us")).dt.replace_time_zone("UTC")


def to_held(passings: pl.DataFrame, entries: pl.DataFrame, tags: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Passings with ``runner``, ``course``, ``wave``, ``bib`` and the wave's ``gun`` joined on.

    A re-issued tag belongs to its latest holder at the time of the passing.  The bib that an export
    states counts where the tag is unknown or absent.  Unknown passings keep a null runner.
    """
    by_tag = _holder_of_tag(passings, tags)
    bibs = entries.filter(pl.col("bib").is_not_null()).select("bib", by_bib="runner")
    guns = pl.DataFrame(
        {"wave": [w.id for w in event.waves], "gun": [w.gun for w in event.waves]},
        schema={"wave": pl.String, "gun": INSTANT},
    )
    who = entries.select("runner", "course", "wave", "runner_class", "sex", entry_bib="bib")
    return (
        passings.join(by_tag, on="passing", how="left", validate="1:1")
        .join(bibs, on="bib", how="left", validate="m:1")
        .with_columns(pl.coalesce("by_tag", "by_bib").alias("runner"))
        .drop("by_tag", "by_bib")
        .join(who, on="runner", how="left", validate="m:1")
        .with_columns(pl.coalesce("entry_bib", "bib").alias("bib"))
        .drop("entry_bib")
        .join(guns, on="wave", how="left", validate="m:1")
        .sort("passing")
    )


def _holder_of_tag(passings: pl.DataFrame, tags: pl.DataFrame) -> pl.DataFrame:
    tagged = passings.filter(pl.col("tag").is_not_null()).select("passing", "tag", "first")
    # Sorting by time with the undated holder first lets the latest holder at the time win.
    held = tags.select("tag", pl.col("since").fill_null(ALWAYS), by_tag="runner")
    return (
        tagged.join(held, on="tag", how="inner", validate="m:m")
        .filter(pl.col("since") <= pl.col("first"))
        .sort("passing", "since", "by_tag")
        .group_by("passing", maintain_order=True)
        .agg(pl.col("by_tag").last())
    )
