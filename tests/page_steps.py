"""The steps of a document that a machine can take: its commands, what they print, files to save, questions to answer.

A fenced block ``sh`` is run, ``python`` too, ``toml`` is parsed.  A comment in front of a block or table says what else
it is: ``by hand: why`` (not run), ``prints`` (parts of what the commands before printed, in their order), ``save as: PATH``,
``copy: A to B`` (no block follows), ``answers`` (a table of questions and answers of the command before).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

COMMENT = re.compile(r"^<!-- (by hand|prints|save as|copy|answers)(?:: (.*?))? -->$")
FENCE = re.compile(r"^```(\{?\w*\}?)$")


@dataclass(slots=True)
class Step:
    """``kind`` is run, python, toml, by hand, prints, save as, copy or answers; ``text`` the block, ``about`` the comment's words."""

    kind: str
    text: str
    about: str
    row: int
    answers: dict[str, str] = field(default_factory=dict)

    @property
    def commands(self) -> list[str]:
        return [line for line in self.text.splitlines() if line.strip() and not line.startswith("#")]


def steps_of(page: Path) -> list[Step]:
    """All steps of a page; raises ``AssertionError`` for a comment that nothing follows and a command in no known block."""
    lines = page.read_text(encoding="utf-8").splitlines()
    found = list(_steps(lines))
    for step in found:
        if step.kind == "answers":
            before = [s for s in found if s.kind == "run" and s.row < step.row]
            assert before, f"{page.name} row {step.row}: answers to no command"
            before[-1].answers = step.answers
    return found


def _steps(lines: list[str]) -> Iterator[Step]:
    said: tuple[str, str] | None = None
    i = 0
    while i < len(lines):
        comment, fence = COMMENT.match(lines[i]), FENCE.match(lines[i])
        if comment:
            assert said is None, f"row {i + 1}: the comment before it has no block"
            said = (comment[1], comment[2] or "")
            if comment[1] == "copy":
                yield Step("copy", "", comment[2], i + 1)
                said = None
        elif fence:
            end = next(j for j in range(i + 1, len(lines)) if lines[j] == "```")
            kind, about = (
                ("toctree", "")
                if fence[1] == "{toctree}"
                else said or ({"sh": "run"}.get(fence[1], fence[1]), "")
            )
            yield Step(kind, "\n".join(lines[i + 1 : end]), about, i + 1)
            said, i = None, end
        elif said and said[0] == "answers" and lines[i].startswith("|"):
            end = next((j for j in range(i, len(lines)) if not lines[j].startswith("|")), len(lines))
            cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[i + 2 : end]]
            yield Step("answers", "", "", i + 1, dict(cells))
            said, i = None, end
        i += 1
    assert said is None, f"the comment {said} has no block"
