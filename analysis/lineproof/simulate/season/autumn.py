"""The autumn of the demo season: the marathon, two harvest runs, a night when the clocks go back.  All invented."""

from __future__ import annotations

from lineproof.simulate.description import StartList
from lineproof.simulate.exports import Export
from lineproof.simulate.plan import (
    FOREVER,
    CoursePlan,
    EventPlan,
    FaultKind,
    Planted,
    PointPlan,
    Silence,
    TagPlan,
    WavePlan,
)
from lineproof.simulate.season.parts import (
    ENTRY_COLUMNS,
    TRAIL_DROPOUT,
    Dressed,
    local,
    site,
    with_same_silence,
)
from lineproof.vocabulary import Level, PointKind, RunnerClass

K = FaultKind


def _marathon_points() -> tuple[PointPlan, ...]:
    lifted = (Silence(20_500, FOREVER, "lifted early"),)
    return (
        site(
            "start",
            "Moor lane start",
            6,
            0.99,
            0.986,
            kind=PointKind.START,
            silent=(Silence(3095, 3102), Silence(3130, 3134)),
        ),
        site("km5", "5 km", 5, 0.993),
        site("km10", "10 km", 4, 0.993, 0.99),
        site("half", "Half way", 4, 0.994, 0.99),
        site("km25", "25 km", 4, 0.985, silent=(Silence(16_500, FOREVER, "lifted early"),)),
        site("km30", "30 km", 4, 0.993, 0.988),
        site("km35", "35 km", 4, 0.992, 0.989, silent=lifted),
        site("finish", "Moor lane finish", 5, 0.996, 0.993, kind=PointKind.FINISH),
    )


def marathon() -> Dressed:
    at = {"start": 0, "km5": 5000, "km10": 10_000, "half": 21_097.5, "km25": 25_000, "km30": 30_000}
    at |= {"km35": 35_000, "finish": 42_195}
    plan = EventPlan(
        id="07-kestrin-marathon",
        name="Kestrin marathon",
        gun=local(9, 6, 8, 30),
        courses=(
            CoursePlan(id="marathon", name="Marathon", visits=tuple(at.items()), dropout=0.005, fatigue=0.12),
        ),
        waves=(
            WavePlan(
                id="Wheels", course="marathon", runners=28, runner_class=RunnerClass.WHEEL, flow_per_s=2
            ),
            WavePlan(
                id="Hands",
                course="marathon",
                runners=12,
                after_s=300,
                runner_class=RunnerClass.HANDCYCLE,
                flow_per_s=2,
            ),
            WavePlan(id="A", course="marathon", runners=1100, after_s=1800),
            WavePlan(id="B", course="marathon", runners=1050, after_s=2400),
            WavePlan(id="C", course="marathon", runners=950, after_s=3000),
        ),
        points=_marathon_points(),
        youngest=20,
        faults=(
            Planted(K.FALSE_START, 4),
            Planted(K.COURSE_CUT, 4),
            Planted(K.IMPOSSIBLE_PACE, 2),
            Planted(K.DYING_TAG, 3),
            Planted(K.LATE_TAG, 3),
        ),
    )
    plan = with_same_silence(plan, "start-backup", "start-main")
    headers = {"start": "Start", "km5": "5 km", "km10": "10 km", "half": "Half", "km25": "25 km"}
    headers |= {"km30": "30 km", "km35": "35 km", "finish": "Finish"}
    return Dressed(
        plan=plan,
        exports=lambda _: (
            Export(
                level=Level.WIDE,
                file="exports/results.xlsx",
                columns={"bib": "Bib", "wave": "Wave", "class": "Class", "sex": "Sex", "age": "Age"},
                times="clock",
                words=headers,
                titles=("Kestrin marathon, results with clock times at all places", "provisional"),
                missing="-",
                edits=((K.FILLED_START, 20), (K.OUT_OF_ORDER, 4), (K.SENTINEL, 6)),
                note="the results table: one row for each runner, one column of clock times for each place",
            ),
        ),
        start_list=StartList(file="entries.csv", columns=ENTRY_COLUMNS),
        scene=(
            "The marathon, with racing wheelchairs and handcycles in waves of their own.\n"
            "All that is left of it is the results table."
        ),
    )


def harvest() -> Dressed:
    ten = (("start", 0), ("barn", 2500), ("ridge", 6200), ("finish", 10_000))
    five = (("start", 0), ("barn", 2500), ("finish", 5000))
    plan = EventPlan(
        id="08-harvest-runs",
        name="Harvest 10 km and 5 km, Sallowfield",
        gun=local(10, 4, 9, 45),
        courses=(
            CoursePlan(id="10k", name="Harvest 10 km", visits=ten),
            CoursePlan(id="5k", name="Harvest 5 km", visits=five, pace_s_km=360),
        ),
        waves=(
            WavePlan(id="Ten", course="10k", runners=1500),
            WavePlan(id="Five", course="5k", runners=900, after_s=1200),
        ),
        points=(
            site("start", "Field start", 6, 0.991, 0.987, kind=PointKind.START),
            site("barn", "Tithe barn", 5, 0.994, 0.99),
            site("ridge", "Ridge gate", 4, 0.993),
            site("finish", "Field finish", 5, 0.995, 0.992, kind=PointKind.FINISH),
        ),
        youngest=12,
    )
    names = {"start": "Start", "barn": "Barn", "ridge": "Ridge", "finish": "Finish"}
    people = {"bib": "Bib", "sex": "Sex", "age": "Age"}
    return Dressed(
        plan=plan,
        exports=lambda _: (
            Export(
                level=Level.MERGED,
                file="exports/ten_km_times.tsv",
                course="10k",
                columns={"bib": "Bib", "point": "Where", "time": "When"},
                times="offset",
                delimiter="\t",
                words=names,
                note="merged passing data of the 10 km; which line gave a time is not told",
            ),
            Export(
                level=Level.WIDE,
                file="exports/five_km_results.csv",
                course="5k",
                columns=people,
                times="elapsed",
                missing="NA",
                words={key: names[key] for key in ("start", "barn", "finish")},
                note="results of the 5 km: hours, minutes and seconds since the gun",
            ),
        ),
        start_list=StartList(
            file="entries.csv",
            columns={**ENTRY_COLUMNS, "course": "Race"},
            courses={"10k": "Ten", "5k": "Five"},
        ),
        scene="Two courses that share their start and finish, exported in two ways.  Nothing went wrong.",
        clean=True,
    )


def long_night() -> Dressed:
    at = {"start": 0, "pinewood": 7000, "reservoir": 14_000, "ridge": 22_000}
    at |= {"pinewood2": 29_000, "finish": 36_000}
    plan = EventPlan(
        id="09-long-night",
        name="Long Night of Brackenhythe",
        gun=local(10, 24, 22, 0),
        courses=(
            CoursePlan(
                id="night",
                name="Night trail, 36 km",
                visits=tuple(at.items()),
                climbs_m=(180.0, 240.0, 350.0, 150.0, 90.0),
                pace_s_km=355,
                dropout=TRAIL_DROPOUT,
                fatigue=0.1,
            ),
        ),
        waves=(WavePlan(id="Night", course="night", runners=410, flow_per_s=3),),
        points=(
            site("start", "Forest start", 4, 0.991, 0.988, kind=PointKind.START),
            site("pinewood", "Pinewood out", 3, 0.993, 0.99),
            site("reservoir", "Reservoir", 3, 0.992, 0.99),
            site("ridge", "High ridge", 3, 0.99),
            site("pinewood2", "Pinewood back", 3, 0.993, 0.99),
            site("finish", "Forest finish", 4, 0.995, 0.992, kind=PointKind.FINISH),
        ),
        tags=TagPlan(prefix="N", digits=4),
    )
    reads = ("start-main", "start-backup", "finish-main", "finish-backup")
    rest = tuple(line.id for point in plan.points for line in point.lines if line.id not in reads)
    return Dressed(
        plan=plan,
        exports=lambda words: (
            Export(
                level=Level.READS,
                file="exports/reads.parquet",
                lines=reads,
                columns={"tag": "tag", "line": "reader", "time": "time_ms", "antenna": "antenna"},
                times="epoch_ms",
                words={line: words[line] for line in reads},
                note="raw reads at start and finish, milliseconds since 1970",
            ),
            Export(
                level=Level.PASSINGS,
                file="exports/checkpoints.csv",
                lines=rest,
                columns={"tag": "Tag", "line": "Reader", "first": "First", "last": "Last", "reads": "Reads"},
                times="offset",
                words={line: words[line] for line in rest},
                note="passings at the checkpoints; the offset tells the two hours after one o'clock apart",
            ),
        ),
        start_list=StartList(file="entries.csv", columns=ENTRY_COLUMNS),
        scene=(
            "A night on the trail while the clocks go back: the hour from one to two comes twice.\n"
            "Nothing else went wrong."
        ),
        clean=True,
    )
