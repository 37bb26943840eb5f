"""Checks on the way between crossings: order, pace, and the fault that makes a whole segment fast."""

from __future__ import annotations

import polars as pl

from lineproof.checks.material import Material, say_seconds, stack, to_rows
from lineproof.checks.rules import broken, pace_possible
from lineproof.vocabulary import RunnerClass, Severity

SEGMENT = ["course", "segment_from", "order"]
FEWEST_SHARED = 5
SHIFT_SHARE = 0.2  # of the usual time for a segment: hills shift a whole field by less
ROW = ["runner", "bib", "course", "point", "line", "order", "time", "key"]
S = 1e6


def _fast(material: Material) -> pl.DataFrame:
    """Stretches that break the order or a bound, with ``shared``: part of a whole segment's fault.

    ``excused``: that, or timed at one end by a line whose clock is set aside; one finding stands for all.
    ``beats_foot``: class not known, too fast on foot and possible on wheels.
    """
    event = material.event
    unknown_class = _of_class().is_null() & (pl.col("stretch_us") > 0)
    judged = material.judged.with_columns(
        backwards=broken("times_in_order", event),
        too_fast=broken("pace_possible", event),
        beats_foot=(
            unknown_class & pl.col("stretch_us").is_between("shortest_us", "foot_us", closed="left")
        ).fill_null(False),
        expected_us=_expected(),
    ).with_columns(fast=pl.col("backwards") | pl.col("too_fast") | pl.col("beats_foot"))
    segments = (
        judged.filter(pl.col("stretch_us").is_not_null())
        .group_by(SEGMENT)
        .agg(
            timed=pl.len(),
            many=pl.col("fast").sum(),
            shift=(pl.col("stretch_us") - pl.col("expected_us")).median(),
            usual=pl.col("expected_us").median(),
        )
        .with_columns(share=pl.col("many") / pl.col("timed"))
    )
    moved = (pl.col("shift") < -SHIFT_SHARE * pl.col("usual")).fill_null(False)
    shared = (pl.col("many") >= FEWEST_SHARED) & (
        (pl.col("share") >= event.setting("whole_line_share"))
        | ((pl.col("share") >= event.setting("shared_fast_share")) & moved)
    )
    aside = pl.col("line").is_in(sorted(material.set_aside)).fill_null(False)
    return (
        judged.with_columns(aside=aside | aside.shift().over("runner").fill_null(False))
        .filter("fast")
        .join(segments.with_columns(shared=shared), on=SEGMENT, how="left", validate="m:1", nulls_equal=True)
        .with_columns(excused=pl.col("shared").fill_null(False) | pl.col("aside"))
    )


def _expected() -> pl.Expr:
    """Time for the stretch at the runner's own pace on the rest of the course, us; null without a rest."""
    rest_us = pl.col("segment_us").sum().over("runner") - pl.col("segment_us")
    rest_m = pl.col("segment_m").sum().over("runner") - pl.col("segment_m")
    return pl.when((rest_m > 0) & (rest_us > 0)).then(pl.col("segment_m") * rest_us / rest_m)


def _skips() -> pl.Expr:
    """The stretch passes over visits of the course where the runner was not read."""
    before = pl.coalesce("segment_from", pl.lit(-1))
    first_read = pl.col("segment_from").is_null() & (pl.col("order") > 1)
    return (pl.col("segment_from").is_not_null() & (pl.col("order") - before > 1)) | first_read


def _of_class() -> pl.Expr:
    return pl.col("runner_class").cast(pl.String)


def _as_rows(rows: pl.DataFrame, detail: pl.Expr) -> pl.DataFrame:
    return rows.select(
        *ROW,
        value=pl.col("stretch_us") / S,
        limit=pl.col("shortest_us") / S,
        unit=pl.lit("s"),
        detail=detail,
    )


def _stretch_words() -> pl.Expr:
    """Distance and share of the least time; the times themselves would point to a runner."""
    since = (
        pl.when(pl.col("segment_from").is_null())
        .then(pl.lit("since the gun of the wave"))
        .otherwise(pl.lit("since the crossing before"))
    )
    return pl.format(
        "{} m {} in {} % of the least time that the best mark leaves",
        pl.col("stretch_m").round(0).cast(pl.Int64),
        since,
        (pl.col("stretch_us") * 100 / pl.col("shortest_us")).round(0).cast(pl.Int64),
    )


def find_out_of_order(material: Material) -> pl.DataFrame:
    rows = _fast(material).filter(pl.col("backwards") & ~pl.col("excused"))
    return _as_rows(
        rows,
        pl.format(
            "Crossed {} s before the visit ahead of it on the course: one of the two times is wrong.",
            (-pl.col("segment_us") / S).round(1),
        ),
    ).with_columns(limit=pl.lit(0.0))


def find_impossible_pace(material: Material) -> pl.DataFrame:
    """Faster than anybody of the class has gone; on foot, or of unknown class faster than any wheels."""
    rows = _fast(material).filter(pl.col("too_fast") & ~pl.col("excused") & ~_skips())
    on_foot = _of_class() == RunnerClass.FOOT.value
    unknown = _of_class().is_null()
    cause = (
        pl.when(unknown)
        .then(pl.lit("even on wheels"))
        .otherwise(
            pl.lit("on foot: a wrong class, swapped tags, a tag in a vehicle or a wrong time would do this")
        )
    )
    return _as_rows(rows.filter(on_foot | unknown), pl.format("{} {}.", _stretch_words(), cause))


def _between_foot_and_wheels(material: Material) -> pl.DataFrame:
    """Class unknown, too fast on foot, possible on wheels; the limit is that on foot."""
    rows = _fast(material).filter(pl.col("beats_foot") & ~pl.col("excused"))
    return rows.with_columns(shortest_us="foot_us")


def _fast_wheels(material: Material) -> pl.DataFrame:
    on_wheels = (_of_class() != RunnerClass.FOOT.value).fill_null(False)
    return _fast(material).filter(pl.col("too_fast") & ~pl.col("excused") & on_wheels)


def find_other_class_pace(material: Material) -> pl.DataFrame:
    """Wheels faster than their bound (a fall of the road may explain it); unknown class too fast for foot."""
    return stack(
        _as_rows(
            _fast_wheels(material).filter(~_skips()),
            pl.format("{} of the class; does the road fall here?", _stretch_words()),
        ),
        _as_rows(
            _between_foot_and_wheels(material).filter(~_skips()),
            pl.format("{} on foot; possible on wheels, the entries do not tell.", _stretch_words()),
        ),
    )


def find_course_cuts(material: Material) -> pl.DataFrame:
    """A stretch over missed visits, too fast for its full distance; where wheels might do it, a warning."""
    rows = _fast(material).filter(pl.col("too_fast") & ~pl.col("excused") & _skips())
    on_foot = (_of_class() == RunnerClass.FOOT.value) | _of_class().is_null()
    detail = pl.format(
        "{}, and the points between did not read the runner: consistent with a shortened course or a tag in a "
        "vehicle.",
        _stretch_words(),
    )
    perhaps = [_fast_wheels(material).filter(_skips()), _between_foot_and_wheels(material).filter(_skips())]
    warning = pl.lit(Severity.WARNING.value)
    return stack(
        _as_rows(rows.filter(on_foot), detail),
        *(_as_rows(part, detail).with_columns(severity=warning) for part in perhaps),
    )


def find_sudden_pace(material: Material) -> pl.DataFrame:
    """Possible, but far faster than the rest of the runner's own day and the field on that stretch."""
    event = material.event
    limit = event.setting("sudden_pace_share")
    judged = material.judged.with_columns(ratio=pl.col("segment_us") / _expected())
    field = _field_ratio(judged)
    rows = (
        judged.filter(pace_possible(event) & pl.col("ratio").is_not_null())
        .join(field, on=SEGMENT, how="left", validate="m:1")
        .with_columns(share=pl.col("ratio") / pl.col("field_ratio"))
        .filter((pl.col("share") < limit).fill_null(False))
    )
    words = (
        pl.when(_skips())
        .then(pl.lit("points between were not read: consistent with a shortened course"))
        .otherwise(pl.lit("consistent with swapped tags, a tag in a vehicle or a wrong time at one end"))
    )
    return rows.select(
        *ROW,
        value="share",
        limit=pl.lit(limit),
        unit=pl.lit("share"),
        detail=pl.format(
            "{} m in {} % of the time that the rest of the run and the field foretell; {}.",
            pl.col("stretch_m").round(0).cast(pl.Int64),
            (pl.col("share") * 100).round(0).cast(pl.Int64),
            words,
        ),
    )


def _field_ratio(judged: pl.DataFrame) -> pl.DataFrame:
    """What the field takes for each stretch, against its own pace elsewhere.

    The stretch between two visits of which some were missed is put together from the segments that the
    others ran: their ratios, weighted by distance.
    """
    parts = (
        judged.filter((pl.col("order") - pl.col("segment_from") == 1) & (pl.col("ratio") > 0))
        .group_by("course", "order")
        .agg(ratio=pl.col("ratio").median(), metres=pl.col("segment_m").first(), n=pl.len())
        .filter(pl.col("n") >= FEWEST_SHARED)
    )
    wanted = judged.filter(pl.col("segment_from").is_not_null()).select(SEGMENT).unique()
    return (
        wanted.join(parts, on="course", how="inner", validate="m:m", suffix="_part")
        .filter((pl.col("order_part") > pl.col("segment_from")) & (pl.col("order_part") <= pl.col("order")))
        .group_by(SEGMENT)
        .agg(
            field_ratio=(pl.col("ratio") * pl.col("metres")).sum() / pl.col("metres").sum(),
            covered=pl.len().cast(pl.Int16),
        )
        .filter(pl.col("covered") == pl.col("order") - pl.col("segment_from"))
        .drop("covered")
    )


def find_whole_segments(material: Material) -> pl.DataFrame:
    """One finding for a segment that most of the field covered impossibly fast."""
    fast = _fast(material).filter("shared")
    if fast.is_empty():
        return to_rows([])
    offsets = estimate_point_offsets(material.judged)
    visits = {(c.id, v.order): v.point for c in material.event.courses for v in c.visits}
    groups = (
        fast.group_by(SEGMENT)
        .agg(pl.col("timed", "many", "share").first(), time=pl.col("time").min())
        .sort(SEGMENT, nulls_last=True)
    )
    rows: list[dict[str, object]] = []
    for group in groups.iter_rows(named=True):
        begin, end = group["segment_from"], group["order"]
        accused, words = _accuse(offsets, group["course"], begin, end, visits)
        share = group["share"]
        rows.append(
            {
                "point": visits[(group["course"], end if accused is None else accused)],
                "course": group["course"],
                "order": end,
                "time": group["time"],
                "value": share,
                "limit": material.event.setting("shared_fast_share"),
                "unit": "share",
                "rows": group["many"],
                "detail": f"{group['many']} of {group['timed']} times on the way here are faster than the best mark "
                f"allows: {words}.",
            }
        )
    return to_rows(rows)


def estimate_point_offsets(judged: pl.DataFrame) -> dict[tuple[str, int], float]:
    """Seconds by which the times of each inner visit lie late of an even pace between its neighbours.

    Median over runners read at the visit and at both next to it.  A late clock moves every runner by
    the same amount, later coming in and sooner going out.
    """
    nxt = judged.filter(pl.col("order") - pl.col("segment_from") == 1).select(
        "runner", "course", order="segment_from", out_us="segment_us", out_m="segment_m"
    )
    bent = (
        judged.filter(pl.col("order") - pl.col("segment_from") == 1)
        .join(nxt, on=["runner", "course", "order"], how="inner", validate="1:1")
        .with_columns(
            late=pl.col("segment_us")
            - (pl.col("segment_us") + pl.col("out_us"))
            * pl.col("segment_m")
            / (pl.col("segment_m") + pl.col("out_m"))
        )
        .group_by("course", "order")
        .agg(late_s=pl.col("late").median() / S, n=pl.len())
        .filter(pl.col("n") >= FEWEST_SHARED)
    )
    return {(course, order): late for course, order, late, _n in bent.iter_rows()}


def _accuse(
    offsets: dict[tuple[str, int], float],
    course: str,
    begin: int | None,
    end: int,
    visits: dict[tuple[str, int], str],
) -> tuple[int | None, str]:
    """Which end's clock would explain a fast segment: late at its begin, or early at its end."""
    late = offsets.get((course, begin), 0.0) if begin is not None else 0.0
    early = -offsets.get((course, end), 0.0)
    if max(late, early) <= 0:
        return None, "consistent with a clock or distance fault at one of its ends"
    order, size, way = (begin, late, "late") if late >= early else (end, early, "early")
    point = visits[(course, order)] if order is not None else ""
    return order, (
        f"the times at {point} are about {say_seconds(size)} {way} against the points on both sides, "
        "consistent with a clock fault there"
    )
