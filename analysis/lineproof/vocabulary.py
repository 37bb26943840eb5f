"""The words of the trade in the order of the flow, the labels, and every default with its reason.

Read this first.  A word means the same thing in every table, module, chart and report.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

GLOSSARY: dict[str, str] = {
    "event": "one race day: one or more courses, timed by one crew",
    "course": "a route of stated distance that passes timing points in a known order",
    "entry": "one row of the start list: one runner (or relay team) on one course in one wave",
    "wave": "runners who share one gun",
    "tag": "the passive transponder that a runner carries, on a shoe or a bib",
    "timing point": "a place on the course where time is taken: start, split or finish",
    "line": "one row of mats across the course at a timing point",
    "main": "the line of a timing point whose times are used when it has them",
    "backup": "the second line of a timing point, a few metres from the main one",
    "slot": "one place of a line across the road, 1 at the near side, with the mat that lies in it",
    "mat": "one piece of a line, with one antenna, about one metre wide",
    "reader": "the device that a line's antennas are cabled to, and that keeps the time",
    "read": "one observation of one tag by one antenna",
    "passing": "all reads of one tag by one line in one go",
    "visit": "one time that a course passes a timing point; a looped course visits one several times",
    "order": "the place of a visit in its course: 0 for the first, counting on along the course",
    "crossing": "one runner at one visit, both lines and all of the runner's tags merged",
    "segment": "the stretch between two consecutive visits of a course",
    "gun time": "from the start signal of the wave to the crossing",
    "net time": "from the runner's own crossing of the start to the crossing",
    "miss": "a crossing that a line, or both lines of a point, did not read",
    "proof": "evidence from elsewhere that a runner crossed a visit, read there or not",
    "doubtful": "a runner read later, but sooner than the full distance allows: no proof of crossing",
    "detection rate": "the share of crossings that were read, by a line or by either line of a point",
    "achieved": "of the runners who crossed here today, the share that was read",
    "capability": "with this set-up, the share that would be read next time",
    "finding": "rows that a check labelled, with what the reviewer should do",
    "decision": "the reviewer's word on a row: keep, void or correct",
    "hand test": "a tag held over a mat: from which height to which it is read",
    "set-up record": "what was really laid: per line and slot the items, heights, widths and times",
    "item": "one numbered piece of equipment: mat, cable, reader, antenna, power unit",
    "look-up": "a runner to look for on the camera of a point, with the clock window to look in",
    "sighting": "the outcome of a look-up: seen, not there or unclear",
    "audit": "minutes of the finish camera drawn by lot, in which everybody who crossed is counted",
}


class Role(StrEnum):
    MAIN = "main"
    BACKUP = "backup"


class Level(StrEnum):
    """How far an export has been worked up before it reached us."""

    READS = "reads"
    PASSINGS = "passings"
    MERGED = "merged"
    WIDE = "wide"


class PointKind(StrEnum):
    START = "start"
    SPLIT = "split"
    FINISH = "finish"


class ReadChoice(StrEnum):
    """Which read of a passing gives its time."""

    FIRST = "first"
    STRONGEST = "strongest"
    LAST = "last"


# Words in the type of a tag that is thrown away with the bib (common practice): the same id at another event is another tag.
SINGLE_USE_KINDS = ("bib", "sticker", "label", "paper", "foam", "single", "disposable")

READ_CHOICE_BY_KIND: dict[PointKind, ReadChoice] = {
    # People stand on the mats before the gun, so only their last read is the crossing.
    PointKind.START: ReadChoice.LAST,
    PointKind.SPLIT: ReadChoice.FIRST,
    PointKind.FINISH: ReadChoice.FIRST,
}


class TimeSource(StrEnum):
    """Which line gave a crossing its time; ``unstated`` where the input does not tell."""

    MAIN = "main"
    BACKUP = "backup"
    UNSTATED = "unstated"
    CORRECTED = "corrected"


class RunnerClass(StrEnum):
    FOOT = "foot"
    WHEEL = "wheel"
    HANDCYCLE = "handcycle"


class Unused(StrEnum):
    """Why a passing became part of no crossing."""

    UNKNOWN_TAG = "unknown tag"
    BEFORE_START = "before the start"
    AFTER_CLOSE = "after the close"
    OFF_COURSE = "point not on the runner's course"
    TOO_EARLY = "too early to be the crossing"
    EXTRA = "read again after the crossing"


class Proof(StrEnum):
    """What is known of one runner at one visit."""

    SEEN = "seen"  # read here
    PROVEN = "proven"  # not read here, but read later with a plausible time for the full distance
    DOUBTFUL = "doubtful"  # read later, but too soon for the full distance
    CAMERA = "camera"  # not read here, but seen on the camera
    ABSENT = "not there"  # not read here, and looked for on the camera in vain, here or at a visit before
    UNPROVEN = "unproven"  # not read here nor later


CROSSED = (Proof.SEEN.value, Proof.PROVEN.value, Proof.CAMERA.value)


class Severity(StrEnum):
    ERROR = "error"  # a published result is wrong if this stands
    WARNING = "warning"  # somebody should look
    NOTE = "note"  # worth knowing, nothing to do


class Quantity(StrEnum):
    ACHIEVED = "achieved"
    CAPABILITY = "capability"


class Evidence(StrEnum):
    """What proves the crossings that a rate is counted over, strongest first."""

    CAMERA = "camera"
    SEEN_LATER = "seen later"
    SIBLING = "sibling line"
    NONE = "none"


class DecisionKind(StrEnum):
    KEEP = "keep"
    VOID = "void"
    CORRECT = "correct"


class Outcome(StrEnum):
    """What looking for a runner on the camera gave."""

    SEEN = "seen"
    NOT_THERE = "not there"
    UNCLEAR = "unclear"


class Stated(StrEnum):
    """What the results say of a runner in place of a time."""

    STOPPED = "did not finish"
    NOT_STARTED = "did not start"


class InterruptionKind(StrEnum):
    """What a window in which a line did not work looks like."""

    OUTAGE = "outage"  # reads before and after it
    LAID_LATE = "laid late"  # no read before it
    LIFTED_EARLY = "lifted early"  # no read after it
    BOTH_LINES = "both lines"  # both lines of the point silent at once
    LATE_LOSS = "late loss"  # the point missed far more of the late field, but not all of it


class ItemKind(StrEnum):
    MAT = "mat"
    CABLE = "cable"
    READER = "reader"
    ANTENNA = "antenna"
    POWER_UNIT = "power unit"


class Cause(StrEnum):
    """What a pattern in the misses is consistent with."""

    SILENT_ANTENNA = "silent antenna"
    WEAK_ANTENNA = "weak antenna"
    PORTS_NOT_TOLD = "highest ports silent"
    INTERRUPTION = "silent window"
    BOTH_LINES = "both lines out"
    ROAD_WIDER = "road wider than the line"
    CROWD = "crowd"
    WEAK_TAG = "weak tags"
    PRACTICE_ROLE = "reader in a practice role"
    WHOLE_LINE = "whole line weak"


@dataclass(frozen=True, slots=True)
class Setting:
    """A number that a user can change in the ``[settings]`` table of event.toml."""

    value: float
    unit: str
    reason: str
    source: str = "common practice"


SETTINGS: dict[str, Setting] = {
    "passing_gap_s": Setting(
        10, "s", "a slow walker is over a line's read zone for under 10 s; no lap is that short"
    ),
    "crossing_gap_s": Setting(
        30, "s", "a walker takes about 10 s from main to backup line; no lap is under 60 s"
    ),
    "opens_before_h": Setting(
        6, "h", "clock times are placed in the 24 hours that begin this long before the first gun"
    ),
    "closes_after_h": Setting(
        16, "h", "reads later than this after the last gun belong to no runner of the event"
    ),
    "early_start_s": Setting(
        5, "s", "a start crossing may lead the gun by a clock error of this size, not by more"
    ),
    "standing_s": Setting(
        60, "s", "a tag read this long in one go is not crossing: somebody stands by the line"
    ),
    "too_close_s": Setting(
        60, "s", "two passings of one tag at one line closer than this cannot be two visits"
    ),
    "together_s": Setting(
        1.0, "s", "two tags that cross nearly every line within this time are on one person"
    ),
    "together_share": Setting(
        0.9, "share", "of the lines that either tag crossed; friends do it on some lines only"
    ),
    "together_typical_s": Setting(
        0.4, "s", "tags on one body lie a step apart at most times; runners side by side vary by more"
    ),
    "together_lines": Setting(4, "lines", "fewer shared lines than this prove nothing"),
    "clock_tolerance_s": Setting(1.0, "s", "two line clocks set to satellite time differ by less than this"),
    "distance_tolerance_m": Setting(
        20,
        "m",
        "a split mat lies within this of its stated distance; splits are not measured to record grade",
    ),
    "whole_line_share": Setting(
        0.5, "share", "of a segment's times too fast: one clock or distance fault, not many runners"
    ),
    "shared_fast_share": Setting(
        0.05,
        "share",
        "no field has one in twenty faster than the record: with the whole field shifted, one fault",
    ),
    "sudden_pace_share": Setting(
        0.6,
        "share",
        "nobody needs so little of the time that the rest of the run and the field foretell; a car or a short cut does",
    ),
    "standing_passings": Setting(
        3, "passings", "so many at one line, each within too_close_s of the last: somebody stands by it"
    ),
    "pile_rows": Setting(
        10, "rows", "so many at one instant, far above the flow around it, were filled in and not read"
    ),
    "slow_walk_mps": Setting(1.0, "m/s", "the middle runner of a field walks no slower from line to line"),
    "line_offset_s": Setting(
        20, "s", "more than any walk between two lines: a clock fault, proposed and never applied silently"
    ),
    "filled_start_s": Setting(
        60, "s", "net equal to gun this far behind the wave's first start is a filled-in start"
    ),
    "burst_bin_s": Setting(60, "s", "misses within a minute are taken to share a cause"),
    "burst_misses": Setting(5, "misses", "fewer misses in a row of minutes are not worth a look"),
    "burst_chance": Setting(
        0.001, "share", "of sound events that show a burst by chance, all windows of all lines together"
    ),
    "interruption_misses": Setting(
        5, "misses", "fewer runners missed in a row are no sign that a line had stopped working"
    ),
    "interruption_chance": Setting(
        0.001, "share", "of sound events that show an interruption by chance, all lines together"
    ),
    "diagnosis_false_share": Setting(
        0.02, "share", "of the patterns that a diagnosis reports may be luck, whatever was looked for"
    ),
    "time_bin_min": Setting(10, "min", "rates over time are shown in bins of this length"),
    "record_before_h": Setting(
        10,
        "h",
        "clock times of the set-up record are placed in the 24 hours that begin this long before the gun",
    ),
    "mat_width_m": Setting(1.0, "m", "a mat has one antenna and spans about one metre of the road"),
    "bare_width_m": Setting(
        0.5, "m", "the outer mat reads a runner who passes beside it by less than this; a wider strip is bare"
    ),
    "line_spacing_m": Setting(3.0, "m", "two lines of a point that lie closer disturb each other's fields"),
    "hand_floor_cm": Setting(
        60, "cm", "a test tag must be read from this height above the ground, or from lower"
    ),
    "hand_ceiling_cm": Setting(
        150,
        "cm",
        "a test tag must be read up to this height at least; a lower one means a bad mat, cable or joint",
    ),
    "target": Setting(0.998, "share", "read by either line of a point that has a main and a backup line"),
    "audit_minutes": Setting(
        30, "min", "camera minutes drawn for the audit: about an hour's work with the counting"
    ),
    "stated_stop_odds": Setting(
        0.1,
        "times",
        "results that say a runner stopped are right nine times in ten; some only lack the finish time",
    ),
    "confidence": Setting(0.95, "share", "of stated intervals hold the truth"),
    "rounding_s": Setting(
        1.0,
        "s",
        "an official road time is the next longer whole second, rounded once from the raw difference",
        "rules of competition, technical rule on transponder timing (seen as quoted in public documents)",
    ),
}

# Numbers of the season's analysis; they belong to no single event.
SEASON_SETTINGS: dict[str, Setting] = {
    "worse_factor": Setting(
        2.0, "times the odds", "an item worth money or work misses at least twice as often as the middle one"
    ),
    "false_accusations": Setting(
        0.05, "items a season", "sound items expected among those called repair or retire, all together"
    ),
    "trend_false_share": Setting(
        0.10, "share", "of the trends that are reported, found where nothing changes; a look costs little"
    ),
    "worst_few": Setting(5, "items", "how many one can take to the bench; at most a fifth of the kind"),
}
