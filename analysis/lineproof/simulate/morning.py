"""What the crew wrote down of a simulated event: the set-up record, by what was really laid.

Heights of the hand test come from the items' true state with the noise of a tape held at dawn; clock times are
whole minutes.  A few facts are left out, and slips of the pen are put in where the plan of the morning asks
for them; both are listed for the truth.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl

from lineproof.setup.workbook import Cell
from lineproof.simulate.equipment import POWER_UNITS, Laid
from lineproof.simulate.plan import FOREVER, SPACING_M, EventPlan, LinePlan, PointPlan
from lineproof.simulate.running import SimulatedEvent
from lineproof.vocabulary import PointKind

Row = dict[str, Cell]

SOUND_CEILING_CM = 190.0
MAT_SD_CM = 8.0  # between sound mats
TAPE_SD_CM = 5.0
LOSS_CM = 22.0  # of height for each logit of read chance
RAIN_CM = 8.0
STEP_CM = 5  # people read a tape to this
SHORT_S = 30.0  # a restart shorter than this leaves no change-over in a record

# Facts that are forgotten now and then.
_FORGOTTEN = ("surface", "covers", "gun_check", "backup_power", "crew_minutes", "near_gap_m", "direction")
_FORGET, _FORGET_HAND = 0.05, 0.02


@dataclass(frozen=True, slots=True)
class Slip:
    """``written`` stands in the record instead of what is true; None: it was left out."""

    line: str
    column: str
    written: Cell
    slot: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Morning:
    """How the day was, and how its record was kept."""

    weather: str
    surface: str
    file: str = "setup.xlsx"
    delimiter: str = ","
    decimal: str = "."
    closed: bool = True  # a road that was closed; a path has no vehicles
    slips: tuple[Slip, ...] = ()
    lost: tuple[str, ...] = ()  # lines whose sheet was lost


@dataclass(frozen=True, slots=True)
class Written:
    """Rows of the record by our column names; ``changed`` lists what differs from the truth."""

    lines: list[Row]
    mats: list[Row]
    changed: list[dict[str, str]]


def write_down(
    sim: SimulatedEvent, items: Sequence[Laid], morning: Morning, seed: int, rng: np.random.Generator
) -> Written:
    """The record of a simulated event.  ``seed`` draws each mat's own height, the same all season."""
    plan = sim.plan
    power = _power_units(plan, rng)
    lines = [
        _line_row(sim, point, line, items, morning, power[line.id], rng)
        for point in plan.points
        for line in point.lines
    ]
    mats = [_mat_row(item, morning, seed, rng) for item in items]
    changed: list[dict[str, str]] = []
    for row in [*lines, *mats]:
        _forget(row, rng, changed)
    for slip in morning.slips:
        _slip(slip, mats if slip.slot else lines, changed)
    changed += [_change({"line": line}, "", "the whole line", None) for line in morning.lost]
    return Written(
        [row for row in lines if row["line"] not in morning.lost],
        [row for row in mats if row["line"] not in morning.lost],
        changed,
    )


def _power_units(plan: EventPlan, rng: np.random.Generator) -> dict[str, str]:
    """One unit for each line; lines of a point that fell silent together hung on one."""
    units = [POWER_UNITS[place] for place in rng.permutation(len(POWER_UNITS))]
    found: dict[str, str] = {}
    for point in plan.points:
        for line in point.lines:
            same = [o for o in point.lines if o.id in found and o.silences and o.silences == line.silences]
            found[line.id] = found[same[0].id] if same else units.pop()
    return found


def _line_row(
    sim: SimulatedEvent,
    point: PointPlan,
    line: LinePlan,
    items: Sequence[Laid],
    morning: Morning,
    power: str,
    rng: np.random.Generator,
) -> Row:
    plan, place = sim.plan, point.lines.index(line)
    start = point.kind is PointKind.START
    double = len(point.lines) > 1
    laid = -60.0 * float(rng.integers(35, 100))
    power_on = laid - 60.0 * float(rng.integers(14, 26))
    clock_set = power_on + 60.0 * float(rng.integers(4, 10))
    cuts = [s for s in line.silences if s.end_s < FOREVER and s.end_s - s.begin_s >= SHORT_S]
    by_hand = abs(line.clock.offset_s) >= 1
    row: Row = {
        "line": line.id,
        "place": point.name,
        "role": line.role.value,
        "met": ("first", "second")[place] if double else None,
        "behind_start": "no" if start else None,
        "reader": next(item.reader for item in items if item.line == line.id),
        "reader_role": "practice" if line.practice else "race",
        "ports_told": line.mats,
        "power_on": _clock(plan, power_on),
        "clock_set": _clock(plan, clock_set),
        "clock_source": "by hand, from a phone" if by_hand else "satellite time",
        "gun_check": "no" if by_hand or not start else "yes",
        "walk_test": "no" if any(item.loss > 100 for item in items if item.line == line.id) else "yes",
        "spacing_m": round(SPACING_M + 0.08 * float(rng.standard_normal()), 1) if double else None,
        "road_width_m": point.road_m,
        "covered_width_m": float(line.mats),
        "near_gap_m": line.offset_m,
        "direction": "near side",
        "surface": morning.surface,
        "covers": "yes" if point.kind is not PointKind.SPLIT or rng.random() < 0.5 else "no",
        "weather": morning.weather,
        "power": power,
        "backup_power": "no" if cuts or rng.random() < 0.2 else "yes",
        "change_over": _clock(plan, cuts[0].end_s) if cuts else None,
        "road_closed": _clock(plan, laid - 60.0 * float(rng.integers(20, 60))) if morning.closed else None,
        "laid": _clock(plan, laid),
        "lifted": _clock(plan, _lifted(sim, point, line, rng)),
        "crew_minutes": 5.0 * round((18 + 5.5 * line.mats + 4 * float(rng.standard_normal())) / 5),
        "notes": _note(line),
    }
    return row


def _note(line: LinePlan) -> str | None:
    if any(s.end_s - s.begin_s < SHORT_S for s in line.silences):
        return "plug of the power cable loose; pushed home after the last wave"
    return None


def _lifted(sim: SimulatedEvent, point: PointPlan, line: LinePlan, rng: np.random.Generator) -> float:
    late = 60.0 * float(rng.integers(8, 26))
    early = [s.begin_s for s in line.silences if s.end_s >= FOREVER]
    if early:
        return early[0]
    times = sim.truth.crossings.filter(pl.col("point") == point.id, "crossed")["time"]
    last = times.max()
    return (last - sim.plan.gun).total_seconds() + late if isinstance(last, dt.datetime) else late


def _clock(plan: EventPlan, seconds: float) -> Cell:
    """A wall clock in whole minutes; in the hour that comes twice, date and offset as well."""
    zone = ZoneInfo(plan.zone)
    moment = (plan.gun.astimezone(dt.UTC) + dt.timedelta(seconds=seconds // 60 * 60)).astimezone(zone)
    if moment.replace(fold=0).utcoffset() != moment.replace(fold=1).utcoffset():
        return moment.isoformat(sep=" ", timespec="minutes")
    return moment.time().replace(tzinfo=None, fold=0)


def _mat_row(item: Laid, morning: Morning, seed: int, rng: np.random.Generator) -> Row:
    own = np.random.default_rng([seed, 990, int(item.mat[1:])])
    floor = 25 + 30 * rng.random()
    ceiling = SOUND_CEILING_CM + MAT_SD_CM * float(own.standard_normal()) - LOSS_CM * item.loss
    ceiling -= RAIN_CM * (morning.weather == "rain")
    ceiling += TAPE_SD_CM * float(rng.standard_normal())
    # A slot with no contact at all would be mended at once, so where one stayed nobody had tested it.
    tested = item.loss < 100
    return {
        "line": item.line,
        "slot": item.slot,
        "mat": item.mat,
        "cable": item.cable,
        "port": item.port,
        "hand_floor_cm": STEP_CM * round(floor / STEP_CM) if tested else None,
        "hand_ceiling_cm": STEP_CM * round(ceiling / STEP_CM) if tested else None,
    }


def _forget(row: Row, rng: np.random.Generator, changed: list[dict[str, str]]) -> None:
    names = [name for name in _FORGOTTEN if row.get(name) is not None and rng.random() < _FORGET]
    if row.get("hand_floor_cm") is not None and rng.random() < _FORGET_HAND:
        names += ["hand_floor_cm", "hand_ceiling_cm"]
    for name in names:
        changed.append(_change(row, name, row[name], None))
        row[name] = None


def _slip(slip: Slip, rows: list[Row], changed: list[dict[str, str]]) -> None:
    row = next(r for r in rows if (r["line"], r.get("slot")) == (slip.line, slip.slot))
    changed.append(_change(row, slip.column, row.get(slip.column), slip.written))
    row[slip.column] = slip.written


def _change(row: Row, column: str, true: Cell, written: Cell) -> dict[str, str]:
    slot = row.get("slot")
    return {
        "line": str(row["line"]),
        "slot": "" if slot is None else str(slot),
        "column": column,
        "true": "" if true is None else str(true),
        "written": "" if written is None else str(written),
    }
