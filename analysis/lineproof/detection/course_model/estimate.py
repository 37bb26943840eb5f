"""The course model of one course: both families fitted, and what they say of the runners whom nobody saw."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

from lineproof.detection.course_model.families import NORMAL_EFFECT, ONE_KIND, TWO_KINDS, Family
from lineproof.detection.course_model.family_tables import to_family_result
from lineproof.detection.course_model.fit import Fit, fit
from lineproof.detection.course_model.hidden_crossings import (
    independence_figure,
    lower_bound,
)
from lineproof.detection.course_model.histories import CourseHistories
from lineproof.detection.course_model.problem import make_problem
from lineproof.detection.course_model.refusal import (
    ALIKE,
    why_no_chance,
    why_not_by_design,
    why_not_by_information,
)
from lineproof.detection.course_model.result import CourseModelResult, FamilyResult, PointResult
from lineproof.detection.course_model.structure import State, Structure, line_names, make_structure
from lineproof.detection.weak_tags import FEWEST_LINES
from lineproof.vocabulary import SETTINGS

Floats = NDArray[np.float64]

FAMILIES = (TWO_KINDS, NORMAL_EFFECT)
MISFIT = 1e-4  # chance of a fit so bad; a few events of a season of hundreds would say so wrongly at 0.01
SMALLEST_SPREAD = 0.2  # logit; from less a search finds its way slowly
NOTHING = float("nan")


def estimate_course_model(
    histories: CourseHistories,
    course: str = "",
    *,
    confidence: float = SETTINGS["confidence"].value,
    target: float = SETTINGS["target"].value,
    families: tuple[Family, ...] = FAMILIES,
) -> CourseModelResult:
    """Fit survival along the course, the lines' read chances and how tags differ to ``histories``.

    ``confidence`` is of all ranges; ``target`` the share read by either line that decides whether a wide range
    matters.  A course with fewer than four lines is fitted with one kind of tag only.  Where a
    number is not told by the data the point has a ``reason`` and NaN.

    Sources: survival and recapture, Cormack 1964 and Jolly 1965; conditional likelihood, Huggins 1989
    (Biometrika 76:133-140); kinds of tag, Pledger 2000 (Biometrics 56:434-442); that families that fit alike
    disagree, Link 2003 (Biometrics 59:1123-1130).
    """
    lines = len(line_names(histories))
    used = families if lines >= FEWEST_LINES else (ONE_KIND,)
    fits: list[Fit] = []
    for family in used:
        fits.append(fit_family(histories, family, after=fits[-1] if fits else None))
    fits.sort(key=lambda found: found.aic)
    last_is_open = why_not_by_design(histories, len(histories.occasions) - 1, target) is None
    results = tuple(to_family_result(found, confidence, last_is_open=last_is_open) for found in fits)
    best = max(result.log_likelihood for result in results)
    alike = tuple(result for result in results if result.log_likelihood >= best - ALIKE)
    points = tuple(_point(histories, k, alike, target, confidence) for k in range(len(histories.occasions)))
    weak, late = _chances(histories, fits)
    return CourseModelResult(
        course,
        histories.runners,
        len(histories.count),
        points,
        results,
        weak,
        late,
        points[-1].reason,
        _notes(histories, results),
    )


def fit_family(histories: CourseHistories, family: Family, after: Fit | None = None) -> Fit:
    """One family, leaning on what is usual where the reads say little; the search begins where ``after`` ended."""
    two = [k for k, occasion in enumerate(histories.occasions) if len(occasion.lines) == 2]
    visits = len(histories.occasions)
    proven = bool(histories.given.any())
    sure = [False] * (visits - 1)
    if proven:
        sure[-1] = True
    structure = make_structure(
        histories,
        family,
        sure=sure,
        paired=two,
        shared_pair=bool(two),
        # A tag that dies looks like a runner who stops: without a list of finishers its share rests on the late ones.
        states=(State.LATE, State.DYING) if visits > 2 else (),
        lean=True,
    )
    return fit(make_problem(histories, structure), None if after is None else _begin(structure, after))


def _begin(structure: Structure, after: Fit) -> Floats:
    """The values of another family's fit, and a spread of tags that comes near to its own."""
    values = after.values.copy()
    kinds = after.problem.structure.family.kinds(values[after.problem.structure.blocks["family"]])
    weight = np.exp(kinds.log_weight)
    spread = np.sqrt(max(float(weight @ kinds.effect**2 - (weight @ kinds.effect) ** 2), SMALLEST_SPREAD**2))
    family = structure.family.begin if structure.family is not NORMAL_EFFECT else (np.log(spread),)
    block = after.problem.structure.blocks["family"]
    return np.concatenate([values[: block.start], family, values[block.stop :]])


def _point(
    histories: CourseHistories, k: int, alike: tuple[FamilyResult, ...], target: float, confidence: float
) -> PointResult:
    read, missed = int(histories.read[k]), int(histories.missed[k])
    hidden = [family.hidden[k] for family in alike]
    crossings = read + missed + max(h.expected for h in hidden)
    design = why_not_by_design(histories, k, target)
    reason = design or why_not_by_information(hidden, crossings, target, confidence)
    if read + missed == 0:
        reason = "nobody is known to have crossed here"
    weight = special.softmax([-family.aic / 2 for family in alike])
    numbers = [NOTHING] * 3
    rates = [NOTHING] * 3
    if reason is None:
        expected = float(weight @ [h.expected for h in hidden])
        numbers = [expected, float(min(h.fewest for h in hidden)), float(max(h.most for h in hidden))]
        rates = [read / (read + missed + number) for number in (numbers[0], numbers[2], numbers[1])]
    chances = [family.miss_chance[k] for family in alike]
    without = design or why_no_chance(chances, target)
    chance = [NOTHING] * 3
    if design is None:  # a range that is open about the target is shown all the same
        expected = float(weight @ [c.expected for c in chances])
        chance = [expected, min(c.low for c in chances), max(c.high for c in chances)]
    return PointResult(
        name=histories.occasions[k].name,
        order=histories.occasions[k].order,
        read=read,
        missed=missed,
        hidden=numbers[0],
        hidden_low=numbers[1],
        hidden_high=numbers[2],
        lower_bound=lower_bound(histories, k),
        independence=independence_figure(histories, k),
        rate=rates[0],
        rate_low=rates[1],
        rate_high=rates[2],
        reason=reason,
        miss_chance=chance[0],
        miss_chance_low=chance[1],
        miss_chance_high=chance[2],
        miss_chance_reason=without,
    )


def _chances(histories: CourseHistories, fits: list[Fit]) -> tuple[Floats, Floats]:
    """Of each runner: chance of a weak tag (by two kinds), and of one that woke late (by the best family)."""
    of = histories.history_of if histories.history_of is not None else np.arange(len(histories.count))
    weak = np.zeros(len(of))
    for found in fits:
        if found.problem.structure.family is TWO_KINDS:
            weak = found.value.by_kind[of, 1]
    best = fits[0]
    late = np.zeros(len(of))
    if State.LATE in best.problem.structure.states:
        place = best.problem.structure.states.index(State.LATE)
        mine = best.problem.state_shares[:, place] > 0
        late = best.value.by_kind[of][:, -len(mine) :][:, mine].sum(axis=1)
    return weak, late


def _notes(histories: CourseHistories, results: tuple[FamilyResult, ...]) -> tuple[str, ...]:
    notes = []
    if not histories.given.any():
        notes.append(
            "A tag that died on the way looks like a runner who stopped; only a list of finishers or the camera tells them apart."
        )
    if len(line_names(histories)) < FEWEST_LINES:
        notes.append(
            "The course has too few lines to tell weak tags from good ones: all tags were taken to be alike."
        )
    if all(result.goodness.p_value < MISFIT for result in results):
        notes.append(
            "The misses of this course come together in ways that no model here explains (a spell, a crowd or a place across "
            "the road that it does not know of): the numbers of hidden crossings are more doubtful than their ranges say."
        )
    if not all(result.fit.settled for result in results):
        notes.append("A search for the best values did not come to rest; its numbers are doubtful.")
    return tuple(notes)
