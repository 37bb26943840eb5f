"""Where a record contradicts itself: one thing in two places, times out of order, units mixed up.

What cannot both be true does not count until somebody settles it; what is only odd counts and is said.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path, PureWindowsPath
from statistics import median
from zoneinfo import ZoneInfo

from lineproof.setup.cells import say_plain
from lineproof.setup.complaints import Row
from lineproof.setup.record import Record
from lineproof.wording import say_list

PHOTO_FOLDERS = ("", "photos")
_INCHES = (40.0, 100.0)  # a good ceiling, 150 to 230 cm, written in inches falls in here
_INCH_CM = 2.54
_HALF_METRE = 0.5  # widths and distances paced out by two people agree within this


def find_contradictions(record: Record) -> None:
    """Say every contradiction of the record with itself; what does not count is taken out of its rows."""
    for row in record.lines:
        _judge_times(row, record)
        _judge_widths(row, record)
        _judge_photos(row, record)
    _judge_heights(record)
    _judge_slots(record)
    for name in ("mat", "cable"):
        _judge_places(name, record)
    _judge_readers(record)
    _judge_ports(record)
    for _, rows in record.by_point():
        _judge_pair(rows, record)


def _clock(instant: dt.datetime, record: Record) -> str:
    return instant.astimezone(ZoneInfo(record.event.zone)).strftime("%H:%M")


# (earlier, later, what it means, what to do, does the later one still count)
_ORDER = (
    ("laid", "lifted", "lifted at {late}, before it was laid at {early}", "one of the two is wrong", False),
    ("laid", "relaid", "laid again at {late}, before it was first laid at {early}", "one is wrong", False),
    ("relaid", "lifted", "lifted at {late}, before it was laid again at {early}", "one is wrong", False),
    (
        "power_on",
        "clock_set",
        "the clock was set at {late}, before the reader had power at {early}",
        "one of the two is wrong; a clock set before power-on is not set",
        False,
    ),
    (
        "power_on",
        "change_over",
        "power was changed over at {late}, before power-on at {early}",
        "one is wrong",
        False,
    ),
    (
        "road_closed",
        "laid",
        "laid at {late}, before the road was closed at {early}",
        "put the time right; if it is right, lay mats on a closed road only",
        True,
    ),
)


def _judge_times(row: Row, record: Record) -> None:
    for early, late, problem, todo, counts in _ORDER:
        before, after = row.instant(early), row.instant(late)
        if before is not None and after is not None and after < before:
            words = problem.format(early=_clock(before, record), late=_clock(after, record))
            record.complaints.say(row, late, words, todo, counts=counts)
    clock_set, gun = row.instant("clock_set"), record.event.first_gun
    if clock_set is not None and gun is not None and clock_set > gun:
        words = (
            f"the clock was set at {_clock(clock_set, record)}, after the first gun at {_clock(gun, record)}"
        )
        todo = "put the time right; if it is right, times before it need a correction"
        record.complaints.say(row, "clock_set", words, todo, counts=True)


def _judge_widths(row: Row, record: Record) -> None:
    road, covered = row.number("road_width_m"), row.number("covered_width_m")
    gap = row.number("near_gap_m") or 0.0
    if road is None or covered is None:
        return
    if covered > road + _HALF_METRE:
        problem = f"{covered:g} m of mats on a road of {road:g} m"
        record.complaints.say(row, "covered_width_m", problem, "measure again; neither width counts")
        row.values.pop("road_width_m")
    elif gap + covered > road + _HALF_METRE and gap:
        problem = (
            f"{gap:g} m before the first mat and {covered:g} m of mats are more than the road's {road:g} m"
        )
        record.complaints.say(row, "near_gap_m", problem, "measure again")


def _judge_photos(row: Row, record: Record) -> None:
    for name in (part.strip() for part in (row.text("photos") or "").split(";")):
        if not name:
            continue
        outside = (
            Path(name).is_absolute()
            or PureWindowsPath(name).drive
            or ".." in Path(name.replace("\\", "/")).parts
        )
        if outside:
            todo = "copy the photo into the event folder and write its name alone"
            record.complaints.say(row, "photos", f'"{name}" leads out of the event folder', todo, counts=True)
        elif not any(_is_there(record.event.folder / folder / name) for folder in PHOTO_FOLDERS):
            todo = "copy it there, or into photos/, or take the name out"
            record.complaints.say(
                row, "photos", f'there is no file "{name}" in the event folder', todo, counts=True
            )


def _is_there(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name that no file can have
        return False


def _judge_heights(record: Record) -> None:
    for row in record.mats:
        floor, ceiling = row.number("hand_floor_cm"), row.number("hand_ceiling_cm")
        if floor is not None and ceiling is not None and floor > ceiling:
            problem = f"read from {floor:g} cm up to {ceiling:g} cm: the heights are swapped"
            record.complaints.say(row, "hand_floor_cm", problem, f"write {ceiling:g} and {floor:g} if so")
            row.values.pop("hand_ceiling_cm")
    for line in dict.fromkeys(row.text("line") or "" for row in record.mats):
        _judge_inches(record.slots_of(line), record)


def _judge_inches(rows: list[Row], record: Record) -> None:
    """All ceilings of a line in the range of inches, and no unit written behind them: nobody can tell."""
    high = {row.row: height for row in rows if (height := row.number("hand_ceiling_cm")) is not None}
    low = [height for row in rows if (height := row.number("hand_floor_cm")) is not None]
    bare = [row for row in rows if row.row in high and row.texts.get("hand_ceiling_cm", "")[-1:].isdigit()]
    if len(high) < 2 or len(bare) < len(high) or max(high.values()) > _INCHES[1]:
        return
    middle = median(high.values())
    if middle < _INCHES[0] or any(height > _INCHES[0] for height in low):
        return
    first = bare[0]
    value = high[first.row]
    problem = (
        f"up to {value:g} cm, and no mat of the line above {max(high.values()):g} cm: this looks like inches"
    )
    todo = f"write {say_plain(value * _INCH_CM)} if so; if not, write the unit: {value:g} cm"
    record.complaints.say(first, "hand_ceiling_cm", problem, todo)
    for row in rows:
        row.values.pop("hand_ceiling_cm", None)
        row.values.pop("hand_floor_cm", None)


def _judge_slots(record: Record) -> None:
    for line in record.lines:
        rows = record.slots_of(line.text("line") or "")
        there = {int(row.number("slot") or 0) for row in rows}
        lacking = [str(slot) for slot in range(1, max(there, default=0)) if slot not in there]
        if lacking:
            slots = f"slot {lacking[0]}" if len(lacking) == 1 else f"the slots {say_list(lacking)}"
            problem = f"{line.text('line')} has a mat in slot {max(there)} and no row for {slots}"
            todo = "add it, with the mat left empty where none lay"
            record.complaints.say(rows[-1], "slot", problem, todo, counts=True)


def _judge_places(name: str, record: Record) -> None:
    """One item in two places at once; neither place counts."""
    by_item: dict[str, list[Row]] = defaultdict(list)
    for row in record.mats:
        if (item := row.text(name)) is not None:
            by_item[item].append(row)
    for item, rows in by_item.items():
        clash = next((pair for pair in combinations(rows, 2) if _at_once(*pair, record)), None)
        if clash is None:
            continue
        first, second = clash
        where = f"slot {first.values['slot']} of {first.text('line')} (row {first.row})"
        if first.text("line") == second.text("line"):
            problem = f'the {name} "{item}" stands in {where} as well'
        else:
            problem = f'the {name} "{item}" lies in two places at once: here and in {where}'
        record.complaints.say(second, name, problem, "look at the item and put one right; neither counts")
        for row in rows:
            row.values.pop(name, None)


def _at_once(first: Row, second: Row, record: Record) -> bool:
    """Whether two slots were laid at the same time; unknown times may have been."""
    lines = {row.text("line"): row for row in record.lines}
    one, other = (lines.get(row.text("line")) for row in (first, second))
    if one is None or other is None or one is other:
        return True
    return not (_is_after(one, other) or _is_after(other, one))


def _is_after(late: Row, early: Row) -> bool:
    laid, lifted = late.instant("laid"), early.instant("lifted")
    return laid is not None and lifted is not None and laid >= lifted


def _judge_readers(record: Record) -> None:
    """One reader serves one point at a time."""
    point_of = {line.id: line.point for line in record.event.lines}
    for first, second in _pairs(record.lines, "reader"):
        points = {point_of[row.text("line") or ""] for row in (first, second)}
        if len(points) > 1 and not (_is_after(first, second) or _is_after(second, first)):
            problem = f'the reader "{second.text("reader")}" stands at {first.text("line")} (row {first.row}) as well'
            record.complaints.say(second, "reader", problem, "look at the reader; neither place counts")
            first.values.pop("reader", None)


def _pairs(rows: tuple[Row, ...], name: str) -> Iterator[tuple[Row, Row]]:
    for first, second in combinations(rows, 2):
        if first.text(name) is not None and first.text(name) == second.text(name):
            yield first, second


def _judge_ports(record: Record) -> None:
    reader_of = {row.text("line"): row.text("reader") for row in record.lines}
    taken: dict[tuple[str, float], Row] = {}
    for row in record.mats:
        line, port = row.text("line") or "", row.number("port")
        if port is None:
            continue
        reader = reader_of.get(line)
        first = taken.setdefault((reader or f"of {line}", port), row)
        if first is not row and (first.text("line") == line or _at_once(first, row, record)):
            where = f"slot {first.values['slot']} of {first.text('line')} (row {first.row})"
            of = f' of reader "{reader}"' if reader else ""
            problem = f"port {port:g}{of} serves {where} already"
            record.complaints.say(row, "port", problem, "look at the reader; neither counts")
            first.values.pop("port", None)


def _judge_pair(rows: list[Row], record: Record) -> None:
    """Two lines of a point: one distance between them, one of them met first."""
    if len(rows) != 2:
        return
    main, backup = rows
    gaps = [row.number("spacing_m") for row in rows]
    if gaps[0] is not None and gaps[1] is not None and abs(gaps[0] - gaps[1]) > _HALF_METRE:
        problem = f"{gaps[1]:g} m to the other line, which says {gaps[0]:g} m (row {main.row})"
        record.complaints.say(backup, "spacing_m", problem, "measure again; neither counts")
        main.values.pop("spacing_m", None)
    met = [row.text("met") for row in rows]
    if met[0] is not None and met[0] == met[1]:
        problem = f"both lines of the point are met {met[0]}"
        record.complaints.say(backup, "met", problem, "one is met first, the other second; neither counts")
        main.values.pop("met", None)
