"""Who runs, how fast, and when each body truly crosses each visit of its course.

A body is a person on the course.  Which tags it carries is another matter (``carriers``): tags get
swapped, doubled and driven about.  Times are seconds since the first gun, NaN where a body never came.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lineproof.simulate.plan import CoursePlan, EventPlan, WavePlan
from lineproof.vocabulary import RunnerClass

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

RIEGEL = (
    0.06  # pace grows with distance to this power; P. S. Riegel, American Scientist 69 (1981), from memory
)
WOMEN = 1.12  # pace of women over that of men, about the gap between record marks
CLIMB = 7.92  # flat metres that one metre of climb costs; P. Scarf, J. Sports Sci. 25 (2007), from memory
SLOWEST_S_KM = 780.0
FASTEST_S_KM = {  # over 10 km; a good club field, well short of record pace
    (RunnerClass.FOOT, "m"): 185.0,
    (RunnerClass.FOOT, "f"): 207.0,
    (RunnerClass.WHEEL, "m"): 135.0,
    (RunnerClass.WHEEL, "f"): 150.0,
    (RunnerClass.HANDCYCLE, "m"): 125.0,
    (RunnerClass.HANDCYCLE, "f"): 140.0,
}
WHEEL_MEDIAN_S_KM = 185.0
MAT_SPEED = (0.9, 9.0)  # m/s over a line, from a walk to a wheelchair sprint


@dataclass(slots=True)
class Field:
    """Bodies by row.  ``times`` and ``speeds`` are bodies x visits (of the longest course)."""

    course: Ints
    wave: Ints
    bib: npt.NDArray[np.str_]
    runner_class: npt.NDArray[np.str_]
    sex: npt.NDArray[np.str_]
    age: Ints
    delay: Floats
    times: Floats
    speeds: Floats

    @property
    def bodies(self) -> int:
        return len(self.course)


def make_field(plan: EventPlan, rng: np.random.Generator) -> Field:
    """Draw the runners of all waves, in wave order, with bibs counted through."""
    width = max(len(course.visits) for course in plan.courses)
    parts = [_wave_field(plan, index, width, rng) for index in range(len(plan.waves))]
    joined = {
        name: np.concatenate([getattr(part, name) for part in parts])
        for name in Field.__dataclass_fields__
        if name != "bib"
    }
    count = len(joined["course"])
    digits = max(3, len(str(count)))
    bib = np.array([f"{number:0{digits}d}" for number in range(1, count + 1)])
    return Field(bib=bib, **joined)


def _wave_field(plan: EventPlan, index: int, width: int, rng: np.random.Generator) -> Field:
    wave = plan.waves[index]
    course_index = next(i for i, c in enumerate(plan.courses) if c.id == wave.course)
    course = plan.courses[course_index]
    n = wave.runners
    sex = np.where(rng.random(n) < 0.45, "f", "m")
    age = np.clip(np.round(38 + 12 * rng.standard_normal(n)), plan.youngest, 79).astype(np.int64)
    pace = _paces(course, wave, sex, age, rng)
    delay = _start_delays(pace, wave, rng)
    times, speeds = _run(course, pace, delay + wave.after_s, rng)
    times[rng.random(n) < wave.absent_share] = np.nan
    pad = ((0, 0), (0, width - times.shape[1]))
    return Field(
        course=np.full(n, course_index),
        wave=np.full(n, index),
        bib=np.empty(n, dtype=np.str_),
        runner_class=np.full(n, wave.runner_class.value),
        sex=sex,
        age=age,
        delay=delay,
        times=np.pad(times, pad, constant_values=np.nan),
        speeds=np.pad(speeds, pad, constant_values=np.nan),
    )


def _paces(
    course: CoursePlan, wave: WavePlan, sex: npt.NDArray[np.str_], age: Ints, rng: np.random.Generator
) -> Floats:
    """Mean pace of each runner over the course, s per flat km."""
    wheels = wave.runner_class is not RunnerClass.FOOT
    median = WHEEL_MEDIAN_S_KM if wheels else course.pace_s_km
    spread = course.pace_sd * (0.6 if wheels else 1.0)
    ageing = 1 + 0.0055 * np.maximum(age - 35, 0) + 0.012 * np.maximum(18 - age, 0)
    pace = median * np.exp(spread * rng.standard_normal(len(age))) * ageing
    pace = pace * np.where(sex == "f", WOMEN, 1.0)
    fastest = np.where(sex == "f", FASTEST_S_KM[wave.runner_class, "f"], FASTEST_S_KM[wave.runner_class, "m"])
    # Reflect rather than clip, so that no bunch of equals leads the race.
    pace = np.where(pace < fastest, 2 * fastest - pace, pace)
    scale = (course.visits[-1][1] / 10_000) ** RIEGEL
    return np.asarray(np.minimum(pace * max(scale, 0.97), SLOWEST_S_KM))


def _start_delays(pace: Floats, wave: WavePlan, rng: np.random.Generator) -> Floats:
    """Seconds from the gun to the start line: people line up roughly by pace and stream over it."""
    queue = pace * np.exp(0.12 * rng.standard_normal(len(pace)))
    place = np.argsort(np.argsort(queue, kind="stable"), kind="stable")
    jitter = np.abs(rng.standard_normal(len(pace)))
    return np.asarray(0.4 + place / wave.flow_per_s + jitter, dtype=np.float64)


def _run(course: CoursePlan, pace: Floats, left_s: Floats, rng: np.random.Generator) -> tuple[Floats, Floats]:
    at_m = np.array([at for _, at in course.visits])
    lengths = np.diff(at_m, prepend=0.0)  # the first is the stretch to the first visit, 0 at a start line
    climbs = np.array((0.0, *(course.climbs_m or (0.0,) * (len(at_m) - 1))))
    flat = lengths + CLIMB * climbs
    middle = (at_m - lengths / 2) / at_m[-1]
    tiring = course.fatigue * (1 + 0.6 * rng.standard_normal(len(pace)))[:, None]
    form = 1 + 0.025 * np.clip(rng.standard_normal((len(pace), len(at_m))), -2.5, 2.5)
    pace_here = pace[:, None] * (1 + tiring * (middle - 0.5)) * form
    times = left_s[:, None] + np.cumsum(pace_here * flat / 1000, axis=1)
    speeds = 1000 / pace_here
    # Over the start mats the crowd walks and jogs.
    if lengths[0] == 0:
        speeds[:, 0] = np.minimum(speeds[:, 0], 1.4 + 1.2 * rng.random(len(pace)))
    steep = np.where(lengths > 0, flat / np.maximum(lengths, 1), 1.0)
    speeds = np.clip(speeds / steep, *MAT_SPEED)
    stopped = rng.random(times.shape) < course.dropout
    stopped[:, 0] = False
    times[np.cumsum(stopped, axis=1) > 0] = np.nan
    return times, speeds
