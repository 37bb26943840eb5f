"""Bad inputs: each gives one clear sentence, or rejects with row, column and reason, and loses nothing.

``load`` (event_folders.py) holds in every case that read = kept + blank + rejected for every file.
"""

from __future__ import annotations

import os
import re
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import openpyxl
import polars as pl
import pytest

from event_folders import MERGED, PASSINGS, READS, WIDE, load, write_folder
from lineproof.errors import EventError, InputError, LineproofError
from lineproof.intake import files, load_exports

GOOD = "Tag,Time,Line\nA1,2026-05-17 10:00:00,M1\n"
ROW = "A1,2026-05-17 10:00:00,M1\n"
ANY: Callable[[Path], None] = lambda folder: None  # noqa: E731


@dataclass(frozen=True)
class Refused:
    """A folder that cannot be used: what is written, and what the one sentence must say."""

    says: str
    error: type[LineproofError] = InputError
    inputs: str = READS
    more: str = ""
    entries: str | None = "bib,tag\n1,A1\n2,A2\n"
    exports: dict[str, str | bytes] | None = None
    edit: Callable[[Path], None] = ANY


def replace(old: str, new: str) -> Callable[[Path], None]:
    def edit(folder: Path) -> None:
        path = folder / "event.toml"
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new, 1))

    return edit


def reads(text: str | bytes) -> dict[str, str | bytes]:
    return {"reads_csv": text}


def workbook(rows: list[list[object]], sheet: str = "Sheet1") -> bytes:
    import io

    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.title = sheet
    for row in rows:
        page.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def bomb() -> bytes:
    import io

    stream = io.BytesIO()
    with (
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("xl/sheet1.xml", "w", force_zip64=True) as part,
    ):
        zeros = b"0" * (1 << 24)
        for _ in range(65):
            part.write(zeros)
    return stream.getvalue()


REFUSED: dict[str, Refused] = {
    "empty file": Refused(r"reads\.csv: the file is empty", exports=reads("")),
    "only blank lines": Refused(r"reads\.csv: the file holds no text", exports=reads("\n\n\n")),
    "header only, and nothing else anywhere": Refused(r"hold no times at all", exports=reads("Tag,Time,Line\n")),
    "wrong delimiter stated": Refused(
        r'reads\.csv, row 1: there is no column "Tag"; the columns are Tag,Time,Line', more='delimiter = ";"', exports=reads(GOOD)
    ),
    "a delimiter of two signs": Refused(r'"::" cannot be a delimiter', more='delimiter = "::"', exports=reads(GOOD)),
    "a header misspelt": Refused(
        r'reads\.csv, row 1: there is no column "Time"; did you mean "Tiem"\?', exports=reads(GOOD.replace("Time", "Tiem"))
    ),
    "a mapped header twice": Refused(
        r'reads\.csv, row 1, column "Time": the header "Time" stands 2 times', exports=reads("Tag,Time,Time,Line\nA1,a,b,M1\n")
    ),
    "two date orders in one file": Refused(
        r'column "Time": no one order of day and month fits all dates', exports=reads("Tag,Time,Line\nA1,17/05/2026 10:00:00,M1\nA1,05/17/2026 10:00:01,M1\n")
    ),
    "an order that the event's date contradicts": Refused(
        r"no one order of day and month fits",
        exports=reads("Tag,Time,Line\nA1,06/05/2026 10:00:00,M1\nA1,13/05/2026 10:00:01,M1\n"),
        edit=replace("2026-05-17", "2026-06-05"),
    ),
    "a date that may be April or May": Refused(
        r'column "Time": the date 4/5/2026 can be read in more than one order; write date_order = "dmy"', exports=reads("Tag,Time,Line\nA1,04/05/2026 10:00:00,M1\n")
    ),
    "a bare time of day": Refused(
        r'column "Time": the column holds times without a date; write times = "clock" .*"elapsed"', exports=reads("Tag,Time,Line\nA1,10:00:00,M1\n")
    ),
    "bare small numbers": Refused(r'bare numbers too small.*times = "elapsed"', exports=reads("Tag,Time,Line\nA1,3600.5,M1\n")),
    "epoch of another unit": Refused(
        r'numbers are too large for times = "epoch_s"; they look like epoch_ms; write times = "epoch_ms"',
        more='times = "epoch_s"',
        exports=reads("Tag,Time,Line\nA1,1779008400250,M1\n"),
    ),
    "epoch of a coarser unit": Refused(
        r'too small for times = "epoch_us"; they look like epoch_s', more='times = "epoch_us"', exports=reads("Tag,Time,Line\nA1,1779008400,M1\n")
    ),
    "an encoding that does not exist": Refused(r'the encoding "utf-9" is not known', more='encoding = "utf-9"', exports=reads(GOOD)),
    "a stated encoding that does not fit": Refused(
        r"reads\.csv, row 3: the file is not utf-8 text", more='encoding = "utf-8"', exports=reads(GOOD.encode() + b"\xff\xfe,x,M1\n")
    ),
    "a picture": Refused(r"reads\.csv: the file is no text", exports=reads(b"\x89PNG\r\n\x1a\n" + bytes(400))),
    "a workbook that is none": Refused(
        r"reads\.xlsx: the file is no Excel workbook", exports={"reads_xlsx": GOOD}
    ),
    "a damaged workbook": Refused(
        r"reads\.xlsx: the workbook cannot be opened", exports={"reads_xlsx": workbook([["Tag"], ["A1"]])[:2000]}
    ),
    "an encrypted workbook": Refused(
        r"reads\.xlsx: the workbook is encrypted; save it without a password", exports={"reads_xlsx": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(2000)}
    ),
    "an empty workbook": Refused(r"reads\.xlsx: the workbook is empty", exports={"reads_xlsx": workbook([])}),
    "a sheet that is missing": Refused(
        r'reads\.xlsx: there is no sheet "Reads"; the sheets are Sheet1', more='sheet = "Reads"', exports={"reads_xlsx": workbook([["Tag", "Time", "Line"]])}
    ),
    "a workbook that unpacks to a gigabyte": Refused(r"reads\.xlsx: the workbook unpacks to 1\.0 GiB", exports={"reads_xlsx": bomb()}),
    "Parquet that is none": Refused(r"reads\.parquet: the file is no Parquet", exports={"reads_parquet": GOOD}),
    "Parquet cut off": Refused(r"reads\.parquet: the Parquet file is damaged", exports={"reads_parquet": b"PAR1" + bytes(100)}),
    "no file matches": Refused(r'no file matches "exports/\*"; "exports" is empty'),
    "no file matches, others are there": Refused(
        r'no file matches "exports/\*\.tsv"; "exports" holds reads\.csv', exports=reads(GOOD), edit=replace("exports/*", "exports/*.tsv")
    ),
    "a folder in place of a file": Refused(
        r"box: this is a folder, not a file", exports=reads(GOOD), edit=lambda folder: (folder / "exports" / "box").mkdir()
    ),
    "a pattern that leaves the folder": Refused(
        r'files = "\.\./\*" leads out of the event folder', EventError, exports=reads(GOOD), edit=replace("exports/*", "../*")
    ),
    "an absolute pattern": Refused(
        r'files = "/etc/\*" leads out of the event folder', EventError, exports=reads(GOOD), edit=replace("exports/*", "/etc/*")
    ),
    "a link that leaves the folder": Refused(
        r"out\.csv: the file is a link that leads out", exports=reads(GOOD), edit=lambda f: (f / "exports" / "out.csv").symlink_to("/etc/hostname")
    ),
    "two inputs for one file": Refused(
        r'"exports/reads\.csv" is matched by both \[\[input\]\] number 1 and \[\[input\]\] number 2', EventError, inputs=READS + READS, exports=reads(GOOD)
    ),
    "entries and an input for one file": Refused(
        r"matched by both \[entries\] and \[\[input\]\] number 1", EventError, exports=reads(GOOD), edit=replace('"exports/*"', '"*.csv"')
    ),
    "entries without a row": Refused(r"entries\.csv: the entries hold no row below the header", entries="bib,tag\n", exports=reads(GOOD)),
    "entries on an unknown course": Refused(
        r'entries\.csv, row 2, column "course": no entry could be read: there is no course "10m" in course_names; did you mean "10k"\?; '
        r"put it right in the file, or under \[entries\] in event\.toml; the columns are bib, tag, course",
        entries="bib,tag,course\n1,A1,10m\n",
        exports=reads(GOOD),
    ),
    "every row rejected": Refused(
        r'reads\.csv, row 2, column "Time": not one of 2 rows could be used: a time cannot be negative',
        exports=reads("Tag,Time,Line\nA1,-5,M1\nA2,-6,M1\n"),
    ),
    "reads that name no line": Refused(
        r'reads\.csv, row 1: no column is named for "line"; write line = "…"', exports=reads("Tag,Time\nA1,2026-05-17 10:00:00\n"), edit=replace('line = "Line"\n', "")
    ),
    "a reader without a clock": Refused(
        r"the reader gave its uptime only",
        inputs='[[input]]\nfiles = "exports/*"\nlevel = "reads"\nline = "mill-main"\n',
        exports=reads("EPC,AntennaID,FirstSeenTimestampUptime\nA1,1,123456789\n"),
    ),
    "a wide header that is not there": Refused(
        r'there is no column "5 km"; did you mean "5km"\?', inputs=WIDE, exports=reads("Bib,Start,5km,Finish\n1,,25:00,50:00\n")
    ),
    "a visit that no course makes": Refused(
        r'names "mill#3", but "mill" is passed 1 time;', EventError, inputs=WIDE.replace('= "mill"', '= "mill#3"'), exports=reads("Bib,Start,5 km,Finish\n1,,,50:00\n")
    ),
    "elapsed times without a gun": Refused(
        r"no wave has one; write gun = 09:30:00", EventError, inputs=WIDE, more='times = "elapsed"', exports=reads("Bib,Start,5 km,Finish\n1,,,50:00\n"), edit=replace("gun = 09:30:00\n", "")
    ),
    "own starts that are not there": Refused(
        r'elapsed_from = "start" needs the runners\' own starts',
        inputs=WIDE.replace('"Start" = "start"\n', ""),
        more='times = "elapsed"\nelapsed_from = "start"',
        exports=reads("Bib,Start,5 km,Finish\n1,,,50:00\n"),
    ),
    "no entries and two waves": Refused(
        r"without entries nobody's course and wave are known",
        EventError,
        entries=None,
        exports=reads(GOOD),
        edit=replace("[[point]]", '[[wave]]\nid = "B"\ncourse = "10k"\n[[point]]'),
    ),
    "no event.toml": Refused(r"has no event\.toml; run lineproof new", EventError, exports=reads(GOOD), edit=lambda f: (f / "event.toml").unlink()),
    "TOML that is none": Refused(r"event\.toml, row 11: a quotation mark is missing; put one before and one after", EventError, exports=reads(GOOD), edit=replace('id = "A"', 'id = "A')),
    "a word misspelt in event.toml": Refused(
        r'event\.toml, row \d+: \[\[input\]\] number 1: the word "levle" is not known here; did you mean "level"\?', EventError, exports=reads(GOOD), edit=replace("level =", "levle =")
    ),
    "a level misspelt": Refused(r'"level" cannot be "raeds"; did you mean "reads"\?', EventError, exports=reads(GOOD), edit=replace('"reads"', '"raeds"')),
    "a line of an unknown point": Refused(r'"point" cannot be "mil"; did you mean "mill"\?', EventError, exports=reads(GOOD), edit=replace('point = "mill"\n', 'point = "mil"\n')),
    "a course through an unknown point": Refused(r'there is no point "mil"; did you mean "mill"\?', EventError, exports=reads(GOOD), edit=replace('point = "mill",', 'point = "mil",')),
    "an unknown line in line_names": Refused(r'there is no line "mill-man"; did you mean "mill-main"\?', EventError, exports=reads(GOOD), edit=replace('"M1" = "mill-main"', '"M1" = "mill-man"')),
    "a zone that does not exist": Refused(r'the zone "Europe/Lodnon" is not known', EventError, exports=reads(GOOD), edit=replace("Europe/London", "Europe/Lodnon")),
    "a table of event.toml that is none": Refused(
        r'"settings" must be a table; write \[settings\]', EventError, exports=reads(GOOD), edit=replace("[event]", "settings = 5\n[event]")
    ),
    "a setting misspelt": Refused(
        r'the word "passing_gap" is not known here; did you mean "passing_gap_s"', EventError, exports=reads(GOOD), edit=replace("[[course]]", "[settings]\npassing_gap = 5\n[[course]]")
    ),
    "a negative setting": Refused(
        r'"passing_gap_s" must be 0 or more', EventError, exports=reads(GOOD), edit=replace("[[course]]", "[settings]\npassing_gap_s = -5\n[[course]]")
    ),
    "a course of course_names that is not there": Refused(
        r'course_names leads "Ten" to the course "10m", which is not there; did you mean "10k"\?',
        EventError, exports=reads(GOOD), edit=replace('files = "entries.csv"\n', 'files = "entries.csv"\n[entries.course_names]\n"Ten" = "10m"\n'),
    ),
    "a delimiter that is a number": Refused(r'"delimiter" must be a text', EventError, more="delimiter = 5", exports=reads(GOOD)),
    "a column of ours that does not exist": Refused(
        r'"tyme" is no column of ours; did you mean "time"', EventError, exports=reads(GOOD), edit=replace("time =", "tyme =")
    ),
    "distances that do not rise": Refused(
        r"4000 m does not lie beyond the visit before it at 5000 m", EventError, exports=reads(GOOD), edit=replace("at_m = 10000", "at_m = 4000")
    ),
    "two main lines at a point": Refused(r'the point "finish" has 2 main lines', EventError, exports=reads(GOOD), edit=replace('role = "backup"\n', "")),
    "a date that is none": Refused(r"the date of the event is '17 May', which is no date; write date = 2026-05-17", EventError, exports=reads(GOOD), edit=replace("date = 2026-05-17", 'date = "17 May"')),
    "a header row below the table": Refused(r"the file has no row 9 for a header", more="header_row = 9", exports=reads(GOOD)),
    "a header row below zero": Refused(r'"header_row" must be', EventError, more="header_row = -2", exports=reads(GOOD)),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_refused_with_one_sentence(name: str, tmp_path: Path) -> None:
    case = REFUSED[name]
    folder = write_folder(
        tmp_path / "event", case.inputs, more=case.more, entries=case.entries, **(case.exports or {})
    )
    case.edit(folder)
    before = {p: p.read_bytes() for p in sorted((folder / "exports").iterdir()) if p.is_file()}
    with pytest.raises(LineproofError) as caught:
        load(folder)
    sentence = str(caught.value)
    assert type(caught.value) is case.error
    assert re.search(case.says, sentence), sentence
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert "Traceback" not in sentence
    assert {p: p.read_bytes() for p in before} == before


@dataclass(frozen=True)
class Rejected:
    """Exports with bad rows among good ones: the rejects as (row, column, reason), rows kept."""

    text: str | bytes
    rejects: list[tuple[int, str | None, str]]
    kept: int
    more: str = ""
    inputs: str = READS
    remark: str | None = None
    blank: int = 0


REJECTED: dict[str, Rejected] = {
    "nothing wrong": Rejected(GOOD, [], 1),
    "byte order mark": Rejected(b"\xef\xbb\xbf" + GOOD.encode(), [], 1),
    "UTF-16": Rejected(GOOD.encode("utf-16"), [], 1),
    "UTF-16 without a mark": Rejected((GOOD * 1).encode("utf-16-le"), [], 1),
    "two encodings in one file": Rejected(
        GOOD.encode() + "Ä1,2026-05-17 10:00:01,M1\n".encode() + "Ä2,2026-05-17 10:00:02,M1\n".encode("cp1252"),
        [], 3, remark="1 lines, the first in row 4, are not UTF-8",
    ),
    "title rows above the header": Rejected("Harbour 10 km\n\nexported today, by line\n" + GOOD, [], 1, remark="title rows above the header in row 4"),
    "old line ends": Rejected(GOOD.replace("\n", "\r"), [], 1),
    "no line end at the end": Rejected(GOOD.rstrip("\n"), [], 1),
    "empty lines": Rejected(GOOD + "\n , , \n" + ROW, [], 2, blank=2),
    "headers in other letters": Rejected(GOOD.replace("Tag,Time,Line", " TAG , time,LINE"), [], 1),
    "an unmapped header twice": Rejected("Tag,Time,Line,x,x\nA1,2026-05-17 10:00:00,M1,,\n", [], 1),
    "midnight as 24:00": Rejected(GOOD + "A1,2026-05-17 24:00:00,M1\n", [], 2),
    "after 24:00": Rejected(GOOD + "A1,2026-05-17 24:00:01,M1\n", [(3, "Time", "a day ends at 24:00:00")], 1),
    "second 60": Rejected(GOOD + "A1,2026-05-17 10:00:60,M1\n", [(3, "Time", "leap second")], 1),
    "minute 61": Rejected(GOOD + "A1,2026-05-17 10:61:00,M1\n", [(3, "Time", "no such time of day")], 1),
    "30 February": Rejected(GOOD + "A1,2026-02-30 10:00:00,M1\n", [(3, "Time", "no such date")], 1),
    "a negative time": Rejected(GOOD + "A1,-00:00:05,M1\n", [(3, "Time", "cannot be negative")], 1),
    "a negative elapsed time": Rejected(GOOD.replace("2026-05-17 10:00:00", "30:00") + "A1,-0:05,M1\n", [(3, "Time", "cannot be negative")], 1, more='times = "elapsed"'),
    "a time of day among dated times": Rejected(GOOD + "A1,10:00:00,M1\n", [(3, "Time", "without a date")], 1),
    "words for a time": Rejected(GOOD + "A1,soon,M1\n", [(3, "Time", "no time that we know")], 1),
    "a clock time in the summer-time gap": Rejected(
        GOOD + "A1,2026-03-29 01:30:00,M1\n", [(3, "Time", "does not exist in Europe/London")], 1
    ),
    "a clock time in the summer-time fold": Rejected(
        GOOD + "A1,2026-10-25 01:30:00,M1\n", [(3, "Time", 'comes twice in Europe/London.*repeated_hour = "earlier" or "later"')], 1
    ),
    "a huge integer": Rejected("Tag,Time,Line\nA1,1779008400,M1\nA1,99999999999999999999999,M1\n", [(3, "Time", "too large for a time")], 1),
    "an offset that does not exist": Rejected(GOOD + "A1,2026-05-17T10:00:00+27:00,M1\n", [(3, "Time", "no such offset")], 1),
    "sentinel times are kept, they are findings": Rejected(
        GOOD + "A1,1970-01-01 00:00:00,M1\nA1,9999-12-31 23:59:59,M1\nA1,1900-01-01 00:00:00,M1\n", [], 4
    ),
    "no tag": Rejected(GOOD + ",2026-05-17 10:00:00,M1\n", [(3, "Tag", "the tag is empty")], 1),
    "no time": Rejected(GOOD + "A1,,M1\n", [(3, "Time", "the time is empty")], 1),
    "no line": Rejected(GOOD + "A1,2026-05-17 10:00:00,\n", [(3, "Line", "the line is empty")], 1),
    "an unknown line": Rejected(GOOD + "A1,2026-05-17 10:00:00,mill-mian\n", [(3, "Line", 'no line "mill-mian".*did you mean "mill-main"')], 1),
    "a tag rounded by a spreadsheet": Rejected(GOOD + "3.00833E+23,2026-05-17 10:00:00,M1\n", [(3, "Tag", "rounded this id")], 1),
    "too many fields": Rejected(GOOD + "A1,2026-05-17 10:00:01,5,M1\n" + ROW, [(3, None, "4 fields where the header has 3")], 2),
    "too few fields": Rejected(GOOD + "A1,2026-05-17 10:00:01\n" + ROW, [(3, "Line", "the line is empty")], 2),
    "a spare delimiter at every end": Rejected(GOOD.replace("M1\n", "M1,\n"), [], 1),
    "an unclosed quotation mark": Rejected(
        GOOD + '"A2,2026-05-17 10:00:01,M1\n' + ROW * 30, [(3, None, "opened and not closed")], 31
    ),
    "two unclosed quotation marks far apart": Rejected(
        GOOD + '"A2,2026-05-17 10:00:01,M1\n' + ROW * 30 + '"A2,2026-05-17 10:00:01,M1\n' + ROW,
        [(3, None, "opened and not closed"), (34, None, "opened and not closed")], 32,
    ),
    "a quotation mark inside a field": Rejected(GOOD + '"A"2,2026-05-17 10:00:01,M1\n' + ROW, [(3, None, "middle of a field")], 2),
    "a block of zero bytes": Rejected(GOOD.encode() + bytes(30) + b"\n" + ROW.encode(), [(3, None, "zero bytes")], 2),
    "an antenna that is no number": Rejected(
        "Tag,Time,Line,antenna\nA1,2026-05-17 10:00:00,M1,left\nA1,2026-05-17 10:00:01,M1,2\n", [(2, "antenna", "the row is kept without it")], 2
    ),
    "a whole input's date order, stated": Rejected(
        "Tag,Time,Line\nA1,04/05/2026 10:00:00,M1\nA1,13/05/2026 10:00:00,M1\n", [(3, "Time", "no such date")], 1, more='date_order = "mdy"'
    ),
    "a dated order that only the event's day allows": Rejected(
        "Tag,Time,Line\nA1,17.05.2026 10:00:00,M1\n", [], 1, remark="order dmy"
    ),
    "a point that is not known": Rejected(
        "Bib,Place,Time\n1,mill,2026-05-17 10:00:00\n1,milll,2026-05-17 10:00:00\n", [(3, "Place", 'no point "milll".*did you mean "mill"')], 1, inputs=MERGED
    ),
    "a line at another point than stated": Rejected(
        "Bib,Place,Time,line\n1,mill,2026-05-17 10:00:00,mill-main\n1,mill,2026-05-17 10:00:00,finish-main\n", [(3, "Place", "another point")], 1, inputs=MERGED
    ),
    "a visit that is no number": Rejected(
        "Bib,Place,Time,visit\n1,mill,2026-05-17 10:00:00,2x\n", [(2, "visit", "no number for visit")], 1, inputs=MERGED
    ),
    "a last read before the first": Rejected(
        "Tag,Line,First,Last\nA1,M1,2026-05-17 10:00:00,2026-05-17 09:59:59\nA2,M1,2026-05-17 10:00:00,x\n",
        [(2, "Last", "before the first"), (3, "Last", "no time that we know")], 1, inputs=PASSINGS,
    ),
    "a wide row without a bib": Rejected(
        "Bib,Start,5 km,Finish\n1,,25:00,50:00\n,,26:00,51:00\n", [(3, "Bib", "the bib is empty")], 1, inputs=WIDE, more='times = "elapsed"'
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", REJECTED)
def test_rejects_say_where_and_why_and_the_rest_is_kept(name: str, tmp_path: Path) -> None:
    case = REJECTED[name]
    folder = write_folder(tmp_path / "event", case.inputs, more=case.more, reads_csv=case.text)
    intake = load(folder)
    found = intake.rejects.select("row", "column", "reason").rows()
    assert [(row, column) for row, column, _ in found] == [(row, column) for row, column, _ in case.rejects]
    for (_, _, reason), (_, _, says) in zip(found, case.rejects, strict=True):
        assert re.search(says, reason), reason
    account = intake.account.row(1, named=True)
    assert (account["kept"], account["blank"]) == (case.kept, case.blank)
    if case.inputs is READS:
        assert intake.reads.collect().height == case.kept
    if case.remark:
        assert case.remark in (account["remarks"] or "")


@dataclass(frozen=True)
class BadEntries:
    text: str
    rejects: list[tuple[int, str | None, str]]
    runners: list[str]
    held: list[tuple[str, str]]


ENTRIES: dict[str, BadEntries] = {
    "one tag for two bibs": BadEntries(
        "bib,tag\n1,A1\n2,A2\n3,A2\n",
        [(3, "tag", "the tag is given to 2 and 3; mend it, or say in a tag_since"), (4, "tag", "given to 2 and 3")],
        ["1", "2", "3"],
        [("A1", "1")],
    ),
    "one tag for two bibs, with times": BadEntries(
        "bib,tag,tag_since\n1,A1,\n2,A2,\n3,A2,10:15:00\n", [], ["1", "2", "3"], [("A1", "1"), ("A2", "2"), ("A2", "3")]
    ),
    "one bib with two tags": BadEntries("bib,tag\n1,A1\n1,A2\n", [], ["1"], [("A1", "1"), ("A2", "1")]),
    "two tags in two columns": BadEntries("bib,tag,tag_2\n1,A1,A2\n", [], ["1"], [("A1", "1"), ("A2", "1")]),
    "a bib twice": BadEntries("bib,tag\n1,A1\n2,A2\n1,A1\n", [(4, "bib", "is entered twice, first in row 2")], ["1", "2"], [("A1", "1"), ("A2", "2")]),
    "a bib of two runners": BadEntries(
        "runner,bib,tag\nx,1,A1\ny,1,A2\n", [(3, "bib", "the bib of another runner, first in row 2")], ["x"], [("A1", "x")]
    ),
    "a row that names nobody": BadEntries("bib,tag,sex\n1,A1,f\n,,m\n", [(3, "bib", "names neither bib nor tag")], ["1"], [("A1", "1")]),
    "an age of 200": BadEntries("bib,tag,age\n1,A1,200\n", [(2, "age", "no age in years")], ["1"], [("A1", "1")]),
    "an unknown wave": BadEntries("bib,tag,wave\n1,A1,A\n2,A2,AA\n", [(3, "wave", 'there is no wave "AA"')], ["1"], [("A1", "1")]),
    "leading zeros": BadEntries("bib,tag\n007,0001\n", [], ["007"], [("0001", "007")]),
    "a tag handed out at no known time": BadEntries("bib,tag,tag_since\n1,A1,soon\n", [(2, "tag", "no time that we know")], ["1"], []),
}  # fmt: skip


@pytest.mark.parametrize("name", ENTRIES)
def test_bad_entries(name: str, tmp_path: Path) -> None:
    case = ENTRIES[name]
    intake = load(write_folder(tmp_path / "event", entries=case.text, reads_csv=GOOD))
    found = intake.rejects.select("row", "column", "reason").rows()
    assert [(row, column) for row, column, _ in found] == [(row, column) for row, column, _ in case.rejects]
    for (_, _, reason), (_, _, says) in zip(found, case.rejects, strict=True):
        assert re.search(says, reason), reason
    assert intake.entries["runner"].to_list() == case.runners
    assert intake.tags.select("tag", "runner").rows() == case.held


def test_a_point_on_no_course_is_kept_for_the_checks(tmp_path: Path) -> None:
    folder = write_folder(
        tmp_path / "event",
        MERGED,
        reads_csv="Bib,Place,Time\n1,tent,2026-05-17 10:00:00\n1,mill,2026-05-17 10:00:00\n",
    )
    replace("[[line]]", '[[point]]\nid = "tent"\n[[line]]')(folder)
    assert load(folder).passings["point"].sort().to_list() == ["mill", "tent"]


def test_a_file_that_changes_while_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write_folder(tmp_path / "event", reads_csv=GOOD)
    honest = files.stamp

    def grown(path: Path) -> files.Stamp:
        with path.open("a") as stream:
            stream.write(ROW)
        return honest(path)

    monkeypatch.setattr(files, "stamp", grown)
    with pytest.raises(
        InputError, match=r"\.csv: the file changed while it was read; wait until it is complete"
    ):
        load(folder)


def test_a_file_that_disappears_while_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write_folder(tmp_path / "event", reads_csv=GOOD)
    honest = files.stamp

    def gone(path: Path) -> files.Stamp:
        path.unlink()
        return honest(path)

    monkeypatch.setattr(files, "stamp", gone)
    with pytest.raises(InputError, match="the file changed while it was read"):
        load(folder)


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write_folder(tmp_path / "event", reads_csv=GOOD)
    locked = folder / "exports" / "reads.csv"
    locked.chmod(0)
    if os.access(locked, os.R_OK):  # the superuser reads everything; stand in for the system's answer
        honest = Path.open

        def refused(path: Path, *args: object, **more: object) -> object:
            if path.name == "reads.csv":
                raise PermissionError(13, "Permission denied")
            return honest(path, *args, **more)  # type: ignore[call-overload]

        monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(InputError, match=r"reads\.csv: the file cannot be read \(Permission denied\)"):
        load(folder)


def test_no_folder_at_all(tmp_path: Path) -> None:
    with pytest.raises(EventError, match='there is no folder "nowhere"; check the path'):
        load(tmp_path / "nowhere")


def test_one_bad_file_among_good_ones_is_named_and_the_others_are_kept(tmp_path: Path) -> None:
    folder = write_folder(
        tmp_path / "event", a_csv=GOOD, b_csv="Tag,Time,Line\nA1,x,M1\n", c_csv="Tag,Time,Line\n"
    )
    intake = load(folder)
    remarks = dict(intake.account.select("file", "remarks").rows())
    assert intake.reads.collect().height == 1
    assert remarks["exports/b.csv"] == "not one row could be kept"
    assert remarks["exports/c.csv"] == "there is no row below the header"


def test_thousands_of_rejects_are_all_kept(tmp_path: Path) -> None:
    bad = "".join(f"A{i},never,M1\n" for i in range(5000))
    intake = load(write_folder(tmp_path / "event", reads_csv=GOOD + bad))
    assert intake.rejects["row"].to_list() == list(range(3, 5003))


def test_lock_files_of_an_open_spreadsheet_are_no_exports(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "event", reads_csv=GOOD)
    (folder / "exports" / "~$reads.xlsx").write_bytes(b"lock")
    assert load(folder).account["file"].to_list() == ["entries.csv", "exports/reads.csv"]


def test_what_load_exports_says_of_its_progress(tmp_path: Path) -> None:
    from lineproof.event import load_event

    told: list[str] = []
    load_exports(load_event(write_folder(tmp_path / "event", reads_csv=GOOD)), tmp_path / "work", told.append)
    assert told == ["reading entries.csv", "reading reads.csv", "sorting out exports/reads.csv"]


def test_at_least_forty_cases_are_held() -> None:
    assert len(REFUSED) + len(REJECTED) + len(ENTRIES) >= 40
    assert pl.__version__
