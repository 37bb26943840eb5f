"""Windows in which a line did not work: found from other lines' traffic, with the chance of a false one bounded.

    PROOFS -> arrivals (who came by, by whose word) -> silence, late_loss -> INTERRUPTIONS -> masks

Both lines of a point are asked together first: where they were silent at once only other points prove the
runners.  What that leaves is asked of each line alone.
"""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from lineproof.event import Event
from lineproof.interruptions.arrivals import Arrivals, to_arrivals, to_timed
from lineproof.interruptions.late_loss import estimate_late_loss
from lineproof.interruptions.masks import to_masks, without_interruptions
from lineproof.interruptions.silence import estimate_silences
from lineproof.tables import INTERRUPTIONS
from lineproof.vocabulary import InterruptionKind
from lineproof.wording import say_share

__all__ = ["estimate_interruptions", "to_masks", "without_interruptions"]

Row = dict[str, Any]
EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


def estimate_interruptions(proofs: pl.DataFrame, event: Event) -> pl.DataFrame:
    """INTERRUPTIONS of an event from its PROOFS, by point in the event's order, then by begin.

    A line that read nobody all day, or a weak one, or one that lost part of its width, is none of them.
    """
    points = to_arrivals(to_timed(proofs), event)
    family = sum(len(row.at) for whole, lines in points for row in (whole, *lines))
    rows: list[Row] = []
    for whole, lines in points:
        found = _silent(whole, family, event)
        windows = [_window(row) for row in found]
        if not lines and whole.line is None:
            found += _late(whole.without(windows), len(points), event)
        for line in lines:
            for row in _silent(line.without(windows), family, event):
                if not _absorbed(row, found, event):
                    found.append(row)
        rows += sorted(found, key=lambda row: (row["begin"], row["line"] or ""))
    zone = ZoneInfo(event.zone)
    return INTERRUPTIONS.check(INTERRUPTIONS.shape_rows([_with_evidence(row, zone) for row in rows]))


def _absorbed(row: Row, found: list[Row], event: Event) -> bool:
    """Lengthens a silence of both lines by a few seconds of one of them right before or after it.

    Runners meet the lines one after the other, so that a common cause begins with some whom one line still read.
    """
    step = dt.timedelta(seconds=event.setting("crossing_gap_s"))
    for both in found:
        if both["kind"] != InterruptionKind.BOTH_LINES.value or row["end"] - row["begin"] > step:
            continue
        if both["begin"] - step <= row["begin"] and row["end"] <= both["end"] + step:
            both["begin"], both["end"] = min(both["begin"], row["begin"]), max(both["end"], row["end"])
            for side, pick in (("read_before", min), ("read_after", max)):
                if both[side] is not None and row[side] is not None:
                    both[side] = pick(both[side], row[side])
            return True
    return False


def _window(row: Row) -> tuple[int, int]:
    begin, end = ((row[name] - EPOCH) // dt.timedelta(microseconds=1) for name in ("begin", "end"))
    return begin, end


def _silent(arrivals: Arrivals, family: int, event: Event) -> list[Row]:
    least = int(event.setting("interruption_misses"))
    silences = estimate_silences(arrivals.missed, family, event.setting("interruption_chance"), least)
    windows = [(int(arrivals.at[found.first]), int(arrivals.at[found.last])) for found in silences]
    rest = arrivals.without(windows).missed
    usual = float(rest.mean()) if len(rest) else 0.0
    rows = []
    for found, (begin, end) in zip(silences, windows, strict=True):
        before = arrivals.reads[arrivals.reads < begin]
        after = arrivals.reads[arrivals.reads > end]
        # Awaited runners of whom none came may all have been stopped; only a later read shows a gap.
        if arrivals.awaited[found.first : found.last + 1].any() and not len(after):
            continue
        both = arrivals.told and arrivals.line is None
        kind = InterruptionKind.BOTH_LINES if both else _kind(len(before) > 0, len(after) > 0)
        read_before = int(before[-1]) if len(before) else None
        read_after = int(after[0]) if len(after) else None
        counts = (found.tried, found.missed, usual, found.chance)
        rows.append(_row(arrivals, kind, (begin, end), (read_before, read_after), counts, event))
    return rows


def _kind(read_before: bool, read_after: bool) -> InterruptionKind:
    if read_before and read_after:
        return InterruptionKind.OUTAGE
    return InterruptionKind.LIFTED_EARLY if read_before else InterruptionKind.LAID_LATE


def _late(arrivals: Arrivals, points: int, event: Event) -> list[Row]:
    proven = ~arrivals.awaited
    found = estimate_late_loss(arrivals.missed[proven], points, event.setting("interruption_chance"))
    if found is None:
        return []
    at = arrivals.at[proven][found.first :]
    before = arrivals.reads[arrivals.reads < at[0]]
    counts = (found.tried, found.missed, found.usual, found.chance)
    reads = (int(before[-1]) if len(before) else None, None)
    window = (int(at[0]), int(at[-1]))
    return [_row(arrivals, InterruptionKind.LATE_LOSS, window, reads, counts, event)]


def _row(
    arrivals: Arrivals,
    kind: InterruptionKind,
    window: tuple[int, int],
    reads: tuple[int | None, int | None],
    counts: tuple[int, int, float, float],
    event: Event,
) -> Row:
    tried, missed, usual, chance = counts
    begin, end, before, after = (_instant(us) for us in (*window, *reads))
    inside = (arrivals.at >= window[0]) & (arrivals.at <= window[1])
    known = "awaited by" if arrivals.awaited[inside].any() else "known from"
    return {
        "event": event.id,
        "point": arrivals.point,
        "line": arrivals.line,
        "kind": kind.value,
        "begin": begin,
        "end": end,
        "read_before": before,
        "read_after": after,
        "tried": tried,
        "missed": missed,
        "usual": usual,
        "chance": chance,
        "doubt_us": arrivals.doubt_us if arrivals.unseen[inside].any() else 0,
        "known": f"{known} {arrivals.witnesses}",
    }


def _instant(us: int | None) -> dt.datetime | None:
    return None if us is None else EPOCH + dt.timedelta(microseconds=us)


def _with_evidence(row: Row, zone: ZoneInfo) -> Row:
    begin, end, before, after = (
        None if row[name] is None else f"{row[name].astimezone(zone):%H:%M:%S}"
        for name in ("begin", "end", "read_before", "read_after")
    )
    tried, missed = row["tried"], row["missed"]
    what = "both lines" if row["kind"] == InterruptionKind.BOTH_LINES.value else "the point"
    none = f"read none of {tried:,}" if missed == tried else f"missed {missed:,} of {tried:,}"
    words = (
        f"From {begin} to {end} {'the line' if row['line'] else what} {none} runners {row['known']}, "
        f"against {say_share(row['usual'], 1000)} missed in the rest of the day."
    )
    if row["kind"] == InterruptionKind.LATE_LOSS.value:
        words += " Consistent with mats lifted, or a line narrowed, while the late field still came."
    else:
        words += f" {f'Last read before it at {before}' if before else 'No read before it'}"
        words += f", {f'first read after it at {after}' if after else 'none after it'}."
    return {**{name: value for name, value in row.items() if name != "known"}, "evidence": words}
