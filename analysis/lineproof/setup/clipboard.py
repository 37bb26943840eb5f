"""A page for each line to fill in by hand, on a clipboard, in the rain: large boxes, few words."""

from __future__ import annotations

from lineproof.event import Event, Line
from lineproof.setup.blank import count_slots
from lineproof.setup.page_templates import CAUTIONS, fill_page

_PAPER_MM = 98.0  # of the page's height is for the table of slots
_TALLEST_MM, _FLATTEST_MM = 13.0, 7.5


def render_clipboard(event: Event) -> str:
    """All lines of the plan, one to a page of A4 or Letter."""
    return fill_page(
        "clipboard.html.j2",
        event=event.name,
        day=f"{event.date:%A} {event.date.day} {event.date:%B %Y}",
        sheets=[_sheet(event, line) for line in event.lines],
        floor=f"{event.setting('hand_floor_cm'):g}",
        ceiling=f"{event.setting('hand_ceiling_cm'):g}",
        cautions=CAUTIONS,
    )


def _sheet(event: Event, line: Line) -> dict[str, object]:
    slots = count_slots(line, event) if line.width_m is not None else 6
    rows = slots + 1  # one more mat may lie there than was planned
    point = event.point(line.point)
    return {
        "line": line.id,
        "place": point.name,
        "kind": point.kind.value,
        "role": line.role.value,
        "double": len(event.lines_at(point.id)) > 1,
        "plan": _plan(line),
        "slots": rows,
        "height_mm": round(max(_FLATTEST_MM, min(_TALLEST_MM, _PAPER_MM / rows)), 1),
    }


def _plan(line: Line) -> str:
    parts = [
        f"{line.width_m:g} m wide" if line.width_m is not None else "",
        f"{line.spacing_m:g} m to the other line" if line.spacing_m is not None else "",
    ]
    return ", ".join(part for part in parts if part) or "no width planned"
