"""Which parameters a course model has, and how they lie in one vector.

Blocks in order: lines (logit of the read chance of a good tag), segments (logit of going on), strata (shift
against the first), pairs (log odds ratio of the two lines of a point beyond what the tags explain), the tag
family, and the shares of tags that wake late, die early or never answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from lineproof.detection.course_model.families import Family
from lineproof.detection.course_model.histories import CourseHistories

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LINE_LEANING = (4.0, 3.0)  # logit; a line reads 0.95 to 0.9999 of the good tags, or nearly none
SEGMENT_LEANING = (5.0, 3.0)
STRATUM_LEANING = (0.0, 1.0)
PAIR_MEAN_LEANING = (0.3, 0.7)  # crowds, shared power and the road's edge: a little above unrelated
PAIR_OWN_LEANING = (0.0, 0.4)  # of one point about the mean of the course
STATE_LEANING = (-10.0, 2.0)  # log odds: one in twenty thousand, or one in a few hundred on a bad day
STATES_ALIKE = (
    0.7  # log; tags that die early are as frequent as those that wake late, within a factor of four
)


class State(StrEnum):
    """Tags that answer during a part of the course only."""

    LATE = "wakes late"
    DYING = "dies early"
    SILENT = "never answers"


class Condition(StrEnum):
    """What the likelihood takes as given."""

    SEEN = "seen at least once"
    ENTERED = "started"  # also runners never read; or, of marked animals, released


@dataclass(frozen=True, slots=True)
class Structure:
    """``line_design`` (line, coefficient) and its like turn coefficients into logits.

    ``sure`` marks segments that everybody goes on over.  ``leaning`` is the mean of each parameter and the matrix
    of precision; precision 0 leaves maximum likelihood.  ``blocks`` are the places of each kind of parameter.
    """

    line_design: Floats
    segment_design: Floats
    sure: NDArray[np.bool_]
    stratum_design: Floats
    pair_design: Floats
    family: Family
    states: tuple[State, ...]
    condition: Condition
    names: tuple[str, ...]
    leaning: tuple[Floats, Floats]
    blocks: dict[str, slice]

    @property
    def size(self) -> int:
        return len(self.names)

    def logits(self, values: Floats) -> tuple[Floats, Floats, Floats]:
        """Of lines, strata and pairs."""
        blocks = self.blocks
        return (
            self.line_design @ values[blocks["lines"]],
            self.stratum_design @ values[blocks["strata"]],
            self.pair_design @ values[blocks["pairs"]],
        )

    def begin(self) -> Floats:
        values = np.zeros(self.size)
        blocks = self.blocks
        values[blocks["lines"]] = 2.0
        values[blocks["segments"]] = 2.0
        values[blocks["family"]] = self.family.begin
        values[blocks["states"]] = -8.0
        return values


def line_names(histories: CourseHistories) -> list[str]:
    return [f"{occasion.name} {line}" for occasion in histories.occasions for line in occasion.lines]


def make_structure(
    histories: CourseHistories,
    family: Family,
    *,
    line_design: Floats | None = None,
    segment_design: Floats | None = None,
    sure: Sequence[bool] | None = None,
    paired: Sequence[int] = (),
    shared_pair: bool = False,
    states: tuple[State, ...] = (),
    condition: Condition = Condition.SEEN,
    lean: bool = False,
) -> Structure:
    """The model of ``histories``; a parameter of its own for each line and segment unless designs are given.

    ``paired`` are the occasions with a dependence of their own; ``shared_pair`` adds one that all points with
    two lines have in common.  ``lean`` makes the values lean on what is usual.
    """
    lines = line_names(histories)
    visits = len(histories.occasions)
    line_design = np.eye(len(lines)) if line_design is None else line_design
    sure_segments = np.zeros(visits - 1, dtype=bool) if sure is None else np.array(sure, dtype=bool)
    if segment_design is None:
        segment_design = np.eye(visits - 1)[:, ~sure_segments]
    strata = histories.strata
    stratum_design = np.eye(strata)[:, 1:]
    pair_design = _pair_design(histories, paired, shared_pair)
    names = (
        *(f"line {i}" for i in range(line_design.shape[1])),
        *(f"segment {i}" for i in range(segment_design.shape[1])),
        *(f"stratum {i + 1}" for i in range(strata - 1)),
        *(["pair mean"] if shared_pair else []),
        *(f"pair {histories.occasions[k].name}" for k in paired),
        *family.names,
        *(state.value for state in states),
    )
    leanings = (
        *[LINE_LEANING] * line_design.shape[1],
        *[SEGMENT_LEANING] * segment_design.shape[1],
        *[STRATUM_LEANING] * (strata - 1),
        *([PAIR_MEAN_LEANING] if shared_pair else []),
        *[PAIR_OWN_LEANING] * len(paired),
        *family.leaning,
        *[STATE_LEANING] * len(states),
    )
    mean = np.array([m for m, _ in leanings])
    precision = np.diag([s**-2.0 if lean else 0.0 for _, s in leanings])
    if lean and {State.LATE, State.DYING} <= set(states):
        late, dying = (names.index(state.value) for state in (State.LATE, State.DYING))
        precision[dying, dying] = 0.0  # leans on the other alone
        precision[np.ix_((late, dying), (late, dying))] += np.array([[1, -1], [-1, 1]]) / STATES_ALIKE**2
    return Structure(
        line_design, segment_design, sure_segments, stratum_design, pair_design, family, states, condition,
        names, (mean, precision), _blocks(line_design, segment_design, stratum_design, pair_design, family, states),
    )  # fmt: skip


def _blocks(
    lines: Floats, segments: Floats, strata: Floats, pairs: Floats, family: Family, states: Sequence[State]
) -> dict[str, slice]:
    widths = {
        "lines": lines.shape[1],
        "segments": segments.shape[1],
        "strata": strata.shape[1],
        "pairs": pairs.shape[1],
        "family": len(family.names),
        "states": len(states),
    }
    ends = np.cumsum([0, *widths.values()])
    return {name: slice(int(a), int(b)) for name, a, b in zip(widths, ends, ends[1:], strict=False)}


def _pair_design(histories: CourseHistories, paired: Sequence[int], shared: bool) -> Floats:
    two = np.array([len(occasion.lines) == 2 for occasion in histories.occasions], dtype=float)
    own = np.eye(len(two))[:, list(paired)]
    return np.column_stack([two, own]) if shared else own
