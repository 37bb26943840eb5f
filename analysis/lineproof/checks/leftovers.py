"""Checks on the passings that became part of no crossing, by the reason why."""

from __future__ import annotations

import polars as pl

from lineproof.checks.material import Material, counted, stack
from lineproof.checks.rows import CARRIER, FEWEST_SHARED, PLACE
from lineproof.vocabulary import Unused


def _unused(material: Material, why: Unused) -> pl.DataFrame:
    return material.unused.filter(pl.col("why") == why.value)


def _per_line(rows: pl.DataFrame, one: str, many: str, rest: str) -> pl.DataFrame:
    return (
        rows.group_by(PLACE)
        .agg(time=pl.col("first").min(), rows=pl.len())
        .select(*PLACE, "time", "rows", detail=pl.format(f"{{}} {rest}", counted("rows", one, many)))
    )


def find_before_start(material: Material) -> pl.DataFrame:
    return _per_line(
        _unused(material, Unused.BEFORE_START),
        "passing lies",
        "passings lie",
        "before the gun, in no crossing.",
    )


def find_after_close(material: Material) -> pl.DataFrame:
    return _per_line(
        _unused(material, Unused.AFTER_CLOSE),
        "passing lies",
        "passings lie",
        "after the close, in no crossing.",
    )


def find_extra(material: Material) -> pl.DataFrame:
    return _per_line(
        _unused(material, Unused.EXTRA),
        "passing follows",
        "passings follow",
        "a crossing that had been read already.",
    )


def find_too_early(material: Material) -> pl.DataFrame:
    """Per runner and place; one finding where it befell most of a place's passings."""
    early = _unused(material, Unused.TOO_EARLY)
    totals = material.passings.group_by(PLACE).len("total")
    marked = early.join(totals, on=PLACE, how="left", validate="m:1", nulls_equal=True).with_columns(
        many=pl.len().over(PLACE)
    )
    shared = (pl.col("many") >= FEWEST_SHARED) & (
        pl.col("many") >= pl.col("total") * material.event.setting("whole_line_share")
    )
    single = (
        marked.filter(~shared)
        .sort("passing")
        .group_by("runner", *PLACE, maintain_order=True)
        .agg(
            pl.col("bib", "tag", "key").first(),
            time=pl.col("first").first(),
            rows=pl.len(),
        )
        .with_columns(
            detail=pl.lit(
                "Read sooner after the gun than the distance allows, and again later: consistent with a tag "
                "carried by the line, or a start with an earlier wave."
            )
        )
    )
    whole = _per_line(
        marked.filter(shared),
        "passing",
        "passings",
        "(most of this place) sooner after the gun than the distance allows: consistent with a clock fault "
        "of the line or a wrong gun.",
    )
    return stack(single, whole)


def find_unknown_tags(material: Material) -> pl.DataFrame:
    """One finding for each tag or bib that no entry holds."""
    unknown = _unused(material, Unused.UNKNOWN_TAG)
    return (
        unknown.sort("passing")
        .group_by(CARRIER, maintain_order=True)
        .agg(
            pl.col("point", "line", "key").first(),
            time=pl.col("first").first(),
            rows=pl.len(),
            places=pl.col("point").n_unique(),
        )
        .with_columns(
            detail=pl.format(
                "No entry holds this tag or bib; {} at {}.",
                counted("rows", "passing", "passings"),
                counted("places", "timing point", "timing points"),
            )
        )
        .drop("places")
    )


def find_off_course(material: Material) -> pl.DataFrame:
    """One finding for each runner and point that is not on the runner's course."""
    strays = _unused(material, Unused.OFF_COURSE).join(
        material.entries.select("runner", "course"), on="runner", how="left", validate="m:1"
    )
    return (
        strays.sort("passing")
        .group_by("runner", "course", "point", maintain_order=True)
        .agg(pl.col("bib", "tag", "line", "key").first(), time=pl.col("first").first(), rows=pl.len())
        .with_columns(
            detail=pl.format(
                "Read at a point that is not on the course of the entry ({}): consistent with a wrong course in "
                "the entry, swapped tags, or a tag carried by the line.",
                "course",
            )
        )
    )
