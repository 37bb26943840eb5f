"""The sections of ``event.toml``: hand out checked values, and know where they stand for the complaint."""

from __future__ import annotations

import difflib
import re
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any
from zoneinfo import ZoneInfo

from lineproof.errors import EventError, LineproofError
from lineproof.event.model import EVENT_FILE


class Section:
    """One table of the file: hands out checked values and knows where it stands.

    ``file`` and ``fault`` name the file and its error; another file written like it has a subclass.
    """

    file = EVENT_FILE
    fault: type[LineproofError] = EventError

    def __init__(self, data: Mapping[str, Any], where: str, text: str, header: str, nth: int = 0) -> None:
        self.data = data
        self.where = where
        self._text = text
        self._header = header
        self._nth = nth

    def row(self, key: str | None = None) -> int | None:
        """Row of ``key`` (or of the section's header) in the file, for the complaint."""
        lines = self._text.splitlines()
        heads = [i for i, line in enumerate(lines) if line.strip() == self._header]
        if len(heads) <= self._nth:
            return None
        begin = heads[self._nth]
        if key is not None:
            for i in range(begin + 1, len(lines)):
                if lines[i].lstrip().startswith("[["):
                    break
                if re.match(rf"""\s*["']?{re.escape(key)}["']?\s*=""", lines[i]):
                    return i + 1
        return begin + 1

    def error(self, problem: str, todo: str, key: str | None = None) -> LineproofError:
        return self.fault(f"{self.where}: {problem}", todo=todo, file=self.file, row=self.row(key))

    def only(self, allowed: Iterable[str]) -> None:
        known = list(allowed)
        for key in self.data:
            if key not in known:
                raise self.error(
                    f'the word "{key}" is not known here',
                    suggest(key, known) or f"use {', '.join(known)}",
                    key,
                )

    def text(self, key: str, default: str | None = None) -> str:
        value = self.data.get(key, default)
        if value is None:
            raise self.error(f'"{key}" is missing', f'write {key} = "…"')
        if not isinstance(value, str) or not value.strip():
            raise self.error(f'"{key}" must be a text', "put it in quotation marks", key)
        return value.strip()

    def optional_text(self, key: str) -> str | None:
        return self.text(key) if key in self.data else None

    def number(self, key: str) -> float | None:
        value = self.data.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e12:
            raise self.error(f'"{key}" must be a number', "write digits without quotation marks", key)
        return float(value)

    def choice(self, key: str, words: Iterable[str], default: str | None = None) -> str:
        value = self.text(key, default)
        known = list(words)
        if value not in known:
            raise self.error(
                f'"{key}" cannot be "{value}"', suggest(value, known) or f"use one of {', '.join(known)}", key
            )
        return value

    def mapping(self, key: str) -> dict[str, str]:
        value = self.data.get(key, {})
        if not isinstance(value, dict):
            raise self.error(
                f'"{key}" must map words to words', f'write [{key}] and lines like "A" = "b"', key
            )
        for word, meant in value.items():
            if not isinstance(meant, str):
                raise self.error(
                    f'"{word}" must be one text in quotation marks', _one_text(word, meant), word
                )
        return dict(value)

    def table(self, key: str) -> Section:
        """The table ``[key]`` of this file; an empty one where there is none."""
        value = self.data.get(key, {})
        if not isinstance(value, dict):
            raise self.fault(
                f'"{key}" must be a table', todo=f"write [{key}] above its lines", file=self.file
            )
        return type(self)(value, f"[{key}]", self._text, f"[{key}]")

    def part(self, data: Mapping[str, Any], where: str) -> Section:
        """A table inside this one, such as one visit of a course; it stands where this one stands."""
        return type(self)(data, f"{self.where}, {where}", self._text, self._header, self._nth)

    def rows(self, key: str) -> list[dict[str, Any]]:
        value = self.data.get(key, [])
        if not isinstance(value, list) or not all(isinstance(v, dict) for v in value):
            raise self.error(f'"{key}" must be a list of tables', f"write [[{key}]] above each", key)
        return value


def _one_text(word: str, meant: object) -> str:
    """What to write in place of a value that is no text."""
    if isinstance(meant, list) and len(meant) == 2 and word == "tag":
        return f'write tag = "{meant[0]}" and in a line of its own tag_2 = "{meant[1]}"'
    if isinstance(meant, list):
        return f'write {word} = "{meant[0] if meant else "…"}"'
    return f'write {word} = "{meant}"'


def suggest(word: str, known: Iterable[str]) -> str:
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f'did you mean "{close[0]}"?' if close else ""


def sections_of(text: str, root: Section, key: str) -> list[Section]:
    return [
        type(root)(row, f"[[{key}]] number {i + 1}", text, f"[[{key}]]", i)
        for i, row in enumerate(root.rows(key))
    ]


def refuse_twice(ids: Iterable[str], what: str, root: Section) -> None:
    twice = [word for word, count in Counter(ids).items() if count > 1]
    if twice:
        raise root.error(f'{what} "{twice[0]}" is described twice', "give each an id of its own")


def zone_of(head: Section) -> str:
    name = head.text("zone")
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise head.error(
            f'the zone "{name}" is not known', 'use a name like "Europe/London"', "zone"
        ) from None
    return name


def refuse_unknown(section: Section, what: str, ids: Iterable[str], known: set[str]) -> None:
    for word in ids:
        if word not in known:
            raise section.error(
                f'there is no {what} "{word}"',
                suggest(word, known) or f"add it as [[{what}]]",
                f"{what}_names",
            )
