"""The rows that the season report shows: each function takes the season and gives one frame in words.

Nothing is estimated here, and nothing names a runner; tags appear by number only.
"""

from lineproof.season_report.causes import expected_misses, to_cause_rows, to_explained_rows, to_item_causes
from lineproof.season_report.checked import to_check_rows, to_quality_rows
from lineproof.season_report.events import count_standing, event_labels, to_event_rows, to_event_totals
from lineproof.season_report.items import to_item_rows, to_item_table
from lineproof.season_report.lines import to_line_rows, to_line_table, to_segment_table
from lineproof.season_report.watched import to_change_rows, to_control_rows, to_funnel_rows, to_signal_rows

__all__ = [
    "count_standing",
    "event_labels",
    "expected_misses",
    "to_cause_rows",
    "to_change_rows",
    "to_check_rows",
    "to_control_rows",
    "to_event_rows",
    "to_event_totals",
    "to_explained_rows",
    "to_funnel_rows",
    "to_item_causes",
    "to_item_rows",
    "to_item_table",
    "to_line_rows",
    "to_line_table",
    "to_quality_rows",
    "to_segment_table",
    "to_signal_rows",
]
