"""The sections of a plan: those of ``event.toml``, with limits on every number."""

from __future__ import annotations

from lineproof.errors import PlanError
from lineproof.event.sections import Section
from lineproof.replacement.assumptions import Assumption
from lineproof.replacement.plan import PLAN_FILE


class PlanSection(Section):
    """One table of a plan."""

    file = PLAN_FILE
    fault = PlanError

    @property
    def whole(self) -> str:
        """The text of the file."""
        return self._text

    def inner(self, key: str) -> PlanSection:
        """The table ``[this.key]``; an empty one where there is none."""
        value = self.data.get(key, {})
        header = f"{self._header[:-1]}.{key}]"
        if not isinstance(value, dict):
            raise self.error(f'"{key}" must be a table', f"write {header} above its lines", key)
        return type(self)(value, header, self._text, header)


def limited(section: Section, key: str, limits: Assumption) -> float | None:
    """A number of the file within ``limits``; None where it is not there."""
    if isinstance(section.data.get(key), str):
        raise section.error(
            f'"{key}" is in words ("{section.data[key]}")',
            "write digits without quotation marks or a unit",
            key,
        )
    value = section.number(key)
    if value is None:
        return None
    if value < limits.least:
        what = "cannot be negative" if limits.least == 0 else f"cannot be below {limits.least:g}"
        raise section.error(f'"{key}" is {value:g} and {what}', f"the unit is {limits.unit}", key)
    if value > limits.most:
        raise section.error(
            f'"{key}" is {value:g} and cannot be above {limits.most:g}', f"the unit is {limits.unit}", key
        )
    if limits.whole and value != int(value):
        raise section.error(
            f'"{key}" is {value:g} and must be a whole number', f"the unit is {limits.unit}", key
        )
    return value


def words_of(section: Section, key: str) -> tuple[str, ...]:
    value = section.data.get(key, [])
    if not isinstance(value, list) or not all(isinstance(word, str) for word in value):
        raise section.error(f'"{key}" must be a list of texts', f'write {key} = ["…", "…"]', key)
    return tuple(value)
