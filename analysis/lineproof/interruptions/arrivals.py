"""When every runner came by, and by whose word: what a line is judged by when it may have stopped working.

A line is judged by runners whom the other line read, or who were read further on, never by its own
reads.  Behind the last visit of a course nothing is read: there the runners seen at the visit before
are awaited, those who stop on the way included.  Each runner's time is the one they were read at,
unless it contradicts the reads on either side (a wrong clock); who was not read here gets the time that
the field's habit puts them at, and ``doubt_us`` says how far such a time may be off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineproof.event import Event, Line
from lineproof.vocabulary import CROSSED, Proof, Role

Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

VISIT = ["course", "order"]
SURE = 0.99  # of interpolated times lie within ``doubt_us``
SLOWEST = 3.0  # a time this many times later than awaited is a wrong clock and not a slow runner
UNTOLD_SHARE = 0.005  # with more crossings that do not tell of a line, it is no witness for its sibling


@dataclass(frozen=True, slots=True)
class Arrivals:
    """Runners who came by one line (or a whole point: ``line`` is None), in time order.

    ``at`` (us since 1970), ``missed``, ``unseen`` (by either line) and ``awaited`` (known only from the visit
    before), one each per runner; ``reads`` are the times of the line's own reads, sorted, whoever they are of.
    ``told``: both lines of the point are known to have read or missed each runner.
    """

    point: str
    line: str | None
    told: bool
    witnesses: str
    at: Ints
    missed: Bools
    unseen: Bools
    awaited: Bools
    reads: Ints
    doubt_us: int

    def without(self, windows: list[tuple[int, int]]) -> Arrivals:
        """Less those who came by in one of the windows, or whom nobody read and who may have."""
        keep = ~within(self.at, self.unseen, windows, self.doubt_us)
        parts = (self.at[keep], self.missed[keep], self.unseen[keep], self.awaited[keep])
        return Arrivals(self.point, self.line, self.told, self.witnesses, *parts, self.reads, self.doubt_us)


def within(at: Ints, unseen: Bools, windows: list[tuple[int, int]], doubt_us: int) -> Bools:
    """Who came by in a window; for those whom nobody read the window is longer by the doubt of their time."""
    found = np.zeros(len(at), dtype=np.bool_)
    slack = np.where(unseen, doubt_us, 0)
    for begin, end in windows:
        found |= (at >= begin - slack) & (at <= end + slack)
    return found


def to_timed(proofs: pl.DataFrame) -> pl.DataFrame:
    """PROOFS with ``at`` (us since 1970; null: no idea), ``doubt_us``, ``is_last`` and ``awaited``."""
    metres = proofs.select(*VISIT, "at_m").unique().sort(VISIT)
    first = (
        proofs.filter(proof=Proof.SEEN.value)
        .group_by("runner")
        .agg(
            pl.col("time").sort_by("order").first().dt.epoch("us").alias("first_us"),
            pl.col("at_m").min().alias("first_m"),
        )
    )
    rows = proofs.join(first, on="runner", how="left", validate="m:1")
    for side in ("before", "after"):
        placed = metres.rename({"order": f"{side}_order", "at_m": f"{side}_m"})
        rows = rows.join(placed, on=["course", f"{side}_order"], how="left", validate="m:1")
    rows = rows.with_columns(
        pl.col("time").dt.epoch("us").alias("read_us"),
        pl.col("before_time").dt.epoch("us").alias("from_us"),
        pl.col("after_time").dt.epoch("us").alias("to_us"),
        pl.coalesce("before_m", pl.lit(0.0)).alias("before_m"),
        (pl.col("order") == pl.col("order").max().over("course")).alias("is_last"),
    )
    return _timed(_foretold(rows)).sort("runner", "order").select(
        *proofs.columns, "at", "doubt_us", "is_last", "awaited"
    )  # fmt: skip


def _foretold(rows: pl.DataFrame) -> pl.DataFrame:
    """Adds ``between`` (by distance), ``usual`` (by the field's habit between two reads) and ``onward`` (by own pace)."""
    read, begin, span = pl.col("read_us"), pl.col("from_us"), pl.col("to_us") - pl.col("from_us")
    pace = (begin - pl.col("first_us")) / (pl.col("before_m") - pl.col("first_m"))
    at_pace = pace * (pl.col("at_m") - pl.col("before_m"))
    share = (read - begin) / span
    follows = pl.col("before_order") == pl.col("order") - 1
    beside = (follows | (pl.col("order") == 0)) & (pl.col("after_order") == pl.col("order") + 1)
    sane = beside & (share >= 0) & (share <= 1)
    paced = follows & (pl.col("before_m") > pl.col("first_m")) & (pace > 0)
    metres = pl.col("after_m") - pl.col("before_m")
    rows = rows.with_columns(
        follows.alias("follows"),
        share.filter(sane).median().over(VISIT).alias("habit"),
        ((read - begin) / at_pace).filter(paced).median().over(VISIT).alias("factor"),
        (read - begin).filter(follows).median().over(VISIT).alias("stretch"),
        (begin + (pl.col("at_m") - pl.col("before_m")) / metres * span).alias("between"),
    )
    onward = pl.coalesce(pl.when(paced).then(pl.col("factor") * at_pace), "stretch")
    return rows.with_columns(
        pl.when(beside).then(begin + pl.col("habit") * span).alias("usual"),
        (begin + onward).alias("onward"),
    )


def _timed(rows: pl.DataFrame) -> pl.DataFrame:
    read, begin, end = pl.col("read_us"), pl.col("from_us"), pl.col("to_us")
    latest = pl.coalesce(end, begin + SLOWEST * (pl.col("onward") - begin))
    contradicted = (read < begin) | (read > latest)
    placed = pl.when(end.is_not_null()).then("between").otherwise("onward")
    awaited = (
        pl.col("is_last")
        & pl.coalesce("follows", pl.lit(False))
        & pl.col("proof").is_in([Proof.SEEN.value, Proof.CAMERA.value, Proof.UNPROVEN.value])
    )
    about = pl.col("about").dt.epoch("us")
    unread = pl.when(awaited).then(pl.coalesce("onward", about)).otherwise(about)
    at = pl.when(contradicted).then(placed).otherwise(pl.coalesce(read, unread))
    error = (read - pl.when("is_last").then("onward").otherwise("usual")).abs()
    return rows.with_columns(
        at.round().cast(pl.Int64).alias("at"),
        awaited.alias("awaited"),
        pl.coalesce(error.quantile(SURE).over(VISIT), pl.lit(0.0)).cast(pl.Int64).alias("doubt_us"),
    )


def to_arrivals(timed: pl.DataFrame, event: Event) -> list[tuple[Arrivals, list[Arrivals]]]:
    """Per point in the event's order: the whole point, then its lines as far as the input tells them apart."""
    known = pl.col("proof").is_in(CROSSED)
    awake = (pl.col("proof") == Proof.SEEN.value).any().over("runner")
    rows = timed.filter(awake, pl.col("at").is_not_null()).with_columns(
        known.alias("known"), (pl.col("proof") == Proof.SEEN.value).alias("seen")
    )
    found = []
    for point in event.points:
        here = rows.filter(pl.col("point") == point.id).sort("at", "runner", "order")
        lines = [line for line in event.lines_at(point.id) if _tells(here, line)]
        told = len(lines) == 2 and all(_tells_all(here, line) for line in lines)
        alone = len(event.lines_at(point.id)) == 1 and len(lines) == 1
        whole = _of_point(here, point.id, lines[0].id if alone else None, told)
        found.append((whole, [] if alone else [_of_line(here, line, told) for line in lines]))
    return found


def _flag(line: Line) -> str:
    return f"seen_{line.role.value}"


def _tells(here: pl.DataFrame, line: Line) -> bool:
    return here.filter("known", pl.col(_flag(line)).is_not_null()).height > 0


def _tells_all(here: pl.DataFrame, line: Line) -> bool:
    known = here.filter("known")
    return known[_flag(line)].null_count() <= UNTOLD_SHARE * known.height


def _of_point(here: pl.DataFrame, point: str, line: str | None, told: bool) -> Arrivals:
    tries = here.filter((pl.col("known") & pl.col("seen_later")) | pl.col("awaited"))
    last = bool(tries["awaited"].any())
    later = bool((~tries["awaited"]).any())
    words = ["later points"] * later + ["the point before"] * last
    return _arrivals(tries, pl.col("seen"), point, line, told, " and ".join(words), here.filter("seen")["at"])


def _of_line(here: pl.DataFrame, line: Line, told: bool) -> Arrivals:
    sibling = Role.BACKUP if line.role is Role.MAIN else Role.MAIN
    by_sibling = pl.coalesce(f"seen_{sibling.value}", pl.lit(False)) if told else pl.lit(False)
    flag = pl.col(_flag(line))
    tries = here.filter("known", flag.is_not_null(), by_sibling | pl.col("seen_later"))
    words = f"the {sibling.value} line or later points" if told else "later points"
    reads = here.filter(flag)["at"]
    return _arrivals(tries.with_columns(awaited=pl.lit(False)), flag, line.point, line.id, told, words, reads)


def _arrivals(
    tries: pl.DataFrame,
    read: pl.Expr,
    point: str,
    line: str | None,
    told: bool,
    words: str,
    reads: pl.Series,
) -> Arrivals:
    columns = tries.select(
        "at", (~read).alias("missed"), (~pl.col("seen")).alias("unseen"), "awaited", "doubt_us"
    )
    at, missed, unseen, awaited, doubt = (columns[name].to_numpy() for name in columns.columns)
    longest = int(doubt.max()) if len(doubt) else 0
    return Arrivals(point, line, told, words, at, missed, unseen, awaited, reads.sort().to_numpy(), longest)
