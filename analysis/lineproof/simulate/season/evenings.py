"""The evenings of the demo season: a short run by the canal, week after week, with tags that are given out again.

The same points and the same crew each time, while mats, cables and readers come out of the van as they lie.  The
gutter at the finish is a bad place for whatever mat lies there.  All invented.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import partial

from lineproof.simulate.description import StartList
from lineproof.simulate.exports import Export
from lineproof.simulate.morning import Morning
from lineproof.simulate.plan import CoursePlan, EventPlan, LinePlan, MatFault, PointPlan, TagPlan, WavePlan
from lineproof.simulate.season.parts import ENTRY_COLUMNS, ZONE, Dressed, local, site
from lineproof.vocabulary import Level, PointKind

COUNT = 8
RAIN = 4  # the number of the evening on which it poured
GUTTER_LOGIT = 0.9  # what the gutter costs the mat in it
TAG_STOCK = 71
FIRST_WORN, WORN_EACH = 3.6, 0.3  # how far the season had gone, in its large events


def evenings() -> tuple[partial[Dressed], ...]:
    """One maker for each evening, in the order of the weeks."""
    return tuple(partial(evening, number) for number in range(1, COUNT + 1))


def evening_id(number: int) -> str:
    return f"{9 + number}-canal-evening-{number}"


def evening(number: int) -> Dressed:
    rain = number == RAIN
    main, backup = (0.962, 0.955) if rain else (0.991, 0.988)
    finish = site("finish", "Lock finish", 4, main, backup, kind=PointKind.FINISH)
    plan = EventPlan(
        id=evening_id(number),
        name=f"Canal evening run {number}, Sallowfield",
        gun=local(5, 21, 19, 0) + dt.timedelta(weeks=number - 1),
        zone=ZONE,
        courses=(
            CoursePlan(
                id="5k",
                name="5 km",
                visits=(("start", 0), ("sluice", 2600), ("finish", 5000)),
                dropout=0.002,
                pace_s_km=340,
            ),
        ),
        waves=(WavePlan(id="All", course="5k", runners=330, flow_per_s=4),),
        points=(
            site("start", "Basin start", 4, main, backup, kind=PointKind.START),
            site("sluice", "Sluice", 4, main, backup),
            _in_the_gutter(finish),
        ),
        youngest=13,
        tags=TagPlan(prefix="E", digits=4, stock=TAG_STOCK, weak_share=0.008, kinds=("shoe",), batches=1),
    )
    columns = {
        "tag": "tag",
        "line": "reader",
        "antenna": "port",
        "first": "first",
        "last": "last",
        "reads": "reads",
    }
    return Dressed(
        plan=plan,
        exports=lambda words: (
            Export(
                level=Level.PASSINGS,
                file="exports/passings.csv",
                columns=columns,
                times="local",
                words=words,
                note="one row for each tag and line",
            ),
        ),
        start_list=StartList(file="entries.csv", columns=ENTRY_COLUMNS),
        scene=f"Evening {number} of {COUNT} by the canal{', in pouring rain' if rain else ''}: small, the same points each week.",
        trailer=True,
        worn=FIRST_WORN + WORN_EACH * number,
    )


def _in_the_gutter(point: PointPlan) -> PointPlan:
    def gutter(line: LinePlan) -> LinePlan:
        return replace(line, mat_faults=(*line.mat_faults, MatFault(1, GUTTER_LOGIT)))

    main, backup = point.lines
    return replace(point, lines=(gutter(main), backup))


def evening_mornings() -> dict[str, Morning]:
    """How each evening's record was kept: on paper in the rain, one sheet was lost."""
    return {
        evening_id(number): Morning(
            weather="rain" if number == RAIN else "dry",
            surface="asphalt",
            file="setup.csv",
            lost=("sluice-backup",) if number == RAIN else (),
        )
        for number in range(1, COUNT + 1)
    }
