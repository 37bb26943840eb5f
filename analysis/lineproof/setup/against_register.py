"""The ids of a record against the register: unknown items, items of another kind, cables that do not reach.

An id that the register does not know may be a slip of the pen, and it would make an item of its own in every
count after; so it does not count until it is put right here or added there.
"""

from __future__ import annotations

import datetime as dt
import difflib

from lineproof.setup.complaints import Row
from lineproof.setup.record import Record
from lineproof.setup.register import Register
from lineproof.vocabulary import ItemKind

_SLACK_M = 0.5  # a cable's length is known to about this


def compare_with_register(record: Record, register: Register) -> None:
    """Say what does not fit; ids that fit get the register's spelling.  Nothing is said without a register."""
    if register.file is None:
        return
    for row in record.lines:
        _judge_id(row, "reader", ItemKind.READER, record, register)
        power = row.text("power")
        if power is not None and register.find(power) is not None:
            _judge_id(row, "power", ItemKind.POWER_UNIT, record, register)
        _judge_ports_told(row, record, register)
    for row in record.mats:
        _judge_id(row, "mat", ItemKind.MAT, record, register)
        _judge_id(row, "cable", ItemKind.CABLE, record, register)
        _judge_port(row, record, register)
        _judge_reach(row, record, register)


def _judge_id(row: Row, name: str, kind: ItemKind, record: Record, register: Register) -> None:
    word = row.text(name)
    if word is None:
        return
    item = register.find(word)
    say = record.complaints.say
    if item is None:
        same = [str(i.values["item"]) for i in register.items.values() if i.values["kind"] == kind.value]
        close = difflib.get_close_matches(word, same, n=2, cutoff=0.6)
        known = f'write "{close[0]}" if that is meant' if len(close) == 1 else "put it right"
        todo = f"{known}, or add it to {register.file}"
        say(row, name, f'there is no {kind.value} "{word}" in the register', todo, about="register")
        return
    found = str(item.values["kind"])
    if found != kind.value:
        problem = f'"{word}" is a {found} by the register (row {item.row}), not a {kind.value}'
        say(row, name, problem, "write it into its own column", about="register")
        return
    row.values[name] = str(item.values["item"])
    bought, retired = item.values.get("bought"), item.values.get("retired")
    day, todo = record.event.date, f"look at the item, then mend this or {register.file}"
    if isinstance(retired, dt.date) and retired <= day:
        problem = f'the {kind.value} "{word}" is retired since {retired} by the register (row {item.row})'
        say(row, name, problem, todo, about="register", counts=True)
    if isinstance(bought, dt.date) and bought > day:
        problem = f'the {kind.value} "{word}" was bought on {bought} by the register (row {item.row}), after the event'
        say(row, name, problem, todo, about="register", counts=True)


def _reader_ports(row: Row, register: Register) -> float | None:
    reader = row.text("reader")
    item = None if reader is None else register.find(reader)
    return None if item is None else item.number("ports")


def _judge_ports_told(row: Row, record: Record, register: Register) -> None:
    ports, told = _reader_ports(row, register), row.number("ports_told")
    if ports is not None and told is not None and told > ports:
        problem = f'{told:g} ports told, but reader "{row.text("reader")}" has {ports:g} by the register'
        record.complaints.say(row, "ports_told", problem, "count again", about="register")


def _judge_port(row: Row, record: Record, register: Register) -> None:
    line = next((line for line in record.lines if line.text("line") == row.text("line")), None)
    ports, port = None if line is None else _reader_ports(line, register), row.number("port")
    if line is not None and ports is not None and port is not None and port > ports:
        problem = f'port {port:g}, but reader "{line.text("reader")}" has {ports:g} by the register'
        record.complaints.say(row, "port", problem, "look at the reader", about="register")


def _judge_reach(row: Row, record: Record, register: Register) -> None:
    """A cable cannot be longer than it is, nor reach a mat that lies further off than its length."""
    word = row.text("cable")
    item = None if word is None else register.find(word)
    length = None if item is None else item.number("length_m")
    if length is None:
        return
    used = row.number("cable_m")
    if used is not None and used > length + _SLACK_M:
        problem = f'{used:g} m used, but cable "{word}" is {length:g} m long by the register'
        record.complaints.say(
            row, "cable_m", problem, "measure again, or look at the cable", about="register"
        )
    away = _distance_m(row, record)
    if away is not None and away > length + _SLACK_M:
        problem = (
            f'cable "{word}" is {length:g} m long by the register, and slot {row.values["slot"]} '
            f"lies {away:g} m or more from the reader"
        )
        record.complaints.say(row, "cable", problem, "look at the cable", about="register")


def _distance_m(row: Row, record: Record) -> float | None:
    """Least way from the reader's side to the near end of a slot; from the nearer side where that is not told."""
    line = next((line for line in record.lines if line.text("line") == row.text("line")), None)
    slot = row.number("slot")
    if line is None or slot is None:
        return None
    each = record.event.setting("mat_width_m")
    last = max(other.number("slot") or 0 for other in record.slots_of(line.text("line") or ""))
    near, far = (slot - 1) * each, (last - slot) * each
    side = line.text("direction")
    return near if side == "near side" else far if side == "far side" else min(near, far)
