"""The event description, ``event.toml``: courses, timing points, lines and where the exports lie.

``load_event`` reads and checks it whole, so that everything after it can trust ids, distances and
instants.  Every complaint is one ``EventError`` naming the line of the file where it stands.
"""

from lineproof.event.loading import load_event
from lineproof.event.model import (
    COLUMNS_BY_LEVEL,
    ENTRY_COLUMNS,
    EVENT_FILE,
    MERGED_COLUMNS,
    PASSING_COLUMNS,
    READ_COLUMNS,
    TIME_LAYOUTS,
    WIDE_COLUMNS,
    Course,
    Event,
    FileLayout,
    Input,
    Line,
    Point,
    Visit,
    Wave,
)
from lineproof.event.moments import clock_layout, read_moment
from lineproof.event.sections import suggest

__all__ = [
    "COLUMNS_BY_LEVEL",
    "ENTRY_COLUMNS",
    "EVENT_FILE",
    "MERGED_COLUMNS",
    "PASSING_COLUMNS",
    "READ_COLUMNS",
    "TIME_LAYOUTS",
    "WIDE_COLUMNS",
    "Course",
    "Event",
    "FileLayout",
    "Input",
    "Line",
    "Point",
    "Visit",
    "Wave",
    "clock_layout",
    "load_event",
    "read_moment",
    "suggest",
]
