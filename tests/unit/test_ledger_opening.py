"""Reading many events: lazily, also those of older versions."""

from __future__ import annotations

import datetime as dt
import shutil
from io import BytesIO
from pathlib import Path

import polars as pl
import pytest

from ledger_parts import cell_row, small_part, small_tables
from lineproof.errors import LedgerError
from lineproof.ledger import check_ledger, open_ledger
from lineproof.ledger.manifest import SCHEMA_VERSION
from lineproof.ledger.migration import print_of_contracts, to_present
from lineproof.ledger.part import Part
from lineproof.ledger.store import place
from lineproof.season_tables import CELLS, KEPT


def test_tables_are_scanned_over_all_events(tmp_path: Path) -> None:
    for number in range(1, 5):
        place(tmp_path, small_part(f"event-{number}", number, dt.date(2026, 6, number)))
    ledger = open_ledger(tmp_path)
    assert ledger.events["event"].to_list() == [f"event-{n}" for n in range(1, 5)]
    cells = ledger.scan("cells")
    assert isinstance(cells, pl.LazyFrame)
    assert cells.collect_schema() == CELLS.schema
    total = cells.filter(pl.col("slot") == 0).select(pl.col("missed").sum()).collect().item()
    assert total == 1.0 + 2.0 + 3.0 + 4.0
    for name, table in KEPT.items():
        assert ledger.scan(name).collect_schema() == table.schema, name


def test_an_opened_ledger_stays_as_it_was_when_opened(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill", 1))
    before = open_ledger(tmp_path)
    place(tmp_path, small_part("mill", 2))
    place(tmp_path, small_part("weir", 1))
    assert before.scan("cells").filter(slot=0).collect()["missed"].to_list() == [1.0]
    assert open_ledger(tmp_path).scan("cells").filter(slot=0).collect().height == 2


def test_a_name_that_is_no_table_is_an_error(tmp_path: Path) -> None:
    place(tmp_path, small_part("mill", 1))
    with pytest.raises(KeyError, match="reads"):
        open_ledger(tmp_path).scan("reads")


@pytest.mark.parametrize("folder", ["nowhere", "empty"])
def test_no_ledger_is_said_in_one_sentence(tmp_path: Path, folder: str) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(LedgerError, match=rf'the folder "{folder}" holds no ledger'):
        open_ledger(tmp_path / folder)


def test_words_of_a_fixed_list_are_stored_as_text_so_that_the_list_may_grow(tmp_path: Path) -> None:
    part = small_part("mill", 1)
    place(tmp_path, part)
    stored = pl.read_parquet_schema(tmp_path / "parts" / part.folder_name / "cells.parquet")
    assert stored["role"] == pl.String
    assert open_ledger(tmp_path).scan("cells").collect_schema()["role"] == CELLS.schema["role"]


VERSION_1 = Path(__file__).parent / "data" / "ledger_version_1"


def test_a_ledger_of_version_1_reads_as_one_of_today(tmp_path: Path) -> None:
    """Kept by the program of version 1: the event of test_ledger_keeping.py, when no table told of audits yet."""
    shutil.copytree(VERSION_1, tmp_path / "ledger")
    assert check_ledger(tmp_path / "ledger").passed
    ledger = open_ledger(tmp_path / "ledger")
    assert ledger.events["event"].to_list() == ["harbour-10k"]
    for name, table in KEPT.items():
        table.check(ledger.scan(name).collect())
    lines = ledger.scan("cells").filter(slot=0).sort("line").collect()
    assert lines.select("line", "tried", "missed").rows() == [
        ("finish-backup", 39.0, 1.0),
        ("finish-main", 39.0, 1.0),
        ("mill-main", 40.0, 1.0),
        ("start-main", 0.0, 0.0),
    ]
    assert ledger.scan("audit_results").collect().is_empty()


def test_old_and_new_parts_are_one_table(tmp_path: Path) -> None:
    """Parts of version 1 stay as they are beside those of today, and a changed event replaces them."""
    shutil.copytree(VERSION_1, tmp_path / "ledger")
    before = {p: p.read_bytes() for p in (tmp_path / "ledger" / "parts").rglob("*") if p.is_file()}
    place(tmp_path / "ledger", small_part("mill", 3))
    assert all(path.read_bytes() == data for path, data in before.items())
    ledger = open_ledger(tmp_path / "ledger")
    assert [entry.schema for entry in ledger.entries] == [SCHEMA_VERSION, 1]
    assert ledger.scan("cells").collect()["event"].unique().sort().to_list() == ["harbour-10k", "mill"]
    place(tmp_path / "ledger", small_part("harbour-10k", 3, dt.date(2026, 5, 17)))
    assert [entry.schema for entry in open_ledger(tmp_path / "ledger").entries] == [SCHEMA_VERSION] * 2
    assert check_ledger(tmp_path / "ledger").passed


def test_decisions_of_version_1_say_what_they_speak_of() -> None:
    older = pl.LazyFrame(
        {
            "event": ["mill"] * 2,
            "row": ["K-AAAAAAAA", "K-BBBBBBBB"],
            "place": ["finish-main", "clock"],
            "decision": ["void", "correct"],
            "rows": [1, 90],
        }
    )
    today = to_present(older, KEPT["decisions"], "decisions", 1).collect()
    KEPT["decisions"].check(today)
    assert today.select("about", "place", "rows", "shift_us").rows() == [
        ("row", "finish-main", 1, None),
        ("clock", None, 90, None),
    ]


def test_a_step_makes_an_older_table_younger_before_new_columns_are_added() -> None:
    """A table of two versions ago that told a share, then minutes, and knew no surface."""
    older = CELLS.shape_rows([cell_row("mill", "finish-main", 0, 200.0, 2.0)])
    older = older.with_columns(share=pl.col("missed") / pl.col("tried")).drop("missed", "surface")
    steps = {
        SCHEMA_VERSION - 2: {"cells": lambda frame: frame.rename({"share": "missed_share"})},
        SCHEMA_VERSION - 1: {
            "cells": lambda frame: frame.with_columns(missed=pl.col("missed_share") * pl.col("tried"))
        },
    }
    today = to_present(older.lazy(), CELLS, "cells", SCHEMA_VERSION - 2, steps).collect()
    CELLS.check(today)
    assert today.select("missed", "surface").row(0) == (2.0, None)


PRINTS = {2: "462109379a18c1cb"}


def test_whoever_changes_what_is_kept_raises_the_version() -> None:
    """A contract of KEPT was changed: raise SCHEMA_VERSION, see migration.py, and add the new print here.

    As long as no ledger of the newest version was released, its print may be put right instead.
    """
    assert print_of_contracts() == PRINTS[SCHEMA_VERSION]


def test_the_check_names_a_table_with_wrong_columns(tmp_path: Path) -> None:
    """Written by another program: every hash is right, and the table is not what its version says."""
    good = small_part("mill", 1)
    wrong = BytesIO()
    small_tables("mill")["cells"].drop("flow").cast({pl.Enum: pl.String}).write_parquet(wrong)
    place(tmp_path, Part("mill", good.date, good.key, {**good.files, "cells.parquet": wrong.getvalue()}))
    (fault,) = check_ledger(tmp_path).faults
    assert "cells.parquet: the table does not have the columns of version" in fault


def test_many_events_are_one_table(tmp_path: Path) -> None:
    """benchmarks/ledger.py measures time and memory; here only that the files of many parts are one table."""
    for number in range(40):
        place(tmp_path, small_part(f"event-{number:03}", number))
    totals = open_ledger(tmp_path).scan("cells").filter(slot=0).select(pl.col("missed").sum()).collect()
    assert totals.item() == sum(range(40))
