"""The cells of an event: who tried each line and each slot of it, who was missed, and what lay there.

A crossing tries a line where it is proven without that line: by a later read where the visit has any, else by the
camera where it settled every runner, else by the other line of the point.  Whom each slot missed is estimated from
where the other line saw its runners cross.
"""

from __future__ import annotations

import polars as pl

from lineproof.detection.lateral_place import count_antennas, estimate_point
from lineproof.detection.tries import Kind, to_tries, untold
from lineproof.event import Event
from lineproof.interruptions import to_masks
from lineproof.season_tables import CELLS
from lineproof.tables import FLOAT
from lineproof.vocabulary import Role

MINUTE_US = 60_000_000


def to_line_tries(proofs: pl.DataFrame, interruptions: pl.DataFrame, event: Event) -> pl.DataFrame:
    """``runner``, ``course``, ``order``, ``point``, ``line``, ``read``, ``at_work``: each proven crossing of each line.

    ``at_work`` is false in the line's interruptions.  Lines of which the export does not tell have no rows.
    """
    tries = to_tries(proofs, event).join(
        to_masks(proofs, interruptions, event), on=["runner", "order"], how="left", validate="1:1"
    )
    frames = [_of_role(tries, role, event) for role in Role]
    return pl.concat(frames).sort("line", "course", "order", "runner")


def _of_role(tries: pl.DataFrame, role: Role, event: Event) -> pl.DataFrame:
    sibling = {Role.MAIN: Role.BACKUP, Role.BACKUP: Role.MAIN}[role].value
    lines = {
        line.point: line.id
        for line in event.lines
        if line.role is role and untold(tries, line.point, role) is not None
    }
    by_later = pl.col("kind").is_in([Kind.LATER.value, Kind.CAMERA.value]) & pl.col("later")
    by_sibling = (pl.col("kind") == Kind.SIBLING.value) & pl.col("known") & pl.col(sibling).fill_null(False)
    return tries.filter(
        pl.col("point").is_in(list(lines)), pl.col(role.value).is_not_null(), by_later | by_sibling
    ).select(
        "runner",
        "course",
        "order",
        "point",
        pl.col("point").replace_strict(lines, return_dtype=pl.String).alias("line"),
        pl.col(role.value).alias("read"),
        pl.col(f"{role.value}_available").alias("at_work"),
    )


def to_cells(
    line_tries: pl.DataFrame,
    slots: pl.DataFrame,
    proofs: pl.DataFrame,
    laid_lines: pl.DataFrame,
    laid_mats: pl.DataFrame,
    tags: pl.DataFrame,
    event: Event,
) -> pl.DataFrame:
    """CELLS of the event: every line as slot 0, and every slot of which ``slots`` (see ``to_slots``) tells.

    ``line_tries`` as ``to_line_tries`` makes them; the rest keep their contracts PROOFS, LAID_LINES, LAID_MATS, TAGS.
    """
    placed = pl.concat([_whole_lines(line_tries, event), _with_items(slots, laid_mats)], how="diagonal")
    facts = laid_lines.select(
        "line", "reader", "weather", "surface", "spacing_m", "covers", "crew_minutes", "laid"
    )
    rows = (
        placed.join(_planned(event), on="line", how="left", validate="m:1")
        .join(facts, on="line", how="left", validate="m:1")
        .join(_flows(proofs), on="point", how="left", validate="m:1")
    )
    return CELLS.conform(
        rows.with_columns(
            pl.lit(event.id).alias("event"),
            pl.lit(event.date).alias("date"),
            pl.coalesce("spacing_m", "planned_spacing_m").alias("spacing_m"),
            pl.lit(carries_two(tags), dtype=pl.Boolean).alias("two_tags"),
        )
    ).sort("line", "slot")


def _whole_lines(line_tries: pl.DataFrame, event: Event) -> pl.DataFrame:
    """One row per line of the event; nobody tried a line that no proof speaks of."""
    missed, at_work = ~pl.col("read"), pl.col("at_work")
    counts = line_tries.group_by("line").agg(
        pl.len().cast(FLOAT).alias("tried"),
        missed.sum().cast(FLOAT).alias("missed"),
        at_work.sum().cast(FLOAT).alias("tried_at_work"),
        (missed & at_work).sum().cast(FLOAT).alias("missed_at_work"),
    )
    lines = pl.DataFrame({"line": [line.id for line in event.lines]}, schema={"line": pl.String})
    numbers = ("tried", "missed", "tried_at_work", "missed_at_work")
    return lines.join(counts, on="line", how="left", validate="1:1").with_columns(
        pl.col(numbers).fill_null(0.0), pl.lit(0, dtype=pl.Int16).alias("slot")
    )


def to_slots(
    mats: pl.DataFrame,
    crossings: pl.DataFrame,
    interruptions: pl.DataFrame,
    proofs: pl.DataFrame,
    event: Event,
) -> pl.DataFrame:
    """``line``, ``antenna``, ``tried``, ``missed``, ``tried_at_work``, ``missed_at_work`` of the mats in MATS.

    As MATS has them, but not rounded: over a season, many parts of a miss add up.  Points with interruptions are
    estimated once more from the crossings outside of them; where those are too few, their slots have no row.
    """
    found = _of_mats(mats, crossings, event)
    stopped = pl.col("point").is_in(interruptions["point"].unique().to_list())
    working = to_masks(proofs, interruptions, event).filter("main_available", "backup_available")
    at_work = crossings.filter(stopped).join(
        working, on=["runner", "order"], how="semi", maintain_order="left"
    )
    sound = pl.concat([found.filter(~stopped), _of_mats(mats.filter(stopped), at_work, event)])
    renamed = sound.select(
        "line", "antenna", pl.col("tried").alias("tried_at_work"), pl.col("missed").alias("missed_at_work")
    )
    return (
        found.drop("point")
        .join(renamed, on=["line", "antenna"], how="inner", validate="1:1")
        .sort("line", "antenna")
    )


def _of_mats(mats: pl.DataFrame, crossings: pl.DataFrame, event: Event) -> pl.DataFrame:
    """``point``, ``line``, ``antenna``, ``tried`` and ``missed`` of the points whose mats can be told apart."""
    rows: list[tuple[str, str, int, float, float]] = []
    sizes = dict(mats.filter(pl.col("place") == "mat").group_by("line").len().iter_rows())
    for point in event.points:
        lines = [line.id for line in event.lines_at(point.id)]
        if len(lines) != 2 or not all(line in sizes for line in lines):
            continue
        counts = count_antennas(crossings, point.id, (sizes[lines[0]], sizes[lines[1]]))
        fitted = estimate_point(counts, event.setting("confidence"))
        for line, found in zip(lines, (fitted.main, fitted.backup), strict=True):
            rows += [(point.id, line, mat.antenna, mat.tried, mat.missed) for mat in found]
    ids = {"point": pl.String(), "line": pl.String(), "antenna": pl.Int32()}
    schema = pl.Schema({**ids, "tried": FLOAT, "missed": FLOAT})
    return pl.DataFrame(rows, schema=schema, orient="row")


def _with_items(slots: pl.DataFrame, laid_mats: pl.DataFrame) -> pl.DataFrame:
    """Slots by the record's ports; without ports, antennas count the slots from the near side.

    An antenna that the record of its line does not know, or knows twice, has no place and is left out.
    """
    record = laid_mats.select(
        "line",
        "slot",
        "mat",
        "cable",
        "hand_ceiling_cm",
        pl.coalesce("port", "slot").cast(pl.Int32).alias("antenna"),
    ).filter(pl.len().over("line", "antenna") == 1)
    known = slots.join(record, on=["line", "antenna"], how="inner", validate="1:1")
    unrecorded = slots.join(laid_mats.select("line").unique(), on="line", how="anti").with_columns(
        pl.col("antenna").cast(pl.Int16).alias("slot")
    )
    return pl.concat([known, unrecorded], how="diagonal").drop("antenna")


def _planned(event: Event) -> pl.DataFrame:
    rows = [
        {
            "line": line.id,
            "point": line.point,
            "kind": event.point(line.point).kind.value,
            "role": line.role.value,
            "planned_spacing_m": line.spacing_m,
        }
        for line in event.lines
    ]
    texts: dict[str, pl.DataType] = {name: pl.String() for name in ("line", "point", "kind", "role")}
    return pl.DataFrame(rows, schema={**texts, "planned_spacing_m": FLOAT})


def _flows(proofs: pl.DataFrame) -> pl.DataFrame:
    """``point``, ``flow``: runners in the minute of the middle runner; seen ones only, whose time is known."""
    minute = pl.col("time").dt.epoch("us") // MINUTE_US
    return (
        proofs.filter(pl.col("time").is_not_null())
        .with_columns(pl.len().over("point", minute).alias("flow"))
        .group_by("point")
        .agg(pl.col("flow").median().alias("flow"))
        .sort("point")
    )


def carries_two(tags: pl.DataFrame) -> bool | None:
    """Whether most runners were given more than one tag; None where no tags are known."""
    if tags.is_empty():
        return None
    each = tags.group_by("runner").agg(pl.col("tag").n_unique())
    return bool(each.select((pl.col("tag") > 1).mean() > 0.5).item())
