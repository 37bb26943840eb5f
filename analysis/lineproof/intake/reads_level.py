"""Raw reads, streamed: never held in memory as a whole."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from lineproof.event import Event
from lineproof.intake.columns import require
from lineproof.intake.faults import Fault, mark_faults, to_row_rejects
from lineproof.intake.fields import (
    id_faults,
    number_rejects,
    time_fault,
    to_timed,
    trouble_fault,
    with_line,
    with_numbers,
)
from lineproof.intake.guns import Guns
from lineproof.intake.raw import ROW_GROUP
from lineproof.intake.sources import SOUND, Outcome, Source, cells, count_rows, to_account
from lineproof.tables import READS, REJECTS


def load_reads(source: Source, event: Event, guns: Guns, part: Path) -> Outcome:
    """Raw reads: streams through ``part`` (Parquet); the kept rows have the contract READS."""
    require(source.table, source.columns, "tag", f"{source.section}, columns")
    require(source.table, source.columns, "time", f"{source.section}, columns")
    details = ("antenna", "strength")
    frame, line_faults = with_line(cells(source), source, event)
    frame = with_numbers(frame, source, details)
    frame, remarks = to_timed(frame, source, "time", event, guns)
    faults = [trouble_fault(), *id_faults(source, "tag"), *line_faults, time_fault(source, "time")]
    faults = [Fault(~pl.col("blank") & f.when, f.reason, f.header, f.value) for f in faults]
    keep = ["row", "blank", "tag", "line", "time", *(f"{d}{s}" for d in details for s in ("", "_text"))]
    mark_faults(frame, faults).select(
        *keep, "fault_column", "fault_value", "fault_reason", pl.lit(source.table.file).alias("file")
    ).sink_parquet(part, compression="lz4", row_group_size=ROW_GROUP)
    marked = pl.scan_parquet(part)
    kept = marked.filter(SOUND)
    rejects = [to_row_rejects(marked, source.table.file), *number_rejects(kept, source, details)]
    return Outcome(
        kept.select(pl.col(n).cast(c.dtype) for n, c in READS.columns.items()),
        pl.concat([REJECTS.empty(), *rejects]),
        to_account(source, count_rows(marked), remarks),
    )
