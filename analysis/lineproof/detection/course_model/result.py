"""What a course model says, as frozen records: points, segments, lines, families, and why it says no more."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineproof.detection.course_model.capability import MissChance
from lineproof.detection.course_model.fit import Fit
from lineproof.detection.course_model.hidden_crossings import Hidden

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number with its standard error (observed information); NaN where the data do not tell."""

    name: str
    estimate: float
    std_error: float


@dataclass(frozen=True, slots=True)
class GoodnessOfFit:
    """Pearson's statistic over the distinct histories, those expected under five times pooled."""

    chi2: float
    df: float
    p_value: float
    cells: int


@dataclass(frozen=True, slots=True)
class FamilyResult:
    """One family of tag effects fitted to the histories.

    ``weak_share`` and ``weak_shift`` (logit) are those of two kinds of tag, ``spread`` (logit) that of a normal
    effect; NaN in the other family.  ``lines`` are read chances of a usual tag, ``segments`` chances of
    going on to the next point, ``pairs`` log odds ratios of a point's two lines beyond what tags explain.
    ``hidden`` and ``miss_chance`` have one entry per point.  ``fit`` holds the parameters as they were estimated.
    """

    name: str
    log_likelihood: float
    aic: float
    parameters: int
    weak_share: Estimate
    weak_shift: Estimate
    spread: Estimate
    lines: tuple[Estimate, ...]
    segments: tuple[Estimate, ...]
    pairs: tuple[Estimate, ...]
    states: tuple[Estimate, ...]
    hidden: tuple[Hidden, ...]
    miss_chance: tuple[MissChance, ...]
    goodness: GoodnessOfFit
    fit: Fit


@dataclass(frozen=True, slots=True)
class PointResult:
    """Crossings of one visit that no line read.

    ``missed`` are proven by evidence from elsewhere, exactly.  ``hidden`` is the expected number of those that
    nothing proves; ``hidden_low`` to ``hidden_high`` holds their true number with the stated confidence, over
    all families that fit alike.  ``lower_bound`` holds whatever the family; ``independence`` is what follows if
    the lines' misses were unrelated, over all crossings (NaN with one line).  ``rate`` is the share read by either
    line, with its range.  With a ``reason`` the numbers of hidden crossings and the rate are NaN.
    ``miss_chance`` is what the set-up would miss next time (capability); with its own reason it does not tell
    whether the target would be met, though its range is shown (NaN only where the design refuses).
    """

    name: str
    order: int
    read: int
    missed: int
    hidden: float
    hidden_low: float
    hidden_high: float
    lower_bound: float
    independence: float
    rate: float
    rate_low: float
    rate_high: float
    reason: str | None
    miss_chance: float
    miss_chance_low: float
    miss_chance_high: float
    miss_chance_reason: str | None


@dataclass(frozen=True, slots=True)
class CourseModelResult:
    """``families`` best first by AIC.  ``weak_chance`` and ``late_chance`` are aligned to ``runners``.

    ``reason`` is that of the last point, where nothing comes later: None if it was answered.
    ``notes`` are plain sentences on what was found beside.
    """

    course: str
    runners: tuple[str, ...]
    histories: int
    points: tuple[PointResult, ...]
    families: tuple[FamilyResult, ...]
    weak_chance: Floats
    late_chance: Floats
    reason: str | None
    notes: tuple[str, ...]

    @property
    def both_missed(self) -> float:
        """Crossings of the course that no line read, proven and hidden; NaN where a point was refused."""
        return float(sum(point.missed + point.hidden for point in self.points))
