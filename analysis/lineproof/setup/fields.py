"""The columns of the set-up record and of the equipment register: header with unit, kind, words and limits.

One list serves both ways: the blank record is made from it, and a filled one is read by it, so that what
the one asks for is what the other understands.  Limits hold what is possible at all; what is good practice is judged in ``rules``.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from lineproof.vocabulary import ItemKind, Role


class Kind(StrEnum):
    TEXT = "text"
    WHOLE = "whole number"
    NUMBER = "number"
    YES_NO = "yes or no"
    TIME = "clock time"
    DATE = "date"
    CHOICE = "one of the words"


@dataclass(frozen=True, slots=True)
class Field:
    """One column: ``name`` is ours, ``header`` stands in the sheet; ``low`` and ``high`` are possible values.

    ``hint`` tells the person who fills it in what to write.
    """

    name: str
    header: str
    kind: Kind = Kind.TEXT
    hint: str = ""
    unit: str = ""
    low: float | None = None
    high: float | None = None
    words: tuple[str, ...] = ()

    @property
    def question(self) -> str:
        """The header without its unit."""
        return self.header.partition(" (")[0]


LINE = Field("line", "Line", hint="id of the line in event.toml")
PLACE = Field("place", "Place", hint="filled in from the plan; not read")

LINE_FIELDS: tuple[Field, ...] = (
    Field("role", "Role", Kind.CHOICE, "main or backup, as it was laid", words=tuple(r.value for r in Role)),
    Field("met", "Runners meet it", Kind.CHOICE, "first or second of the point", words=("first", "second")),
    Field("behind_start", "Behind the start line", Kind.YES_NO, "at a start: crossed before the start line"),
    Field("reader", "Reader", hint="id written on the reader"),
    Field("reader_role", "Reader set to", Kind.CHOICE, "race, not practice", words=("race", "practice")),
    Field("ports_told", "Ports told", Kind.WHOLE, "how many ports the reader was told", low=1, high=32),
    Field("power_on", "Power on (clock)", Kind.TIME, "when the reader was switched on"),
    Field("clock_set", "Clock set (clock)", Kind.TIME, "when its clock was set, by the right time"),
    Field("clock_source", "Clock set by", hint="satellite time, network time, by hand"),
    Field("gun_check", "Gun check", Kind.YES_NO, "gun time compared with the reader's clock"),
    Field("walk_test", "Walk test", Kind.YES_NO, "a tag walked over every mat answered on each"),
    Field("spacing_m", "To the other line (m)", Kind.NUMBER, "middle to middle", "m", 0.5, 20),
    Field(
        "road_width_m", "Road that runners can use (m)", Kind.NUMBER, "between kerbs or cones", "m", 0.5, 60
    ),
    Field("covered_width_m", "Spanned by mats (m)", Kind.NUMBER, "first mat to last", "m", 0.3, 60),
    Field("near_gap_m", "Near edge to first mat (m)", Kind.NUMBER, "0 where it lies at the edge", "m", 0, 30),
    Field("direction", "Cables leave to", Kind.CHOICE, "side of the reader", words=("near side", "far side")),
    Field("surface", "Surface", hint="asphalt, paving, gravel, grass, earth"),
    Field("covers", "Taped or covered", Kind.YES_NO, "mats taped down or under covers"),
    Field("weather", "Weather", hint="while it lay: dry, rain, heat, frost"),
    Field("power", "Power", hint="id of the power unit, or mains"),
    Field("backup_power", "Second power source", Kind.YES_NO, "takes over by itself"),
    Field("change_over", "Power changed over (clock)", Kind.TIME, "when power was changed over"),
    Field("road_closed", "Road closed (clock)", Kind.TIME, "when the road was closed to vehicles"),
    Field("laid", "Laid and tested (clock)", Kind.TIME, "when the line was ready"),
    Field("lifted", "Lifted (clock)", Kind.TIME, "when the line was taken up"),
    Field("relaid", "Laid again (clock)", Kind.TIME, "when it was laid again during the race"),
    Field(
        "crew_minutes", "Crew minutes", Kind.NUMBER, "people times minutes to lay and test", "min", 0, 2000
    ),
    Field("photos", "Photos", hint="file names in the event folder, with ; between"),
    Field("notes", "Notes on the line"),
)

SLOT = Field("slot", "Slot", Kind.WHOLE, "1 at the near side", low=1, high=99)

MAT_FIELDS: tuple[Field, ...] = (
    SLOT,
    Field("mat", "Mat", hint="id written on the mat"),
    Field("cable", "Cable", hint="id written on the cable"),
    Field("cable_m", "Cable used (m)", Kind.NUMBER, "length of cable to the reader", "m", 0.1, 300),
    Field("port", "Port", Kind.WHOLE, "port of the reader", low=1, high=32),
    Field("hand_floor_cm", "Hand test from (cm)", Kind.NUMBER, "lowest height read", "cm", 0, 400),
    Field("hand_ceiling_cm", "Hand test up to (cm)", Kind.NUMBER, "greatest height read", "cm", 0, 600),
    Field("mat_notes", "Notes on the mat"),
)

ITEM_FIELDS: tuple[Field, ...] = (
    Field("item", "Item", hint="id written on the item"),
    Field("kind", "Kind", Kind.CHOICE, "what it is", words=tuple(kind.value for kind in ItemKind)),
    Field("model", "Model", hint="the crew's own word"),
    Field("bought", "Bought", Kind.DATE, "2026-05-17"),
    Field("price", "Price", Kind.NUMBER, "price paid", "", 0, 1e6),
    Field("repairs", "Repairs", hint="each led by its date, with ; between"),
    Field("retired", "Retired", Kind.DATE, "out of use since"),
    Field("length_m", "Length (m)", Kind.NUMBER, "of a cable; of a mat its width", "m", 0.1, 300),
    Field("ports", "Ports", Kind.WHOLE, "of a reader", low=1, high=32),
    Field("notes", "Notes"),
)
