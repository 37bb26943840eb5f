"""Entries and tags: who is on which course in which wave, and who holds which tag from when.

A bib that stands in two contradicting rows keeps the first and rejects the second.  A tag given to two
runners with no word about when goes to neither: whoever got it would get the other's reads.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from lineproof.errors import EventError
from lineproof.event import EVENT_FILE, Event, FileLayout, Input
from lineproof.intake.faults import (
    DAMAGED_ID,
    Fault,
    Words,
    damaged_id,
    mark_faults,
    match_words,
    says,
    to_cell_rejects,
    to_row_rejects,
)
from lineproof.intake.fields import trouble_fault
from lineproof.intake.layouts import Bare, TimeColumn, plan_times
from lineproof.intake.raw import RawTable
from lineproof.intake.sources import Source, account_row, cells, count_rows, words_of
from lineproof.intake.times import Kind, to_instants
from lineproof.tables import ENTRIES, REJECTS, TAGS
from lineproof.vocabulary import Level, RunnerClass

_SEXES = {
    **dict.fromkeys(("f", "female", "w", "woman", "women", "girl"), "f"),
    **dict.fromkeys(("m", "male", "man", "men", "boy"), "m"),
}
_CLASSES = {
    **{c.value: c.value for c in RunnerClass},
    **dict.fromkeys(("running", "runner", "run", "walk", "walker"), "foot"),
    **dict.fromkeys(("wheelchair", "racing wheelchair", "wheelchair racer"), "wheel"),
    "hand cycle": "handcycle",
}


@dataclass(frozen=True, slots=True)
class People:
    entries: pl.DataFrame
    tags: pl.DataFrame
    rejects: pl.DataFrame
    account: pl.DataFrame | None


def load_people(table: RawTable, columns: dict[str, int], layout: FileLayout, event: Event) -> People:
    """Entries and tags from a start list.

    Raises ``EventError`` where course or wave cannot be known for anybody.
    """
    source = Source(table, Input(layout, Level.WIDE), columns, "[entries]")
    frame = _named(cells(source), columns)
    marked, remarks = _resolved(frame, source, event)
    marked = marked.collect().lazy()
    counts = count_rows(marked, times=pl.lit(0, dtype=pl.UInt32))
    kept = marked.filter(~pl.col("blank") & pl.col("fault_reason").is_null()).collect()
    tags, tag_rejects, more = to_tags(kept, source, event)
    entries = to_entries(kept)
    rejects = [to_row_rejects(marked, table.file), tag_rejects, *_detail_rejects(kept, source)]
    return People(
        entries,
        tags,
        pl.concat(rejects).sort("row", maintain_order=True),
        account_row(table, None, counts, [*remarks, *more]),
    )


def _named(frame: pl.LazyFrame, columns: Mapping[str, int]) -> pl.LazyFrame:
    """All entry columns, null where the file has none; ``runner`` defaults to the bib, else the tag."""
    lacking = [
        pl.lit(None, dtype=pl.String).alias(name)
        for name in (
            "runner",
            "bib",
            "tag",
            "tag_2",
            "course",
            "wave",
            "class",
            "sex",
            "age",
            "tag_kind",
            "tag_batch",
            "tag_since",
        )
        if name not in columns
    ]
    return frame.with_columns(lacking).with_columns(pl.coalesce("runner", "bib", "tag").alias("runner"))


def _resolved(frame: pl.LazyFrame, source: Source, event: Event) -> tuple[pl.LazyFrame, list[str]]:
    """Course, wave, class, sex and age by our ids, and the rows marked that contradict or say too little."""
    words = {
        "course": match_words(words_of(frame, "course"), _course_names(event), "course", "course_names"),
        "wave": match_words(words_of(frame, "wave"), _wave_names(event), "wave", "wave_names"),
        "class": match_words(
            words_of(frame, "class"), _CLASSES | dict(event.class_names), "class", "class_names"
        ),
        "sex": match_words(words_of(frame, "sex"), _SEXES, "sex", "the words f and m"),
    }
    frame = frame.with_columns(words[name].id_of(name).alias(f"{name}_id") for name in words)
    frame = frame.with_columns(course_of(event).alias("course_id")).with_columns(
        wave_of(event).alias("wave_id")
    )
    age = pl.col("age").str.replace(r"[.,]0+$", "").cast(pl.Int16, strict=False)
    frame = frame.with_columns(pl.when(age.is_between(0, 120)).then(age).alias("age_id"))
    frame = _with_first_rows(frame)
    sound = [
        Fault(~pl.col("blank") & f.when, f.reason, f.header, f.value)
        for f in _entry_faults(source, event, words)
    ]
    return mark_faults(frame, sound), _class_remarks(words["class"])


def _course_names(event: Event) -> dict[str, str]:
    return (
        {c.name: c.id for c in event.courses} | {c.id: c.id for c in event.courses} | dict(event.course_names)
    )


def _wave_names(event: Event) -> dict[str, str]:
    return {w.id: w.id for w in event.waves} | dict(event.wave_names)


def course_of(event: Event) -> pl.Expr:
    """The stated course, else that of the stated wave, else the only one."""
    by_wave = {wave.id: wave.course for wave in event.waves}
    from_wave = pl.col("wave_id").replace_strict(by_wave, default=None, return_dtype=pl.String)
    only = event.courses[0].id if len(event.courses) == 1 else None
    stated = pl.when(pl.col("course").is_null()).then(pl.coalesce(from_wave, pl.lit(only, dtype=pl.String)))
    return stated.otherwise(pl.col("course_id"))


def wave_of(event: Event) -> pl.Expr:
    """The stated wave, else the only one of the course."""
    waves = {c.id: [w.id for w in event.waves if w.course == c.id] for c in event.courses}
    only = {course: ids[0] for course, ids in waves.items() if len(ids) == 1}
    if not only:
        return pl.col("wave_id")
    default = pl.col("course_id").replace_strict(only, default=None, return_dtype=pl.String)
    return pl.when(pl.col("wave").is_null()).then(default).otherwise(pl.col("wave_id"))


def _with_first_rows(frame: pl.LazyFrame) -> pl.LazyFrame:
    """Where a runner, and a runner with this tag, stands first; the number of runners under a bib."""
    return frame.with_columns(
        pl.col("row").min().over("runner").alias("runner_row"),
        pl.col("row").min().over("runner", "tag", "tag_2", "tag_since").alias("same_row"),
        pl.col("course_id").sort_by("row").first().over("runner").alias("course_first"),
        pl.col("wave_id").sort_by("row").first().over("runner").alias("wave_first"),
        pl.col("runner").sort_by("row").first().over("bib").alias("bib_runner"),
        pl.col("row").min().over("bib").alias("bib_row"),
    )


def _entry_faults(source: Source, event: Event, words: Mapping[str, Words]) -> list[Fault]:
    def header(name: str) -> str | None:
        return source.header(name) if name in source.columns else None

    runner, row = pl.col("runner"), pl.col("row")
    whose = header("runner") or header("bib") or header("tag")
    again = (row > pl.col("runner_row")) & runner.is_not_null()
    other = (pl.col("course_id") != pl.col("course_first")) | (pl.col("wave_id") != pl.col("wave_first"))
    return [
        trouble_fault(),
        Fault(runner.is_null(), says("the row names neither bib nor tag"), whose),
        Fault(damaged_id(pl.col("tag")), says(DAMAGED_ID), header("tag"), pl.col("tag")),
        Fault(pl.col("course").is_not_null() & pl.col("course_id").is_null(), words["course"].reason_of("course"), header("course"), pl.col("course")),
        Fault(pl.col("wave").is_not_null() & pl.col("wave_id").is_null(), words["wave"].reason_of("wave"), header("wave"), pl.col("wave")),
        Fault(pl.col("course_id").is_null(), says("the course is not stated, and the event has several"), header("course")),
        Fault(pl.col("wave_id").is_null(), says("the wave is not stated, and its course has several"), header("wave")),
        Fault(_wave_elsewhere(event), says("this wave belongs to another course"), header("wave"), pl.col("wave")),
        Fault(again & other, _twice("is entered twice on different courses or waves, first in row", "runner_row"), whose, runner),
        Fault(again & (row > pl.col("same_row")), _twice("is entered twice, first in row", "same_row"), whose, runner),
        Fault(
            pl.col("bib").is_not_null() & (pl.col("bib_runner") != runner),
            _twice("is the bib of another runner, first in row", "bib_row"),
            header("bib"),
            pl.col("bib"),
        ),
    ]  # fmt: skip


def _twice(what: str, row: str) -> pl.Expr:
    return pl.concat_str([pl.lit(what + " "), pl.col(row).cast(pl.String)])


def _wave_elsewhere(event: Event) -> pl.Expr:
    by_wave = {wave.id: wave.course for wave in event.waves}
    home = pl.col("wave_id").replace_strict(by_wave, default=None, return_dtype=pl.String)
    return pl.col("wave").is_not_null() & (home != pl.col("course_id"))


def _class_remarks(words: Words) -> list[str]:
    if not words.reasons:
        return []
    shown = ", ".join(f'"{word}"' for word in list(words.reasons)[:5])
    return [f"the classes {shown} are not in class_names; their runners were taken as on foot"]


def to_entries(kept: pl.DataFrame) -> pl.DataFrame:
    """ENTRIES, one row for each runner, from the first row that names it."""
    first = kept.filter(pl.col("row") == pl.col("row").min().over("runner"))
    shaped = first.select(
        "runner",
        "bib",
        pl.col("course_id").alias("course"),
        pl.col("wave_id").alias("wave"),
        pl.when(pl.col("class_id").is_null())
        .then(pl.lit(RunnerClass.FOOT.value))
        .otherwise("class_id")
        .alias("runner_class"),
        pl.col("sex_id").alias("sex"),
        pl.col("age_id").alias("age"),
    )
    return ENTRIES.conform(shaped).sort("runner")


def to_tags(
    kept: pl.DataFrame, source: Source, event: Event
) -> tuple[pl.DataFrame, pl.DataFrame, tuple[str, ...]]:
    """TAGS, the rejects of tags that two runners hold at once, and remarks on the times of issue."""
    held = pl.concat(
        [
            kept.filter(pl.col(name).is_not_null()).with_columns(pl.col(name).alias("tag"))
            for name in ("tag", "tag_2")
        ]
    ).unique(["tag", "runner", "tag_since"], keep="first", maintain_order=True)
    held, remarks = _with_since(held.lazy(), source, event)
    holders = pl.col("runner").n_unique().over("tag")
    clash = (holders > 1) & (
        (pl.col("since").is_null().sum().over("tag") > 1) | pl.struct("tag", "since").is_duplicated()
    )
    again = (holders == 1) & (pl.col("row") > pl.col("row").min().over("tag"))
    twice = pl.struct("tag", "runner").is_duplicated() & (holders > 1)
    everyone = pl.col("runner").sort().unique(maintain_order=True).str.join(" and ").over("tag")
    held = held.with_columns(
        pl.when(pl.col("since_why").is_not_null())
        .then("since_why")
        .when(clash)
        .then(pl.concat_str([pl.lit("the tag is given to "), everyone, pl.lit("; mend it, or say in a tag_since column from when each holds it")]))
        .when(again)
        .then(pl.lit("the tag is given to this runner in an earlier row already"))
        .when(twice)
        .then(pl.lit("the tag is given to this runner twice"))
        .alias("why"),
    )  # fmt: skip
    shaped = held.filter(pl.col("why").is_null()).select(
        "tag", "runner", pl.col("tag_kind").alias("kind"), pl.col("tag_batch").alias("batch"), "since"
    )
    header = (
        source.header("tag")
        if "tag" in source.columns
        else (source.header("tag_2") if "tag_2" in source.columns else "tag")
    )
    rejects = to_cell_rejects(
        held.lazy(), source.table.file, header, "tag", pl.col("why").is_not_null(), pl.col("why")
    )
    return TAGS.conform(shaped).sort("tag", "since", nulls_last=False), rejects, remarks


def _with_since(held: pl.LazyFrame, source: Source, event: Event) -> tuple[pl.DataFrame, tuple[str, ...]]:
    if "tag_since" not in source.columns:
        empty = pl.lit(None, dtype=pl.Datetime("us", "UTC")).alias("since")
        return held.with_columns(empty, pl.lit(None, dtype=pl.String).alias("since_why")).collect(), ()
    column = TimeColumn(held, "tag_since", source.table.file, source.header("tag_since"), "[entries]")

    def a_time_of_day(kind: Kind) -> Bare | None:
        return Bare("clock", "") if kind is Kind.COLON else None

    plan, remarks = plan_times(column, source.given.layout, event, a_time_of_day)
    return to_instants(held, "tag_since", plan).rename(
        {"time": "since", "why": "since_why"}
    ).collect(), remarks


def _detail_rejects(kept: pl.DataFrame, source: Source) -> list[pl.DataFrame]:
    """Ages that are no ages; rows kept."""
    if "age" not in source.columns:
        return [REJECTS.empty()]
    when = pl.col("age").is_not_null() & pl.col("age_id").is_null()
    return [
        to_cell_rejects(kept.lazy(), source.table.file, source.header("age"), "age", when, "this is no age in years; the entry is kept without it")
    ]  # fmt: skip


def derive_from_wide(sources: Sequence[Source], event: Event) -> People:
    """Entries where there is no start list but there are wide tables: every row is a runner.

    Rows that ``load_wide`` rejects are left to it; here only what keeps a row from being an entry counts.
    """
    kept, rejects, tags = [], [], []
    for source in sources:
        frame = _named(cells(source), source.columns)
        if source.given.course and "course" not in source.columns:
            frame = frame.with_columns(pl.lit(source.given.course).alias("course"))
        marked, _ = _resolved(frame, source, event)
        rows = marked.filter(
            ~pl.col("blank") & pl.col("trouble").is_null() & pl.col("runner").is_not_null()
        ).collect()
        rejects.append(to_row_rejects(rows.lazy(), source.table.file))
        sound = rows.filter(pl.col("fault_reason").is_null())
        kept.append(to_entries(sound))
        held, lost, _ = to_tags(sound, source, event)
        tags.append(held)
        rejects.append(lost)
    entries, again = _first_of_each(kept, sources)
    held = pl.concat(tags).join(entries.select("runner"), on="runner", how="semi")
    return People(
        entries,
        TAGS.conform(held.unique(["tag", "runner"], keep="first", maintain_order=True)).sort("tag", "runner"),
        pl.concat([REJECTS.empty(), *rejects, again]),
        None,
    )


def _first_of_each(
    kept: Sequence[pl.DataFrame], sources: Sequence[Source]
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """One entry for each runner over several wide tables; contradictions are rejected in the later one."""
    files = [source.table.file for source in sources]
    numbered = pl.concat(
        [f.with_columns(pl.lit(i, dtype=pl.Int64).alias("table")) for i, f in enumerate(kept)]
    )
    first = pl.col("table").min().over("runner")
    later = numbered.with_columns(
        pl.col("course").sort_by("table").first().over("runner").alias("course_first"),
        first.alias("table_first"),
    ).filter((pl.col("table") > pl.col("table_first")) & (pl.col("course") != pl.col("course_first")))
    rows: list[dict[str, object]] = [
        {
            "file": files[row["table"]],
            "row": sources[row["table"]].table.header_row,
            "value": row["runner"],
            "reason": f"this runner is on another course in {files[row['table_first']]}",
        }
        for row in later.sort("table", "runner").iter_rows(named=True)
    ]
    entries = numbered.filter(pl.col("table") == first).drop("table")
    return ENTRIES.check(entries.sort("runner")), REJECTS.shape_rows(rows)


def derive_from_tags(
    tags: Sequence[str], bibs: Sequence[str], event: Event
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Entries where there is no start list: every tag (or bib) seen is a runner of the only course.

    Raises ``EventError`` where there are several courses or waves to choose from.
    """
    if len(event.courses) > 1 or len(event.waves) > 1:
        raise EventError(
            "without entries nobody's course and wave are known",
            todo='add [entries] with files = "entries.csv", or leave one course and one wave',
            file=EVENT_FILE,
        )
    course, wave = event.courses[0].id, event.waves[0].id
    runners = [(tag, None) for tag in tags] + [(bib, bib) for bib in bibs]
    rows: list[dict[str, object]] = [
        {"runner": runner, "bib": bib, "course": course, "wave": wave, "runner_class": "foot"}
        for runner, bib in dict(runners).items()
    ]
    entries = ENTRIES.check(ENTRIES.shape_rows(rows)).sort("runner")
    held = TAGS.check(TAGS.shape_rows([{"tag": tag, "runner": tag} for tag in tags])).sort("tag")
    return entries, held
