"""When the number of hidden crossings is not stated, and the plain reason.

By information, not by counting unknowns: a model can be identified in principle and its answer be noise.
An answer is refused where other values that fit as well, or another family that fits as well, lead to a
number more than four times as large, and that matters: the larger number lies above what the target allows, and
above what is looked up on the camera in minutes and is small beside the field.  A range below that is an answer,
however many times its ends differ, as whoever reads it would do the same at either end.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import stats

from lineproof.detection.course_model.capability import MissChance
from lineproof.detection.course_model.hidden_crossings import Hidden, cells_at
from lineproof.detection.course_model.histories import CourseHistories
from lineproof.detection.course_model.outcomes import NOTHING_TOLD

WIDEST = 4.0  # times, of a 90 % interval
NORMAL_90 = 1.644854  # half width of it in standard errors
LOOKED_UP = 10.0  # runners: so many are looked for on the finish camera in minutes, whatever the range ...
SMALL_SHARE = 0.01  # ... unless they are more than this share of the field
ALIKE = 2.0  # families whose log-likelihoods differ by no more
NO_WITNESS = (
    # In merged data the backup line is named only where it gave the time; how many it read of all is open.
    "the data do not tell of any runner at the last point whether both lines read them, so neither line is a witness "
    "for the other: a runner who was not read there may have stopped as well as been missed; an export of each line, a list "
    "of finishers or the finish camera would tell"
)


def why_not_by_design(histories: CourseHistories, occasion: int, target: float) -> str | None:
    """Reasons that lie in what was laid out and exported, before anything is fitted."""
    visits = len(histories.occasions)
    proven = histories.given | (histories.known > occasion)
    count = histories.count
    if cells_at(histories, occasion).is_fill_in:
        return (
            "hardly a runner was read by both lines: the export seems to hold the backup line only where the "
            "main line missed, so neither line is a witness for the other"
        )
    if occasion < visits - 1:
        return None
    open_ended = ~proven & (histories.until > occasion - 1)
    if not (count * open_ended).any():
        return None
    if len(histories.occasions[occasion].lines) > 1 and not cells_at(histories, occasion).both:
        return NO_WITNESS
    if len(histories.occasions[occasion].lines) < 2 and not histories.given.any():
        return (
            "one line at the last point and nothing later: a runner who was not read there may have stopped as "
            "well as been missed; a list of finishers from elsewhere would tell"
        )
    unlit = histories.unread[:, occasion] == NOTHING_TOLD
    dark = int(count[open_ended & unlit & (histories.known < occasion)].sum())
    if dark > max((1 - target) * histories.total, 1.0):
        return (
            f"no line of the last point was working when {dark:,} runners would have come by, and nothing later "
            "tells who of them did; the finish camera would"
        )
    if not histories.read[occasion]:
        return "no line of the last point read anybody"
    return None


def why_not_by_information(
    hidden: Sequence[Hidden], crossings: float, target: float, confidence: float
) -> str | None:
    """``hidden``: at one occasion, by each family that fits alike, with intervals of this ``confidence``.

    Whether a range is too wide, and whether its upper end is harmful, is judged by the 90 % interval, so that the
    answer does not hang on how cautious a range was asked for.
    """
    harmless = max((1 - target) * crossings, min(LOOKED_UP, SMALL_SHARE * crossings))
    narrower = NORMAL_90 / float(stats.norm.ppf(0.5 + confidence / 2))
    for found in hidden:
        low, high = (
            max(end, 1e-12) / found.expected if found.expected else 1.0 for end in (found.low, found.high)
        )
        if found.expected * high**narrower > harmless and (high / low) ** narrower > WIDEST:
            return (
                f"too little was seen to tell: between {_number(found.low)} and {_number(found.high)} hidden "
                "crossings fit the reads about equally well"
            )
    expected = np.array([found.expected for found in hidden])
    if expected.max() > harmless and expected.max() > WIDEST * max(expected.min(), 1e-12):
        return (
            f"two ways in which tags may differ fit the reads equally well and lead to {_number(expected.min())} and "
            f"{_number(expected.max())} hidden crossings"
        )
    return None


def why_no_chance(chances: Sequence[MissChance], target: float) -> str | None:
    """``chances``: that neither line of one point reads a runner, by each family that fits alike.

    Open where the range spans more than four times and does not settle the question either: the target lies inside.
    """
    low, high = min(c.low for c in chances), max(c.high for c in chances)
    allowed = 1 - target
    if high <= WIDEST * low or high <= allowed or low >= allowed:
        return None
    return (
        f"too few runners came by to tell what these lines would miss next time: anything from {100 * low:.2g} % to "
        f"{100 * high:.2g} % fits the reads about equally well"
    )


def _number(value: float) -> str:
    return f"{value:,.0f}" if value >= 10 else f"{value:.1f}" if value >= 0.1 else "hardly any"
