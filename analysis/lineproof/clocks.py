"""The constant lag between the two lines of a point.

A runner reaches the backup line a moment after the main one, and the two readers' clocks never agree
to the last tenth.  Both together are one number per point, the lag: it is taken off a backup time
before it may stand in for a main time.
"""

from __future__ import annotations

import polars as pl

from lineproof.event import Event
from lineproof.tables import COUNT, TEXT
from lineproof.vocabulary import ReadChoice, Role

LAGS_SCHEMA = pl.Schema(
    {
        "point": TEXT,
        "main": TEXT,
        "backup": TEXT,
        "pairs": COUNT,
        "lag_us": pl.Int64(),
        "spread_us": pl.Int64(),
    }
)

# Of fewer tags than this a lap missed by one line could pass for a lag.
LEAST_PAIRS = 5
# Scales the median absolute deviation to the standard deviation of a normal distribution (1 / 0.6745).
MAD_TO_SD = 1.4826


def chosen_time(event: Event) -> pl.Expr:
    """The read of a passing that gives its time, by the named choice of its timing point."""
    by_choice = {
        choice: [point.id for point in event.points if point.time_from is choice] for choice in ReadChoice
    }
    return (
        pl.when(pl.col("point").is_in(by_choice[ReadChoice.LAST]))
        .then("last")
        .when(pl.col("point").is_in(by_choice[ReadChoice.STRONGEST]))
        .then("strongest")
        .otherwise("first")
    )


def estimate_line_lags(passings: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Lag of each backup line: its time minus the main line's, median over the tags that both read.

    A tag's passings are paired first with first, second with second, and only where both lines read
    it equally often: so a whole-hour clock fault is measured like a tenth of a second.
    Returns LAGS_SCHEMA sorted by point; a point with fewer than LEAST_PAIRS such tags has no row.
    """
    pairs = [(event.lines_at(point.id), point.id) for point in event.points]
    rows = [
        _lag(passings, point, lines[0].id, lines[1].id, chosen_time(event))
        for lines, point in pairs
        if len(lines) == len(Role)
    ]
    return pl.concat([pl.DataFrame(schema=LAGS_SCHEMA), *rows]).sort("point")


def _lag(passings: pl.DataFrame, point: str, main: str, backup: str, time: pl.Expr) -> pl.DataFrame:
    here = (
        passings.filter(pl.col("line").is_in([main, backup]) & pl.col("reads").is_not_null())
        .with_columns(time.alias("time"), pl.coalesce("tag", "bib").alias("id"))
        .sort("id", "line", "time")
        .with_columns(
            pl.int_range(pl.len()).over("id", "line").alias("nth"),
            pl.len().over("id", "line").alias("times"),
        )
    )
    keys = ["id", "nth", "times"]
    both = here.filter(pl.col("line") == main).join(
        here.filter(pl.col("line") == backup), on=keys, validate="1:1", suffix="_backup"
    )
    lag = (pl.col("time_backup") - pl.col("time")).dt.total_microseconds()
    spread = (pl.col("lag") - pl.col("lag").median()).abs().median() * MAD_TO_SD
    return (
        both.select(lag.alias("lag"))
        .select(
            pl.lit(point).alias("point"),
            pl.lit(main).alias("main"),
            pl.lit(backup).alias("backup"),
            pl.len().cast(pl.UInt32).alias("pairs"),
            pl.col("lag").median().round().cast(pl.Int64).alias("lag_us"),
            spread.round().cast(pl.Int64).alias("spread_us"),
        )
        .filter(pl.col("pairs") >= LEAST_PAIRS)
    )
