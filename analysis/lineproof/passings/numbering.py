"""One table of passings from several, numbered in an order that the rows alone decide."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from lineproof.tables import PASSINGS

ORDER = ("first", "point", "line", "tag", "bib", "file", "row")


def number_passings(parts: Sequence[pl.DataFrame]) -> pl.DataFrame:
    """One table of passings from several, numbered anew in time order.

    The order does not depend on the order of the parts or of the rows in them.
    """
    whole = [PASSINGS.conform(_numbered(part)) for part in parts]
    together = pl.concat(whole) if whole else PASSINGS.empty()
    return PASSINGS.check(_numbered(_in_order(together)).select(PASSINGS.schema.names()))


def _in_order(passings: pl.DataFrame) -> pl.DataFrame:
    """By time, and only where times are equal by the ids: comparing ids is what a sort spends its time on."""
    by_time = passings.sort("first", maintain_order=True)
    tied = (pl.col("first") == pl.col("first").shift()).fill_null(False)
    tied = tied | tied.shift(-1, fill_value=False)
    places = by_time.select(tied.arg_true()).to_series()
    if not places.len():
        return by_time
    settled = by_time[places].sort(*ORDER, nulls_last=True)
    # The tied rows go back, in their order, to the places that they hold between them.
    turn = pl.int_range(by_time.height, eager=True, dtype=pl.UInt32).scatter(
        places, pl.int_range(by_time.height, by_time.height + places.len(), eager=True, dtype=pl.UInt32)
    )
    return pl.concat([by_time, settled])[turn]


def _numbered(frame: pl.DataFrame) -> pl.DataFrame:
    return frame.drop("passing", strict=False).with_row_index("passing")
