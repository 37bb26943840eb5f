"""The rows that the review shows: each function takes the review and gives one frame in words.

Nothing is estimated here: rates come from RATES, misses over time are counted from PROOFS.  Nothing
here names a runner: no bib, no tag, no time of one runner's crossing.
"""

from lineproof.event_report.shown.camera import (
    Effort,
    to_audit_rows,
    to_lookup_effort,
    to_sighting_rows,
)
from lineproof.event_report.shown.causes import (
    to_cause_rows,
    to_clock_rows,
    to_finding_rows,
    to_road_items,
    to_timeline_rows,
)
from lineproof.event_report.shown.checked import (
    check_label,
    severity_count,
    to_check_rows,
    to_examples,
    to_gate_rows,
    to_quiet_checks,
    without_times,
)
from lineproof.event_report.shown.counted import (
    to_decision_rows,
    to_lookup_rows,
    to_reject_rows,
    to_unused_rows,
)
from lineproof.event_report.shown.hours import to_time_rows
from lineproof.event_report.shown.labels import line_labels, point_labels
from lineproof.event_report.shown.pairs import to_pair_rows, to_together_rows, to_weak_rows
from lineproof.event_report.shown.rates import (
    WHOLE,
    evidence_words,
    plain_method,
    to_flow_rows,
    to_line_rows,
    to_methods,
    to_next_time,
    to_point_rows,
    to_segment_rows,
    to_wave_rows,
)
from lineproof.event_report.shown.road import to_mat_rows, to_road_rows, to_untold_lines
from lineproof.event_report.shown.unseen import (
    UnseenTotal,
    to_interruption_rows,
    to_unseen_notes,
    to_unseen_rows,
    to_unseen_total,
)

__all__ = [
    "WHOLE",
    "Effort",
    "UnseenTotal",
    "check_label",
    "evidence_words",
    "line_labels",
    "plain_method",
    "point_labels",
    "severity_count",
    "to_audit_rows",
    "to_cause_rows",
    "to_check_rows",
    "to_clock_rows",
    "to_decision_rows",
    "to_examples",
    "to_finding_rows",
    "to_flow_rows",
    "to_gate_rows",
    "to_interruption_rows",
    "to_line_rows",
    "to_lookup_effort",
    "to_lookup_rows",
    "to_mat_rows",
    "to_methods",
    "to_next_time",
    "to_pair_rows",
    "to_point_rows",
    "to_quiet_checks",
    "to_reject_rows",
    "to_road_items",
    "to_road_rows",
    "to_segment_rows",
    "to_sighting_rows",
    "to_time_rows",
    "to_timeline_rows",
    "to_together_rows",
    "to_unseen_notes",
    "to_unseen_rows",
    "to_unseen_total",
    "to_untold_lines",
    "to_unused_rows",
    "to_wave_rows",
    "to_weak_rows",
    "without_times",
]
