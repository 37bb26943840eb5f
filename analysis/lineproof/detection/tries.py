"""Proofs made ready for counting: what each visit's crossings are proven by, and who is like whom.

One row per runner and visit.  ``weak`` is the chance that the runner's tag is a weak one, by the whole
record: counted with that weight, good and weak tags are two strata within which the misses of two lines,
and of one point and the next, have little in common.
"""

from __future__ import annotations

from enum import StrEnum
from zoneinfo import ZoneInfo

import polars as pl
from scipy import stats

from lineproof.detection.judging import VISIT, judge_tags
from lineproof.detection.two_lines import Cells
from lineproof.event import Event
from lineproof.vocabulary import CROSSED, Proof, Role

WORKING_SHARE = 0.5  # a line that read less of a minute's crossings was down: no word on a tag
FEWEST_IN_MINUTE = 5
CHANCE_OF_DARK = 1e-6  # of so many unseen in one minute, if they came at random
FEWEST_DARK = 10  # runners whom both lines lost together, before a visit counts as dark …
DARK_SHARE = 0.01  # … and this share of those expected; fewer may be slow runners taken off the course
UNTOLD_SHARE = 0.005  # crossings that do not tell what a line did, before its rate is refused

FLOW_EDGES = (5, 10, 25, 50)  # crossings within 10 s at one point
FLOW_LABELS = (
    "under 5 per 10 s",
    "5 to 9 per 10 s",
    "10 to 24 per 10 s",
    "25 to 49 per 10 s",
    "50 or more per 10 s",
)


class Kind(StrEnum):
    """What can prove the crossings of a visit."""

    LATER = "later"
    CAMERA = "camera"
    SIBLING = "sibling"
    NONE = "none"


def to_tries(proofs: pl.DataFrame, event: Event, counted: pl.DataFrame | None = None) -> pl.DataFrame:
    """PROOFS with what counting needs, sorted by course, order and runner.

    ``counted`` (runner, order): the crossings that count, where not all do.  The others are in no count, but a read
    among them still shows that the runner came so far.

    Adds ``known`` (crossed for sure), ``later`` (and what shows it is not this visit's reads), ``looked_up`` (settled by
    the camera), ``doubtful``, ``unseen`` (not read here nor later, though read before), ``either``/``main``/``backup`` (read by them; null: not known), ``weak`` …
    ``doubt_weak`` (see ``judge_tags``),
    ``kind``, ``dark``, ``minute`` (cluster), ``bin`` and ``flow`` (labels).  Runners without any read are no-shows and
    stand in no row.
    """
    proof = pl.col("proof")
    read = (proof == Proof.SEEN.value).any().over("runner")
    entered = proofs.sort("runner", "order").with_columns((~read).any().over("course").alias("has_absent"))
    counts = pl.col("counts")
    rows = _with_counts(entered.filter(read), counted).with_columns(
        (counts & proof.is_in(CROSSED)).alias("known"),
        (counts & proof.is_in(CROSSED) & pl.col("seen_later")).alias("later"),
        (counts & proof.is_in([Proof.CAMERA.value, Proof.ABSENT.value])).alias("looked_up"),
        (counts & (proof == Proof.DOUBTFUL.value)).alias("doubtful"),
        (counts & (proof == Proof.UNPROVEN.value)).alias("unseen"),
        (proof == Proof.SEEN.value).alias("either"),
        pl.col("seen_main").alias("main"),
        pl.col("seen_backup").alias("backup"),
    )
    minute = event.setting_us("burst_bin_s")
    rows = rows.with_columns((pl.col("about").dt.epoch("us") // minute).alias("minute"))
    rows = _with_bins(rows, event).join(
        _kinds(rows), on=VISIT, how="left", validate="m:1", maintain_order="left"
    )
    # Where the camera settled everybody of whom it was open, all crossings are known, read or not.
    settled = pl.col("kind") == Kind.CAMERA.value
    rows = rows.with_columns((pl.col("later") | (settled & pl.col("known"))).alias("later"))
    return _with_weakness(rows).sort(*VISIT, "runner")


def _with_counts(rows: pl.DataFrame, counted: pl.DataFrame | None) -> pl.DataFrame:
    """Adds ``counts``.  Who was not read again and may have come by where nothing counts is left out.

    Such a runner neither stopped nor was missed, as far as can be told.
    """
    if counted is None:
        return rows.with_columns(counts=pl.lit(True))
    mark = counted.select("runner", "order", pl.lit(True).alias("counts"))
    marked = rows.join(mark, on=["runner", "order"], how="left", validate="1:1", maintain_order="left")
    # No row in ``counted`` is its way to say no.
    marked = marked.with_columns(pl.col("counts").fill_null(False))
    lost = (~pl.col("counts") & (pl.col("proof") == Proof.UNPROVEN.value)).any().over("runner")
    return marked.filter(~lost)


def untold(rows: pl.DataFrame, point: str, role: Role) -> int | None:
    """Crossings of a point that do not tell what its line did; None where too many for a rate."""
    here = rows.filter("known", pl.col("point") == point)
    nulls = here[role.value].null_count()
    return nulls if nulls <= UNTOLD_SHARE * here.height else None


def _with_bins(rows: pl.DataFrame, event: Event) -> pl.DataFrame:
    """Labels of the time bin (begin, local time with offset) and of the flow at the point."""
    minutes = f"{round(event.setting('time_bin_min'))}m"
    at = pl.col("about")
    moment = pl.when(pl.col("known") | pl.col("doubtful")).then(at)
    flow = pl.col("known").sum().over("point", at.dt.epoch("us") // 10_000_000)
    label = pl.lit(FLOW_LABELS[0])
    for edge, word in zip(FLOW_EDGES, FLOW_LABELS[1:], strict=True):
        label = pl.when(flow >= edge).then(pl.lit(word)).otherwise(label)
    return rows.with_columns(
        moment.dt.convert_time_zone(ZoneInfo(event.zone).key)
        .dt.truncate(minutes)
        .dt.strftime("%Y-%m-%dT%H:%M%:z")
        .alias("bin"),
        pl.when(moment.is_not_null()).then(label).alias("flow"),
    )


def _with_weakness(rows: pl.DataFrame) -> pl.DataFrame:
    """Adds ``weak`` and the chances of having crossed unseen, from the runner's record at all lines."""
    record = pl.concat([_record(rows, column) for column in ("main", "backup", "either")])
    judged = rows.join(judge_tags(rows, record), on=["runner", *VISIT], how="left", validate="1:1")
    # Where every entry was read somewhere, nobody crossed without ever being read.
    return judged.with_columns(pl.when("has_absent").then("never").otherwise(0.0).alias("never"))


def _record(rows: pl.DataFrame, column: str) -> pl.DataFrame:
    """Crossings that tell of one line, ``down`` in minutes in which it read hardly anybody.

    Either line counts as one where the export does not tell them apart.  Where nothing comes later, a
    line is judged by the runners whom the other read, and no line by its own reads.
    """
    told = pl.col("known") & pl.col(column).is_not_null()
    sibling = {"main": "backup", "backup": "main"}.get(column)
    if sibling is None:
        told &= pl.col("main").is_null() & pl.col("backup").is_null()
    by_sibling = pl.lit(False) if sibling is None else pl.col(sibling).fill_null(False)
    tried = told.sum().over("point", "minute")
    read = (told & pl.col(column)).sum().over("point", "minute")
    down = (tried >= FEWEST_IN_MINUTE) & (read < WORKING_SHARE * tried)
    return rows.filter(told & (pl.col("kind") != Kind.NONE.value)).select(
        "runner",
        *VISIT,
        pl.lit(column).alias("role"),
        pl.col(column).alias("read"),
        (pl.col("kind").is_in([Kind.LATER.value, Kind.CAMERA.value]) | by_sibling).alias("witnessed"),
        down.alias("down"),
    )


def _kinds(rows: pl.DataFrame) -> pl.DataFrame:
    """Per visit: later reads if there are any, else the camera if nothing is open, else the two lines.

    These witness for each other unless both were out.
    """
    told = pl.col("known") & pl.col("main").is_not_null() & pl.col("backup").is_not_null()
    main, backup = pl.col("main"), pl.col("backup")
    counts = (
        rows.group_by(VISIT)
        .agg(
            pl.col("later").sum().alias("later_rows"),
            (told & main & backup).sum().alias("both"),
            (told & main & ~backup).sum().alias("main_only"),
            (told & ~main & backup).sum().alias("backup_only"),
            (pl.col("known") & ~told).sum().alias("untold"),
            pl.col("known").sum().alias("known_rows"),
            (pl.col("looked_up").any() & ~(pl.col("unseen") | pl.col("doubtful")).any()).alias("settled"),
        )
        .join(_darkness(rows), on=VISIT, how="left", validate="1:1")
        .sort(VISIT)
    )
    kinds = [_kind(**row) for row in counts.drop(VISIT).iter_rows(named=True)]
    return counts.select(
        *VISIT,
        pl.Series("kind", [kind.value for kind in kinds], dtype=pl.String),
        (pl.col("dark") & (pl.col("later_rows") == 0) & ~pl.col("settled")).alias("dark"),
    )


def _darkness(rows: pl.DataFrame) -> pl.DataFrame:
    """Per visit: ``dark`` where runners were due for minutes on end and were read by neither line.

    Due is the time at the visit before plus the field's median from there.  Runners who stop are spread over
    the field; runners whom two lines without power missed come together, as chance alone does not bring
    them.
    """
    known = pl.col("known")
    unread = pl.col("unseen") | (known & pl.col("looked_up"))  # what the camera finds ends no power cut
    usual = pl.col("before_order").filter(known).mode().sort().first().over(VISIT)
    from_there = (pl.col("time") - pl.col("before_time")).median().over(*VISIT, "before_order")
    minutes = (
        rows.with_columns(((pl.col("before_time") + from_there).dt.epoch("us") // 60_000_000).alias("due_at"))
        .filter((known | unread) & (pl.col("before_order") == usual) & pl.col("due_at").is_not_null())
        .group_by(*VISIT, "due_at")
        .agg(pl.len().alias("due"), unread.sum().alias("unseen"))
        .with_columns((pl.col("unseen").sum() / pl.col("due").sum()).over(VISIT).alias("share"))
        .sort(*VISIT, "due_at")
    )
    by_chance = stats.binom.sf(minutes["unseen"] - 1.0, minutes["due"], minutes["share"])
    lost = pl.col("unseen").filter(pl.col("by_chance") < CHANCE_OF_DARK).sum()
    enough = (lost >= FEWEST_DARK) & (lost >= DARK_SHARE * pl.col("due").sum())
    minutes = minutes.with_columns(pl.Series("by_chance", by_chance, dtype=pl.Float64))
    return minutes.group_by(VISIT).agg(enough.alias("dark"))


def _kind(
    *,
    later_rows: int,
    both: int,
    main_only: int,
    backup_only: int,
    untold: int,
    known_rows: int,
    settled: bool,
    dark: bool | None,
) -> Kind:
    if later_rows:
        return Kind.LATER
    if settled:
        return Kind.CAMERA
    if dark:
        return Kind.NONE
    cells = Cells(both, main_only, backup_only)
    witnesses = both > 0 and not cells.is_fill_in and untold <= UNTOLD_SHARE * known_rows
    return Kind.SIBLING if witnesses else Kind.NONE
