"""What an oracle that knows line, place and time beforehand could see of a planted fault.

A fault is *sure* where the oracle's test, at a chance of one in a thousand, would find it in 99 of 100 such events:
smaller ones nobody can ask a diagnosis for.  What to expect is worked out from the causes in the plan, for a
lone runner at the usual speed, and never from what was missed; a crowd's effect alone is taken as it came out.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy import special, stats

from lineproof.simulate.plan import LinePlan, PointPlan
from lineproof.simulate.reading import NEIGHBOURS, count_attempts, estimate_base
from lineproof.simulate.running import SimulatedEvent
from lineproof.simulate.setup_faults import SetupFault
from lineproof.vocabulary import Cause, PointKind

ORACLE_CHANCE = 0.001
ORACLE_POWER = 0.99
START_SPEED, SPEED = 1.9, 3.0  # m/s over the mats, the middle runner of a simulated field


def is_sure(fault: SetupFault, sim: SimulatedEvent) -> bool:
    """Whether the oracle would find it in ``ORACLE_POWER`` of such events."""
    if fault.cause is Cause.WEAK_TAG:
        return _tags_are_sure(sim)
    tried, usual, faulty = _EXPECTED.get(fault.cause, _of_window)(fault, sim)
    if tried <= 0:
        return False
    least = float(stats.binom.isf(ORACLE_CHANCE, tried, usual)) + 1
    return bool(stats.binom.sf(least - 1, tried, min(faulty, 1.0)) >= ORACLE_POWER)


def expected_excess(fault: SetupFault, sim: SimulatedEvent) -> float:
    """Misses more than usual that the fault is expected to make among runners with evidence."""
    tried, usual, faulty = _EXPECTED.get(fault.cause, _of_window)(fault, sim)
    return tried * (faulty - usual)


Expected = tuple[int, float, float]  # tried, share missed as usual, share missed with the fault


def _crossed(fault: SetupFault, sim: SimulatedEvent) -> pl.DataFrame:
    gun = sim.plan.gun.timestamp()
    since = pl.col("time").dt.epoch("us") / 1e6 - gun
    return sim.truth.crossings.filter(
        "crossed", pl.col("point") == fault.point, since >= fault.begin_s, since <= fault.end_s
    )


def _plan_of(fault: SetupFault, sim: SimulatedEvent) -> tuple[PointPlan, list[LinePlan]]:
    point = next(p for p in sim.plan.points if p.id == fault.point)
    lines = [line for line in point.lines if fault.line in (None, line.id)]
    return point, lines


def _unread(
    line: LinePlan, point: PointPlan, sim: SimulatedEvent, lateral: np.ndarray, loss: bool
) -> np.ndarray:
    """Chance that a lone good tag at each place goes unread, averaged over its attitude."""
    physics = sim.plan.physics
    speed = START_SPEED if point.kind is PointKind.START else SPEED
    tries = float(count_attempts(np.array([speed]), physics)[0])
    base = estimate_base(line.rate, physics)
    nodes, weights = np.polynomial.hermite_e.hermegauss(41)
    unread = np.ones((len(lateral), len(nodes)))
    mat = np.floor(lateral - line.offset_m).astype(int)
    lost = {f.mat: f.logit for f in line.mat_faults} if loss else {}
    for step in NEIGHBOURS:
        here = mat + step
        on = (here >= 0) & (here < line.mats)
        cost = np.array([min(lost.get(h + 1, 0.0), 60.0) for h in here])
        away = lateral - line.offset_m - here - 0.5
        chance = special.expit(base - cost[:, None] + physics.pose_sd * nodes[None, :])
        chance = chance * np.exp(-0.5 * (away / physics.reach_m) ** 2)[:, None] * on[:, None]
        unread *= (1 - chance) ** tries
    return np.asarray(unread @ weights / weights.sum())


def _lateral(road_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Places across the road and the share of the runners at each: the middle of three even draws."""
    x = (np.arange(400) + 0.5) / 400
    return x * road_m, 6 * x * (1 - x) / 400


def _of_antenna(fault: SetupFault, sim: SimulatedEvent) -> Expected:
    point, (line,) = _plan_of(fault, sim)
    lateral, share = _lateral(point.road_m)
    mats = {f.mat for f in line.mat_faults}
    over = np.isin(np.floor(lateral - line.offset_m).astype(int) + 1, sorted(mats))
    tried = round(_crossed(fault, sim).height * float(share[over].sum()))
    weight = share[over] / share[over].sum()
    usual, faulty = (float(_unread(line, point, sim, lateral[over], loss) @ weight) for loss in (False, True))
    return tried, usual, faulty


def _of_window(fault: SetupFault, sim: SimulatedEvent) -> Expected:
    _, lines = _plan_of(fault, sim)
    tried = _crossed(fault, sim).height
    fewest = round(sim.plan.settings.get("interruption_misses", 5))
    return (tried if tried >= fewest else 0), 1 - min(line.rate for line in lines), 1.0


def _of_road(fault: SetupFault, sim: SimulatedEvent) -> Expected:
    """Both lines' misses of runners beyond the mats; at the finish only of those whom the other line read."""
    point, lines = _plan_of(fault, sim)
    lateral, share = _lateral(point.road_m)
    bare = lateral > lines[0].mats
    weight = share[bare] / share[bare].sum()
    main, backup = (_unread(line, point, sim, lateral[bare], True) for line in lines)
    later = point.kind is not PointKind.FINISH
    missed = main + backup if later else main * (1 - backup) + backup * (1 - main)
    tried = round(2 * _crossed(fault, sim).height * float(share[bare].sum()))
    return tried, 1 - min(line.rate for line in lines), float(missed @ weight) / 2


def _of_line(fault: SetupFault, sim: SimulatedEvent) -> Expected:
    """A line is weak where it misses more than 2.5 times what the middle line does."""
    _, (line,) = _plan_of(fault, sim)
    others = [other.rate for point in sim.plan.points for other in point.lines if other.id != line.id]
    usual = 2.5 * max(1 - float(np.median(others)), 0.004)
    return _crossed(fault, sim).height, usual, 0.8 if line.practice else 1 - line.rate


def _of_crowd(fault: SetupFault, sim: SimulatedEvent) -> Expected:
    """As it came out, as the crowd's effect has no closed form; a crowd is one from twice the usual on."""
    here = _crossed(fault, sim)
    missed = int((~here["read_main"]).sum()) + int((~here["read_backup"]).sum())
    rates = [line.rate for point in sim.plan.points for line in point.lines]
    tried = 2 * here.height
    return tried, 2 * max(1 - float(np.median(rates)), 0.004), missed / max(tried, 1)


def _tags_are_sure(sim: SimulatedEvent) -> bool:
    """Who is weak the oracle does not know, only how often either kind is missed: by runners missed k times or more."""
    lines = {point.id: [line.rate for line in point.lines] for point in sim.plan.points}
    missed = {point: 1 - float(np.prod(rates)) for point, rates in lines.items()}
    by_weak = {point: 1 - sim.plan.tags.weak_rate ** len(rates) for point, rates in lines.items()}
    weak = set(sim.truth.tags.filter(quality="weak")["runner"])
    good_share = float(np.mean(list(missed.values())))
    weak_share = float(np.mean(list(by_weak.values())))
    crossed = sim.truth.crossings.filter("crossed").group_by("runner").len("visits")
    visits = crossed["visits"].to_numpy()
    is_weak = crossed["runner"].is_in(sorted(weak)).to_numpy()
    for level in range(2, 6):
        usual = float(stats.binom.sf(level - 1, visits, good_share).sum())
        more = float(stats.binom.sf(level - 1, visits[is_weak], weak_share).sum())
        least = stats.poisson.isf(ORACLE_CHANCE, usual) + 1
        if stats.poisson.sf(least - 1, usual + more) >= ORACLE_POWER:
            return True
    return False


def _of_tags(_fault: SetupFault, sim: SimulatedEvent) -> Expected:
    weak = sim.truth.tags.filter(quality="weak")["runner"].to_list()
    lines = {point.id: len(point.lines) for point in sim.plan.points}
    theirs = sim.truth.crossings.filter("crossed", pl.col("runner").is_in(weak))
    tried = sum(lines[point] for point in theirs["point"])
    return tried, 0.015, 1 - sim.plan.tags.weak_rate


_EXPECTED = {
    Cause.SILENT_ANTENNA: _of_antenna,
    Cause.WEAK_ANTENNA: _of_antenna,
    Cause.PORTS_NOT_TOLD: _of_antenna,
    Cause.ROAD_WIDER: _of_road,
    Cause.PRACTICE_ROLE: _of_line,
    Cause.WHOLE_LINE: _of_line,
    Cause.CROWD: _of_crowd,
    Cause.WEAK_TAG: _of_tags,
}
