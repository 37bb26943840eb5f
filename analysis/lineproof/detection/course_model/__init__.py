"""The course model: one likelihood over each runner's whole record, all lines of all points in course order.

``estimate_course_model(to_course_histories(proofs, event, course_id))`` says how many runners crossed each point
unseen, between which bounds, and which tags are weak; or why the reads do not tell.
"""

from lineproof.detection.course_model.estimate import estimate_course_model
from lineproof.detection.course_model.flow_strata import to_flow_strata
from lineproof.detection.course_model.from_proofs import to_course_histories
from lineproof.detection.course_model.histories import CourseHistories
from lineproof.detection.course_model.posterior import (
    choose_to_retire,
    estimate_weak_shares,
    to_weak_chances,
)
from lineproof.detection.course_model.result import CourseModelResult, FamilyResult, PointResult

__all__ = [
    "CourseHistories",
    "CourseModelResult",
    "FamilyResult",
    "PointResult",
    "choose_to_retire",
    "estimate_course_model",
    "estimate_weak_shares",
    "to_course_histories",
    "to_flow_strata",
    "to_weak_chances",
]
