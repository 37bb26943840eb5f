"""From the tries of a whole event to what each runner's record says of the tag: frames around ``weak_tags``."""

from __future__ import annotations

import numpy as np
import polars as pl

from lineproof.detection.histories import Floats, Ints
from lineproof.detection.weak_tags import FEWEST_LINES, Record, doubt_never_read, estimate_weak_tags

VISIT = ["course", "order"]
JUDGED = ("weak", "unseen_good", "unseen_weak", "doubt_good", "doubt_weak")
NEVER = ("never", "doubt_never")


def judge_tags(tries: pl.DataFrame, record: pl.DataFrame) -> pl.DataFrame:
    """``runner, course, order`` of ``tries`` with ``weak`` and what follows for runners not read again.

    ``record`` has a row per runner, visit and line: runner, course, order, role, read, witnessed, down.  Added are
    ``weak`` (chance of a weak tag), ``unseen_good`` and ``unseen_weak`` (chance that a runner with such a tag,
    read before and neither here nor later, crossed here) and ``doubt_good``, ``doubt_weak`` (standard errors
    of their log odds), ``never`` (for each runner, how many like them crossed and were never read) and
    ``doubt_never`` (standard error of its logarithm).
    """
    keys = tries.select("runner", *VISIT)
    if record.is_empty():
        return keys.with_columns(pl.lit(0.0).alias(name) for name in (*JUDGED, *NEVER))
    # A minute in which a line was down says nothing of a tag, but counts against the line's day.
    lines = record.group_by(*VISIT, "role").agg((~pl.col("down")).mean().alias("uptime")).sort(*VISIT, "role")
    record = record.filter(~pl.col("down"))
    kinds = 2 if lines.group_by("course").len()["len"].max() >= FEWEST_LINES else 1  # type: ignore[operator]
    visits = tries.group_by(VISIT).agg((pl.col("kind") == "none").all().alias("blind"))
    visits = visits.sort(VISIT).with_row_index("v")
    came = pl.col("either") | (pl.col("known") & pl.col("looked_up"))
    runners = tries.filter(came).group_by("runner", "course").agg(pl.col("order").max()).sort("runner")
    runners = runners.join(
        visits.select("v", *VISIT), on=VISIT, how="left", validate="m:1", maintain_order="left"
    )
    numbered = _number(record, runners, lines, visits)
    found = estimate_weak_tags(numbered, kinds=kinds)
    place = keys.join(
        runners.select("runner", pl.col("v").alias("last")).with_row_index("i"),
        on="runner", how="left", validate="m:1", maintain_order="left",
    ).join(visits.select("v", *VISIT), on=VISIT, how="left", validate="m:1", maintain_order="left")  # fmt: skip
    last, here = _whole(place["last"]), _whole(place["v"])
    later = here > last
    columns: dict[str, Floats] = {"weak": found.chance[_whole(place["i"])]}
    for kind, rate, weight in (("good", found.good, 1 - found.chance), ("weak", found.weak, found.chance)):
        unseen = found.crossed_unseen(numbered, rate, np.where(later, last, here), here)
        columns[f"unseen_{kind}"] = np.where(later, unseen, 0.0)
        columns[f"doubt_{kind}"] = found.doubt(numbered, weight)[here]
    first = _whole(runners.select(pl.col("course").replace_strict(_first_visits(visits)))["course"])
    i = _whole(place["i"])
    columns["never"] = found.never_read(numbered, first)[i]
    columns["doubt_never"] = doubt_never_read(numbered, found)[_whole(runners["v"])][i]
    return keys.with_columns(pl.Series(name, columns[name]) for name in (*JUDGED, *NEVER))


def _first_visits(visits: pl.DataFrame) -> dict[str, int]:
    return dict(visits.group_by("course").agg(pl.col("v").min()).sort("course").iter_rows())


def _number(record: pl.DataFrame, runners: pl.DataFrame, lines: pl.DataFrame, visits: pl.DataFrame) -> Record:
    """Ids to numbers from 0, in sorted order."""
    lines = (
        lines.join(visits.select("v", *VISIT), on=VISIT, how="left", validate="m:1")
        .sort(*VISIT, "role")
        .with_row_index("l")
    )
    numbered = record.join(
        runners.select("runner").with_row_index("i"), on="runner", how="left", validate="m:1"
    ).join(lines, on=[*VISIT, "role"], how="left", validate="m:1")
    following = pl.col("v").cast(pl.Int64).shift(-1).over("course", order_by="order")
    visits = visits.with_columns(following.fill_null(-1).alias("after")).sort("v")
    return Record(
        _whole(numbered["i"]),
        _whole(numbered["l"]),
        numbered["read"].to_numpy(),
        numbered["witnessed"].to_numpy(),
        _whole(runners["v"]),
        _whole(visits["after"]),
        _whole(lines["v"]),
        lines["uptime"].to_numpy(),
        visits["blind"].to_numpy(),
    )


def _whole(series: pl.Series) -> Ints:
    return series.cast(pl.Int64).to_numpy()
