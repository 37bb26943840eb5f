"""Checks on single rows of the exports: repeated rows, rows too close together, times that are none."""

from __future__ import annotations

import polars as pl

from lineproof.checks.material import Material, clock, nothing, stack
from lineproof.checks.rules import PILE_FACTOR, not_placeholder
from lineproof.event import Event
from lineproof.tables import READS, row_key
from lineproof.vocabulary import PointKind

CARRIER = ["tag", "bib"]
PLACE = ["point", "line"]
FEWEST_SHARED = 5  # a fault of a whole file or line shows in at least so many rows
MINUTE = pl.duration(minutes=1)


def to_repeated_reads(reads: pl.LazyFrame, different: int | None = None) -> pl.DataFrame:
    """The second and later copies of a read: READS rows equal in all but file and row, in export order.

    ``different`` is the number of reads that differ, where it is known: then a sound export is not searched.
    """
    if different is not None and reads.select(pl.len()).collect().item() == different:
        return READS.empty()
    same = ["tag", "line", "time", "antenna", "strength"]
    # Few rows are in doubt: only these are put in order and compared.
    doubtful = reads.group_by(same).len("copies").filter(pl.col("copies") > 1)
    rows = reads.join(doubtful, on=same, how="semi", nulls_equal=True).collect().sort("file", "row")
    return READS.check(rows.filter(~pl.struct(same).is_first_distinct()))


def find_duplicates(material: Material) -> pl.DataFrame:
    """The second and later copies of a row; a place where most rows stand twice is one finding."""
    same = [*CARRIER, *PLACE, "visit", "first", "strongest", "last", "reads", "level"]
    copies = material.passings.sort("passing").filter(~pl.struct(same).is_first_distinct())
    passed = copies.select(*CARRIER, *PLACE, time="first", key=row_key())
    lines = pl.DataFrame(
        [(line.id, line.point) for line in material.event.lines],
        schema={"line": pl.String, "point": pl.String},
        orient="row",
    )
    reads = material.repeated_reads.with_columns(pl.col("tag", "line").cast(pl.String))
    repeated = reads.join(lines, on="line", how="left", validate="m:1").select("tag", *PLACE, "time")
    once = (
        material.passings.filter(pl.struct(same).is_first_distinct())
        .group_by(PLACE)
        .agg(passings=pl.len(), reads=pl.col("reads").sum())
    )
    return stack(
        _copies(passed, once.select(*PLACE, once="passings"), material),
        _copies(repeated, once.select(*PLACE, once="reads"), material),
    )


def _copies(copies: pl.DataFrame, once: pl.DataFrame, material: Material) -> pl.DataFrame:
    """One finding for each copy; one for a place with nearly as many copies as rows (``once``)."""
    marked = copies.join(once, on=PLACE, how="left", validate="m:1", nulls_equal=True).with_columns(
        copies=pl.len().over(PLACE)
    )
    doubled = (pl.col("copies") >= FEWEST_SHARED) & (
        pl.col("copies") >= pl.col("once") * material.event.setting("whole_line_share")
    )
    single = marked.filter(~doubled).select(
        *copies.columns,
        detail=pl.lit("The same row stands more than once in the exports; it counts once."),
    )
    whole = (
        marked.filter(doubled)
        .group_by(PLACE)
        .agg(time=pl.col("time").min(), rows=pl.len(), value=pl.len().cast(pl.Float64))
        .with_columns(
            unit=pl.lit("rows"),
            detail=pl.format(
                "{} rows of this place are copies of another: consistent with an export given twice.", "rows"
            ),
        )
    )
    return stack(single, whole)


def to_chains(passings: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Passings in a chain (runs of one tag at one line, each soon after the last) and single long ones.

    Adds ``wait`` since the passing before, ``soon``, ``chain`` (its number) and ``in_chain`` (its length).
    Exact copies count once; people who stand on the start mats before their gun are left out, and so
    are two unnamed lines of one point, whose times lie within one crossing.
    """
    close = pl.duration(microseconds=event.setting_us("too_close_s"))
    one_crossing = pl.duration(microseconds=event.setting_us("crossing_gap_s"))
    long = pl.duration(microseconds=event.setting_us("standing_s"))
    same = pl.col("carrier_at") == pl.col("carrier_at").shift()
    copy = same & pl.all_horizontal(
        pl.col(name).eq_missing(pl.col(name).shift()) for name in ("first", "last", "visit")
    )
    wait = pl.when(same).then(pl.col("first") - pl.col("last").shift())
    unnamed = pl.col("line").is_null() & (pl.col("wait") <= one_crossing)
    linked = (
        passings.filter(~_waits_for_gun(event))
        .with_columns(carrier_at=carrier_at())
        .sort("first", "passing")
        .sort("carrier_at", maintain_order=True)
        .filter(~copy.fill_null(False))
        .with_columns(wait=wait)
        .with_columns(soon=((pl.col("wait") < close) & ~unnamed).fill_null(False))
        .with_columns(chain=(~pl.col("soon")).cum_sum())
    )
    followed = pl.col("soon").shift(-1).fill_null(False)
    return linked.filter(pl.col("soon") | followed | (pl.col("last") - pl.col("first") > long)).with_columns(
        in_chain=pl.len().over("chain")
    )


def carrier_at() -> pl.Expr:
    """One whole number for each carrier (tag, else bib) at each place, to sort by quickly."""
    carrier = pl.when(pl.col("tag").is_not_null()).then("t" + pl.col("tag")).otherwise("b" + pl.col("bib"))
    place = pl.coalesce("line", "point")
    return _number(carrier) * 2**32 + _number(place)


def _number(text: pl.Expr) -> pl.Expr:
    return text.cast(pl.Categorical).to_physical().cast(pl.UInt64)


def _waits_for_gun(event: Event) -> pl.Expr:
    """Passings at a first point of a course that began before the last gun: runners wait there."""
    guns = [wave.gun for wave in event.waves if wave.gun is not None]
    begins = {course.visits[0].point for course in event.courses}
    begins |= {point.id for point in event.points if point.kind is PointKind.START}
    if not guns:
        return pl.col("point").is_in(sorted(begins))
    slack = pl.duration(microseconds=event.setting_us("standing_s"))
    waits = pl.col("first") < pl.lit(max(guns)).cast(pl.Datetime("us", "UTC")) + slack
    return pl.col("point").is_in(sorted(begins)) & waits


def find_too_close(material: Material) -> pl.DataFrame:
    """Later passings of short chains; longer chains are somebody standing by the line."""
    limit = material.event.setting("too_close_s")
    pairs = to_chains(material.passings, material.event).filter(
        pl.col("soon") & (pl.col("in_chain") < material.event.setting("standing_passings"))
    )
    totals = material.passings.group_by(PLACE).len("total")
    marked = pairs.join(totals, on=PLACE, how="left", validate="m:1", nulls_equal=True).with_columns(
        many=pl.len().over(PLACE), wait_s=pl.col("wait").dt.total_microseconds() / 1e6
    )
    shared = (pl.col("many") >= FEWEST_SHARED) & (
        pl.col("many") * 2 >= pl.col("total") * material.event.setting("whole_line_share")
    )
    common = {"limit": pl.lit(limit), "unit": pl.lit("s")}
    single = marked.filter(~shared).select(
        *CARRIER,
        *PLACE,
        time="first",
        value="wait_s",
        **common,
        detail=pl.format(
            "Read again {} s after the passing before it, too soon to be another visit.",
            pl.col("wait_s").round(1),
        ),
        key=row_key(),
    )
    whole = (
        marked.filter(shared)
        .group_by(PLACE)
        .agg(
            time=pl.col("first").min(),
            rows=pl.len(),
            value=pl.col("wait_s").median(),
        )
        .select(
            *PLACE,
            "time",
            "rows",
            "value",
            **common,
            detail=pl.format(
                "{} passings follow another of the same tag, typically by {} s: consistent with two lines, or "
                "two exports, under one name.",
                "rows",
                pl.col("value").round(1),
            ),
        )
    )
    return stack(single, whole)


def find_placeholders(material: Material) -> pl.DataFrame:
    """Times that stand for "not known", and many runners at one instant."""
    event = material.event
    marked = material.passings.filter(~not_placeholder(event, "first"))
    single = marked.select(
        *CARRIER,
        *PLACE,
        time="first",
        detail=pl.format(
            'The time {} stands for "not known" and not for a crossing.',
            pl.col("first").dt.convert_time_zone(event.zone).dt.strftime("%Y-%m-%d %H:%M"),
        ),
        key=row_key(),
    )
    rest = material.passings.join(marked.select("passing"), on="passing", how="anti")
    return stack(single, _piles(rest, event))


def _near(tall: pl.DataFrame, instants: pl.DataFrame) -> pl.DataFrame:
    """The busiest other instant of the place within a minute of each tall one."""
    minute = pl.col("first").dt.epoch("s") // 60
    # Joined by minute and its neighbours, so that the work grows with the rows and not with their square.
    around = tall.with_columns(minute=pl.concat_list(minute - 1, minute, minute + 1)).explode("minute")
    return (
        around.join(
            instants.with_columns(minute=minute),
            on=[*PLACE, "minute"],
            how="inner",
            validate="m:m",
            nulls_equal=True,
            suffix="_near",
        )
        .filter(
            (pl.col("first") != pl.col("first_near"))
            & ((pl.col("first") - pl.col("first_near")).abs() <= MINUTE)
        )
        .group_by([*PLACE, "first"])
        .agg(busiest=pl.col("rows_near").max())
    )


def _piles(passings: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Instants shared by far more runners than any other instant near them."""
    instants = passings.group_by([*PLACE, "first"]).agg(rows=pl.len())
    least = event.setting("pile_rows")
    # Copies of rows must not make a pile: only the tall ones are counted by runner.
    tall = (
        passings.join(
            instants.filter(pl.col("rows") >= least), on=[*PLACE, "first"], how="semi", nulls_equal=True
        )
        .group_by([*PLACE, "first"])
        .agg(rows=pl.struct(CARRIER).n_unique().cast(pl.UInt32))
        .filter(pl.col("rows") >= least)
        .sort(*PLACE, "first", nulls_last=True)
    )
    if tall.is_empty():
        return nothing()
    near = _near(tall, instants)
    piles = tall.join(near, on=[*PLACE, "first"], how="left", validate="1:1", nulls_equal=True).filter(
        pl.col("rows") >= PILE_FACTOR * pl.coalesce("busiest", pl.lit(1))
    )
    return piles.select(
        *PLACE,
        "rows",
        time="first",
        value=pl.col("rows").cast(pl.Float64),
        limit=pl.lit(event.setting("pile_rows")),
        unit=pl.lit("rows"),
        detail=pl.format(
            "{} runners have the same time to the last digit ({}): consistent with times that were filled in.",
            "rows",
            clock(pl.col("first"), event),
        ),
    )
