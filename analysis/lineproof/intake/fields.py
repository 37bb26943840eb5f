"""The fields that several levels share: ids, lines, points, instants and numbers, with what is wrong in them."""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from lineproof.event import Event
from lineproof.intake.columns import require
from lineproof.intake.faults import DAMAGED_ID, Fault, Words, damaged_id, match_words, says, to_cell_rejects
from lineproof.intake.guns import Guns
from lineproof.intake.layouts import Judge, TimeColumn, plan_times
from lineproof.intake.sources import Source, refuse_level, words_of
from lineproof.intake.times import PATTERNS, Kind, to_instants

EMPTY_TIME = "the time is empty"


def time_text(source: Source, ours: str) -> pl.Expr:
    """The text of a time; a bare time of day has that of its date column put before it."""
    if "date" not in source.columns:
        return pl.col(ours)
    day = pl.col("date").str.replace(r"[ T]0{1,2}:00(:00)?(\.0+)?$", "")
    bare = pl.col(ours).str.contains(PATTERNS[Kind.COLON])
    return pl.when(bare).then(pl.concat_str([day, pl.lit(" "), pl.col(ours)])).otherwise(pl.col(ours))


def to_timed(
    frame: pl.LazyFrame, source: Source, ours: str, event: Event, guns: Guns, judge: Judge | None = None
) -> tuple[pl.LazyFrame, tuple[str, ...]]:
    """Replace the text column ``ours`` by the instant; the text and its reason follow as ``<ours>_text``, ``<ours>_why``."""
    text = f"{ours}_text"
    frame = frame.with_columns(time_text(source, ours).alias(text)).drop(ours)
    column = TimeColumn(frame, text, source.table.file, source.header(ours), source.section)
    plan, remarks = plan_times(column, source.given.layout, event, judge)
    if plan.elapsed:
        frame = guns.with_base(frame, source)
    frame = to_instants(frame, text, plan).rename({"time": ours, "why": f"{ours}_why"})
    return frame, remarks


def count_from_start(
    frame: pl.LazyFrame, starts: pl.DataFrame | None, key: str, source: Source
) -> pl.LazyFrame:
    if starts is None:
        raise refuse_level(
            source,
            'elapsed_from = "start" needs the runners\' own starts, and this table has none',
            'add its start column to point_names, or write elapsed_from = "gun" where all start together',
        )
    joined = frame.join(starts.lazy(), on=key, how="left", validate="m:1", maintain_order="left")
    return joined.with_columns(pl.col("start_us").alias("base_us")).drop("start_us")


def time_fault(source: Source, ours: str) -> Fault:
    why = pl.col(f"{ours}_why")
    return Fault(
        pl.col(ours).is_null(),
        pl.when(why.is_null()).then(says(EMPTY_TIME)).otherwise(why),
        source.header(ours),
        pl.col(f"{ours}_text"),
    )


def trouble_fault() -> Fault:
    return Fault(pl.col("trouble").is_not_null(), pl.col("trouble"))


def id_faults(source: Source, ours: str) -> list[Fault]:
    value, header = pl.col(ours), source.header(ours)
    return [
        Fault(value.is_null(), says(f"the {ours} is empty"), header),
        Fault(damaged_id(value), says(DAMAGED_ID), header, value),
    ]


def runner_faults(source: Source, who: str) -> list[Fault]:
    if "bib" in source.columns and "tag" in source.columns:
        empty = Fault(
            pl.col("bib").is_null() & pl.col("tag").is_null(),
            says("bib and tag are empty"),
            source.header("bib"),
        )
        return [
            empty,
            *(f for name in ("bib", "tag") for f in id_faults(source, name) if f.value is not None),
        ]
    return id_faults(source, who)


def line_words(frame: pl.LazyFrame, source: Source, event: Event) -> Words:
    names = {line.id: line.id for line in event.lines} | {line.name: line.id for line in event.lines}
    names |= source.given.line_names
    return match_words(words_of(frame, "line"), names, "line", "line_names")


def with_line(frame: pl.LazyFrame, source: Source, event: Event) -> tuple[pl.LazyFrame, list[Fault]]:
    """Turn the column ``line`` into line ids, or set the one line of the input."""
    if "line" not in source.columns:
        if source.given.line is None:
            require(source.table, source.columns, "line", f'{source.section}, or line = "…" for all its rows')
        return frame.with_columns(pl.lit(source.given.line, dtype=pl.String).alias("line")), []
    words = line_words(frame, source, event)
    frame = frame.rename({"line": "line_word"}).with_columns(words.id_of("line_word").alias("line"))
    header, word = source.header("line"), pl.col("line_word")
    if source.given.line is not None:  # the stated line stands in where a row names none
        frame = frame.with_columns(
            pl.when(word.is_null()).then(pl.lit(source.given.line)).otherwise("line").alias("line")
        )
    return frame, [
        Fault(word.is_not_null() & pl.col("line").is_null(), words.reason_of("line_word"), header, word),
        Fault(pl.col("line").is_null(), says("the line is empty"), header),
    ]


def point_of_line(event: Event) -> pl.Expr:
    points = {line.id: line.point for line in event.lines}
    if not points:
        return pl.lit(None, dtype=pl.String)
    return pl.col("line").replace_strict(points, default=None, return_dtype=pl.String)


def with_numbers(frame: pl.LazyFrame, source: Source, names: Sequence[str]) -> pl.LazyFrame:
    """Numbers of detail columns (``antenna``, ``strength``, ``reads`` …), the text kept as ``<name>_text``."""
    types: dict[str, pl.DataType] = {
        "antenna": pl.Int32(),
        "strength": pl.Float32(),
        "reads": pl.UInt32(),
        "antennas": pl.UInt16(),
        "visit": pl.Int16(),
    }
    new = []
    for name in names:
        if name not in source.columns:
            new += [
                pl.lit(None, dtype=types[name]).alias(name),
                pl.lit(None, dtype=pl.String).alias(f"{name}_text"),
            ]
            continue
        text = pl.col(name)
        number = text.str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
        whole = pl.when(number == number.round()).then(number).cast(types[name], strict=False)
        number = number.cast(pl.Float32) if name == "strength" else whole
        new += [number.alias(name), text.alias(f"{name}_text")]
    return frame.with_columns(new)


def number_rejects(frame: pl.LazyFrame, source: Source, names: Sequence[str]) -> list[pl.DataFrame]:
    """Cells of kept rows that should be numbers and are not."""
    return [
        to_cell_rejects(
            frame,
            source.table.file,
            source.header(name),
            f"{name}_text",
            pl.col(name).is_null() & pl.col(f"{name}_text").is_not_null(),
            f"this is no number for {name}; the row is kept without it",
        )
        for name in names
        if name in source.columns
    ]
