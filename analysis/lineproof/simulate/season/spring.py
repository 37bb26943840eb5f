"""The spring of the demo season: a 5 km, a 10 km, ten miles in the rain, the large half marathon.  All invented."""

from __future__ import annotations

from lineproof.simulate.description import StartList
from lineproof.simulate.exports import Export
from lineproof.simulate.plan import (
    FOREVER,
    CoursePlan,
    EventPlan,
    FaultKind,
    Planted,
    Silence,
    TagPlan,
    WavePlan,
)
from lineproof.simulate.season.parts import (
    ENTRY_COLUMNS,
    Dressed,
    local,
    site,
    with_same_silence,
)
from lineproof.vocabulary import Level, PointKind

K = FaultKind


def lantern() -> Dressed:
    plan = EventPlan(
        id="01-lantern-5k",
        name="Lantern 5 km, Quillbeck",
        gun=local(2, 15, 17, 30),
        courses=(
            CoursePlan(
                id="5k",
                name="5 km",
                visits=(("start", 0), ("mill", 2400), ("finish", 5000)),
                dropout=0.003,
                pace_s_km=345,
            ),
        ),
        waves=(WavePlan(id="A", course="5k", runners=440, flow_per_s=4),),
        points=(
            site("start", "Quay start", 5, 0.992, 0.988, kind=PointKind.START),
            site("mill", "Fulling mill", 4, 0.994),
            site("finish", "Quay finish", 4, 0.995, 0.99, kind=PointKind.FINISH),
        ),
        youngest=13,
        tags=TagPlan(prefix="KV", digits=5),
    )
    columns = {
        "tag": "Tag",
        "time": "Read time",
        "line": "Reader",
        "antenna": "Antenna",
        "strength": "Signal dBm",
    }
    return Dressed(
        plan=plan,
        exports=lambda words: (
            Export(
                level=Level.READS,
                file="exports/reads.csv",
                columns=columns,
                times="offset",
                words=words,
                note="raw reads of all readers in one file, times with their offset from UTC",
            ),
        ),
        start_list=StartList(file="entries.csv", columns=ENTRY_COLUMNS),
        scene="An evening 5 km on closed streets in Quillbeck: small, dry, nothing went wrong.",
        clean=True,
    )


def quillbeck() -> Dressed:
    visits = (("start", 0), ("bridge", 3000), ("common", 6500), ("finish", 10_000))
    plan = EventPlan(
        id="02-quillbeck-10k",
        name="Quillbeck 10 km",
        gun=local(3, 22, 9, 30),
        courses=(CoursePlan(id="10k", name="10 km", visits=visits),),
        waves=(
            WavePlan(id="Red", course="10k", runners=800),
            WavePlan(id="Blue", course="10k", runners=760, after_s=480),
        ),
        points=(
            site("start", "Market start", 6, 0.99, 0.985, kind=PointKind.START),
            site("bridge", "Old bridge", 5, 0.994, 0.991, clock_s=-3600),
            site("common", "Far common", 5, 0.993, 0.99),
            site("finish", "Market finish", 5, 0.995, 0.992, kind=PointKind.FINISH),
        ),
        tags=TagPlan(prefix="KV", digits=5),
        faults=(
            Planted(K.TOGETHER, 2),
            Planted(K.SWAPPED, 2),
            Planted(K.STANDING, 2, line="finish-main", seconds=420),
            Planted(K.VOLUNTEER, 1, line="common-backup", seconds=1800),
            Planted(K.TOO_CLOSE, 4),
            Planted(K.UNKNOWN_TAG, 3),
            Planted(K.BEFORE_EVENT, 3, line="start-main", seconds=8 * 3600),
        ),
    )
    columns = {
        "line": "Reader",
        "tag": "Tag",
        "first": "First read",
        "last": "Last read",
        "reads": "Reads",
        "antenna": "Best antenna",
        "strength": "Best signal",
    }
    return Dressed(
        plan=plan,
        exports=lambda words: (
            Export(
                level=Level.PASSINGS,
                file="exports/passings.csv",
                columns=columns,
                times="local",
                delimiter=";",
                decimal=",",
                words=words,
                edits=((K.DUPLICATE_ROWS, 14),),
                note="one row for each tag and line; local clock without zone, decimal comma",
            ),
        ),
        start_list=StartList(
            file="entries.csv",
            columns={**ENTRY_COLUMNS, "bib": "Number", "tag": "Tag code"},
            delimiter=";",
            titles=("Quillbeck 10 km start list",),
        ),
        scene="A spring 10 km in two waves.  The reader of the bridge's main line was an hour behind.",
    )


def weir() -> Dressed:
    visits = (("start", 0), ("ford", 4000), ("orchard", 8000), ("weir", 12_000), ("finish", 16_093.44))
    cut = Silence(2800, 3100)
    plan = EventPlan(
        id="03-weir-10-mile",
        name="Weir 10 mile",
        gun=local(4, 19, 10, 0),
        courses=(CoursePlan(id="10m", name="10 mile", visits=visits, pace_s_km=330),),
        waves=(WavePlan(id="A", course="10m", runners=1150, flow_per_s=7),),
        points=(
            site("start", "Meadow start", 6, 0.975, 0.965, kind=PointKind.START),
            site("ford", "Ford lane", 4, 0.97, 0.962),
            site("orchard", "Orchard gate", 4, 0.968, 0.972, silent=(cut,)),
            site("weir", "The weir", 4, 0.972, 0.965, silent=(Silence(5000, 5075, "shared power"),)),
            site("finish", "Meadow finish", 5, 0.98, 0.972, kind=PointKind.FINISH),
        ),
        tags=TagPlan(weak_share=0.02, weak_rate=0.55, prefix="C0DE00", digits=6),
        faults=(
            Planted(K.LATE_TAG, 4),
            Planted(K.DYING_TAG, 4),
            Planted(K.BEFORE_EVENT, 3, seconds=7 * 3600),
            Planted(K.AFTER_EVENT, 2),
            Planted(K.TOO_CLOSE, 3),
            Planted(K.IMPOSSIBLE_PACE, 1),
        ),
    )
    plan = with_same_silence(plan, "weir-backup", "weir-main")
    columns = {
        "line": "Reader",
        "tag": "EPC-96",
        "antenna": "AntennaID",
        "strength": "PeakRSSI",
        "time": "FirstSeenTimestampUTC",
    }
    return Dressed(
        plan=plan,
        exports=lambda words: (
            Export(
                level=Level.READS,
                file="exports/tag_reports.parquet",
                columns=columns,
                times="epoch_us",
                words=words,
                edits=((K.DUPLICATE_ROWS, 20),),
                note="raw reads under the field names of the open reader protocol, microseconds since 1970 in UTC",
            ),
        ),
        start_list=StartList(
            file="entries.xlsx",
            columns={key: ENTRY_COLUMNS[key] for key in ("bib", "tag", "class", "sex", "age", "tag_batch")},
            titles=("Weir 10 mile",),
        ),
        scene="Ten miles in steady rain: wet connectors, covered tags, two power cuts.",
    )


def half() -> Dressed:
    visits = (("start", 0), ("km5", 5000), ("km10", 10_000), ("km15", 15_000), ("finish", 21_097.5))
    waves = tuple(
        WavePlan(id=name, course="half", runners=n, after_s=420.0 * i, flow_per_s=8)
        for i, (name, n) in enumerate((("1", 1100), ("2", 1100), ("3", 1050), ("4", 1000), ("5", 950)))
    )
    plan = EventPlan(
        id="04-valley-half",
        name="Kestrin Vale half marathon",
        gun=local(5, 17, 9, 0),
        courses=(CoursePlan(id="half", name="Half marathon", visits=visits, dropout=0.004),),
        waves=waves,
        points=(
            site("start", "Vale road start", 8, 0.99, 0.986, kind=PointKind.START),
            site("km5", "5 km", 6, 0.993, 0.99),
            site("km10", "10 km", 6, 0.994),
            site("km15", "15 km", 6, 0.993, 0.989, silent=(Silence(8600, FOREVER, "lifted early"),)),
            site("finish", "Vale road finish", 6, 0.995, 0.992, kind=PointKind.FINISH),
        ),
        faults=(
            Planted(K.IMPOSSIBLE_PACE, 3),
            Planted(K.COURSE_CUT, 2, point="km5"),
            Planted(K.COURSE_CUT, 3, point="km10"),
            Planted(K.SWAPPED, 2),
            Planted(K.FALSE_START, 4),
            Planted(K.TOGETHER, 1),
        ),
    )
    names = {"start": "START", "km5": "5K", "km10": "10K", "km15": "15K", "finish": "FINISH"}
    return Dressed(
        plan=plan,
        exports=lambda words: (
            Export(
                level=Level.MERGED,
                file="exports/times.csv",
                columns={"bib": "Bib", "point": "Place", "time": "Clock", "line": "Taken by"},
                times="clock",
                words={**names, **words},
                edits=((K.DUPLICATE_ROWS, 10), (K.OUT_OF_ORDER, 4), (K.SENTINEL, 6)),
                note="merged passing data: one time for each runner and place, and the reader that gave it",
            ),
        ),
        start_list=StartList(file="entries.csv", columns=ENTRY_COLUMNS, delimiter="\t"),
        scene="The large one: five waves.  The main line at 15 km was lifted before the last runners came.",
    )
