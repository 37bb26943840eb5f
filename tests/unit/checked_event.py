"""A small event with everything right, for checks to be given one wrong thing at a time.

Twelve runners A01 to A12 on the small event (start, mill at 5 km, finish at 10 km), on foot, six minutes
a kilometre, each ten seconds behind the one before; both lines of every point read everybody.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import polars as pl

from lineproof.checks import CHECKS, Material, run_checks
from lineproof.checks.material import to_findings
from lineproof.clocks import LAGS_SCHEMA
from lineproof.crossings import merge_passings
from lineproof.detection.proofs import to_proofs
from lineproof.event import Event, FileLayout
from lineproof.passings import number_passings
from lineproof.tables import ENTRIES, TAGS, UNUSED
from unit.small_event import GUN, small_event

RUNNERS = tuple(f"A{n:02}" for n in range(1, 13))
AT_MIN = {"start": 0, "mill": 30, "finish": 60}
WALK_S = 1.0  # from main to backup line


def stated_event(**changes: object) -> Event:
    """The small event whose entries state the class."""
    layout = FileLayout("entries.csv", {"runner": "Bib", "class": "Class"})
    return replace(small_event(), entries=layout, **changes)  # type: ignore[arg-type]


def clean_passings(runners: tuple[str, ...] = RUNNERS) -> pl.DataFrame:
    """Tag t-A01 of runner A01, and so on: one passing at both lines of every point."""
    rows = [
        (f"t-{runner}", f"{point}-{role}", GUN + dt.timedelta(seconds=10 * n + 3 + walk, minutes=minute))
        for n, runner in enumerate(runners)
        for point, minute in AT_MIN.items()
        for role, walk in (("main", 0.0), ("backup", WALK_S))
    ]
    return number_passings([passing(*row) for row in rows])


def passing(
    tag: str, line: str, time: dt.datetime, stay_s: float = 0.0, level: str = "passings"
) -> pl.DataFrame:
    from lineproof.tables import PASSINGS

    last = time + dt.timedelta(seconds=stay_s)
    place = {"point": line.split("-")[0], "line": line if "-" in line else None}
    return PASSINGS.shape_rows(
        [
            {
                "passing": 0,
                "tag": tag,
                **place,
                "first": time,
                "strongest": time,
                "last": last,
                "reads": 3 if level == "passings" else None,
                "level": level,
                "file": "exports/a.csv",
                "row": 2,
            }
        ]
    )


def make_entries(runners: tuple[str, ...] = RUNNERS, **columns: object) -> pl.DataFrame:
    row = {"course": "road", "wave": "A", "runner_class": "foot", **columns}
    return ENTRIES.shape_rows([{"runner": runner, "bib": runner, **row} for runner in runners])


def make_tags(runners: tuple[str, ...] = RUNNERS) -> pl.DataFrame:
    return TAGS.shape_rows([{"tag": f"t-{runner}", "runner": runner} for runner in runners])


def material_of(
    passings: pl.DataFrame, event: Event | None = None, entries: pl.DataFrame | None = None
) -> Material:
    """The passings taken through the merge, as a review does."""
    event = stated_event() if event is None else event
    entries = make_entries() if entries is None else entries
    tags = make_tags(tuple(entries["runner"]))
    merge = merge_passings(passings, entries, tags, event)
    proofs = to_proofs(merge.crossings, entries, event)
    return Material(
        event=event,
        entries=entries,
        tags=tags,
        passings=passings,
        crossings=merge.crossings,
        unused=merge.unused,
        proofs=proofs,
        lags=merge.lags,
        set_aside=merge.set_aside,
    )


def of_crossings(
    crossings: pl.DataFrame, event: Event | None = None, entries: pl.DataFrame | None = None
) -> Material:
    """Merged data of a user: crossings alone."""
    event = stated_event() if event is None else event
    entries = make_entries() if entries is None else entries
    proofs = to_proofs(crossings, entries, event)
    nothing = UNUSED.empty()
    return Material(
        event,
        entries,
        make_tags(),
        clean_passings().clear(),
        crossings,
        nothing,
        proofs,
        pl.DataFrame(schema=LAGS_SCHEMA),
    )


def clean_crossings() -> pl.DataFrame:
    return material_of(clean_passings()).crossings


def findings_of(name: str, material: Material) -> pl.DataFrame:
    """What the check of this name finds."""
    check = next(check for check in CHECKS if check.name == name)
    return to_findings(check, check.run(material))


def names_found(material: Material) -> set[str]:
    return set(run_checks(material)["check"])
