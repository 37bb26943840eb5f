"""An event in which every text that people or other programs may write is an attack, and one of its season.

The texts try to run as a formula of a spreadsheet, as markup or script of a page, as an expression of a chart's
definition, as a template.  Anything that runs sets ``window.bitten`` or asks for ``bitten.invalid``.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import tempfile
from functools import cache
from pathlib import Path

import polars as pl

from purchase_ledger import make_ledger

# Each begins a cell with a formula, in a spreadsheet that splits at commas, semicolons or tabs.
FORMULAS = (
    "=1+1", "+1+1", "-1+1", "@SUM(1,1)", "\t=1+1", "\r=1+1", "\n=1+1", "a\n=1+1", " =1+1", "a;=1+1", 'a;"=1+1', "a;@SUM(1)",
    "a\t=1+1", "a|=1+1", "{=1+1}", '"=1+1', "'=1+1", "\x00=1+1", "\x0b=1+1", "\u00a0=1+1", "\u200b=1+1", "\ufeff=1+1",
    "\uff1d1+1", "=cmd|' /C calc'!A0", '=HYPERLINK("http://bitten.invalid/","look")', "=1+1;=2+2", "a;\x00=1+1",
)  # fmt: skip
MARKUP = (
    "<script>window.bitten=1</script>", "</script><script>window.bitten=2</script>", "<img src=x onerror=window.bitten=3>",
    '"><svg onload=window.bitten=4>', "' onmouseover='window.bitten=5", "</style><script>window.bitten=6</script>",
    "</title><script>window.bitten=7</script>", "<!--", "]]>", "<a href=javascript:window.bitten=8>x</a>",
    "[x](javascript:window.bitten=9)", "{{ 7 * 7 }}", "{% include 'x' %}", "' + (window.bitten=10) + '", "datum['x'];window.bitten=11",
    "<base href=//bitten.invalid>", '<link rel=stylesheet href="//bitten.invalid/x">', "&lt;b&gt;", "\u202egnp.exe", "e\u0301\u0327\u0332" * 12,
    "javascript:window.bitten=12", "<iframe srcdoc='<script>parent.bitten=13</script>'>", "<math><mtext></table><mglyph><style><!--</style><img src=x onerror=window.bitten=14>",
)  # fmt: skip

RUNNERS = 60
GUN = dt.datetime(2026, 5, 17, 8, 0, tzinfo=dt.UTC)
POINTS = {
    "start": "<script>window.bitten=1</script>",
    "=mid<b>": "<img src=x onerror=window.bitten=3>",
    "finish": '=HYPERLINK("http://bitten.invalid/","\' + (window.bitten=10) + \'")',
}
COURSE, WAVE = "@course</script><script>window.bitten=2<", '+wave"><svg onload=window.bitten=4>'
LINES = {
    "=S<script>window.bitten=1<": "start",
    "-M<img src=x onerror=window.bitten=3>": "=mid<b>",
    "@M2'\"><svg onload=window.bitten=4>": "=mid<b>",
    "+F<script>window.bitten=2<": "finish",
    "=F2' + (window.bitten=10) + '": "finish",
}
NAME = "=1+1</title><script>window.bitten=7</script>"


def toml(word: str) -> str:
    """A text as TOML has it: the escapes of JSON are among those of TOML."""
    return json.dumps(word, ensure_ascii=False).replace("\x7f", "\\u007f")


def bib(i: int) -> str:
    return f"{('=', '+', '-', '@')[i % 4]}{i}<b>{MARKUP[i % len(MARKUP)]}"


def tag(i: int) -> str:
    return f"{FORMULAS[i % len(FORMULAS)].strip()}{i}"


def to_csv(rows: list[list[object]]) -> str:
    stream = io.StringIO(newline="")
    csv.writer(stream, lineterminator="\n").writerows(rows)
    return stream.getvalue()


def write_hostile_event(folder: Path) -> Path:
    """60 runners past three points; a fifth of them is missed by some line, strangers and bad rows lie among them."""
    (folder / "exports").mkdir(parents=True)
    visits = ", ".join(f"{{ point = {toml(p)}, at_m = {5000 * i} }}" for i, p in enumerate(POINTS))
    kinds = {"start": "start", "finish": "finish"}
    parts = [f'[event]\nid = "a b=c"\nname = {toml(NAME)}\ndate = 2026-05-17\nzone = "UTC"']
    parts += [f"[[course]]\nid = {toml(COURSE)}\nname = {toml(MARKUP[5])}\nvisits = [{visits}]"]
    parts += [f"[[wave]]\nid = {toml(WAVE)}\ncourse = {toml(COURSE)}\ngun = 08:00:00"]
    parts += [
        f'[[point]]\nid = {toml(p)}\nname = {toml(name)}\nkind = "{kinds.get(p, "split")}"'
        for p, name in POINTS.items()
    ]
    seen: set[str] = set()
    for line, point in LINES.items():
        role = "backup" if point in seen else "main"
        seen.add(point)
        parts.append(
            f'[[line]]\nid = {toml(line)}\nname = {toml(MARKUP[4])}\npoint = {toml(point)}\nrole = "{role}"\nwidth_m = 2'
        )
    parts.append(
        '[entries]\nfiles = "entries.csv"\n[entries.columns]\nbib = "Bib"\ntag = "Tag"\ntag_batch = "Batch"\ntag_kind = "Kind"'
    )
    parts.append(
        '[[input]]\nfiles = "exports/*"\nlevel = "reads"\n[input.columns]\ntag = "Tag"\ntime = "Time"\nline = "Line"\nantenna = "Port"'
    )
    (folder / "event.toml").write_text("\n".join(parts) + "\n", encoding="utf-8")
    _write_tables(folder)
    return folder


def _write_tables(folder: Path) -> None:
    entries = [[bib(i), tag(i), f"={i % 3}<b>", MARKUP[i % 3]] for i in range(RUNNERS)]
    (folder / "entries.csv").write_text(to_csv([["Bib", "Tag", "Batch", "Kind"], *entries]), "utf-8")
    order = {p: i for i, p in enumerate(POINTS)}
    for number, (line, point) in enumerate(LINES.items()):
        rows: list[list[object]] = [["Tag", "Time", "Line", "Port"]]
        for i in range(RUNNERS):
            if (i + 3 * number) % 11:
                seconds = 60 * 25 * order[point] + 7 * i + number / 2 + 1
                rows.append([tag(i), (GUN + dt.timedelta(seconds=seconds)).isoformat(), line, 1 + i % 2])
        rows.append(
            ["=stranger<script>window.bitten=1</script>", (GUN + dt.timedelta(hours=1)).isoformat(), line, 1]
        )
        rows.append(["-9;=1+1", "=1+1;<img src=x onerror=window.bitten=3>", line, 1])
        name = f"={number}+1;@x <img src=x onerror=window.bitten=3>.csv"
        (folder / "exports" / name).write_text(to_csv(rows), "utf-8")
    mats = [
        [line, slot, f"=M{2 * n + slot}<img src=x onerror=window.bitten=3>", f"@C{2 * n + slot}'\"", slot, 40, 180, f"-R{n}<script>window.bitten=1</script>", "=rain<b>", "=1+1</td><script>window.bitten=1</script>", "../../x.jpg;/etc/passwd"]
        for n, line in enumerate(LINES)
        for slot in (1, 2)
    ]  # fmt: skip
    head = ["Line", "Slot", "Mat", "Cable", "Port", "Hand test from (cm)", "Hand test up to (cm)", "Reader", "Weather", "Notes on the line", "Photos"]  # fmt: skip
    rows = [head, *[row if row[1] == 1 else [*row[:7], "", "", "", ""] for row in mats]]
    (folder / "setup.csv").write_text(to_csv(rows), "utf-8")
    register = [
        [row[2], "mat", "=model<b>", "2024-05-01", 300, "=1+1;@x<script>window.bitten=1</script>"]
        for row in mats
    ]
    (folder / "equipment.csv").write_text(
        to_csv([["Item", "Kind", "Model", "Bought", "Price", "Notes"], *register]), "utf-8"
    )


def make_hostile_ledger(folder: Path) -> Path:
    """The season of ``purchase_ledger`` with every item, point and line renamed."""
    from ledger_writer import key_of
    from lineproof.ledger import open_ledger
    from lineproof.ledger.packing import to_part
    from lineproof.ledger.store import place
    from lineproof.season_tables import KEPT

    plain = folder.parent / "plain"
    make_ledger(plain)
    ledger = open_ledger(plain)
    tables = {name: ledger.scan(name).collect() for name in KEPT if name != "crossings"}
    items = ("mat", "cable", "reader", "item", "items")
    for row in tables["events"].iter_rows(named=True):
        mine = {}
        for name, frame in tables.items():
            own = frame.filter(pl.col("event") == row["event"])
            words = [c for c in own.columns if c in (*items, "point", "line") and own.schema[c] == pl.String]
            new = own.with_columns(
                pl.when(pl.col(c).is_not_null())
                .then(pl.lit("=") + pl.col(c) + pl.lit("<img src=x onerror=window.bitten=3>;@x"))
                .alias(c)
                for c in words
            )
            if name == "events":
                new = new.with_columns(pl.lit("=1+1" + MARKUP[1] + row["name"]).alias("name"))
            mine[name] = KEPT[name].conform(new.select(list(KEPT[name].columns)))
        place(folder, to_part(row["event"], row["date"].isoformat(), key_of(row["event"], 1), mine))
    return folder


@cache
def reviewed_event() -> Path:
    """The event, reviewed once for all the tests that look at what it wrote."""
    from lineproof.reports import render_review

    folder = write_hostile_event(Path(tempfile.mkdtemp(prefix="lineproof-hostile-")) / "event")
    render_review(folder, folder / "review", lambda _step: None)
    return folder


@cache
def hostile_season() -> Path:
    """A folder with the ledger, its season and its purchase case, made once."""
    from lineproof.ledger import open_ledger
    from lineproof.replacement import write_plan
    from lineproof.reports import render_purchase, render_season

    home = Path(tempfile.mkdtemp(prefix="lineproof-hostile-"))
    ledger = make_hostile_ledger(home / "ledger")
    render_season(ledger, home / "season", lambda _step: None)
    plan = write_plan(open_ledger(ledger), home)
    render_purchase(plan, ledger, home / "purchase", lambda _step: None)
    return home
