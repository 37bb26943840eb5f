"""The time columns of a results table: which hold the clock or gun time of a place, and which hold something else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import polars as pl

from lineproof.draft.words import GUN, NET, distance_m, plain

FINISH_WORDS = ("finish", "ziel", "goal", "end", "arrivee", "meta", "arrivo")
_FALLS = 0.5  # share of runners whose time is smaller than the one before: no time since the start
_SAME_SUM = 0.03  # share by which the sum of all sections may miss the finish time


@dataclass(frozen=True, slots=True)
class TimeColumns:
    """``places``: index and name of the place of each column to use.  ``left``: index and the reason why not.

    ``from_own_start`` where only net times were found.
    """

    places: Mapping[int, str] = field(default_factory=dict)
    left: Mapping[int, str] = field(default_factory=dict)
    from_own_start: bool = False


def sort_columns(headers: Sequence[str], cells: pl.DataFrame, timed: Sequence[int]) -> TimeColumns:
    """One column for each place: clock or gun times before net times; times of sections are left out."""
    left = dict.fromkeys(_sections(headers, cells, timed), "the times of a section, not since the start")
    whole = [i for i in timed if i not in left]
    kinds = {i: _kind(headers[i]) for i in whole}
    places: dict[int, str] = {}
    for wanted in ("", "gun", "net"):
        for i in (i for i in whole if kinds[i] == wanted):
            name = place_of(headers[i])
            same = next((j for j, other in places.items() if plain(other) == plain(name)), None)
            if same is None:
                places[i] = name
            else:
                left[i] = f'the {wanted or "same"} time of a place that "{headers[same]}" has already'
    net = [i for i in places if kinds[i] == "net"]
    ordered = {i: places[i] for i in sorted(places)}
    return TimeColumns(ordered, dict(sorted(left.items())), bool(net) and len(net) >= len(places) - 1)


def _kind(header: str) -> str:
    words = plain(header)
    return "net" if NET.search(words) else "gun" if GUN.search(words) else ""


def place_of(header: str) -> str:
    """The place that a column of a results table names; the finish where it names none."""
    words = plain(header)
    bare = GUN.sub(" ", NET.sub(" ", words))
    rest = [
        w
        for w in bare.split()
        if w not in ("time", "zeit", "zeiten", "total", "gesamt", "gesamtzeit", "result", "temps", "s")
    ]
    if not rest or any(word in FINISH_WORDS for word in rest):
        return "Finish"
    return header if bare.split() == words.split() else " ".join(rest)


def _sections(headers: Sequence[str], cells: pl.DataFrame, timed: Sequence[int]) -> list[int]:
    """Columns of single sections: they fall from column to column, or add up to the finish time."""
    splits = [i for i in timed if not _kind(headers[i]) and place_of(headers[i]) != "Finish"]
    ends = [i for i in timed if place_of(headers[i]) == "Finish"]
    seconds = {i: _seconds(cells[f"c{i}"]) for i in timed}
    unnamed = [i for i in splits if distance_m(headers[i]) is None and plain(headers[i]) != "start"]
    if len(unnamed) > 1 and any(_add_up([seconds[i] for i in unnamed], seconds[end]) for end in ends):
        return unnamed
    found: list[int] = []
    reached: pl.Series | None = None
    for i in splits:
        here = seconds[i]
        if reached is not None and _falls(here, reached):
            found.append(i)
        else:
            reached = here
    return found


def _add_up(parts: Sequence[pl.Series], whole: pl.Series) -> bool:
    frame = pl.DataFrame({**{f"p{i}": part for i, part in enumerate(parts)}, "whole": whole}).drop_nulls()
    if not frame.height:
        return False
    ratio = (frame.select(pl.sum_horizontal(pl.exclude("whole"))).to_series() / frame["whole"]).median()
    return isinstance(ratio, float) and abs(ratio - 1) < _SAME_SUM


def _falls(here: pl.Series, before: pl.Series) -> bool:
    both = pl.DataFrame({"here": here, "before": before}).drop_nulls()
    share = (both["here"] < both["before"]).mean() if both.height else 0.0
    return isinstance(share, float) and share > _FALLS and not _is_clock(here, before)


def _is_clock(here: pl.Series, before: pl.Series) -> bool:
    """Elapsed times after a column of clock times fall too, and are sound."""
    clock = before.median()
    later = here.median()
    return isinstance(clock, float) and isinstance(later, float) and clock > 5 * 3600 and later < 5 * 3600


def _seconds(values: pl.Series) -> pl.Series:
    parts = (
        values.str.extract_groups(r"(?:^|[ T])(?:(\d+):)?(\d+):(\d+)(?:[.,]\d+)?$")
        .struct.unnest()
        .cast(pl.Float64)
    )
    return parts["1"].fill_null(0) * 3600 + parts["2"] * 60 + parts["3"]
