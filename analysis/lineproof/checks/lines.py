"""Checks on lines and points: what they missed, when, and whether their clocks agree."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import polars as pl

from lineproof.checks.bursts import Burst, count_windows, estimate_bursts
from lineproof.checks.material import Material, say_seconds, to_rows
from lineproof.event import Event, Line
from lineproof.vocabulary import Proof, Role
from lineproof.wording import say_count, say_share

FEWEST_CROSSED = 10  # a line that missed fewer runners than this may just have had a quiet day
USUAL_RUN_MPS = 2.8  # a runner of six minutes a kilometre: what most of a lag between lines is
# Whole offsets that a setting makes: hours and days, half and quarter hours of odd zones, the noon and
# midnight of a 12-hour clock, satellite time and atomic time taken for civil time (since 2017).
FINGERPRINTS_S: dict[float, str] = {
    18: "satellite time taken for civil time",
    37: "atomic time taken for civil time",
    900: "a zone a quarter of an hour off",
    1800: "a zone half an hour off",
    3600: "a zone or summer time one hour off",
    7200: "a zone two hours off",
    43200: "a 12-hour clock half a day off",
    86400: "a date one day off",
}


def find_missed_with_proof(material: Material) -> pl.DataFrame:
    """One finding for each runner and visit: not read here, but later, with time for the full distance."""
    bibs = material.entries.select("runner", "bib")
    return (
        material.proofs.filter(pl.col("proof") == Proof.PROVEN.value)
        .join(bibs, on="runner", how="left", validate="m:1")
        .select(
            "runner",
            "bib",
            "course",
            "point",
            "order",
            time="about",
            detail=pl.lit("Not read here, but read later with enough time for the full distance."),
        )
    )


def _known_crossings(material: Material, line: Line) -> pl.DataFrame:
    """Crossings at the line's point known from any source, with ``missed`` by this line; time order."""
    flag = "seen_main" if line.role is Role.MAIN else "seen_backup"
    return (
        material.proofs.filter(
            (pl.col("point") == line.point)
            & pl.col("proof").is_in([Proof.SEEN.value, Proof.PROVEN.value])
            & pl.col(flag).is_not_null()
            & pl.col("about").is_not_null()
        )
        .select(
            "runner",
            missed=~pl.col(flag),
            sibling=pl.col("proof") == Proof.SEEN.value,
            about="about",
            at=pl.col("about").dt.epoch("us"),
        )
        .sort("at", "runner")
    )


def _read_by_other(material: Material, role: Role) -> pl.DataFrame:
    """Per line of this role: crossings that only its sibling read."""
    rows: list[dict[str, object]] = []
    for line in material.event.lines:
        if line.role is not role or len(material.event.lines_at(line.point)) < len(Role):
            continue
        known = _known_crossings(material, line)
        only_other = known.filter(pl.col("missed") & pl.col("sibling"))
        if only_other.is_empty():
            continue
        other = "backup" if role is Role.MAIN else "main"
        rows.append(
            {
                "point": line.point,
                "line": line.id,
                "time": only_other["about"][0],
                "value": only_other.height / known.height,
                "unit": "share",
                "rows": only_other.height,
                "detail": f"Of {say_count(known.height, 'known crossing')}, {only_other.height:,} read by the {other} line only.",
            }
        )
    return to_rows(rows)


def find_backup_only(material: Material) -> pl.DataFrame:
    return _read_by_other(material, Role.MAIN)


def find_main_only(material: Material) -> pl.DataFrame:
    return _read_by_other(material, Role.BACKUP)


def find_silent_lines(material: Material) -> pl.DataFrame:
    rows: list[dict[str, object]] = []
    for line in material.event.lines:
        known = _known_crossings(material, line)
        if known.height >= FEWEST_CROSSED and known["missed"].all():
            rows.append(
                {
                    "point": line.point,
                    "line": line.id,
                    "time": known["about"][0],
                    "rows": known.height,
                    "detail": f"The line read none of {known.height} runners known to have crossed.",
                }
            )
    return to_rows(rows)


def _days(material: Material) -> dict[tuple[str, str | None], pl.DataFrame]:
    """Known crossings with ``missed`` by line; by point where the input does not tell its lines apart."""
    days: dict[tuple[str, str | None], pl.DataFrame] = {}
    for point in material.event.points:
        lines = {line.id: _known_crossings(material, line) for line in material.event.lines_at(point.id)}
        if any(known.height for known in lines.values()):
            days |= {(point.id, line): known for line, known in lines.items()}
        else:
            days[(point.id, None)] = _known_at_point(material, point.id)
    return {place: known for place, known in days.items() if known.height}


def _known_at_point(material: Material, point: str) -> pl.DataFrame:
    known = pl.col("proof").is_in([Proof.SEEN.value, Proof.PROVEN.value])
    return (
        material.proofs.filter((pl.col("point") == point) & known & pl.col("about").is_not_null())
        .select("runner", missed=pl.col("proof") == Proof.PROVEN.value, at=pl.col("about").dt.epoch("us"))
        .sort("at", "runner")
    )


def find_bursts(material: Material) -> pl.DataFrame:
    """Windows of misses of each line, and of each point whose lines are not told apart."""
    event = material.event
    bin_us = event.setting_us("burst_bin_s")
    days = _days(material)
    windows = sum(count_windows(known["at"].to_numpy(), bin_us) for known in days.values())
    rows: list[dict[str, object]] = []
    for (point, line), known in days.items():
        if known["missed"].all():
            continue
        found = estimate_bursts(
            known["at"].to_numpy(),
            known["missed"].to_numpy(),
            bin_us,
            event.setting("burst_chance") / windows,
            int(event.setting("burst_misses")),
        )
        rows += [_burst_row(point, line, burst, event) for burst in found]
    return to_rows(rows)


def _burst_row(point: str, line: str | None, burst: Burst, event: Event) -> dict[str, object]:
    zone = ZoneInfo(event.zone)
    begin, end = (
        dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(microseconds=us)
        for us in (burst.begin_us, burst.end_us)
    )
    what = "line" if line is not None else "point"
    lost = "read nobody" if burst.missed == burst.crossed else f"missed {burst.missed}"
    return {
        "point": point,
        "line": line,
        "time": begin,
        "value": burst.missed / burst.crossed,
        "limit": burst.usual,
        "unit": "share",
        "rows": burst.missed,
        "detail": f"From {begin.astimezone(zone):%H:%M} to {end.astimezone(zone):%H:%M} the {what} {lost} of "
        f"{say_count(burst.crossed, 'runner')}, against {say_share(burst.usual, 1000)} in the rest of its day.",
    }


def find_set_aside(material: Material) -> pl.DataFrame:
    """Lines whose clock contradicts the gun or the other lines for most runners."""
    event = material.event
    rows: list[dict[str, object]] = []
    for line_id in sorted(material.set_aside):
        line = event.line(line_id)
        passings = material.passings.filter(pl.col("line") == line_id)
        sibling = [x.name for x in event.lines_at(line.point) if x.id not in material.set_aside]
        instead = (
            f"times at the point are those of {sibling[0]}"
            if sibling
            else "the point has no other line, so its times stand as they were read"
        )
        rows.append(
            {
                "point": line.point,
                "line": line_id,
                "time": passings["first"].min(),
                "rows": passings.height,
                "detail": "For most runners the line's times contradict the gun or the other lines: consistent with "
                f"a wrong clock. Its reads count as seen; {instead}. Nothing was corrected.",
            }
        )
    return to_rows(rows)


def find_line_offsets(material: Material) -> pl.DataFrame:
    """Lags between the two lines of a point beyond what the way from one to the other explains."""
    event = material.event
    rows: list[dict[str, object]] = []
    for lag in material.lags.sort("point").iter_rows(named=True):
        seconds = lag["lag_us"] / 1e6
        spacing = event.line(lag["backup"]).spacing_m
        limit = _longest_lag_s(spacing, event)
        if abs(seconds) <= limit or lag["pairs"] < FEWEST_CROSSED:
            continue
        offset = seconds - (spacing or 0.0) / USUAL_RUN_MPS
        way = "after" if seconds > 0 else "before"
        hint = next(
            (
                f", the size of {words}"
                for size, words in FINGERPRINTS_S.items()
                if abs(abs(offset) - size) < 2
            ),
            "",
        )
        rows.append(
            {
                "point": lag["point"],
                "line": lag["backup"],
                "value": seconds,
                "limit": limit,
                "unit": "s",
                "rows": lag["pairs"],
                "detail": f"The backup line's times lie {say_seconds(seconds)} {way} the main line's for the same "
                f"runners, more than the way between them explains: consistent with one clock about "
                f"{say_seconds(offset)} off{hint}. Proposed only; which of the two is wrong the points around tell.",
            }
        )
    return to_rows(rows)


def _longest_lag_s(spacing_m: float | None, event: Event) -> float:
    """A slow walk over the stated spacing and the clock tolerance; spacing not stated: the wide limit."""
    if spacing_m is None:
        return event.setting("line_offset_s")
    walk = spacing_m / event.setting("slow_walk_mps") + event.setting("clock_tolerance_s")
    return min(walk, event.setting("line_offset_s"))
