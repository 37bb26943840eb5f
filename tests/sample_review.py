"""A review made by hand: five points, nine lines, 400 runners, with misses that one can count.

Every crossing is proven.  By line: the misses of ``MISSED``; both lines missed together at the bridge
the runners 0 and 1.  Names hold mark-up, to show that a page escapes it.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import polars as pl

from lineproof import camera_tables, tables, unseen_tables
from lineproof.detection.intervals import estimate_share
from lineproof.event import Event, load_event
from lineproof.setup import Setup, load_setup

# One of nine lines is recorded; names hold mark-up, and a note names somebody of the crew.
SETUP = """\
Line,Slot,Mat,Cable,Port,Hand test from (cm),Hand test up to (cm),Reader,Laid and tested (clock),Lifted (clock),Crew minutes,Weather,Notes on the line
B1,1,M<b>1</b>,K1,1,40,180,R1,07:30,13:05,35,rain <script>alert(2)</script>,laid by Quirin Crewman
B1,2,M2,K2,2,40,125,,,,,,
B1,3,M3,,3,40,low,,,,,,
"""
RUNNERS = 400
GUN = dt.datetime(2026, 5, 17, 7, 0, tzinfo=dt.UTC)  # 09:00 in Brussels
EVENT = """
[event]
id = "spring-half"
name = "Spring <b>Half</b> & More"
date = 2026-05-17
zone = "Europe/Brussels"

[[point]]
id = "start"
name = "Start"
kind = "start"
[[point]]
id = "km5"
name = "5 km"
[[point]]
id = "bridge"
name = "Bridge <script>alert(1)</script>"
[[point]]
id = "km15"
name = "15 km"
[[point]]
id = "finish"
name = "Finish"
kind = "finish"

[[course]]
id = "half"
visits = [
  { point = "start", at_m = 0 },
  { point = "km5", at_m = 5000 },
  { point = "bridge", at_m = 10000 },
  { point = "km15", at_m = 15000 },
  { point = "finish", at_m = 21097.5 },
]

[[wave]]
id = "red"
course = "half"
gun = 09:00:00
[[wave]]
id = "blue"
course = "half"
gun = 09:00:00

[[line]]
id = "S1"
point = "start"
[[line]]
id = "S2"
point = "start"
role = "backup"
[[line]]
id = "A1"
point = "km5"
[[line]]
id = "A2"
point = "km5"
role = "backup"
[[line]]
id = "B1"
point = "bridge"
[[line]]
id = "B2"
point = "bridge"
role = "backup"
[[line]]
id = "C1"
point = "km15"
[[line]]
id = "F1"
point = "finish"
[[line]]
id = "F2"
point = "finish"
role = "backup"

[entries]
files = "entries.csv"
[entries.columns]
bib = "Bib"
tag = "Tag"
wave = "Wave"
class = "Class"

[[input]]
files = "exports/*.csv"
level = "passings"
[input.columns]
tag = "tag"
first = "time"
line = "line"
"""
# runners missed by each line; at the bridge 0 and 1 by both
MISSED: dict[str, range] = {
    "S1": range(0), "S2": range(7), "A1": range(10, 12), "A2": range(0), "B1": range(5), "B2": range(2),
    "C1": range(100, 109), "F1": range(50, 51), "F2": range(200, 220),
}  # fmt: skip
BIBS = [str(70001 + i) for i in range(RUNNERS)]
POINTS = ("start", "km5", "bridge", "km15", "finish")
LINES = {
    "start": ("S1", "S2"),
    "km5": ("A1", "A2"),
    "bridge": ("B1", "B2"),
    "km15": ("C1", None),
    "finish": ("F1", "F2"),
}
AT_M = (0.0, 5000.0, 10000.0, 15000.0, 21097.5)


def make_event(folder: Path) -> Event:
    (folder / "event.toml").write_text(EVENT, encoding="utf-8")
    return load_event(folder)


def write_event(folder: Path) -> Path:
    """The same event as a folder that can be reviewed: start list and passings of every line."""
    make_event(folder)
    (folder / "exports").mkdir()
    entries = [f"{bib},TAG{bib},{wave_of(i)},foot" for i, bib in enumerate(BIBS)]
    (folder / "entries.csv").write_text("\n".join(["Bib,Tag,Wave,Class", *entries]) + "\n", encoding="utf-8")
    (folder / "setup.csv").write_text(SETUP, encoding="utf-8")
    for order, point in enumerate(POINTS):
        for line in LINES[point]:
            if line is not None:
                rows = [
                    f"TAG{bib},{crossing_time(i, order).isoformat()},{line}"
                    for i, bib in enumerate(BIBS)
                    if i not in MISSED[line]
                ]
                text = "\n".join(["tag,time,line", *rows, f"STRAY1,{GUN.isoformat()},{line}"]) + "\n"
                (folder / "exports" / f"{line}.csv").write_text(text, encoding="utf-8")
    return folder


def make_setup(event: Event, text: str = "") -> Setup:
    """The record of ``SETUP``, or of another text."""
    (event.folder / "setup.csv").write_text(text or SETUP, encoding="utf-8")
    return load_setup(event)


def make_review(folder: Path, **changed: Any) -> Any:
    """A stand-in with the fields of pipeline.Review; ``changed`` replaces fields."""
    event = make_event(folder)
    proofs = make_proofs()
    review: dict[str, Any] = {
        "event": event,
        "entries": make_entries(),
        "tags": tables.TAGS.empty(),
        "account": make_account(),
        "rejects": make_rejects(),
        "decisions": tables.APPLIED.empty(),
        "passings": tables.PASSINGS.empty(),
        "lags": pl.DataFrame(),
        "crossings": tables.CROSSINGS.empty(),
        "unused": tables.UNUSED.empty(),
        "proofs": proofs,
        "gate": make_gate(),
        "findings": make_findings(),
        "rates": make_rates(),
        "lookups": make_lookups(),
        "pseudonyms": pl.DataFrame({"runner": BIBS, "pseudonym": [f"R-{i:04d}AAAA" for i in range(RUNNERS)]}),
        "interruptions": make_interruptions(),
        "rates_at_work": make_rates_at_work(),
        "unseen": make_unseen(),
        "weak_tags": make_weak_tags(),
        "weak_shares": make_weak_shares(),
        "line_pairs": make_line_pairs(),
        "mats": make_mats(),
        "sightings": camera_tables.SIGHTED.empty(),
        "audit": make_audit(),
        "audit_results": make_audit_results(),
        "setup": make_setup(event),
    }
    return SimpleNamespace(**{**review, **changed})


def wave_of(i: int) -> str:
    return "red" if i % 2 else "blue"


def make_entries() -> pl.DataFrame:
    return tables.ENTRIES.shape_rows(
        [
            {"runner": bib, "bib": bib, "course": "half", "wave": wave_of(i), "runner_class": "foot"}
            for i, bib in enumerate(BIBS)
        ]
    )


def crossing_time(i: int, order: int) -> dt.datetime:
    """Runner ``i`` takes 3 + i/200 minutes a kilometre from the gun."""
    return GUN + dt.timedelta(minutes=(3 + i / 200) * AT_M[order] / 1000, seconds=i / 4)


def make_proofs() -> pl.DataFrame:
    rows = []
    for i, bib in enumerate(BIBS):
        for order, point in enumerate(POINTS):
            main, backup = LINES[point]
            seen_main = i not in MISSED[main]
            seen_backup = None if backup is None else i not in MISSED[backup]
            seen = seen_main or bool(seen_backup)
            rows.append(
                {
                    "runner": bib, "course": "half", "wave": wave_of(i), "point": point, "order": order, "visit": 1,
                    "at_m": AT_M[order], "proof": "seen" if seen else "proven", "seen_later": order < 4,
                    "seen_main": seen_main, "seen_backup": seen_backup,
                    "time": crossing_time(i, order) if seen else None, "about": crossing_time(i, order),
                }
            )  # fmt: skip
    return tables.PROOFS.shape_rows(rows)


def rate(
    level: str, missed: int, proven: int = RUNNERS, quantity: str = "achieved", **more: Any
) -> dict[str, Any]:
    share = estimate_share(proven - missed, proven)
    return {
        "event": "spring-half", "quantity": quantity, "level": level, "evidence": "seen later", "proven": proven,
        "detected": proven - missed, "doubtful": 0, "estimate": float(share.estimate),
        "std_error": float(share.std_error), "conf_low": float(share.low), "conf_high": float(share.high),
        "method": "exact binomial", **more,
    }  # fmt: skip


def unknown(level: str, reason: str, quantity: str = "achieved", **more: Any) -> dict[str, Any]:
    return {
        "event": "spring-half", "quantity": quantity, "level": level, "evidence": "none", "proven": 0, "detected": 0,
        "doubtful": 0, "reason": reason, **more,
    }  # fmt: skip


def make_rates() -> pl.DataFrame:
    rows: list[dict[str, Any]] = []
    both = {"start": 0, "km5": 0, "bridge": 2, "km15": 9}
    for quantity in ("achieved", "capability"):
        for point in POINTS:
            for role, line in zip(("main", "backup"), LINES[point], strict=True):
                if line is not None:
                    evidence = "sibling line" if point == "finish" else "seen later"
                    where = {"point": point, "line": line, "role": role, "evidence": evidence}
                    rows.append(rate("line", len(MISSED[line]), quantity=quantity, **where))
            if point in both:
                rows.append(rate("point", both[point], quantity=quantity, point=point))
            else:
                rows.append(unknown("point", "nothing lies beyond the finish", quantity, point=point))
        for order, (start, end) in enumerate(pairwise(POINTS[:4]), start=1):
            missed = both[start] + both[end]
            ends = {"course": "half", "order": order, "from_point": start, "point": end}
            rows.append(rate("segment", missed, quantity=quantity, **ends))
        for wave, missed in (("red", 6), ("blue", 5)):
            rows.append(rate("wave", missed, 800, quantity, course="half", group=wave))
        for flow, missed in (("under 5 per 10 s", 2), ("5 to 9 per 10 s", 18)):
            where = {"point": "finish", "line": "F2", "role": "backup", "evidence": "sibling line"}
            rows.append(rate("flow", missed, 200, quantity, group=flow, **where))
    return tables.RATES.shape_rows(rows)


def make_findings() -> pl.DataFrame:
    finding = {
        "rows": 1,
        "severity": "error",
        "check": "impossible pace",
        "unit": "s",
        "value": 61.0,
        "limit": 700.0,
    }
    return tables.FINDINGS.shape_rows(
        [
            {**finding, "point": "km5", "runner": BIBS[3], "bib": BIBS[3], "tag": "TAG00003",
             "detail": "5 km in 61 s at 09:14:07, sooner than the best mark allows"},
            {**finding, "point": "km15", "runner": BIBS[4], "bib": BIBS[4], "detail": "too fast"},
            {**finding, "point": "km15", "runner": BIBS[5], "bib": BIBS[5], "detail": "too fast", "decided": "keep"},
            {"check": "unknown tag", "severity": "warning", "tag": "TAG99999", "line": "F1", "rows": 3,
             "detail": "a tag that no entry holds"},
            {"check": "main line only", "severity": "note", "line": "F2", "rows": 20,
             "detail": "20 misses from 10:31 to 10:33"},
        ]
    )  # fmt: skip


def make_lookups() -> pl.DataFrame:
    rows = []
    for i, order, proof in ((0, 2, "proven"), (1, 2, "proven"), (300, 4, "unproven")):
        likely = crossing_time(i, order)
        rows.append(
            {
                "runner": BIBS[i], "bib": BIBS[i], "course": "half", "point": POINTS[order], "order": order,
                "visit": 1, "chance": 1.0 if proof == "proven" else 0.2, "rank": len(rows) + 1,
                "look_from": likely - dt.timedelta(minutes=2), "look_to": likely + dt.timedelta(minutes=2),
                "likely": likely, "proof": proof, "evidence": "seen before and after",
            }
        )  # fmt: skip
    return tables.LOOKUPS.shape_rows(rows)


def make_interruptions() -> pl.DataFrame:
    """The backup line of the finish missed its 20 in a row: 200 to 219."""
    first, last = crossing_time(200, 4), crossing_time(219, 4)
    row = {
        "event": "spring-half", "point": "finish", "line": "F2", "kind": "outage", "begin": first, "end": last,
        "read_before": crossing_time(199, 4), "read_after": crossing_time(220, 4), "tried": 20, "missed": 20,
        "usual": 0.0, "chance": 1e-9, "doubt_us": 0, "evidence": "the line read none of 20 runners",
    }  # fmt: skip
    return tables.INTERRUPTIONS.shape_rows([row])


def make_rates_at_work() -> pl.DataFrame:
    where = {"point": "finish", "line": "F2", "role": "backup", "evidence": "sibling line"}
    return tables.RATES.shape_rows([rate("line", 0, RUNNERS - 20, **where)])


def make_unseen() -> pl.DataFrame:
    """At the bridge 2 proven and none hidden, at 15 km 9 and one; the finish is refused."""
    rows = []
    both = {"bridge": (2, 0.2, 0, 1), "km15": (9, 1.0, 0, 4)}
    for order, point in enumerate(POINTS):
        missed, hidden, low, high = both.get(point, (0, 0.0, 0, 0))
        read = RUNNERS - missed
        refused = point == "finish"
        rows.append(
            {
                "event": "spring-half", "course": "half", "point": point, "order": order, "visit": 1, "read": read,
                "missed_seen_later": missed, "lower_bound": float(missed),
                "independence": None if point == "km15" else 0.1,
                "reason": "too little was seen to tell" if refused else None,
                **({} if refused else {
                    "hidden": hidden, "hidden_low": float(low), "hidden_high": float(high),
                    "rate": read / (RUNNERS + hidden), "rate_low": read / (RUNNERS + high),
                    "rate_high": read / (RUNNERS + low),
                }),
            }
        )  # fmt: skip
    return unseen_tables.UNSEEN.shape_rows(rows)


def make_weak_tags() -> pl.DataFrame:
    """Of two tags to retire 0.9 and 0.8 are expected to be weak."""
    return unseen_tables.WEAK_TAGS.shape_rows(
        [
            {"runner": BIBS[i], "bib": BIBS[i], "course": "half", "tag": f"TAG{BIBS[i]}", "weak": weak, "late": 0.0,
             "retire": retire}
            for i, weak, retire in ((0, 0.9, True), (1, 0.8, True), (2, 0.01, False))
        ]
    )  # fmt: skip


def make_weak_shares() -> pl.DataFrame:
    """Two batches, of which the second has four times the weak tags."""
    rows = [
        {"event": "spring-half", "by": "batch", "group": batch, "tags": 200, "weak": weak, "share": weak / 200,
         "share_low": weak / 400, "share_high": weak / 100}
        for batch, weak in (("spring 1", 1.0), ("spring 2", 4.0))
    ]  # fmt: skip
    return unseen_tables.WEAK_SHARES.shape_rows(rows)


def make_line_pairs() -> pl.DataFrame:
    """Main and backup read nearly alike at three points; two runners missed by both at the bridge."""
    counts = {"start": (390, 6, 4), "bridge": (380, 10, 8), "finish": (360, 19, 21)}
    rows = [
        {"event": "spring-half", "point": point, "both": both, "main_only": main, "backup_only": backup,
         "neither": 2 if point == "bridge" else 0, "ratio": (both + main) / (both + backup), "ratio_low": 0.97,
         "ratio_high": 1.03, "chance": 0.75, "hidden": main * backup / both}
        for point, (both, main, backup) in counts.items()
    ]  # fmt: skip
    whole = {
        "event": "spring-half", "both": 1130, "main_only": 35, "backup_only": 33, "neither": 2, "together": 12.0,
        "together_low": 4.2, "together_high": 34.0, "reason": "lines are compared point by point",
    }  # fmt: skip
    return unseen_tables.LINE_PAIRS.shape_rows([*rows, whole])


def make_mats() -> pl.DataFrame:
    """At the bridge three mats of either line, the middle one of main weak and the road wider at the far side."""
    base = {"event": "spring-half", "point": "bridge", "method": "joint fit"}
    mats = [
        {
            **base, "line": line, "place": "mat", "antenna": antenna, "tried": 130, "read": 125, "missed": 2,
            "estimate": rate, "conf_low": rate - 0.05, "conf_high": min(rate + 0.03, 1.0), "verdict": verdict,
        }
        for line, antenna, rate, verdict in (
            ("B1", 1, 0.98, "sound"), ("B1", 2, 0.7, "weak"), ("B1", 3, 0.97, "sound"),
            ("B2", 1, 0.99, "sound"), ("B2", 2, 0.98, "sound"), ("B2", 3, 0.02, "dead"),
        )
    ]  # fmt: skip
    bare = {
        **base,
        "line": "B1",
        "place": "far side",
        "tried": 12,
        "verdict": "bare road",
        "reason": "misses at the far side",
    }
    alone = {
        **base,
        "point": "km15",
        "line": "C1",
        "place": "line",
        "verdict": "cannot tell",
        "reason": "no second line",
    }
    return tables.MATS.shape_rows([*mats, bare, alone])


def make_audit() -> pl.DataFrame:
    """Two minutes of the finish, the first counted."""
    begin = GUN + dt.timedelta(hours=2)
    row = {"point": "finish", "stratum": 1, "stratum_minutes": 60, "flow": 7, "seed": 11}
    minutes = [
        {**row, "begin": begin + dt.timedelta(minutes=i), "end": begin + dt.timedelta(minutes=i + 1)}
        for i in (0, 5)
    ]
    minutes[0] |= {"crossed": 9, "missed": 1}
    return tables.AUDIT.shape_rows(minutes)


def make_audit_results(**changed: Any) -> pl.DataFrame:
    row = {
        "point": "finish", "drawn": 2, "minutes": 0, "window_minutes": 60, "crossed": 0, "missed": 0, "word": "cannot tell",
        "seed": 11, "method": "ratio estimate", "reason": "no minute was counted yet",
    }  # fmt: skip
    return camera_tables.AUDIT_RESULTS.shape_rows([{**row, **changed}])


def make_account() -> pl.DataFrame:
    row = {"file": "exports/start.csv", "sheet": "", "level": "passings", "rows_read": 1003, "kept": 1000, "blank": 1,
           "rejected": 2, "times": 1000, "encoding": "utf-8", "sha256": "0" * 64}  # fmt: skip
    return tables.ACCOUNT.shape_rows(
        [
            row,
            {
                **row,
                "file": "entries.csv",
                "level": None,
                "rejected": 0,
                "blank": 0,
                "rows_read": 400,
                "kept": 400,
            },
        ]
    )


def make_rejects() -> pl.DataFrame:
    return tables.REJECTS.shape_rows(
        [
            {
                "file": "exports/start.csv",
                "row": 12,
                "column": "time",
                "value": "25:99",
                "reason": 'the time "25:99" cannot be read',
            },
            {
                "file": "exports/start.csv",
                "row": 19,
                "column": "time",
                "value": "x",
                "reason": 'the time "x" cannot be read',
            },
        ]
    )


@dataclass(frozen=True)
class GateLine:
    name: str
    text: str
    share_required: float
    share_seen: float | None
    rows: int
    failing: int
    passed: bool


@dataclass(frozen=True)
class Gate:
    passed: bool
    results: tuple[GateLine, ...]


def make_gate(failing: int = 0) -> Gate:
    first = GateLine(
        "times_in_order",
        "each crossing comes after the one before it",
        1.0,
        1 - failing / 2000,
        2000,
        failing,
        not failing,
    )
    second = GateLine("net_within_gun", "net time is not longer than gun time", 0.999, 1.0, 1600, 0, True)
    return Gate(not failing, (first, second))
