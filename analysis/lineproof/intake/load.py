"""The whole intake on one page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import polars as pl

from lineproof.errors import InputError
from lineproof.event import COLUMNS_BY_LEVEL, ENTRY_COLUMNS, EVENT_FILE, Event, FileLayout
from lineproof.intake.columns import find_columns, wanted_words
from lineproof.intake.entries import People, derive_from_tags, derive_from_wide, load_people
from lineproof.intake.files import check_claims, find_files, relative_name
from lineproof.intake.guns import Guns
from lineproof.intake.merged_level import load_merged
from lineproof.intake.names import to_unused_names, with_remarks
from lineproof.intake.opening import open_table
from lineproof.intake.passings_level import load_passings
from lineproof.intake.raw import RawTable
from lineproof.intake.reads_level import load_reads
from lineproof.intake.sources import Outcome, Source
from lineproof.intake.stated import to_stated
from lineproof.intake.wide_level import load_wide
from lineproof.tables import ACCOUNT, ENTRIES, PASSINGS, READS, REJECTS, TAGS
from lineproof.vocabulary import Level

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Intake:
    """What came in.

    ``reads`` (READS) scans Parquet parts in the working directory, in no particular order; ``passings``
    (PASSINGS) come from inputs of the levels passings, merged and wide, numbered from 0 in time order.
    ``rejects`` hold lost rows and single lost cells of kept rows; ``account`` adds up for every file.
    """

    reads: pl.LazyFrame
    passings: pl.DataFrame
    entries: pl.DataFrame
    tags: pl.DataFrame
    rejects: pl.DataFrame
    account: pl.DataFrame
    stated: pl.DataFrame  # STATED: what the results say in words where a time would stand


def load_exports(event: Event, work: Path, progress: Progress | None = None) -> Intake:
    """Read everything that ``event.toml`` names.

    ``work`` is an empty directory of the caller, which ``reads`` goes on to use.  ``progress`` is told in a
    few words what is being read.  Raises ``EventError`` and ``InputError`` where a file as a whole
    cannot be used or nothing at all could be read.
    """
    tell = progress or (lambda _: None)
    work.mkdir(parents=True, exist_ok=True)
    check_claims(_claims(event))
    listed = _entry_tables(event, work, tell)
    sources = _sources(event, work, tell)
    people = _people(event, listed, sources)
    guns = Guns.of(event, people.entries, people.tags)
    outcomes = []
    for number, source in enumerate(sources):
        tell(f"sorting out {source.table.file}")
        outcomes.append(_outcome(source, event, guns, work / f"part{number}.parquet"))
    reads = [o.rows for s, o in zip(sources, outcomes, strict=True) if s.given.level is Level.READS]
    passings = [
        o.rows.collect() for s, o in zip(sources, outcomes, strict=True) if s.given.level is not Level.READS
    ]
    accounts = [*([people.account] if people.account is not None else []), *(o.account for o in outcomes)]
    intake = Intake(
        reads=pl.concat(reads) if reads else READS.empty().lazy(),
        passings=_numbered(passings),
        entries=people.entries,
        tags=people.tags,
        rejects=pl.concat([people.rejects, *(o.rejects for o in outcomes)]),
        stated=to_stated((o.stated for o in outcomes if o.stated is not None), people.entries, people.tags),
        account=ACCOUNT.check(
            with_remarks(pl.concat([ACCOUNT.empty(), *accounts]), to_unused_names(sources))
        ),
    )
    _refuse_nothing(intake)
    return _with_derived(intake, event) if event.entries is None and not intake.entries.height else intake


def _entry_tables(event: Event, work: Path, tell: Progress) -> list[tuple[RawTable, dict[str, int]]]:
    if event.entries is None:
        return []
    paths = find_files(event, event.entries)
    if len(paths) > 1:
        names = ", ".join(relative_name(path, event.folder) for path in paths)
        raise InputError(
            f'files = "{event.entries.files}" of [entries] matches {names}',
            todo="name the one that holds the entries",
        )
    tell(f"reading {paths[0].name}")
    table = _open(event, paths[0], event.entries, ENTRY_COLUMNS, None, (), work / "entries")
    return [(table, find_columns(table, event.entries.columns, ENTRY_COLUMNS, None))]


def _open(
    event: Event,
    path: Path,
    layout: FileLayout,
    known: tuple[str, ...],
    level: Level | None,
    extra: tuple[str, ...],
    stem: Path,
) -> RawTable:
    wanted = wanted_words(layout.columns, known, level, extra)
    return open_table(path, relative_name(path, event.folder), layout, wanted, stem)


def _sources(event: Event, work: Path, tell: Progress) -> list[Source]:
    found = []
    for number, given in enumerate(event.inputs):
        known = COLUMNS_BY_LEVEL[given.level]
        extra = tuple(given.point_names) if given.level is Level.WIDE else ()
        for count, path in enumerate(find_files(event, given.layout)):
            tell(f"reading {path.name}")
            stem = work / f"raw{number}_{count}"
            table = _open(event, path, given.layout, known, given.level, extra, stem)
            columns = find_columns(table, given.layout.columns, known, given.level)
            found.append(Source(table, given, columns, f"[[input]] number {number + 1}"))
    return found


def _claims(event: Event) -> list[tuple[str, str, str]]:
    """Section, file and sheet of everything that ``event.toml`` names."""
    layouts = [("[entries]", event.entries)] if event.entries else []
    layouts += [(f"[[input]] number {i}", given.layout) for i, given in enumerate(event.inputs, start=1)]
    return [
        (section, relative_name(path, event.folder), layout.sheet or "")
        for section, layout in layouts
        for path in find_files(event, layout)
    ]


def _people(event: Event, listed: list[tuple[RawTable, dict[str, int]]], sources: list[Source]) -> People:
    if event.entries is not None:
        table, columns = listed[0]
        people = load_people(table, columns, event.entries, event)
        if not people.entries.height:
            raise _nobody(people, table)
        return people
    wide = [s for s in sources if s.given.level is Level.WIDE]
    if wide:
        return derive_from_wide(wide, event)
    return People(ENTRIES.empty(), TAGS.empty(), REJECTS.empty(), None)


def _nobody(people: People, table: RawTable) -> InputError:
    if not people.rejects.height:
        return InputError(
            "the entries hold no row below the header", todo="export them again", file=table.file
        )
    row, column, _, reason = people.rejects.row(0)[1:]
    shown = ", ".join(word for word in table.headers[:12] if word)
    return InputError(
        f"no entry could be read: {reason}",
        todo=f"put it right in the file, or under [entries] in {EVENT_FILE}; the columns are {shown}",
        file=table.file,
        row=row,
        column=column,
    )


def _outcome(source: Source, event: Event, guns: Guns, part: Path) -> Outcome:
    if source.given.level is Level.READS:
        return load_reads(source, event, guns, part)
    loaders = {Level.PASSINGS: load_passings, Level.MERGED: load_merged, Level.WIDE: load_wide}
    return loaders[source.given.level](source, event, guns)


def _numbered(frames: list[pl.DataFrame]) -> pl.DataFrame:
    lacking = pl.concat([PASSINGS.empty().drop("passing"), *frames])
    order = ["first", "point", "line", "tag", "bib", "file", "row"]
    return PASSINGS.conform(lacking.sort(order).with_row_index("passing"))


def _refuse_nothing(intake: Intake) -> None:
    """Raise ``InputError`` where not one time came out of all the exports."""
    exports = intake.account.filter(pl.col("level").is_not_null())
    if exports["times"].sum() > 0:
        return
    files = intake.rejects.filter(pl.col("file").is_in(exports["file"].to_list()))
    if not files.height:
        raise InputError("the exports hold no times at all", todo="check the files named under [[input]]")
    counts = files.group_by("reason").len().sort("len", "reason", descending=[True, False])
    worst = files.filter(pl.col("reason") == counts.item(0, "reason")).sort("file", "row")
    file, row, column, _, reason = worst.row(0)
    raise InputError(
        f"not one of {exports['rows_read'].sum():,} rows could be used: {reason}",
        todo="mend the export or its [[input]]",
        file=file,
        row=row,
        column=column,
    )


def _with_derived(intake: Intake, event: Event) -> Intake:
    """Entries of everybody who was seen, where there is neither a start list nor a wide table."""
    read = intake.reads.select(pl.col("tag").unique()).collect().cast(pl.String)
    by_tag = pl.concat([read, intake.passings.select("tag")])
    tags = by_tag.drop_nulls().unique().sort("tag")["tag"].to_list()
    bibs = intake.passings.select("bib").drop_nulls().unique().sort("bib")["bib"].to_list()
    entries, held = derive_from_tags(tags, bibs, event)
    return replace(intake, entries=entries, tags=held)
