"""Files that are made to hurt: bombs, paths that lead out, broken texts, endless words, and things that are no files.

Each is refused in one sentence or taken as it is, quickly, in little memory, and nothing outside its folder is touched.
"""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from event_folders import READS, load, write_folder
from fuzzing import (
    DECISIONS,
    ENTRIES,
    PLAN,
    READERS,
    REGISTER,
    SETUP,
    SIGHTINGS,
    TABLES,
    hold_to_one_sentence,
    run_reader,
    to_parquet,
    to_workbook,
)
from ledger_parts import small_part, small_tables
from lineproof.draft import write_draft
from lineproof.errors import EventError, LedgerError, LineproofError, PlanError, one_line
from lineproof.event import load_event
from lineproof.intake.workbook_size import MOST_CELLS, find_spread
from lineproof.ledger import check_ledger, open_ledger, read_whole
from lineproof.ledger.packing import to_part
from lineproof.ledger.store import place
from lineproof.replacement import load_plan
from lineproof.setup import load_setup

posix = pytest.mark.skipif(os.name != "posix", reason="needs the files and signals of a POSIX system")
SHEET = '<?xml version="1.0"?>{doctype}<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{rows}</sheetData></worksheet>'
CELL = '<c r="{place}" t="inlineStr"><is><t>{text}</t></is></c>'
LAUGHS = "<!DOCTYPE x [<!ENTITY l0 'ha'>" + "".join(f"<!ENTITY l{i} '{f'&l{i - 1};' * 10}'>" for i in range(1, 12)) + "]>"  # fmt: skip


@contextmanager
def within(seconds: int) -> Iterator[None]:
    """A reader that waits for ever is a fault as well."""

    def stop(*_: object) -> None:
        raise TimeoutError(f"no answer within {seconds} s")

    before = signal.signal(signal.SIGALRM, stop)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def workbook_with(rows: str, doctype: str = "", **more: bytes) -> bytes:
    """A workbook whose first sheet has these rows; ``more`` adds parts by any name."""
    with zipfile.ZipFile(io.BytesIO(to_workbook(TABLES["wide"]))) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts["xl/worksheets/sheet1.xml"] = SHEET.format(doctype=doctype, rows=rows).encode()
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in {**parts, **more}.items():
            archive.writestr(name, content)
    return stream.getvalue()


def open_document(rows: int, columns: int, text: str = "<text:p>x</text:p>") -> bytes:
    names = "".join(
        f' xmlns:{word}="urn:oasis:names:tc:opendocument:xmlns:{word}:1.0"'
        for word in ("office", "table", "text")
    )
    content = (
        f'<?xml version="1.0"?><office:document-content{names}><office:body><office:spreadsheet><table:table table:name="S">'
        f'<table:table-row table:number-rows-repeated="{rows}"><table:table-cell table:number-columns-repeated="{columns}">{text}'
        "</table:table-cell></table:table-row></table:table></office:spreadsheet></office:body></office:document-content>"
    )
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("content.xml", content)
    return stream.getvalue()


FAR = f'<row r="1">{CELL.format(place="A1", text="Bib")}</row><row r="1048576">{CELL.format(place="XFD1048576", text="x")}</row>'
BOMBS: dict[str, tuple[str, Callable[[], bytes], str]] = {
    "a place beyond all sheets": ("xlsx", lambda: workbook_with(f'<row r="1">{CELL.format(place="A1", text="Bib")}{CELL.format(place="A" + "9" * 20, text="x")}</row>'), "spreads out to"),
    "a column of many letters": ("xlsx", lambda: workbook_with(f'<row r="1">{CELL.format(place="A1", text="Bib")}{CELL.format(place="EinlineS4", text="x")}</row>'), "spreads out to"),
    "two cells far apart": ("xlsx", lambda: workbook_with(FAR), "spreads out to 17,179,869,184 cells"),
    "the same, in single quotes": ("xlsx", lambda: workbook_with(FAR.replace('"', "'")), "spreads out to"),
    "a row repeated for ever": ("ods", lambda: open_document(2_000_000_000, 2), "spreads out to 4,000,000,000 cells"),
    "a cell repeated for ever": ("ods", lambda: open_document(1_048_576, 16_384), "spreads out to"),
    "entities of entities": (
        "xlsx", lambda: workbook_with(f'<row r="1">{CELL.format(place="A1", text="&l11;")}</row>', LAUGHS), "cannot be read",
    ),
    "a file of this computer as an entity": (
        "xlsx",
        lambda: workbook_with(
            f'<row r="1">{CELL.format(place="A1", text="&e;")}</row>', "<!DOCTYPE x [<!ENTITY e SYSTEM 'file:///etc/hostname'>]>"
        ),
        "cannot be read",
    ),
}  # fmt: skip


@posix
@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_in_a_workbook_is_refused(name: str, tmp_path: Path) -> None:
    suffix, make, says = BOMBS[name]
    folder = write_folder(tmp_path / "event", READS, **{f"reads_{suffix}": make()})
    with within(60), pytest.raises(LineproofError, match=says) as caught:
        load(folder)
    hold_to_one_sentence(caught.value)
    assert "root" not in str(caught.value)


def test_a_workbook_as_programs_write_it_is_no_bomb(tmp_path: Path) -> None:
    """Spreadsheets repeat empty cells to the very edge; a table of text may name cells far away."""
    path = tmp_path / "empty.ods"
    path.write_bytes(open_document(1_048_576, 16_384, text=""))
    assert find_spread(path) == 0
    path.write_bytes(to_workbook(TABLES["wide"]))
    assert find_spread(path) == 4 * 4
    path.write_bytes(workbook_with(f'<row r="2">{CELL.format(place="AB2", text="x")}</row>'))
    assert find_spread(path) == 2 * 28 < MOST_CELLS
    path.write_bytes(b"PK\x03\x04 broken")
    assert find_spread(path) == 0


def test_a_bomb_behind_a_wrong_checksum_is_refused(tmp_path: Path) -> None:
    """The parts are read without a look at their checksums by what reads the cells."""
    whole = bytearray(workbook_with(FAR))
    at = whole.index(b"xl/worksheets/sheet1.xml", whole.index(b"PK\x01\x02")) - 46  # in the directory
    whole[at + 16] ^= 255
    folder = write_folder(tmp_path / "event", READS, reads_xlsx=bytes(whole))
    with pytest.raises(LineproofError, match="its archive is damaged"):
        load(folder)


@pytest.mark.parametrize("number", ["1e999", "-1e999", "nan", "1e308", "1e-320"])
def test_a_number_beyond_all_numbers_in_a_workbook(number: str, tmp_path: Path) -> None:
    cells = "".join(
        CELL.format(place=f"{c}1", text=t) for c, t in zip("ABC", ("Tag", "Time", "Line"), strict=True)
    )
    rows = (
        f'<row r="1">{cells}</row><row r="2"><c r="A2"><v>{number}</v></c><c r="B2"><v>{number}</v></c></row>'
    )
    folder = write_folder(tmp_path / "event", READS, reads_xlsx=workbook_with(rows))
    try:
        load(folder)
    except LineproofError as problem:
        hold_to_one_sentence(problem)


def test_no_part_of_a_workbook_is_written_anywhere(tmp_path: Path) -> None:
    inside = {
        "../../../evil.txt": b"x",
        "/tmp/lineproof-evil.txt": b"x",
        "xl/../../evil.txt": b"x",
        "C:\\evil.txt": b"x",
    }
    folder = write_folder(tmp_path / "event", READS, reads_xlsx=workbook_with("", **inside))
    with pytest.raises(LineproofError):
        load(folder)
    assert not [path for path in tmp_path.rglob("*") if "evil" in path.name]
    assert not Path("/tmp/lineproof-evil.txt").exists()


TOML_BOMBS = {
    "nested lists": "x = " + "[" * 50_000 + "]" * 50_000,
    "nested tables": "x = " + "{a = " * 20_000 + "1" + "}" * 20_000,
    "dotted names": ".".join("a" * 20_000) + " = 1",
    "dotted heading": "[" + ".".join("a" * 20_000) + "]",
    "an endless whole number": "x = " + "9" * 100_000,
    "an endless hexadecimal": "x = 0x" + "f" * 100_000,
    "an endless fraction": "x = 1." + "9" * 100_000 + "e99999999",
    "an endless text": 'x = "' + "x" * 5_000_000 + '"',
    "an endless name": "x" * 1_000_000 + " = 1",
    "many headings": "\n".join(f"[[point]]\nid = 'p{i}'" for i in range(3000)),
    "a zero byte": "x = 1\0",
    "no year": "x = 0000-01-01",
}


@posix
@pytest.mark.parametrize("name", TOML_BOMBS)
@pytest.mark.parametrize("reader", ["event.toml", "plan.toml"])
def test_a_bomb_in_a_description_is_one_sentence(reader: str, name: str, tmp_path: Path) -> None:
    path = tmp_path / reader
    path.write_text(TOML_BOMBS[name], encoding="utf-8")
    with within(60), pytest.raises((EventError, PlanError)) as caught:
        load_event(tmp_path) if reader == "event.toml" else load_plan(path)
    hold_to_one_sentence(caught.value)


@pytest.mark.parametrize(
    "value",
    ["9" * 5000, "1e999", "-1e999", "nan", "9223372036854775808", "1e11", "1979-05-27", "true", "[1]", "''"],
)
@pytest.mark.parametrize(
    "place_", ["at_m = 5000", "[settings]\npassing_gap_s = ", "[settings]\ncloses_after_h = ", "[settings]\nopens_before_h = ", "width_m = 3", "header_row = 1", "rounding_s = 1"]
)  # fmt: skip
def test_a_number_of_any_size_is_taken_or_refused(place_: str, value: str, tmp_path: Path) -> None:
    name = place_.rpartition("=")[0]
    text = READERS["event.toml"][1]().decode()
    if name.startswith("[settings]"):
        text = text.replace("[[course]]", f"{name}= {value}\n[[course]]", 1)
    elif name == "at_m ":
        text = text.replace("at_m = 5000", f"at_m = {value}")
    elif name == "width_m ":
        text = text.replace('point = "mill"\n', f'point = "mill"\nwidth_m = {value}\n', 1)
    elif name == "header_row ":
        text = text.replace('level = "reads"', f'level = "reads"\nheader_row = {value}')
    else:
        text = text.replace('id = "10k"\n', f'id = "10k"\nrounding_s = {value}\n')
    run_reader("event.toml", text.encode())


@pytest.mark.parametrize("year", ["0001", "0002", "1582", "1899", "1970", "2038", "2263", "9998", "9999"])
@pytest.mark.parametrize("reader", ["event.toml", "reads csv", "wide csv", "entries", "setup csv", "register", "sightings", "decisions"])  # fmt: skip
def test_any_year_of_the_calendar(reader: str, year: str) -> None:
    for day in ("01-01", "12-31"):
        data = READERS[reader][1]().replace(b"2026-05-17", f"{year}-{day}".encode()).replace(b"2024-03-01", f"{year}-{day}".encode())  # fmt: skip
        run_reader(reader, data)


@pytest.mark.parametrize("word", ["9223372036854775807", "9223372036854775808", "-9223372036854775809", "9" * 400, "1e400", "-0", "0.1e-400"])  # fmt: skip
@pytest.mark.parametrize("times", ["auto", "epoch_s", "epoch_ms", "epoch_us", "elapsed", "clock"])
def test_a_time_of_any_size(times: str, word: str, tmp_path: Path) -> None:
    text = f"Tag,Time,Line,antenna\nA1,{word},M1,{word}\nA2,2026-05-17 10:00:00,M1,1\n"
    folder = write_folder(tmp_path / "event", READS, more=f'times = "{times}"', reads_csv=text)
    try:
        load(folder).reads.collect()
    except LineproofError as problem:
        hold_to_one_sentence(problem)


LONG = "x" * 10_000
TEXTS = {
    "zero bytes": b"Tag,Time,Line\nA\x001,2026-05-17 10:00:00,M1\nA2,2026-05-17 10:00:00,M1\n",
    "a mark of byte order in the middle": "Tag,Time,Line\n\ufeffA1,2026-05-17 10:00:00,M1\n".encode(),
    "UTF-16, little end first": "Tag,Time,Line\nA1,2026-05-17 10:00:00,M1\n".encode("utf-16"),
    "UTF-16, big end first": b"\xfe\xff" + "Tag,Time,Line\nA1,2026-05-17 10:00:00,M1\n".encode("utf-16-be"),
    "UTF-16 cut in a sign": "Tag,Time,Line\nA1,2026-05-17 10:00:00,M1\n".encode("utf-16")[:-1],
    "UTF-32": "Tag,Time,Line\nA1,2026-05-17 10:00:00,M1\n".encode("utf-32"),
    "a lone surrogate": b"Tag,Time,Line\nA\xed\xa0\x801,2026-05-17 10:00:00,M1\n",
    "a lone surrogate in UTF-16": "Tag,Time,Line\nA".encode("utf-16") + b"\x00\xd8" + "1,2026-05-17 10:00:00,M1\n".encode("utf-16-le"),
    "an endless id": f"Tag,Time,Line\n{LONG},2026-05-17 10:00:00,M1\n".encode(),
    "an endless header": f"Tag,Time,Line,{LONG}\nA1,2026-05-17 10:00:00,M1,\n".encode(),
    "an endless line name": f"Tag,Time,Line\nA1,2026-05-17 10:00:00,{LONG}\nA1,2026-05-17 10:00:00,M1\n".encode(),
    "an endless line": b"Tag,Time,Line\nA1,2026-05-17 10:00:00,M1\n" + b"x" * 3_000_000,
    "many columns": ("Tag,Time,Line" + ",c" * 20_000 + "\nA1,2026-05-17 10:00:00,M1\n").encode(),
    "from right to left": "Tag,Time,Line\n\u202eA1\u202c,2026-05-17 10:00:00,M1\nאב,2026-05-17 10:00:00,M1\n".encode(),
    "combining signs": ("Tag,Time,Line\n" + "e" + "\u0301" * 500 + ",2026-05-17 10:00:00,M1\n").encode(),
    "commands to a terminal": b"\x1b]0;x\x07Tag,Time,Line\nA1,2026-05-17 10:00:00,M1\n",
    "quotation marks without end": b'Tag,Time,Line\n"' * 5000,
    "carriage returns alone": b"Tag,Time,Line\rA1,2026-05-17 10:00:00,M1\r",
}  # fmt: skip


@posix
@pytest.mark.parametrize("name", TEXTS)
@pytest.mark.parametrize(
    "reader", ["reads csv", "entries", "sightings", "setup csv", "register", "decisions", "draft"]
)
def test_a_broken_text_is_taken_or_refused(reader: str, name: str) -> None:
    with within(120):
        run_reader(reader, TEXTS[name])


# What a path may turn out to be instead of a good file.
def _folder(path: Path) -> None:
    path.mkdir()


def _dangling(path: Path) -> None:
    path.symlink_to(path.parent / "nowhere")


def _ring(path: Path) -> None:
    path.symlink_to(path)


def _pipe(path: Path) -> None:
    os.mkfifo(path)


def _device(path: Path) -> None:
    path.symlink_to("/dev/zero")


def _bytes(data: bytes) -> Callable[[Path], None]:
    return lambda path: path.write_bytes(data) and None


NO_FILES: dict[str, Callable[[Path], None]] = {
    "a folder": _folder,
    "a dangling link": _dangling,
    "a link to itself": _ring,
    "a pipe": _pipe,
    "a device": _device,
    "empty": _bytes(b""),
    "blank": _bytes(b" \n\n \n"),
    "half a workbook": _bytes(to_workbook(TABLES["wide"])[:900]),
    "half a Parquet file": _bytes(to_parquet(TABLES["reads"])[:-40]),
    "a picture": _bytes(b"\x89PNG\r\n\x1a\n" + bytes(300)),
    "an archive": _bytes(b"\x1f\x8b\x08" + bytes(300)),
    "JSON": _bytes(b'{"a": [1, 2]}'),
}
FILES = {
    "event.toml": lambda f: load_event(f),
    "entries.csv": lambda f: load(f),
    "exports/reads.csv": lambda f: load(f),
    "exports/reads.xlsx": lambda f: load(f),
    "exports/reads.parquet": lambda f: load(f),
    "setup.csv": lambda f: load_setup(load_event(f)),
    "setup.xlsx": lambda f: load_setup(load_event(f)),
    "equipment.csv": lambda f: load_setup(load_event(f)),
    "equipment.xlsx": lambda f: load_setup(load_event(f)),
    "plan.toml": lambda f: load_plan(f / "plan.toml"),
    "ledger.json": lambda f: (check_ledger(f), open_ledger(f)),
    "decisions.csv": lambda f: _review_inputs(f),
    "sightings.csv": lambda f: _review_inputs(f),
}


def _review_inputs(folder: Path) -> None:
    from lineproof.decisions import load_decisions
    from lineproof.sightings import load_sightings

    event = load_event(folder)
    load_decisions(event)
    load_sightings(event, load(folder).entries, folder.parent)


@posix
@pytest.mark.parametrize("kind", NO_FILES)
@pytest.mark.parametrize("file", FILES)
def test_whatever_lies_in_place_of_a_file(file: str, kind: str, tmp_path: Path) -> None:
    exports = {} if file.startswith("exports") else {"reads_csv": TABLES["reads"]}
    folder = write_folder(tmp_path / "event", **exports)  # type: ignore[arg-type]
    path = folder / file
    path.unlink(missing_ok=True)
    NO_FILES[kind](path)
    try:
        with within(60):
            FILES[file](folder)
    except LineproofError as problem:
        hold_to_one_sentence(problem)


SEEDS = {"decisions.csv": DECISIONS, "sightings.csv": SIGHTINGS, "setup.csv": SETUP, "equipment.csv": REGISTER, "plan.toml": PLAN, "entries.csv": ENTRIES, "exports/reads.csv": TABLES["reads"]}  # fmt: skip
AS_NOBODY = """
import os, sys
from pathlib import Path
sys.path[:0] = sys.argv[3:]
import faults.test_hostile_files as here
try:
    here.FILES[sys.argv[2]](Path(sys.argv[1]))  # whatever Python itself has to load, it loads now
except here.LineproofError:
    pass
Path(sys.argv[1], sys.argv[2]).chmod(0)
if os.geteuid() == 0:
    os.setuid(65534)
try:
    here.FILES[sys.argv[2]](Path(sys.argv[1]))
    print("taken")
except here.LineproofError as problem:
    print(problem)
"""


@pytest.mark.skipif(not hasattr(os, "setuid"), reason="needs a system with user ids")
@pytest.mark.parametrize(
    "file", [name for name in FILES if name in SEEDS or name in ("event.toml", "ledger.json")]
)
def test_a_file_that_may_not_be_read(file: str, tmp_path: Path) -> None:
    import shutil
    import tempfile

    home = Path(tempfile.mkdtemp(prefix="lineproof-locked-"))
    try:
        folder = write_folder(home / "event", reads_csv=TABLES["reads"])
        if file == "ledger.json":
            place(folder / "ledger", small_part("mill"))
            folder = folder / "ledger"
        elif file in SEEDS:
            (folder / file).write_text(SEEDS[file], encoding="utf-8")
        for path in (home, *home.rglob("*")):
            path.chmod(0o755 if path.is_dir() else 0o644)
        home.chmod(0o777)  # scratch files go beside the event
        tests = str(Path(__file__).parents[1])
        done = subprocess.run(
            [sys.executable, "-c", AS_NOBODY, str(folder), file, tests],
            capture_output=True, text=True, check=False, timeout=120, env={**os.environ, "TMPDIR": str(home)},
        )  # fmt: skip
    finally:
        shutil.rmtree(home)
    assert done.returncode == 0, done.stderr
    sentence = done.stdout.strip()
    assert "\n" not in sentence
    assert file in ("setup.csv", "equipment.csv") or "denied" in sentence.lower(), sentence


@pytest.mark.parametrize("name", ["a\nb.csv", "\x1b[31mred.csv", "a;=1+1.csv", "[bold].csv", "[a-z]*.csv", "é" * 80 + ".csv", "\u202evsc.csv", "~.csv", "$HOME.csv", "%s{0}.csv"])  # fmt: skip
def test_an_export_of_any_name_is_read_under_its_name(name: str, tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "event")
    (folder / "exports" / name).write_text(TABLES["reads"], encoding="utf-8")
    intake = load(folder)
    assert f"exports/{name}" in intake.account["file"].to_list()
    (folder / "event.toml").unlink()
    write_draft(folder)
    load_event(folder)


@posix
def test_a_name_that_is_no_text_is_refused(tmp_path: Path) -> None:
    folder = write_folder(tmp_path / "event")
    path = os.fsencode(folder / "exports") + b"/reads-\xff\xfe.csv"
    try:
        with open(path, "wb") as file:  # noqa: PTH123  a path of bytes
            file.write(TABLES["reads"].encode())
    except OSError:
        pytest.skip("this file system takes no such name")
    with pytest.raises(LineproofError, match="name") as caught:
        load(folder)
    hold_to_one_sentence(caught.value)


EVENT_IDS = ["../../evil", "/etc/evil", "..", ".", "a/b\\c", "C:\\evil", "evil\0", "CON", "nul.txt", "e" * 10_000, "\u202eevil", "é" * 400, " ", "-rf *", "evil\n", "~", "$HOME", ".hidden"]  # fmt: skip


@pytest.mark.parametrize("event", EVENT_IDS)
def test_an_event_id_never_leads_out_of_the_ledger(event: str, tmp_path: Path) -> None:
    home = tmp_path / "season"
    ledger = home / "ledger"
    part = to_part(event, "2026-05-17", "a" * 64, small_tables(event))
    assert place(ledger, part)
    assert [path.name for path in home.iterdir()] == ["ledger"]
    assert [path.name for path in tmp_path.iterdir()] == ["season"]
    assert check_ledger(ledger).passed
    assert open_ledger(ledger).events["event"].to_list() == [event]


@pytest.mark.parametrize("pattern", ["../*", "/etc/*", "exports/../../*", "C:/x", "\\\\server\\x", "exports/**/../../*", "**", "", "exports/[", "e" * 5000])  # fmt: skip
def test_a_pattern_of_files_stays_in_the_event_folder(pattern: str, tmp_path: Path) -> None:
    (tmp_path / "secret.csv").write_text(TABLES["reads"], encoding="utf-8")
    folder = write_folder(tmp_path / "event", READS.replace("exports/*", pattern.replace("\\", "\\\\")), reads_csv=TABLES["reads"])  # fmt: skip
    try:
        said = str(load(folder).account["file"].to_list())
    except LineproofError as problem:
        hold_to_one_sentence(problem)
        said = str(problem)
    assert "secret" not in said


def test_a_damaged_table_of_the_ledger_is_one_sentence(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill"))
    (path,) = tmp_path.rglob("cells.parquet")
    whole = path.read_bytes()
    for data in (
        b"",
        whole[:40],
        whole[:-1],
        b"PAR1" + bytes(len(whole) - 8) + b"PAR1",
        whole[:20] + bytes(30) + whole[50:],
    ):
        path.write_bytes(data)
        with pytest.raises(LedgerError, match="lineproof ledger check"):
            read_whole(open_ledger(tmp_path).scan("cells"))
        assert not check_ledger(tmp_path).passed


def test_a_manifest_nested_without_end_is_damage(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill"))
    (tmp_path / "ledger.json").write_bytes(b'{"schema": ' + b"[" * 200_000)
    with pytest.raises(LedgerError, match="damaged"):
        open_ledger(tmp_path)
    (tmp_path / "ledger.json").write_bytes(b'{"schema": ' + b"9" * 100_000 + b"}")
    with pytest.raises(LedgerError):
        open_ledger(tmp_path)


def test_a_sentence_is_one_short_printable_line() -> None:
    assert one_line("a\nb\tc") == "a b c"
    assert one_line("\x1b[31mred\x07") == "?[31mred?"
    assert one_line("\ud800") == "?"
    assert one_line("x" * 10_000) == "x" * 200 + "…"
    assert one_line('the id "' + "a b " * 200 + '" is long') == 'the id "' + "a b " * 50 + '…" is long'
    assert len(one_line("word " * 1000)) <= 1010
    assert one_line("x" * 300 + ".").endswith("….")


def test_clocks_that_jump_lose_no_row(tmp_path: Path) -> None:
    """Back by an hour, ahead by a day, twice the same second: every row is kept or rejected with its reason."""
    clocks = ["10:00:00", "10:00:01", "09:00:02", "09:00:02", "10:00:03", "23:59:59", "00:00:00", "10:00:04"]
    rows = [f"A{1 + i % 3},2026-05-17 {clock},M1" for i, clock in enumerate(clocks)]
    rows += ["A1,2026-05-18 10:00:00,M1", "A2,1970-01-01 00:00:00,M1", "A3,2080-01-01 00:00:00,M1"]
    intake = load(
        write_folder(tmp_path / "event", READS, reads_csv="Tag,Time,Line\n" + "\n".join(rows) + "\n")
    )
    account = intake.account.filter(intake.account["file"] == "exports/reads.csv").row(0, named=True)
    assert account["rows_read"] == len(rows) == account["kept"] + account["rejected"]
    assert intake.reads.collect().height == account["kept"] >= len(clocks)


@posix
def test_the_terminal_shows_names_as_they_stand(tmp_path: Path) -> None:
    """A folder named like markup, and a file named like a command to the terminal."""
    folder = write_folder(tmp_path / "[red] [b]", reads_csv=TABLES["reads"])
    (folder / "exports" / "\x1b]0;owned\x07[x].csv").write_text(TABLES["reads"], encoding="utf-8")
    (folder / "event.toml").unlink()
    words = [sys.executable, "-m", "lineproof"]
    done = subprocess.run(
        [*words, "new", str(folder), "--yes"], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    assert "\x1b]" not in done.stderr + done.stdout
    assert "[red] [b]" in done.stderr
    assert "?]0;owned?[x].csv" in done.stderr
    odd = tmp_path / "odd [" / "x]"  # read as markup, this closes what nothing opened
    done = subprocess.run(
        [*words, "ready", str(odd)], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 1
    assert 'there is no folder "x]"' in done.stderr
