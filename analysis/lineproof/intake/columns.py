"""From the headers of an export to the columns that we know, by the map of ``event.toml``.

Headers match without regard to case, outer blanks and byte order marks.  A column that the map
leaves out is still found under our own name, or under the field names of the open reader protocol
of GS1 EPCglobal (LLRP 1.1, TagReportData), whose times count microseconds since 1970 in UTC.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from lineproof.errors import InputError
from lineproof.event import suggest
from lineproof.intake.raw import RawTable, normal
from lineproof.vocabulary import Level

_TAG = ("EPC-96", "EPC", "EPCData")
PROTOCOL_FIELDS: dict[Level, dict[str, tuple[str, ...]]] = {
    Level.READS: {
        "tag": _TAG,
        "time": ("FirstSeenTimestampUTC",),
        "antenna": ("AntennaID",),
        "strength": ("PeakRSSI",),
    },
    Level.PASSINGS: {
        "tag": _TAG,
        "first": ("FirstSeenTimestampUTC",),
        "last": ("LastSeenTimestampUTC",),
        "reads": ("TagSeenCount",),
        "antenna": ("AntennaID",),
        "strength": ("PeakRSSI",),
    },
}
_UPTIME = "firstseentimestampuptime"


def wanted_words(
    mapping: Mapping[str, str], known: Iterable[str], level: Level | None, extra: Iterable[str] = ()
) -> list[str]:
    """Every header that may stand for a column of ours: how the header row is recognised."""
    fields = PROTOCOL_FIELDS.get(level, {}) if level else {}
    return [*mapping.values(), *known, *(word for words in fields.values() for word in words), *extra]


def find_columns(
    table: RawTable, mapping: Mapping[str, str], known: Iterable[str], level: Level | None
) -> dict[str, int]:
    """Our column names with the index of their column in the export.

    Raises ``InputError`` where a mapped header is missing or stands twice.
    """
    found: dict[str, int] = {}
    for ours in known:
        if ours in mapping:
            found[ours] = find_header_index(table, mapping[ours], ours)
            continue
        for word in (ours, *_protocol_words(level, ours)):
            if _places(table, word):
                found[ours] = find_header_index(table, word, ours)
                break
    _refuse_uptime(table, found, level)
    return found


def _protocol_words(level: Level | None, ours: str) -> tuple[str, ...]:
    return PROTOCOL_FIELDS.get(level, {}).get(ours, ()) if level else ()


def _places(table: RawTable, header: str) -> list[int]:
    return [i for i, word in enumerate(table.headers) if normal(word) == normal(header)]


def find_header_index(table: RawTable, header: str, ours: str) -> int:
    """Index of the one column under ``header``; raises ``InputError`` for none or several."""
    places = _places(table, header)
    if len(places) == 1:
        return places[0]
    row = table.header_row or None
    if places:
        raise InputError(
            f'the header "{header}" stands {len(places)} times, so "{ours}" is not certain',
            todo="rename one of them in the export",
            file=table.file,
            row=row,
            column=header,
        )
    headers = [word for word in table.headers if word]
    shown = ", ".join(headers[:12]) + (" …" if len(headers) > 12 else "")
    raise InputError(
        f'there is no column "{header}"',
        todo=suggest_header(header, headers) or f"the columns are {shown}",
        file=table.file,
        row=row,
    )


def suggest_header(header: str, headers: Iterable[str]) -> str:
    """A "did you mean" that looks past the letter case."""
    by_normal = {normal(word): word for word in headers}
    hint = suggest(normal(header), by_normal)
    for key, word in by_normal.items():
        if hint == f'did you mean "{key}"?':
            return f'did you mean "{word}"?'
    return ""


def _refuse_uptime(table: RawTable, found: Mapping[str, int], level: Level | None) -> None:
    ours = "first" if level is Level.PASSINGS else "time"
    if level not in PROTOCOL_FIELDS:
        return
    mapped = normal(table.headers[found[ours]]) if ours in found else ""
    uptime = any(normal(word) == _UPTIME for word in table.headers)
    if mapped == _UPTIME or (uptime and not mapped):
        raise InputError(
            "the reader gave its uptime only, not UTC, so no clock time can be known",
            todo="export it again after the reader's clock was set",
            file=table.file,
            column="FirstSeenTimestampUptime",
        )


def require(table: RawTable, found: Mapping[str, int], ours: str, section: str) -> None:
    """Raise ``InputError`` where a column that we cannot do without is not mapped."""
    if ours in found:
        return
    shown = ", ".join(word for word in table.headers[:12] if word)
    raise InputError(
        f'no column is named for "{ours}"',
        todo=f'write {ours} = "…" under {section}; the columns are {shown}',
        file=table.file,
        row=table.header_row or None,
    )
