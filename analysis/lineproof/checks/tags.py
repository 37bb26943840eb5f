"""Checks on tags: two that go together all day, and one that stays by a line."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import polars as pl

from lineproof.checks.material import Material, counted, nothing
from lineproof.checks.rows import CARRIER, PLACE, to_chains
from lineproof.clocks import chosen_time
from lineproof.crossings.holders import to_held
from lineproof.event import Event
from lineproof.tables import row_key

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

MOST_CROWD = 500  # passings in ten seconds or so: twice the busiest start
PAIR = ["a", "b"]
EXTRA_LINES = 4  # quiet lines looked at beyond the one that any true pair must have shared
FEWEST_POINTS = 3  # the two lines of one point say the same thing twice
MOST_MEETINGS = 0.8  # of the meetings are closer than together_typical_s


def find_standing(material: Material) -> pl.DataFrame:
    """Passings that last too long, and chains of passings at one line."""
    event = material.event
    limit = event.setting("standing_s")
    linked = to_chains(material.passings, event).with_columns(
        stay_s=(pl.col("last") - pl.col("first")).dt.total_microseconds() / 1e6
    )
    stays = (
        linked.filter((pl.col("in_chain") >= event.setting("standing_passings")) | (pl.col("stay_s") > limit))
        .with_columns(key=row_key())
        .group_by("chain", maintain_order=True)
        .agg(
            pl.col(*CARRIER, *PLACE, "key").first(),
            time=pl.col("first").first(),
            rows=pl.len(),
            value=(pl.col("last").max() - pl.col("first").min()).dt.total_microseconds() / 1e6,
        )
    )
    return stays.select(
        *CARRIER,
        *PLACE,
        "time",
        "rows",
        "value",
        "key",
        limit=pl.lit(limit),
        unit=pl.lit("s"),
        detail=pl.format(
            "Read for {} s at one line, in {}: consistent with a tag that stays by the line.",
            pl.col("value").round(0).cast(pl.Int64),
            counted("rows", "passing", "passings"),
        ),
    )


def find_together(material: Material) -> pl.DataFrame:
    """Two findings, one for each tag, for every pair that crosses nearly all lines together."""
    event = material.event
    likely = _likely_pairs(material.passings, event)
    marks = _marks(material, likely)
    pairs = _confirm(likely, marks, event)
    if pairs.is_empty():
        return nothing()
    who = marks.sort("at_us", "passing").group_by("carrier", maintain_order=True)
    first = who.agg(pl.col("tag", "bib", "runner", "key", "at").first())
    both = [pairs.select(pl.col(side).alias("carrier"), "shared", "lines") for side in PAIR]
    return (
        pl.concat(both)
        .unique("carrier", keep="first", maintain_order=True)
        .join(first, on="carrier", how="left", validate="m:1")
        .select(
            "tag",
            "bib",
            "runner",
            "key",
            time="at",
            rows="shared",
            value=pl.col("shared") / pl.col("lines"),
            limit=pl.lit(event.setting("together_share")),
            unit=pl.lit("share"),
            detail=pl.format(
                "Crossed {} of {} lines together with a tag of another runner: consistent with two tags on one "
                "person.",
                "shared",
                "lines",
            ),
        )
    )


def _named(passings: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Passings with ``carrier`` (tag, else bib), ``line`` (else point) and the time that counts there."""
    return passings.with_columns(
        carrier=pl.coalesce("tag", "bib"), mat_line=pl.coalesce("line", "point"), at=chosen_time(event)
    ).with_columns(at_us=pl.col("at").dt.epoch("us"))


def _marks(material: Material, pairs: pl.DataFrame) -> pl.DataFrame:
    """Passings of the carriers in ``pairs``, with their runners."""
    wanted = pl.concat([pairs.select(carrier=side) for side in PAIR]).unique()
    named = _named(material.passings, material.event).join(wanted, on="carrier", how="semi")
    held = to_held(named, material.entries, material.tags, material.event)
    return held.select(
        *("passing", "tag", "bib", "runner", "point", "carrier", "at", "at_us"),
        key=row_key(),
        line="mat_line",
    )


def _likely_pairs(passings: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Pairs a < b of carriers that met at several points, counting only each carrier's quietest lines.

    A pair that shares ``together_share`` of the lines shares nearly all of either tag's quietest
    lines.  Only passings there are compared with their neighbours in time, so the work grows with the
    number of runners and not with its square.
    """
    named = _named(passings, event)
    carriers = named["carrier"].cast(pl.Categorical)
    carrier, line, point = (
        column.cast(pl.Categorical).to_physical().to_numpy().astype(np.int64)
        for column in (carriers, named["mat_line"], named["point"])
    )
    at = named["at_us"].to_numpy()
    window = event.setting_us("together_s")
    quiet = _quietest(carrier, _crowd(line, at, window), event)
    met = _meetings(carrier[quiet], line[quiet], point[quiet], at[quiet], window)
    often = met.unique().group_by("one", "other").len().filter(pl.col("len") >= FEWEST_POINTS)
    names = pl.DataFrame({"id": carriers.to_physical().cast(pl.Int64), "carrier": named["carrier"]}).unique()
    return (
        often.join(names.rename({"carrier": "x"}), left_on="one", right_on="id", how="left", validate="m:1")
        .join(names.rename({"carrier": "y"}), left_on="other", right_on="id", how="left", validate="m:1")
        .select(a=pl.min_horizontal("x", "y"), b=pl.max_horizontal("x", "y"))
        .sort(PAIR)
    )


def _crowd(line: Ints, at: Ints, window: int) -> Ints:
    """Passings at the line within ten windows or so of each: the order among lines is what counts."""
    slot = (at - at.min(initial=0)) // (window * 10 + 1)
    counted = pl.DataFrame({"line": line, "slot": slot}).select(pl.len().over("line", "slot").cast(pl.Int64))
    return counted.to_series().to_numpy()


def _quietest(carrier: Ints, crowd: Ints, event: Event) -> Bools:
    """Of each carrier the few passings in the least crowd: one more than may be missed, and some."""
    order = np.lexsort((crowd, carrier))
    begins = np.flatnonzero(np.diff(carrier[order], prepend=-1))
    counts = np.diff(begins, append=len(carrier))
    turn = np.arange(len(carrier)) - np.repeat(begins, counts)
    share = event.setting("together_share")
    # Of n lines of either tag at most n * (1 - share) / share are not shared.
    take = np.floor(counts * (1 - share) / share + 1e-9) + 1 + EXTRA_LINES
    chosen = (turn < np.repeat(take, counts)) & np.repeat(counts >= event.setting("together_lines"), counts)
    # In a pile of one filled-in time everybody meets everybody, which says nothing of anybody.
    chosen &= crowd[order] <= MOST_CROWD
    quiet = np.zeros(len(carrier), dtype=np.bool_)
    quiet[order[chosen]] = True
    return quiet


def _meetings(carrier: Ints, line: Ints, point: Ints, at: Ints, window: int) -> pl.DataFrame:
    """Meetings of different carriers within the window at one line: one < other, and the point."""
    order = np.lexsort((at, line))
    carrier, line, point, at = carrier[order], line[order], point[order], at[order]
    parts = [pl.DataFrame(schema={"one": pl.Int64, "other": pl.Int64, "point": pl.Int64})]
    for step in range(1, len(at)):
        near = (line[step:] == line[:-step]) & (at[step:] - at[:-step] <= window)
        if not near.any():
            break
        a, b = carrier[:-step][near], carrier[step:][near]
        met = {"one": np.minimum(a, b), "other": np.maximum(a, b), "point": point[:-step][near]}
        parts.append(pl.DataFrame(met).filter(pl.col("one") != pl.col("other")))
    return pl.concat(parts)


def _confirm(likely: pl.DataFrame, marks: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Counts, over all passings, the lines that the likely pairs shared and those that they did not.

    A line that read one tag only says nothing where the point's other line read both at that time.
    """
    here = marks.select("passing", "carrier", "line", "point", "at_us", "runner")
    of_a = likely.join(here, left_on="a", right_on="carrier", how="inner", validate="m:m")
    of_b = likely.join(here, left_on="b", right_on="carrier", how="inner", validate="m:m")
    apart_us = (pl.col("at_us") - pl.col("at_us_b")).abs()
    met = (
        of_a.join(of_b, on=[*PAIR, "line"], how="inner", validate="m:m", suffix="_b")
        .with_columns(apart_us=apart_us)
        .filter(
            (pl.col("apart_us") <= event.setting_us("together_s"))
            & (pl.col("runner").ne_missing(pl.col("runner_b")) | pl.col("runner").is_null())
        )
    )
    alone = pl.concat([_alone(of_a, met, event), _alone(of_b, met, event)]).group_by(PAIR).len("alone")
    return (
        met.group_by(PAIR)
        .agg(
            shared=pl.col("passing").n_unique(),
            points=pl.col("point").n_unique(),
            typical_us=pl.col("apart_us").quantile(MOST_MEETINGS, "linear"),
        )
        .join(alone, on=PAIR, how="left", validate="1:1")
        .with_columns(lines=pl.col("shared") + pl.coalesce("alone", pl.lit(0)))
        .filter(
            (pl.col("shared") >= event.setting("together_lines"))
            & (pl.col("points") >= FEWEST_POINTS)
            & (pl.col("typical_us") <= event.setting_us("together_typical_s"))
            & (pl.col("shared") >= pl.col("lines") * event.setting("together_share"))
        )
        .sort(PAIR)
    )


def _alone(of_one: pl.DataFrame, met: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Passings of one tag of the pair at points where the two did not meet about then."""
    near = event.setting_us("crossing_gap_s")
    meetings = met.select(*PAIR, "point", met_us="at_us")
    excused = (
        of_one.join(meetings, on=[*PAIR, "point"], how="inner", validate="m:m")
        .filter((pl.col("at_us") - pl.col("met_us")).abs() <= near)
        .select(*PAIR, "passing")
    )
    return of_one.join(excused, on=[*PAIR, "passing"], how="anti").select(PAIR)
