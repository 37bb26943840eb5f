"""What is wrong in a line of ``event.toml`` that is not TOML, in the words of somebody who writes such files rarely.

The parser says where it stopped; why it stopped is read off the line itself, likeliest mistakes first.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import dataclass

_KEY = r"""(?P<key>[A-Za-z_][\w-]*|"[^"]*"|'[^']*')"""
_VALUE = re.compile(rf"(?:^|[{{,\s]){_KEY}\s*=\s*(?P<value>[^\"'\[{{#\s][^,}}\]#]*)")
_COMMA = re.compile(rf"(?:^|[{{,\s]){_KEY}\s*=\s*(?P<whole>-?\d+),(?P<part>\d+)(?=\s*(?:[,}}\]#]|$))")
_DATE = re.compile(r"\b(\d{1,4})[-./](\d{1,2})[-./](\d{1,4})\b")
_CLOCK = re.compile(r"^(\d{1,2})[:.](\d{2})(?:[:.](\d{2})(\.\d+)?)?$")
_CURLED = "“”„«»‘’"


@dataclass(frozen=True, slots=True)
class Mistake:
    """What was found, what to write instead, and the row it stands in (None: not known)."""

    problem: str
    todo: str
    row: int | None


def find_mistake(text: str, message: str) -> Mistake:
    """The mistake behind a complaint of the TOML parser about ``text``."""
    said = re.search(r"at line (\d+)", message)
    lines = text.splitlines()
    row = int(said[1]) if said else None
    if "Cannot overwrite" in message or "Cannot mutate" in message or "twice" in message:
        return _twice(lines, row)
    for number in [row] if row else range(len(lines), 0, -1):
        line = lines[number - 1] if number <= len(lines) else ""
        for look in _LOOKS:
            found = look(line)
            if found is not None:
                return Mistake(*found, number)
    if "Unclosed" in message or (row is None and text.count("[") > text.count("]")):
        return _unclosed(lines, row)
    plain = message.split(" (at")[0]
    return Mistake(f"not valid TOML: {plain[:1].lower()}{plain[1:]}", "mend that line", row)


def _curled(line: str) -> tuple[str, str] | None:
    if any(mark in line for mark in _CURLED) and not re.search(r'"[^"]*[“”„«»‘’][^"]*"', line):
        return "quotation marks of a word processor stand here", 'type them as plain " marks'
    return None


def _comma(line: str) -> tuple[str, str] | None:
    found = _COMMA.search(line)
    if found is None:
        return None
    number = f"{found['whole']},{found['part']}"
    return (
        f"the number {number} has a decimal comma",
        f"write {found['key']} = {found['whole']}.{found['part']} with a point",
    )


def _quotes(line: str) -> tuple[str, str] | None:
    bare = re.sub(r"\\.", "", line)
    before, _, _ = bare.partition("#")
    bare = before if before.count('"') % 2 == 0 else bare
    if bare.count('"') % 2 == 0 and not (bare.count("'") % 2 and '"' not in bare):
        return None
    return (
        "a quotation mark is missing",
        'put one before and one after the text, as in name = "Half marathon"',
    )


def _backslash(line: str) -> tuple[str, str] | None:
    found = re.search(r'"([^"]*\\[^"]*)"', line)
    if found is None:
        return None
    return "a backslash cannot stand in a text like this", f'write "{found[1].replace(chr(92), "/")}"'


def _value(line: str) -> tuple[str, str] | None:
    """A value without quotation marks that is neither number, date, time, true nor false."""
    for found in _VALUE.finditer(line):
        key, value = found["key"], found["value"].strip()
        for judge in (_as_date, _as_clock, _as_number):
            if (sentence := judge(key, value)) is not None:
                return sentence
        if not _is_sound(value):
            shown = value.rstrip('"')
            return f"the text {shown} has no quotation marks", f'write {key} = "{shown}"'
    return None


def _as_date(key: str, value: str) -> tuple[str, str] | None:
    found = _DATE.match(value)
    if found is None or value.startswith(("0x", "0o")):
        return None
    a, b, c = found.groups()
    year, month, day = (a, b, c) if len(a) == 4 else (c, b, a)
    try:
        right = dt.date(int(year), int(month), int(day))
    except ValueError:
        return f"{found[0]} is no date: write year, month and day", f"write it as {key} = 2026-05-17"
    if value.startswith(right.isoformat()):
        return None
    sure = len(a) == 4 or int(a) > 12 or "." in found[0]
    shown = f"{key} = {right.isoformat()}" if sure else f"{key} = 2026-05-17 (year, month, day)"
    return f"the date {found[0]} is not written as year-month-day", f"write {shown}"


def _as_clock(key: str, value: str) -> tuple[str, str] | None:
    found = _CLOCK.match(re.sub(r"\s*(Uhr|h|hrs?|o'clock)$", "", value, flags=re.I))
    if found is None or ":" not in value:
        return None
    hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
    if hour > 23 or minute > 59 or second > 59:
        return f"{value} is no time of day", f"write hours, minutes and seconds, such as {key} = 09:30:00"
    right = f"{hour:02}:{minute:02}:{second:02}{found[4] or ''}"
    if value == right:
        return None
    return f"the time {value} is not complete", f"write {key} = {right}"


def _as_number(key: str, value: str) -> tuple[str, str] | None:
    found = re.match(r"^(-?\d+(?:\.\d+)?)\s*(km|m|s|min|%)$", value)
    if found is not None:
        scale = 1000 if found[2] == "km" and key == "at_m" else 1
        number = f"{float(found[1]) * scale:g}"
        return f"the unit {found[2]} does not belong into the number", f"write {key} = {number}"
    if re.fullmatch(r"0\d+", value):
        return (
            f"the number {value} begins with 0",
            f'write {key} = {value.lstrip("0") or 0}, or "{value}" if it is a text',
        )
    return None


def _is_sound(value: str) -> bool:
    number = r"[+-]?(?:\d[\d_]*(?:\.\d+)?(?:[eE][+-]?\d+)?|inf|nan|0x[0-9A-Fa-f]+)"
    return bool(re.fullmatch(rf"{number}|true|false|\d{{4}}-\d\d-\d\d.*|\d\d:\d\d.*", value))


def _heading(line: str) -> tuple[str, str] | None:
    bare = line.split("#")[0].strip()
    if bare.startswith("[") and "=" not in bare and bare.count("[") != bare.count("]"):
        word = bare.strip("[] ")
        both = bare.startswith("[[")
        return "a square bracket is missing", f"write {'[[' if both else '['}{word}{']]' if both else ']'}"
    return None


def _no_equals(line: str) -> tuple[str, str] | None:
    bare = line.split("#")[0].strip()
    if re.match(r"^[A-Za-z_][\w-]*\s*:", bare):
        key, _, value = bare.partition(":")
        return "a colon stands where = is needed", f"write {key.strip()} = {value.strip()}"
    words, _, value = bare.partition("=")
    if value and not re.search(r"[\"'\[{]", words) and len(words.split()) > 1:
        return (
            "words with a blank stand before the = without quotation marks",
            f'write "{words.strip()}" = {value.strip()}',
        )
    if bare and "=" not in bare and not bare.startswith(("[", "{", "]", "}")):
        return "there is no = in this line", 'write it as name = "Half marathon", or put # before a remark'
    if re.search(r"=\s*$", bare):
        return f"nothing stands after {bare}", "write a value, or delete the line"
    return None


_LOOKS: tuple[Callable[[str], tuple[str, str] | None], ...] = (
    _curled, _comma, _backslash, _quotes, _value, _heading, _no_equals,
)  # fmt: skip


def _unclosed(lines: list[str], row: int | None) -> Mistake:
    """A list that nothing closes: most often a comma is missing between two of its rows."""
    number = row or len(lines)
    line = lines[number - 1].strip() if number <= len(lines) else ""
    if line.startswith("{") and number > 1 and not lines[number - 2].rstrip().endswith((",", "[")):
        return Mistake("a comma is missing at the end of this row", "put a comma after }", number - 1)
    return Mistake("a list is not closed", "write ] after its last row, and a comma after every other", row)


def _twice(lines: list[str], row: int | None) -> Mistake:
    """The same word twice in one section, or the same section twice."""
    section, seen = "", dict[tuple[str, str], int]()
    for number, line in enumerate(lines, start=1):
        bare = line.strip()
        if bare.startswith("[[") or (bare.startswith("[") and "=" not in bare):
            heading = bare.split("#")[0].strip()
            if heading.startswith("[["):
                seen = {
                    key: at for key, at in seen.items() if not key[0].startswith(f"[{heading.strip('[]')}.")
                }
            if not heading.startswith("[[") and (heading, "") in seen:
                first = seen[heading, ""]
                return Mistake(
                    f"{heading} stands here again, first in row {first}", "put its lines together", number
                )
            section = f"{heading} {number}" if heading.startswith("[[") else heading
            seen[section, ""] = number
            continue
        found = re.match(rf"\s*{_KEY}\s*=", line)
        if found is None:
            continue
        key = found["key"].strip("\"'")
        if (section, key) in seen:
            return _repeated(section, key, seen[section, key], number)
        seen[section, key] = number
    return Mistake("a word is given two values", "leave one of them", row)


def _repeated(section: str, key: str, first: int, row: int) -> Mistake:
    todo = "leave one of them"
    if key == "tag" and section.startswith("[entries"):
        todo = 'name the column of the second tag tag_2 = "…"'
    return Mistake(f'"{key}" stands here again, first in row {first}', todo, row)
