"""Events with known truth, simulated from causes: for the demo season, tests and calibration.

``simulate_event(clean_plan(runners=3000), seed=1)`` gives reads, entries, tags, the event and the truth.
"""

from lineproof.simulate.plan import (
    Clock,
    CoursePlan,
    EventPlan,
    FaultKind,
    LinePlan,
    MatFault,
    Planted,
    PointPlan,
    ReadingPhysics,
    Silence,
    TagPlan,
    WavePlan,
    to_event,
)
from lineproof.simulate.running import SimulatedEvent, simulate_event
from lineproof.simulate.scenarios import MUST_ANSWER, MUST_REFUSE, clean_plan, with_line
from lineproof.simulate.season.writing import SEED, write_season
from lineproof.simulate.truth import Truth

__all__ = [
    "MUST_ANSWER",
    "MUST_REFUSE",
    "SEED",
    "Clock",
    "CoursePlan",
    "EventPlan",
    "FaultKind",
    "LinePlan",
    "MatFault",
    "Planted",
    "PointPlan",
    "ReadingPhysics",
    "Silence",
    "SimulatedEvent",
    "TagPlan",
    "Truth",
    "WavePlan",
    "clean_plan",
    "simulate_event",
    "to_event",
    "with_line",
    "write_season",
]
