"""Event folders written for a test: an event.toml of one 10 km course, and exports given as text or bytes."""

from __future__ import annotations

import tempfile
from pathlib import Path

from lineproof.event import load_event
from lineproof.intake import Intake, load_exports

HEAD = """
[event]
id = "harbour-10k"
name = "Harbour 10 km"
date = {date}
zone = "{zone}"
[[course]]
id = "10k"
visits = [{{ point = "start", at_m = 0 }}, {{ point = "mill", at_m = 5000 }}, {{ point = "finish", at_m = 10000 }}]
[[wave]]
id = "A"
course = "10k"
gun = {gun}
[[point]]
id = "start"
kind = "start"
[[point]]
id = "mill"
[[point]]
id = "finish"
kind = "finish"
[[line]]
id = "start-main"
point = "start"
[[line]]
id = "mill-main"
point = "mill"
[[line]]
id = "finish-main"
point = "finish"
[[line]]
id = "finish-backup"
point = "finish"
role = "backup"
"""

ENTRIES = """
[entries]
files = "entries.csv"
"""

READS = """
[[input]]
files = "exports/*"
level = "reads"
{more}
[input.columns]
tag = "Tag"
time = "Time"
line = "Line"
[input.line_names]
"M1" = "mill-main"
"F1" = "finish-main"
"F2" = "finish-backup"
"""

WIDE = """
[[input]]
files = "exports/*"
level = "wide"
{more}
[input.columns]
bib = "Bib"
[input.point_names]
"Start" = "start"
"5 km" = "mill"
"Finish" = "finish"
"""

MERGED = """
[[input]]
files = "exports/*"
level = "merged"
{more}
[input.columns]
bib = "Bib"
point = "Place"
time = "Time"
[input.point_names]
"Half way" = "mill"
"""

PASSINGS = """
[[input]]
files = "exports/*"
level = "passings"
{more}
[input.columns]
tag = "Tag"
line = "Line"
first = "First"
last = "Last"
[input.line_names]
"M1" = "mill-main"
"F1" = "finish-main"
"""


def write_folder(
    folder: Path,
    inputs: str = READS,
    *,
    more: str = "",
    date: str = "2026-05-17",
    gun: str = "09:30:00",
    zone: str = "Europe/London",
    entries: str | None = "bib,tag\n1,A1\n2,A2\n3,A3\n",
    **exports: str | bytes,
) -> Path:
    """Write event.toml, entries.csv and exports (``reads_csv="…"`` becomes ``exports/reads.csv``)."""
    (folder / "exports").mkdir(parents=True, exist_ok=True)
    text = HEAD.format(date=date, zone=zone, gun=gun) + (ENTRIES if entries is not None else "")
    (folder / "event.toml").write_text(text + inputs.replace("{more}", more), encoding="utf-8")
    if entries is not None:
        (folder / "entries.csv").write_text(entries, encoding="utf-8")
    for name, content in exports.items():
        stem, _, suffix = name.rpartition("_")
        data = content.encode() if isinstance(content, str) else content
        (folder / "exports" / f"{stem}.{suffix}").write_bytes(data)
    return folder


def load(folder: Path) -> Intake:
    """Take in the folder, and hold that every file's account adds up, whatever the test is about."""
    work = Path(tempfile.mkdtemp(dir=folder.parent))
    intake = load_exports(load_event(folder), work)
    for row in intake.account.iter_rows(named=True):
        assert row["rows_read"] == row["kept"] + row["blank"] + row["rejected"], row
        rejected = intake.rejects.filter(intake.rejects["file"] == row["file"])
        assert rejected["row"].n_unique() >= row["rejected"], row
    return intake
