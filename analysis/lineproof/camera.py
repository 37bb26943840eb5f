"""The camera beside the lines: minutes drawn for the audit, what they show, and what look-ups settled.

The draw hangs on the crossings read at the finish and on a seed made from the event's name, so a review draws the same
minutes as the one before.  Once some are counted, the copy that was filled in is the draw.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import math
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from lineproof.camera_tables import AUDIT_RESULTS, SIGHTED
from lineproof.detection.audit import MINUTE, draw_audit, estimate_audit
from lineproof.errors import EventError
from lineproof.event import Event
from lineproof.tables import AUDIT
from lineproof.unseen_tables import UNSEEN
from lineproof.vocabulary import Outcome, PointKind, Proof

STRAY_SHARE = 0.001  # of the finish times at either end do not stretch the window …
AROUND_MIN = 10  # … which begins and ends this long before and after the others
SETTLED = "Every runner of whom it was open was looked for on the camera."
READ_THERE = "a line read the runner there; if the read is wrong, void its row in decisions.csv"
READ_LATER = "read later on the course, but not on the camera: consistent with a cut course, a carried tag or a wrong window"


def draw_audits(crossings: pl.DataFrame, minutes: pl.DataFrame, event: Event) -> pl.DataFrame:
    """AUDIT of every finish, sorted: the draw of ``minutes`` (MINUTES) where it was filled in, else a new one.

    Raises ``EventError`` naming the row of a minute that was not drawn.
    """
    frames = [AUDIT.empty()]
    finishes = [point.id for point in event.points if point.kind is PointKind.FINISH]
    counted = minutes["point"].unique().to_list()
    for point in [*finishes, *sorted(set(counted) - set(finishes))]:
        filled = minutes.filter(pl.col("point") == point)
        drawn = _draw(crossings, point, event) if point in finishes else AUDIT.empty()
        frames.append(_filled_in(filled, drawn, event) if filled.height else drawn)
    return AUDIT.check(pl.concat(frames)).sort("point", "begin")


def seed_of(event: Event, point: str) -> int:
    """The same for every review of an event."""
    return int.from_bytes(hashlib.sha256(f"{event.id}/{event.date}/{point}".encode()).digest()[:4])


def _draw(crossings: pl.DataFrame, point: str, event: Event) -> pl.DataFrame:
    times = crossings.filter(pl.col("point") == point)["time"].sort()
    if len(times) < 2:
        return AUDIT.empty()
    beyond = math.floor(STRAY_SHARE * len(times))
    around = dt.timedelta(minutes=AROUND_MIN)
    first, last = times[beyond] - around, times[len(times) - 1 - beyond] + around
    begin = first.replace(second=0, microsecond=0)
    minutes = round(event.setting("audit_minutes"))
    return draw_audit(times, point, begin, last + MINUTE, max(minutes, 2), seed_of(event, point))


def _filled_in(filled: pl.DataFrame, drawn: pl.DataFrame, event: Event) -> pl.DataFrame:
    design = ("stratum", "stratum_minutes", "flow", "seed")
    if all(filled[name].null_count() == 0 for name in design):
        _check_design(filled)
        return AUDIT.conform(filled.with_columns((pl.col("begin") + MINUTE).alias("end")))
    strangers = filled.join(drawn, on=["point", "begin"], how="anti").sort("file", "row")
    if strangers.height:
        row = strangers.row(0, named=True)
        clock = row["begin"].astimezone(ZoneInfo(event.zone))
        raise EventError(
            f"the minute from {clock:%H:%M} was not drawn for the audit, so it says nothing of the others",
            todo="count the minutes of audit.csv, and keep its columns stratum, stratum_minutes, flow and seed",
            file=row["file"],
            row=row["row"],
            column="begin",
        )
    counts = filled.select("point", "begin", "crossed", "missed")
    joined = drawn.drop("crossed", "missed").join(counts, on=["point", "begin"], how="left", validate="1:1")
    return AUDIT.conform(joined)


def _check_design(filled: pl.DataFrame) -> None:
    """Raise ``EventError`` where a stratum has two sizes, or more minutes than its size."""
    sizes = filled.with_columns(
        pl.col("stratum_minutes").first().over("stratum").alias("size"),
        pl.len().over("stratum").alias("rows"),
    )
    wrong = sizes.filter((pl.col("stratum_minutes") != pl.col("size")) | (pl.col("rows") > pl.col("size")))
    if wrong.height:
        row = wrong.sort("file", "row").row(0, named=True)
        raise EventError(
            f"{row['stratum_minutes']} minutes of stratum {row['stratum']} is not what its other rows say",
            todo="copy the column from audit.csv again",
            file=row["file"],
            row=row["row"],
            column="stratum_minutes",
        )


def estimate_audits(audit: pl.DataFrame, event: Event) -> pl.DataFrame:
    """AUDIT_RESULTS, one row for each audited point, in the event's order."""
    rows: list[dict[str, Any]] = []
    for point in (p.id for p in event.points):
        here = audit.filter(pl.col("point") == point)
        if here.is_empty():
            continue
        found = estimate_audit(here, event.setting("target"), event.setting("confidence"))
        names = (
            "minutes",
            "window_minutes",
            "crossed",
            "missed",
            "share",
            "std_error",
            "low",
            "high",
            "needed",
        )
        told = {name: getattr(found, name) for name in (*names, "word", "method", "reason")}
        if not found.minutes:
            told["reason"] = "no minute was counted yet"
        rows.append({**told, "point": point, "drawn": here.height, "seed": here["seed"][0]})
    return AUDIT_RESULTS.check(AUDIT_RESULTS.shape_rows(rows))


def to_sighted(sightings: pl.DataFrame, by_reads: pl.DataFrame, proofs: pl.DataFrame) -> pl.DataFrame:
    """SIGHTED: each outcome with what the reads alone say, what counts now, and where the two contradict."""
    key = ["runner", "order"]
    rows = sightings.join(
        by_reads.select(*key, pl.col("proof").alias("by_reads")), on=key, how="left", validate="1:1"
    ).join(proofs.select(*key, "proof"), on=key, how="left", validate="1:1")
    absent = pl.col("outcome") == Outcome.NOT_THERE.value
    remark = (
        pl.when(absent & (pl.col("by_reads") == Proof.SEEN.value))
        .then(pl.lit(READ_THERE))
        .when(absent & (pl.col("by_reads") == Proof.PROVEN.value))
        .then(pl.lit(READ_LATER))
    )
    return SIGHTED.conform(rows.with_columns(remark.alias("remark")).sort(key))


def settle_unseen(
    unseen: pl.DataFrame, chances: pl.DataFrame, by_reads: pl.DataFrame, proofs: pl.DataFrame
) -> pl.DataFrame:
    """UNSEEN, made of the reads alone, with what the camera settled.

    Crossings found are exact; of the hidden ones the part is taken off that belongs, by the chances of having crossed
    (``runner``, ``order``, ``chance``), to the runners who were settled.  Where nobody is left open, nobody is hidden.
    """
    key = ["runner", "order"]
    rows = (
        by_reads.select(*key, "course", pl.col("proof").cast(pl.String).alias("was"))
        .join(
            proofs.select(*key, pl.col("proof").cast(pl.String).alias("now")),
            on=key,
            how="left",
            validate="1:1",
        )
        .join(chances, on=key, how="inner", validate="1:1")
        .filter(pl.col("was") == Proof.UNPROVEN.value)
    )
    open_yet = pl.col("now") == Proof.UNPROVEN.value
    mass = rows.group_by("course", "order").agg(
        (~open_yet).sum().alias("settled"),
        open_yet.sum().alias("left"),
        (pl.col("chance").filter(open_yet).sum() / pl.col("chance").sum()).alias("part"),
    )
    missed = proofs.group_by("course", "order").agg(
        pl.col("proof").cast(pl.String).is_in([Proof.PROVEN.value, Proof.CAMERA.value]).sum().alias("exact")
    )
    joined = unseen.join(
        mass, on=["course", "order"], how="left", validate="1:1", maintain_order="left"
    ).join(missed, on=["course", "order"], how="left", validate="1:1", maintain_order="left")
    return UNSEEN.conform(
        pl.DataFrame([_settled(row) for row in joined.iter_rows(named=True)], schema=joined.schema)
    )


def _settled(row: dict[str, Any]) -> dict[str, Any]:
    """One row of UNSEEN with ``settled``, ``left``, ``part`` and ``exact`` worked in."""
    if not row["settled"]:
        return row
    new = {**row, "missed_seen_later": row["exact"]}
    if row["left"] == 0:
        new |= {"hidden": 0.0, "hidden_low": 0.0, "hidden_high": 0.0, "reason": None}
        new["note"] = " ".join(part for part in (row["note"], SETTLED) if part)
    elif row["hidden"] is None:
        return new
    else:
        part = row["part"]
        new["hidden"] = row["hidden"] * part
        new["hidden_low"] = float(math.floor(row["hidden_low"] * part))
        new["hidden_high"] = float(min(math.ceil(row["hidden_high"] * part), max(row["left"], 1)))
    found = new["missed_seen_later"]
    new["lower_bound"] = max(float(found), row["lower_bound"] or 0.0) if row["left"] else float(found)
    for name, hidden in (("rate", "hidden"), ("rate_low", "hidden_high"), ("rate_high", "hidden_low")):
        new[name] = row["read"] / max(row["read"] + found + new[hidden], 1)
    return new
