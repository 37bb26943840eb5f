"""All searches in their order, and how two patterns that share a trace are settled.

Each search works on the tries that the surer patterns before it left over: windows first, then antennas and the
road, crowds, whole lines, tags.  At the end the chances of everything looked for are adjusted together.
"""

from __future__ import annotations

import numpy as np

from lineproof.diagnosis.antennas import (
    Across,
    count_mats,
    find_silent_antennas,
    find_weak_antennas,
    join_highest_ports,
    to_across,
)
from lineproof.diagnosis.crowds import find_crowds
from lineproof.diagnosis.evidence import Evidence
from lineproof.diagnosis.gaps import find_gaps
from lineproof.diagnosis.pattern import Pattern, Search, missed_share
from lineproof.diagnosis.roads import find_bare_roads
from lineproof.diagnosis.setup_facts import LaidSetup
from lineproof.diagnosis.single_lines import find_silent_numbers
from lineproof.diagnosis.sureness import keep_sure
from lineproof.diagnosis.tags import find_weak_tags
from lineproof.diagnosis.tries import Bools, Tries
from lineproof.diagnosis.whole_lines import find_weak_lines
from lineproof.diagnosis.windows import find_windows
from lineproof.event import Event
from lineproof.vocabulary import Cause

HALF_IS_MORE = 2.0  # a pattern explains misses where at least half of them are more than usual
SHOWN_WITHOUT_MISSES = (Cause.SILENT_ANTENNA, Cause.PORTS_NOT_TOLD)


def find_patterns(
    tries: Tries, evidence: Evidence, setup: LaidSetup, event: Event
) -> list[tuple[Pattern, float]]:
    """The patterns that are no luck, each with its adjusted chance."""
    share = event.setting("diagnosis_false_share")
    windows = find_windows(tries, evidence.interruptions, event)
    taken = tries.camera | _taken(tries, [windows], share)
    gaps = find_gaps(tries, taken, event)
    taken |= _taken(tries, [gaps], share)
    mats = {line.id: count_mats(line, tries, setup.laid_mats) for line in event.lines}
    lines = {line.id: to_across(line, tries, taken, mats[line.id]) for line in event.lines}
    across = [found for found in lines.values() if found is not None]
    antennas = _antennas(across, tries, evidence, setup, share)
    roads = find_bare_roads(_pairs(lines, event), tries, taken)
    across_road = [*_settle_edges(antennas, roads, setup, share)]
    numbers = find_silent_numbers(evidence.passings, tries, taken, mats, event)
    taken |= _taken(tries, [*across_road, numbers], share)
    widths = {line.id: float(line.width_m or mats[line.id]) for line in event.lines}
    lines_out = _practice(find_weak_lines(tries, taken, evidence.passings, setup, event))
    in_practice = _taken(tries, [lines_out], share)
    crowds = _worth(find_crowds(tries, taken | in_practice, widths, event), tries)
    taken |= _taken(tries, [crowds], share)
    whole = _worth(find_weak_lines(tries, taken, evidence.passings, setup, event), tries)
    tags = find_weak_tags(tries, taken | _taken(tries, [whole], share))
    return keep_sure([windows, gaps, *across_road, numbers, crowds, whole, tags], share)


def _practice(search: Search) -> Search:
    """Only the readers in a practice role: so weak that beside them everything looks sound."""
    kept = [pattern for pattern in search.found if pattern.cause is Cause.PRACTICE_ROLE]
    return Search(kept, search.looked_for)


def _taken(tries: Tries, searches: list[Search], share: float) -> Bools:
    taken = np.zeros(len(tries.at), dtype=np.bool_)
    for pattern, _ in keep_sure(searches, share):
        taken[pattern.rows] = True
    return taken


def _worth(search: Search, tries: Tries) -> Search:
    """Without the patterns of which less than half of the misses are more than usual."""
    kept = [
        pattern
        for pattern in search.found
        if pattern.cause in SHOWN_WITHOUT_MISSES
        or missed_share(tries, pattern.rows) >= HALF_IS_MORE * pattern.usual
    ]
    return Search(kept, search.looked_for)


def _antennas(
    across: list[Across], tries: Tries, evidence: Evidence, setup: LaidSetup, share: float
) -> tuple[Search, Search]:
    silent = find_silent_antennas(across, tries)
    sure = [pattern for pattern, _ in keep_sure([silent], share)]
    joined = Search(join_highest_ports(sure, across, setup.ports_told()), silent.looked_for)
    return joined, _worth(find_weak_antennas(across, joined.found, evidence.mats, tries), tries)


def _pairs(lines: dict[str, Across | None], event: Event) -> list[tuple[Across, Across]]:
    pairs = []
    for point in event.points:
        here = [lines[line.id] for line in event.lines_at(point.id)]
        if len(here) == 2 and here[0] is not None and here[1] is not None:
            pairs.append((here[0], here[1]))
    return pairs


def _settle_edges(
    antennas: tuple[Search, Search], roads: Search, setup: LaidSetup, share: float
) -> tuple[Search, Search, Search]:
    """A side of the road where both lines lose runners is one pattern, not two weak antennas; a silent one is its own.

    A weak last mat of one line, on a road that the record says is wider than the line, is the road's.
    """
    silent, weak = antennas
    edges = {(p.point, number) for p in silent.found for number in p.antennas}
    bare = [p for p in roads.found if p.line is not None or (p.point, p.antenna) not in edges]
    sure = {
        (p.point, p.antenna) for p, _ in keep_sure([Search(bare, roads.looked_for)], share) if p.line is None
    }
    single = [p for p in weak.found if (p.point, p.antenna) not in sure]
    renamed = [setup.as_bare_road(p) for p in single]
    return silent, Search(renamed, weak.looked_for), Search(bare, roads.looked_for)
