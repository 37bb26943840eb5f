"""The summer of the demo season: laps round a lake, and the mountain.  All invented."""

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
    TRAIL_DROPOUT,
    Dressed,
    local,
    site,
)
from lineproof.vocabulary import Level, PointKind

K = FaultKind


def laps() -> Dressed:
    lap = 3300.0
    visits = [("start", 0.0)]
    for done in range(3):
        visits += [("lakeside", done * lap + 1500), ("arena", (done + 1) * lap)]
    plan = EventPlan(
        id="05-three-laps",
        name="Three Laps of Ostermoor Lake",
        gun=local(6, 20, 19, 0),
        courses=(CoursePlan(id="laps", name="Three laps", visits=tuple(visits), dropout=0.002),),
        waves=(WavePlan(id="All", course="laps", runners=400, flow_per_s=5),),
        points=(
            site("start", "Causeway start", 4, 0.991, 0.988, kind=PointKind.START),
            site("lakeside", "Lakeside", 3, 0.993),
            site("arena", "Arena", 4, 0.995, 0.992, kind=PointKind.FINISH),
        ),
        tags=TagPlan(prefix="L", digits=4),
    )
    return Dressed(
        plan=plan,
        exports=lambda words: (
            Export(
                level=Level.READS,
                file="exports/{line}.csv",
                columns={"tag": "tag", "time": "clock", "antenna": "port"},
                times="clock",
                delimiter=";",
                words=words,
                note="one file for each reader, with times of day only",
            ),
        ),
        start_list=StartList(file="entries.csv", columns=ENTRY_COLUMNS),
        scene="A summer evening on a looped course: the lake three times round, the arena passed at each lap.",
        clean=True,
    )


def skyline() -> Dressed:
    at = {"start": 0, "stile": 3200, "hut": 7800, "summit": 11_500, "saddle": 15_900}
    at |= {"bothy": 20_400, "quarry": 24_700, "finish": 28_600}
    plan = EventPlan(
        id="06-fennick-skyline",
        name="Fennick skyline",
        gun=local(7, 11, 8, 0),
        courses=(
            CoursePlan(
                id="skyline",
                name="Skyline, 28.6 km",
                visits=tuple(at.items()),
                climbs_m=(260.0, 420.0, 510.0, 130.0, 240.0, 180.0, 20.0),
                pace_s_km=340,
                dropout=TRAIL_DROPOUT,
                fatigue=0.1,
            ),
        ),
        waves=(WavePlan(id="Fell", course="skyline", runners=520, flow_per_s=3),),
        points=(
            site("start", "Green start", 4, 0.991, 0.987, kind=PointKind.START),
            site("stile", "Long stile", 3, 0.994, 0.992),
            site("hut", "Shepherd's hut", 3, 0.99, clock_s=-3600),
            site("summit", "Fennick summit", 3, 0.993, 0.99),
            site("saddle", "The saddle", 3, 0.992, 0.99),
            site("bothy", "Bothy", 3, 0.993, 0.989, silent=(Silence(15_900, FOREVER, "lifted early"),)),
            site("quarry", "Slate quarry", 3, 0.99),
            site("finish", "Green finish", 4, 0.995, 0.992, kind=PointKind.FINISH),
        ),
        tags=TagPlan(kinds=("bib", "shoe"), prefix="KV", digits=5),
        faults=(
            Planted(K.COURSE_CUT, 2, point="quarry"),
            Planted(K.TOO_CLOSE, 3),
            Planted(K.UNKNOWN_TAG, 2),
            Planted(K.AFTER_EVENT, 2),
            Planted(K.STANDING, 1, line="summit-main", seconds=600),
        ),
    )
    columns = {
        "tag": "tag",
        "line": "reader",
        "first": "first",
        "strongest": "strongest",
        "last": "last",
        "reads": "reads",
    }
    return Dressed(
        plan=plan,
        exports=lambda words: (
            Export(
                level=Level.PASSINGS,
                file="exports/passings.tsv",
                columns=columns,
                times="dmy",
                delimiter="\t",
                words=words,
                edits=((K.DUPLICATE_ROWS, 5),),
                note="one row for each tag and line, day first, local clock",
            ),
        ),
        start_list=StartList(file="entries.csv", columns=ENTRY_COLUMNS),
        scene=(
            "The mountain: eight points, two tags on everybody (bib and shoe), many who give up.\n"
            "The only reader at the hut was an hour behind."
        ),
    )
