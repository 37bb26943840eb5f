"""The rules of the trade that a line must keep before the gun: what each looks for, why, and what to do.

``RULES`` is the whole list, in the order of the work.  All are common practice; every limit is a named
setting that an event may change.  What was not recorded is never taken for done.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from lineproof.event import Event
from lineproof.setup.laid import LaidLine
from lineproof.vocabulary import PointKind, Role
from lineproof.wording import say_list

TAPE_M = 0.1  # distances are written to a tenth of a metre
_BY_HAND = ("hand", "phone", "watch", "typed", "manual")


class State(StrEnum):
    GO = "go"
    LOOK = "look again"
    UNKNOWN = "not recorded"


@dataclass(frozen=True, slots=True)
class Seen:
    """What a rule finds at a line: the state, and the facts behind it in a few words."""

    state: State
    facts: str


@dataclass(frozen=True, slots=True)
class Rule:
    """``judge`` is given the line and the lines of its point, main first; None: the rule is not about this line."""

    name: str
    asks: str
    reason: str
    todo: str
    settings: tuple[str, ...]
    judge: Callable[[LaidLine, Sequence[LaidLine]], Seen | None]
    source: str = "common practice"

    def question(self, event: Event) -> str:
        """What is asked, with the limits of the event."""
        return self.asks.format_map(event.settings)


def _not_recorded(what: str) -> Seen:
    return Seen(State.UNKNOWN, what)


def _judge_road(line: LaidLine, _: Sequence[LaidLine]) -> Seen:
    closed, laid = line.instant("road_closed"), line.instant("laid")
    if closed is None:
        return _not_recorded("when the road was closed")
    if laid is None:
        return _not_recorded(f"when the line was laid (road closed at {line.clock(closed)})")
    state = State.GO if closed <= laid else State.LOOK
    return Seen(state, f"road closed at {line.clock(closed)}, laid at {line.clock(laid)}")


def _judge_width(line: LaidLine, _: Sequence[LaidLine]) -> Seen:
    road, covered = line.number("road_width_m"), line.number("covered_width_m")
    if road is None or covered is None:
        return _not_recorded("how wide the road is" if road is None else "how much of the road the mats span")
    bare = line.event.setting("bare_width_m")
    gap = line.number("near_gap_m") or 0.0
    strips = (gap, max(road - covered - gap, 0.0))
    facts = f"{covered:g} m of mats on {road:g} m of road"
    if max(strips) <= bare:
        return Seen(State.GO, facts)
    sides = [
        f"{strip:.1f} m bare at the {side}"
        for strip, side in zip(strips, ("near side", "far side"), strict=True)
        if strip > bare
    ]
    return Seen(State.LOOK, f"{facts}: {say_list(sides)}")


def _judge_antennas(line: LaidLine, _: Sequence[LaidLine]) -> Seen:
    width = line.number("covered_width_m")
    mats = [mat for mat in line.mats if mat.is_recorded]
    if not mats or width is None:
        return _not_recorded(
            "which mats lie in the line" if not mats else "how much of the road the mats span"
        )
    each = line.event.setting("mat_width_m")
    state = State.GO if len(mats) * each >= width - each / 2 else State.LOOK
    return Seen(state, f"{len(mats)} {'mat' if len(mats) == 1 else 'mats'} for {width:g} m")


def _judge_ports(line: LaidLine, _: Sequence[LaidLine]) -> Seen:
    told = line.number("ports_told")
    ports = [mat.port for mat in line.mats if mat.port is not None]
    unknown = [mat.name for mat in line.mats if mat.port is None]
    if told is None or not ports:
        return _not_recorded("how many ports the reader was told" if told is None else "which ports are used")
    highest = max(ports)
    if highest > told:
        silent = say_list([str(port) for port in sorted(ports) if port > told])
        return Seen(State.LOOK, f"{told:g} told, {len(ports)} used: port {silent} would stay silent")
    if unknown:
        return _not_recorded(f"the port of {say_list(unknown)}")
    if highest < told or len(set(ports)) < told:
        return Seen(State.LOOK, f"{told:g} told, {len(set(ports))} used, the highest is {highest}")
    return Seen(State.GO, f"{told:g} told, {len(ports)} used")


def _judge_role_of_reader(line: LaidLine, _: Sequence[LaidLine]) -> Seen:
    role = line.text("reader_role")
    if role is None:
        return _not_recorded("what the reader was set to")
    return Seen(State.GO if role == "race" else State.LOOK, f"set to {role}")


def _judge_clock(line: LaidLine, _: Sequence[LaidLine]) -> Seen:
    power_on, clock_set, gun = line.instant("power_on"), line.instant("clock_set"), line.event.first_gun
    if clock_set is None:
        return _not_recorded("when the clock was set")
    facts = f"set at {line.clock(clock_set)}"
    if gun is not None and clock_set > gun:
        return Seen(State.LOOK, f"{facts}, after the gun at {line.clock(gun)}")
    if power_on is None:
        return _not_recorded(f"when the reader was switched on ({facts})")
    facts = f"power on at {line.clock(power_on)}, {facts}"
    return Seen(State.GO if power_on <= clock_set else State.LOOK, facts)


def _judge_clock_source(line: LaidLine, _: Sequence[LaidLine]) -> Seen:
    source = line.text("clock_source")
    if source is None:
        return _not_recorded("what the clock was set by")
    by_hand = any(word in source.casefold() for word in _BY_HAND)
    return Seen(State.LOOK if by_hand else State.GO, f"set by: {source}")


def _judge_heights(line: LaidLine, _: Sequence[LaidLine]) -> Seen:
    low, high = line.event.setting("hand_floor_cm"), line.event.setting("hand_ceiling_cm")
    mats = [mat for mat in line.mats if mat.is_recorded]
    bad = [
        f"{mat.name} up to {mat.ceiling_cm:g} cm only"
        for mat in mats
        if mat.ceiling_cm is not None and mat.ceiling_cm < high
    ]
    bad += [
        f"{mat.name} from {mat.floor_cm:g} cm only"
        for mat in mats
        if mat.floor_cm is not None and mat.floor_cm > low
    ]
    unknown = [mat.name for mat in mats if mat.floor_cm is None or mat.ceiling_cm is None]
    if bad:
        more = f"; not recorded: {say_list(unknown)}" if unknown else ""
        return Seen(State.LOOK, say_list(bad) + more)
    if unknown or not mats:
        return _not_recorded(f"the heights of {say_list(unknown) if unknown else 'all mats'}")
    ceilings = [mat.ceiling_cm for mat in mats if mat.ceiling_cm is not None]
    return Seen(State.GO, f"all {len(mats)} mats up to {min(ceilings):g} cm or higher")


def _judge_walk(line: LaidLine, _: Sequence[LaidLine]) -> Seen:
    walked = line.yes("walk_test")
    if walked is None:
        return _not_recorded("whether a tag was walked over every mat")
    return Seen(State.GO, "done") if walked else Seen(State.LOOK, "not done")


def _judge_spacing(line: LaidLine, lines: Sequence[LaidLine]) -> Seen | None:
    if len(lines) < 2 or line is not lines[0]:
        return None
    found = [gap for one in lines if (gap := one.number("spacing_m")) is not None]
    if not found:
        return _not_recorded("the distance between the lines")
    least = line.event.setting("line_spacing_m")
    state = State.GO if min(found) + TAPE_M >= least else State.LOOK
    return Seen(state, f"{min(found):g} m from {lines[0].line.id} to {lines[1].line.id}")


def _judge_roles(line: LaidLine, lines: Sequence[LaidLine]) -> Seen | None:
    if len(lines) < 2 or line is not lines[0]:
        return None
    main, backup = lines
    written = {one.line.id: one.text("role") for one in lines}
    if any(
        role is not None and role != one.line.role.value
        for one, role in zip(lines, written.values(), strict=True)
    ):
        return Seen(State.LOOK, f"the record has {_roles(written)}; event.toml has {main.line.id} as main")
    met = {one.line.role: one.text("met") for one in lines}
    first = _met_first(met)
    if first is None:
        return _not_recorded("which line the runners meet first")
    behind = [one.yes("behind_start") for one in lines]
    if main.point.kind is PointKind.START:
        if None in behind:
            return _not_recorded("whether the lines lie behind the start line")
        if all(behind):
            state = State.GO if first is Role.BACKUP else State.LOOK
            nearest = main if first is Role.BACKUP else backup
            return Seen(state, f"both lie behind the start line, {nearest.line.id} nearest to it")
    chosen = main if first is Role.MAIN else backup
    return Seen(State.GO if first is Role.MAIN else State.LOOK, f"runners meet {chosen.line.id} first")


def _roles(written: dict[str, str | None]) -> str:
    return say_list([f"{line} as {role}" for line, role in written.items() if role is not None])


def _met_first(met: dict[Role, str | None]) -> Role | None:
    for role, other in ((Role.MAIN, Role.BACKUP), (Role.BACKUP, Role.MAIN)):
        if met.get(role) == "first" or met.get(other) == "second":
            return role
    return None


def _judge_power(line: LaidLine, _: Sequence[LaidLine]) -> Seen:
    backup = line.yes("backup_power")
    if backup is None:
        return _not_recorded("whether a second source takes over")
    return Seen(State.GO, "a second source takes over") if backup else Seen(State.LOOK, "no second source")


RULES: tuple[Rule, ...] = (
    Rule(
        "road closed",
        "Was the road closed before the mats were laid?",
        "Vehicles crush mats, and nobody should kneel in traffic.",
        "Wait for the closure; test again every mat that a vehicle ran over.",
        (),
        _judge_road,
    ),
    Rule(
        "whole width",
        "Do the mats span the whole width that runners can use?",
        "A runner beside the mats is read by neither line.",
        "Add mats, or narrow the road with fences or cones.",
        ("bare_width_m",),
        _judge_width,
    ),
    Rule(
        "one antenna per metre",
        "Is there one antenna for each metre?",
        "An antenna reads well over about one metre of road.",
        "Close the gaps between mats or add one.",
        ("mat_width_m",),
        _judge_antennas,
    ),
    Rule(
        "ports",
        "Was the reader told as many ports as are used?",
        "The highest ports stay silent when the reader is told too few.",
        "Tell the reader the number of ports in use, and use the lowest ones without a gap.",
        (),
        _judge_ports,
    ),
    Rule(
        "race role",
        "Is the reader set to race?",
        "A reader left in a practice role drops reads.",
        "Set the reader to race and walk a tag over again.",
        (),
        _judge_role_of_reader,
    ),
    Rule(
        "clock",
        "Was the clock set after power-on and before the start?",
        "A clock that was not set since power-on tells any time.",
        "Set it by satellite time and compare it with a second clock.",
        (),
        _judge_clock,
    ),
    Rule(
        "clock source",
        "Was the clock set by satellite or network time?",
        "A time set by hand is off by seconds, or by a zone or half a day.",
        "Set it by satellite time; failing that, compare date, zone and seconds with a second clock.",
        (),
        _judge_clock_source,
    ),
    Rule(
        "hand test",
        "Does every mat read a test tag from {hand_floor_cm:g} cm or lower up to {hand_ceiling_cm:g} cm or higher?",
        "A low ceiling means a bad mat, cable or joint.",
        "Look at the joint, then change the cable, then the mat, and test again.",
        ("hand_floor_cm", "hand_ceiling_cm"),
        _judge_heights,
    ),
    Rule(
        "walk test",
        "Did every mat answer when a tag was walked over it?",
        "It shows a port, cable or mat that is swapped or dead.",
        "Walk a tag over every mat from the far side to the near side and see each one answer.",
        (),
        _judge_walk,
    ),
    Rule(
        "distance of lines",
        "Do the two lines lie at least {line_spacing_m:g} m apart?",
        "Lines that lie closer disturb each other's fields.",
        "Move one of the two.",
        ("line_spacing_m",),
        _judge_spacing,
    ),
    Rule(
        "main and backup",
        "Is the main line the right one of the two?",
        "The main line is the one that runners meet first; where both lie behind a start line, the one nearest to it.",
        "Change the roles or the lines; local rules decide.",
        (),
        _judge_roles,
    ),
    Rule(
        "second power",
        "Does a second power source take over?",
        "A line without power reads nobody, and its reader may need minutes to get its time again.",
        "Add a battery that takes over by itself; mains outdoors only with residual-current protection.",
        (),
        _judge_power,
    ),
)
