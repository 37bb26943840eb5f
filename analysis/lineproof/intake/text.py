"""Text tables (CSV, TSV, any delimiter and encoding) into raw tables.

A sound file goes through the fast parser whole.  Its row count must equal the file's line count,
otherwise (quoted line breaks, ragged rows, stray quotation marks, damaged blocks) the file is split
again row by row, where every row is either split cleanly or carries the reason why not.
"""

from __future__ import annotations

import codecs
import csv
import hashlib
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from lineproof.errors import InputError
from lineproof.event import FileLayout
from lineproof.intake.files import Stamp, chunks
from lineproof.intake.raw import (
    HEADER_DEPTH,
    ROW_GROUP,
    PartWriter,
    RawTable,
    find_header,
    normal,
    numbered_headers,
)

STEADY = 0.9
DELIMITERS = (",", ";", "\t", "|", " ")
_DELIMITER_WORDS = {"tab": "\t", "\\t": "\t", "blank": " ", "space": " ", "comma": ",", "semicolon": ";"}
_QUOTED_LINES = 20  # a cell with more line breaks than this is an unclosed quotation mark
_CONTROLS = re.compile(
    rb"[\x01-\x08\x0e-\x1f]"
)  # in no text file; zero bytes are damage, and told row by row
_UNCLOSED = "a quotation mark is opened and not closed"


@dataclass(frozen=True, slots=True)
class _Bytes:
    """What one pass over the bytes tells."""

    stamp: Stamp
    head: bytes
    newlines: int
    returns: int
    nuls: int
    utf8: bool
    ends: bool  # with a line break


def load_text(
    path: Path, name: str, layout: FileLayout, wanted: Iterable[str], stem: Path
) -> tuple[RawTable, Stamp]:
    """Read one text export.  Raises ``InputError`` where it is no table at all."""
    seen = _look(path)
    if seen.stamp.size == 0:
        raise InputError("the file is empty", todo="export it again, or take it out of the folder", file=path)
    plain, encoding, remarks = _to_utf8(path, seen, layout, stem)
    if plain != path:
        seen = _look(plain, stamp=seen.stamp)
    wanted = list(wanted)
    lines = _first_lines(plain)
    if not any(line.strip(" \t\r\n,;|") for line in lines) and seen.newlines <= len(lines):
        raise InputError("the file holds no text", todo="export it again", file=path)
    delimiter, at = _find_layout(lines, layout, wanted, path)
    headers = _headers(lines, delimiter, at)
    remarks = (*remarks, *_header_remarks(lines, at))
    parts = _fast(plain, seen, delimiter, at, len(headers), stem)
    if parts is None:
        parts = _careful(plain, delimiter, at, len(headers), stem)
    table = RawTable(name, "", headers, at + 1, parts, seen.stamp.sha256, encoding, remarks)
    return table, seen.stamp


def _look(path: Path, stamp: Stamp | None = None) -> _Bytes:
    digest, decoder = hashlib.sha256(), codecs.getincrementaldecoder("utf-8")()
    head, last, utf8 = b"", b"", True
    newlines = returns = nuls = size = 0
    for piece in chunks(path):
        digest.update(piece)
        head = head or piece[:65536]
        newlines, returns, nuls = (
            newlines + piece.count(b"\n"),
            returns + piece.count(b"\r"),
            nuls + piece.count(0),
        )
        size, last = size + len(piece), piece[-1:]
        utf8 = utf8 and _decodes(decoder, piece)
    utf8 = utf8 and _decodes(decoder, b"", final=True)
    stamp = stamp or Stamp(size, path.stat().st_mtime_ns, digest.hexdigest())
    return _Bytes(stamp, head, newlines, returns, nuls, utf8, last == b"\n")


def _decodes(decoder: codecs.IncrementalDecoder, piece: bytes, final: bool = False) -> bool:
    try:
        decoder.decode(piece, final)
    except UnicodeDecodeError:
        return False
    return True


def _to_utf8(path: Path, seen: _Bytes, layout: FileLayout, stem: Path) -> tuple[Path, str, tuple[str, ...]]:
    """A UTF-8 file with ordinary line ends (the file itself if it is one), its encoding, remarks."""
    plain = stem.with_name(stem.name + ".txt")
    encoding = _encoding(path, seen, layout)
    if encoding == "mixed":
        return plain, "windows-1252", _decode_by_line(path, plain)
    if encoding in ("utf-8", "utf-8-sig") and seen.utf8 and not (seen.returns and not seen.newlines):
        return path, encoding, ()
    _transcode(path, plain, encoding)
    return plain, encoding, ()


def _encoding(path: Path, seen: _Bytes, layout: FileLayout) -> str:
    if layout.encoding:
        try:
            return codecs.lookup(layout.encoding).name.replace("utf-8-sig", "utf-8")
        except LookupError:
            raise InputError(
                f'the encoding "{layout.encoding}" is not known',
                todo='write "utf-8" or "windows-1252"',
                file=path,
            ) from None
    if seen.head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if seen.nuls > seen.stamp.size // 4:  # every other byte of western text in UTF-16 is zero
        if seen.head[1:2] == b"\0" and seen.head[:1] != b"\0":
            return "utf-16-le"
        if seen.head[:1] == b"\0" and seen.head[1:2] != b"\0":
            return "utf-16-be"
    if b"\0" in seen.head.split(b"\n")[0] or _CONTROLS.search(seen.head[:1024]):
        raise InputError("the file is no text", todo="export it as CSV, Parquet or Excel", file=path)
    if seen.utf8:
        return "utf-8-sig" if seen.head.startswith(codecs.BOM_UTF8) else "utf-8"
    return "mixed"


def _transcode(path: Path, plain: Path, encoding: str) -> None:
    try:
        with (
            path.open(encoding=encoding, newline=None) as source,
            plain.open("w", encoding="utf-8", newline="\n") as target,
        ):
            for line in source:
                target.write(line)
    except UnicodeError:
        raise InputError(
            f"the file is not {encoding} text",
            todo="leave encoding out or set the right one",
            file=path,
            row=_first_bad_row(path, encoding),
        ) from None


def _first_bad_row(path: Path, encoding: str) -> int | None:
    """The row that cannot be decoded; None in encodings whose line ends are not single bytes."""
    with path.open("rb") as source:
        for row, line in enumerate(source, start=1):
            try:
                line.decode(encoding)
            except UnicodeError:
                return None if encoding.startswith(("utf-16", "utf-32")) else row
    return None


def _decode_by_line(path: Path, plain: Path) -> tuple[str, ...]:
    """UTF-8 where a line is UTF-8, else Windows-1252: files glued from two programs are common."""
    other = 0
    first: int | None = None
    with path.open("rb") as source, plain.open("w", encoding="utf-8", newline="") as target:
        for row, line in enumerate(source, start=1):
            try:
                text = line.decode("utf-8-sig" if row == 1 else "utf-8")
            except UnicodeDecodeError:
                other, first = other + 1, first or row
                try:
                    text = line.decode("cp1252")
                except UnicodeDecodeError:
                    text = line.decode("latin-1")
            target.write(text)
    return (f"{other} lines, the first in row {first}, are not UTF-8 and were read as Windows-1252",)


def _first_lines(plain: Path) -> list[str]:
    lines: list[str] = []
    with plain.open(encoding="utf-8-sig", errors="replace", newline="\n") as stream:
        for line in stream:
            lines.append(line.rstrip("\r\n"))
            if len(lines) >= HEADER_DEPTH + 100:
                break
    return lines


def split_line(line: str, delimiter: str) -> list[str]:
    """The fields of one line; raises ``csv.Error`` where quotation marks do not fit."""
    if '"' not in line:
        return line.split() if delimiter == " " else line.split(delimiter)
    reader = csv.reader([line], delimiter=delimiter, strict=True, skipinitialspace=delimiter == " ")
    return next(reader, [])


def _fields(line: str, delimiter: str) -> list[str]:
    try:
        return split_line(line, delimiter)
    except csv.Error:
        return line.split(delimiter)


def _find_layout(lines: list[str], layout: FileLayout, wanted: list[str], path: Path) -> tuple[str, int]:
    """Delimiter and header line (-1: none): the pair under which most wanted words are found."""
    given = _given_delimiter(layout, path)
    options = [given] if given else [d for d in DELIMITERS if any(d in line for line in lines)] or [","]
    if any(_is_table(lines, d, layout, wanted, path) for d in options if d != " "):
        # Words with blanks in them cut a clean table into pieces that may look like wanted ones.
        options = [d for d in options if d != " "]
    best: tuple[tuple[int, float], str, int] | None = None
    for delimiter in options:
        rows = [_fields(line, delimiter) for line in lines]
        at = _header_line(rows, layout, wanted, path)
        header = {normal(cell) for cell in rows[at]} if at >= 0 else set()
        score = (len(header & {normal(word) for word in wanted}), _steadiness(rows[max(at, 0) :]))
        if best is None or score > best[0]:
            best = (score, delimiter, at)
    assert best is not None
    return best[1], best[2]


def _is_table(lines: list[str], delimiter: str, layout: FileLayout, wanted: list[str], path: Path) -> bool:
    """Header and nearly all rows have the same number of fields, two or more."""
    rows = [_fields(line, delimiter) for line in lines]
    at = _header_line(rows, layout, wanted, path)
    below = rows[max(at, 0) :]
    return bool(below) and len(below[0]) > 1 and _steadiness(below) >= STEADY


def _given_delimiter(layout: FileLayout, path: Path) -> str | None:
    if layout.delimiter is None:
        return None
    delimiter = _DELIMITER_WORDS.get(layout.delimiter, layout.delimiter)
    if len(delimiter) != 1 or ord(delimiter) > 127 or delimiter in '"\r\n':
        raise InputError(
            f'"{layout.delimiter}" cannot be a delimiter',
            todo='write one sign, such as ";" or "tab"',
            file=path,
        )
    return delimiter


def _header_line(rows: list[list[str]], layout: FileLayout, wanted: list[str], path: Path) -> int:
    if layout.header_row is None:
        return find_header(rows[:HEADER_DEPTH], wanted)
    if layout.header_row > len(rows):
        raise InputError(
            f"the file has no row {layout.header_row} for a header", todo="mend header_row", file=path
        )
    return layout.header_row - 1


def _steadiness(rows: list[list[str]]) -> float:
    """How table-like: the share of rows with the usual number of fields, favouring more fields."""
    widths = [len(row) for row in rows if any(cell.strip() for cell in row)]
    if not widths:
        return 0.0
    usual = max(set(widths), key=widths.count)
    return 0.0 if usual < 2 else widths.count(usual) / len(widths) + min(usual, 50) / 1000


def _headers(lines: list[str], delimiter: str, at: int) -> tuple[str, ...]:
    if at < 0:
        return numbered_headers(max(len(_fields(line, delimiter)) for line in lines))
    cells = [cell.strip().replace("\ufeff", "") for cell in _fields(lines[at], delimiter)]
    while len(cells) > 1 and not cells[-1]:
        cells.pop()
    return tuple(cells)


def _header_remarks(lines: list[str], at: int) -> tuple[str, ...]:
    titles = [line for line in lines[: max(at, 0)] if line.strip()]
    return (f"{len(titles)} title rows above the header in row {at + 1} were passed over",) if titles else ()


def _fast(
    plain: Path, seen: _Bytes, delimiter: str, at: int, width: int, stem: Path
) -> tuple[Path, ...] | None:
    """The whole file at once, or None where it is not plain enough for that."""
    expected = seen.newlines + (0 if seen.ends else 1) - (at + 1)
    if expected <= 0:
        return ()
    if delimiter == " " or seen.nuls:
        return None
    part = stem.with_name(stem.name + ".0.parquet")
    schema = {f"c{i}": pl.String for i in range(width)}
    try:
        pl.scan_csv(
            plain,
            has_header=False,
            skip_lines=at + 1,
            separator=delimiter,
            schema=schema,
            missing_columns="insert",
            row_index_name="row",
            glob=False,
        ).select(
            (pl.col("row").cast(pl.Int64) + at + 2).alias("row"),
            *schema,
            pl.lit(None, dtype=pl.String).alias("trouble"),
        ).sink_parquet(part, compression="lz4", row_group_size=ROW_GROUP)
        read = pl.scan_parquet(part).select(pl.len()).collect().item()
    except pl.exceptions.PolarsError:
        return None
    return (part,) if read == expected else None


def _careful(plain: Path, delimiter: str, at: int, width: int, stem: Path) -> tuple[Path, ...]:
    writer = PartWriter(stem.with_name(stem.name + ".rows"), width)
    with plain.open(encoding="utf-8-sig", errors="replace", newline="\n") as stream:
        for row, cells, trouble in _records(stream, delimiter, skip=at + 1):
            writer.add(row, cells, trouble)
    return writer.close()


def _records(stream: Iterable[str], delimiter: str, skip: int) -> Iterator[tuple[int, list[str], str | None]]:
    """Rows with their number and trouble.  A row may span lines inside quotation marks."""
    lines = iter(stream)
    waiting: list[str] = []  # lines read ahead in search of a closing quotation mark
    row = 0
    while True:
        line = waiting.pop(0) if waiting else next(lines, None)
        if line is None:
            return
        row += 1
        if row <= skip:
            continue
        cells, trouble, used = _one_record(line, lines, waiting, delimiter)
        del waiting[:used]
        yield row, cells, trouble


def _one_record(
    line: str, lines: Iterator[str], waiting: list[str], delimiter: str
) -> tuple[list[str], str | None, int]:
    """Cells, trouble, and how many of the waiting lines the record took."""
    if "\0" in line:
        return [line.replace("\0", "")[:80]], "the row holds zero bytes: this part of the file is damaged", 0
    text = line.rstrip("\r\n")
    for used in range(_QUOTED_LINES + 1):
        try:
            return split_line(text, delimiter), None, used
        except csv.Error as problem:
            if "unexpected end" not in str(problem):
                return [line.rstrip("\r\n")], "a quotation mark stands in the middle of a field", 0
        if used == len(waiting):
            more = next(lines, None)
            if more is None:
                break
            waiting.append(more)
        text += "\n" + waiting[used].rstrip("\r\n")
    return [line.rstrip("\r\n")], _UNCLOSED, 0
