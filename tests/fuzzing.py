"""Every reader of outside data as a function of bytes, with what must hold whatever the bytes are.

A reader may take a file or refuse it with one of our own errors, in one sentence.  It may raise nothing else and
warn of nothing, and what it took must add up: rows read = kept + blank + rejected, for every file.
The seeds are small valid files; ``mutate`` changes them by bytes, cells, rows and structure.
"""

from __future__ import annotations

import io
import random
import shutil
import tempfile
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import openpyxl
import polars as pl

from event_folders import MERGED, PASSINGS, READS, WIDE, load, write_folder
from ledger_parts import small_part
from lineproof.decisions import load_decisions
from lineproof.draft import write_draft
from lineproof.errors import LineproofError
from lineproof.event import load_event
from lineproof.ledger import check_ledger, open_ledger, read_whole
from lineproof.ledger.store import place
from lineproof.replacement import load_plan
from lineproof.season_tables import KEPT
from lineproof.setup import load_setup
from lineproof.sightings import load_sightings
from lineproof.vocabulary import ItemKind

Reader = Callable[[bytes, Path], None]
LONGEST_SENTENCE = 1010
HEADS = {"reads": READS, "passings": PASSINGS, "merged": MERGED, "wide": WIDE}
TABLES = {
    "reads": "Tag,Time,Line,antenna,strength\nA1,2026-05-17T09:55:00+01:00,M1,1,-55.5\nA2,2026-05-17T09:56:01.25+01:00,M1,2,-60\n"
    "A1,2026-05-17T10:20:00+01:00,F1,1,\nA2,2026-05-17T10:21:09+01:00,F2,3,-48\nA3,2026-05-17T10:25:00+01:00,F1,2,-51\n",
    "passings": "Tag,Line,First,Last,reads,antenna\nA1,M1,2026-05-17 09:55:00,2026-05-17 09:55:01.5,4,1\n"
    "A2,M1,2026-05-17 09:56:00,2026-05-17 09:56:00.5,2,2\nA1,F1,2026-05-17 10:20:00,,1,1\nA3,F1,2026-05-17 10:25:00,,1,1\n",
    "merged": "Bib,Place,Time,visit,status\n1,start,2026-05-17 09:30:05,1,\n1,Half way,2026-05-17 09:55:00,1,\n"
    "1,finish,2026-05-17 10:20:00,1,\n2,finish,DNF,1,DNF\n3,Half way,2026-05-17 09:58:00,1,\n",
    "wide": "Bib,Start,5 km,Finish\n1,2026-05-17 09:30:05,2026-05-17 09:55:00,2026-05-17 10:20:00\n"
    "2,2026-05-17 09:30:07,2026-05-17 09:56:00,DNF\n3,,2026-05-17 09:58:10,2026-05-17 10:25:30\n",
}  # fmt: skip
ENTRIES = (
    "bib,tag,class,sex,age,tag_batch\n1,A1,foot,f,31,spring\n2,A2,wheel,m,44,spring\n3,A3,foot,x,,autumn\n"
)
DECISIONS = (
    "key,decision,time,who,when,why\nmill-main/A1/2026-05-17T08:55:00.000000Z,void,,Ada,2026-05-18,walked over it\n"
    "clock/finish-main,correct,-3.5,Ada,2026-05-18,ran ahead\nfinish/1/1,correct,10:20:01,Ada,2026-05-18,camera\n"
)
SIGHTINGS = (
    "rank,bib,point,visit,outcome,time_seen,who,when,note\n1,1,mill,1,seen,09:55:02,Ada,2026-05-18,\n"
    "2,2,finish,1,not there,,Ada,2026-05-18,rain\n3,3,mill,1,unclear,,Ada,2026-05-18,\n"
)
MINUTES = "point,clock,begin,crossed,missed,who,when,note\nfinish,10:20,2026-05-17T10:20:00+01:00,9,1,Ada,2026-05-18,\n"
SETUP = (
    "Line,Slot,Mat,Cable,Port,Hand test from (cm),Hand test up to (cm),Reader,Ports told,Laid and tested (clock),Crew minutes,Notes on the line\n"
    'mill-main,1,M01,C01,1,40,180,R01,4,07:30,35,dry\nmill-main,2,M02,C02,2,40,"182,5",,,,,\nfinish-main,1,M03,C03,1,38 cm,1.8 m,R02,4,07:50,20,\n'
)
REGISTER = (
    "Item,Kind,Model,Bought,Price,Repairs,Retired,Length (m),Ports,Notes\nM01,mat,,2024-03-01,380,,,1,,\n"
    "C01,cable,,01/04/2024,42.50,2025-02-01 joint,,10,,\nR01,reader,,2023-05-05,2400,,2026-01-01,,8,spare\n"
)
PLAN = (
    '[plan]\nname = "Season 2027"\ncurrency = "EUR"\nlay = "as last season"\nbudget = 1500\ninterest = 3.5\nhorizon = 4\n[costs]\nstaff_per_hour = 20\n'
    '[costs.finish]\nrefund = 30\n[new.mat]\nprice = 380\nreads = 99.2\nreads_low = 98.5\nreads_high = 99.6\n[[wish]]\nid = "new M01"\ndo = "replace"\n'
    'item = "M01"\nkind = "mat"\ngroup = "mats"\nneeds = ["cable"]\n[[wish]]\nid = "cable"\ndo = "spare"\nkind = "cable"\n[[discount]]\ngroup = "mats"\nfrom = 3\nper_cent = 5\n'
)
ITEMS = (("M01", ItemKind.MAT), ("C01", ItemKind.CABLE), ("R01", ItemKind.READER))


def hold_to_one_sentence(problem: LineproofError) -> None:
    """What a user would see."""
    sentence = str(problem)
    assert sentence.endswith("."), sentence
    assert sentence.replace("\u00a0", "").isprintable(), repr(sentence)
    assert len(sentence) <= LONGEST_SENTENCE, sentence
    assert "Traceback" not in sentence


def run_reader(name: str, data: bytes) -> str:
    """Give ``data`` to a reader; "taken", or the sentence with which it was refused."""
    with tempfile.TemporaryDirectory(prefix="lineproof-fuzz-") as place_:
        try:
            READERS[name][0](data, Path(place_) / "event")
        except LineproofError as problem:
            hold_to_one_sentence(problem)
            return str(problem)
    return "taken"


def _export(level: str, suffix: str) -> Reader:
    def read(data: bytes, folder: Path) -> None:
        write_folder(folder, HEADS[level], **{f"export_{suffix}": data})
        intake = load(folder)  # holds that every file adds up
        intake.reads.collect()

    return read


def _entries(data: bytes, folder: Path) -> None:
    write_folder(folder, reads_csv=TABLES["reads"])
    (folder / "entries.csv").write_bytes(data)
    intake = load(folder)
    assert intake.entries["runner"].is_unique().all()


def _event(data: bytes, folder: Path) -> None:
    write_folder(folder, reads_csv=TABLES["reads"])
    (folder / "event.toml").write_bytes(data)
    load_event(folder)
    load(folder).reads.collect()


def _beside(name: str, read: Callable[[Path], object]) -> Reader:
    """A file that lies in the folder of a sound event."""

    def reader(data: bytes, folder: Path) -> None:
        write_folder(folder, reads_csv=TABLES["reads"])
        (folder / name).write_bytes(data)
        read(folder)

    return reader


def _decisions(folder: Path) -> None:
    load_decisions(load_event(folder))


def _sightings(folder: Path) -> None:
    load_sightings(load_event(folder), load(folder).entries, folder.parent)


def _setup(folder: Path) -> None:
    for sentence in load_setup(load_event(folder)).complaints["sentence"]:
        assert sentence.endswith("."), sentence
        assert sentence.replace("\u00a0", "").isprintable(), repr(sentence)


def _plan(data: bytes, folder: Path) -> None:
    folder.mkdir()
    (folder / "plan.toml").write_bytes(data)
    load_plan(folder / "plan.toml", ITEMS)


def _draft(data: bytes, folder: Path) -> None:
    """Whatever the exports are, what is drafted is a description that we take ourselves."""
    (folder / "exports").mkdir(parents=True)
    (folder / "exports" / "finish main.csv").write_bytes(data)
    (folder / "entries.csv").write_text(ENTRIES, encoding="utf-8")
    write_draft(folder)
    load_event(folder)


def _ledger(file: str) -> Reader:
    def read(data: bytes, folder: Path) -> None:
        shutil.copytree(_small_ledger(), folder)
        (path,) = folder.rglob(file)
        path.write_bytes(data)
        check_ledger(folder)
        ledger = open_ledger(folder)
        for table in KEPT:
            read_whole(ledger.scan(table))

    return read


@cache
def _small_ledger() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="lineproof-fuzz-")) / "ledger"
    place(folder, small_part("mill"))
    return folder


def _part_file(file: str) -> bytes:
    (path,) = _small_ledger().rglob(file)
    return path.read_bytes()


def to_workbook(text: str, sheet: str = "Sheet1") -> bytes:
    """A CSV text as a workbook, whose numbers are numbers."""
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.title = sheet
    for line in text.splitlines():
        page.append([_typed(cell) for cell in line.split(",")])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _typed(cell: str) -> str | float:
    try:
        return float(cell)
    except ValueError:
        return cell


def to_parquet(text: str) -> bytes:
    stream = io.BytesIO()
    pl.read_csv(io.StringIO(text), try_parse_dates=True).write_parquet(stream)
    return stream.getvalue()


def _event_text() -> str:
    with tempfile.TemporaryDirectory() as folder:
        home = write_folder(Path(folder) / "event", more='times = "auto"', reads_csv="")
        return (home / "event.toml").read_text(encoding="utf-8")


# What each reader is called, how it reads, and a file that it takes.
READERS: dict[str, tuple[Reader, Callable[[], bytes]]] = {
    **{f"{level} csv": (_export(level, "csv"), lambda t=text: t.encode()) for level, text in TABLES.items()},  # type: ignore[misc]
    "reads tsv": (_export("reads", "tsv"), lambda: TABLES["reads"].replace(",", "\t").encode("utf-16")),
    "wide xlsx": (_export("wide", "xlsx"), lambda: to_workbook(TABLES["wide"])),
    "passings xlsx": (_export("passings", "xlsx"), lambda: to_workbook(TABLES["passings"])),
    "reads parquet": (_export("reads", "parquet"), lambda: to_parquet(TABLES["reads"])),
    "entries": (_entries, ENTRIES.encode),
    "event.toml": (_event, lambda: _event_text().encode()),
    "decisions": (_beside("decisions.csv", _decisions), DECISIONS.encode),
    "sightings": (_beside("sightings.csv", _sightings), SIGHTINGS.encode),
    "counted minutes": (_beside("sightings-audit.csv", _sightings), MINUTES.encode),
    "setup csv": (_beside("setup.csv", _setup), SETUP.encode),
    "setup xlsx": (_beside("setup.xlsx", _setup), lambda: to_workbook(SETUP, "Lines")),
    "register": (_beside("equipment.csv", _setup), REGISTER.encode),
    "plan.toml": (_plan, PLAN.encode),
    "draft": (_draft, TABLES["reads"].replace(",M1,", ",mill,").encode),
    "ledger manifest": (_ledger("ledger.json"), lambda: _part_file("ledger.json")),
    "ledger part": (_ledger("part.json"), lambda: _part_file("part.json")),
    "ledger table": (_ledger("cells.parquet"), lambda: _part_file("cells.parquet")),
}

WORDS = (
    "", " ", "0", "-0", "1", "-1", "1e308", "1e-320", "inf", "nan", "NaN", "true", "9" * 25, "0" * 40 + "7", "1.5", "1,5", "1.234,5", "5 ft", "0x10", "²", "١٢",
    "2026-05-17 10:00:00", "2026-02-30 10:00:00", "0001-01-01 00:00:00", "9999-12-31 23:59:59", "2026-05-17T10:00:00.123456789Z", "2026-05-17T10:00:00+14:00",
    "17/05/2026 10:00", "05/17/2026 10:00", "24:00:00", "99:99:99", "-0:00:01", "10:00", "1779008400", "1779008400250", "2026-03-29 01:30:00", "46159.41666",
    "A1", "M1", "F1", "mill", "start", "finish-main", "foot", "seen", "void", "correct", "clock/mill-main", "DNF", "?", "=1+1", "'=1", "\"", "'", '"x"', '""', "\\", "/", "#", "[", "]",
    "\0", "\t", "\r", "\n", "\r\n", "\ufeff", "\u2028", "\x85", "\x0c", "\x1b[31m", "\u202e", "e\u0301", "🏃", "ẞ", "ı", "<b>", "{}", "[[", "null", "../x", "x" * 2000,
)  # fmt: skip


def mutate(data: bytes, chance: random.Random) -> bytes:
    """One to four changes of bytes, cells, rows or structure; parts of workbooks are changed inside their archive."""
    if data.startswith(b"PK") and chance.random() < 0.9:
        return _mutate_archive(data, chance)
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        data = chance.choice(_CHANGES)(data, chance)
    return data


def _mutate_archive(data: bytes, chance: random.Random) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = {info.filename: archive.read(info) for info in archive.infolist()}
    except Exception:  # whatever is wrong with the archive
        return _change_bytes(data, chance)
    likely = [name for name in parts if "sheet" in name or "Strings" in name] or list(parts)
    if not likely:
        return data
    name = chance.choice(likely if chance.random() < 0.8 else list(parts))
    if chance.random() < 0.05:
        del parts[name]
    else:
        parts[name] = chance.choice((_change_bytes, _change_number, _put_word, _swap_pieces))(
            parts[name], chance
        )
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for part, content in parts.items():
            archive.writestr(part, content)
    return stream.getvalue()


def _change_bytes(data: bytes, chance: random.Random) -> bytes:
    at, length = chance.randrange(len(data) + 1), chance.choice((0, 1, 1, 2, 8))
    new = bytes(chance.choice((0, 9, 10, 13, 34, 44, 59, 255, chance.randrange(256))) for _ in range(chance.choice((0, 1, 1, 3))))  # fmt: skip
    return data[:at] + new + data[at + length :]


def _put_word(data: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(data) + 1)
    return data[:at] + chance.choice(WORDS).encode() + data[at:]


def _change_cell(data: bytes, chance: random.Random) -> bytes:
    rows = data.split(b"\n")
    i = chance.randrange(len(rows))
    sign = chance.choice((b",", b"\t", b"=", b'"'))
    cells = rows[i].split(sign)
    cells[chance.randrange(len(cells))] = chance.choice(WORDS).encode()
    rows[i] = sign.join(cells)
    return b"\n".join(rows)


def _change_rows(data: bytes, chance: random.Random) -> bytes:
    rows = data.split(b"\n")
    i, j = chance.randrange(len(rows)), chance.randrange(len(rows))
    what = chance.randrange(4)
    if what == 0:
        del rows[i]
    elif what == 1:
        rows[i:i] = [rows[j]] * chance.choice((1, 1, 2, 50))
    elif what == 2:
        rows[i], rows[j] = rows[j], rows[i]
    else:
        rows[i] = rows[i][: chance.randrange(len(rows[i]) + 1)]
    return b"\n".join(rows)


def _change_whole(data: bytes, chance: random.Random) -> bytes:
    what = chance.randrange(7)
    if what == 0:
        return data[: chance.randrange(len(data) + 1)]
    if what == 1:
        return data.replace(b",", chance.choice((b";", b"\t", b"|", b" ", b", ")))
    if what == 2:
        return data.replace(b"\n", chance.choice((b"\r\n", b"\r", b"\n\n")))
    if what == 3:
        text = data.decode("utf-8", errors="replace")
        return text.encode(
            chance.choice(("utf-8-sig", "utf-16", "utf-16-le", "utf-32", "cp1252")), errors="replace"
        )
    if what == 4:
        return data + data
    if what == 5:
        return b"a title\n\n" + data
    return data.swapcase()


def _change_number(data: bytes, chance: random.Random) -> bytes:
    digits = [i for i, byte in enumerate(data) if 48 <= byte <= 57]
    if not digits:
        return data
    at = chance.choice(digits)
    return (
        data[:at]
        + chance.choice((b"", b"0", b"9", b"-", b"e9", b"99999999999999999999", b"."))
        + data[at + 1 :]
    )


def _swap_pieces(data: bytes, chance: random.Random) -> bytes:
    a, b, c = sorted(chance.randrange(len(data) + 1) for _ in range(3))
    return data[:a] + data[b:c] + data[a:b] + data[c:]


_CHANGES = (
    _change_bytes, _put_word, _change_cell, _change_cell, _change_cell, _change_rows, _change_rows, _change_whole, _change_number, _swap_pieces,
)  # fmt: skip
