"""Whatever text stands in an export, every row is accounted for and nothing but our own errors is raised."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from event_folders import MERGED, PASSINGS, READS, WIDE, load, write_folder
from lineproof.errors import LineproofError

HEADERS = {
    READS: "Tag,Time,Line,antenna",
    WIDE: "Bib,Start,5 km,Finish",
    MERGED: "Bib,Place,Time,visit",
    PASSINGS: "Tag,Line,First,Last",
}
WORDS = [
    "", "A1", "7", "M1", "F1", "start", "mill", "2026-05-17 10:00:00", "2026-05-17T10:00:00.5Z", "17/05/2026 10:00", "05/17/2026 10:00",
    "10:00:00", "0:25:00", "1500", "1779008400", "-5", "DNF", '"', '"x"', '"a,b"', "\t", "\0", "ü", "99:99:99", "24:00:00", "2026-13-45 10:00:00",
    "9" * 30, "1e5", "NaN", "\ufeff", "\u2028", "'", "=1+1", "0000-00-00 00:00:00", "2026-03-29 01:30:00", "\r", ";", "|",
]  # fmt: skip
cell = st.one_of(st.sampled_from(WORDS), st.text(max_size=8))
row = st.lists(cell, min_size=0, max_size=6).map(",".join)


@pytest.mark.parametrize("inputs", list(HEADERS), ids=["reads", "wide", "merged", "passings"])
@settings(
    deadline=None,
    max_examples=25,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    rows=st.lists(row, max_size=8),
    times=st.sampled_from(["auto", "iso", "clock", "elapsed", "epoch_s"]),
    encoding=st.sampled_from(["utf-8", "utf-16", "cp1252"]),
)
def test_every_row_of_any_text_is_accounted_for(
    inputs: str, rows: list[str], times: str, encoding: str
) -> None:
    good = {
        READS: "A1,2026-05-17 10:00:00,M1,1",
        MERGED: "1,mill,2026-05-17 10:00:00,1",
        PASSINGS: "A1,M1,2026-05-17 10:00:00,",
    }
    text = "\n".join([HEADERS[inputs], good.get(inputs, "1,,,2026-05-17 10:00:00"), *rows])
    with tempfile.TemporaryDirectory() as place:
        folder = write_folder(
            Path(place) / "event",
            inputs,
            more=f'times = "{times}"',
            reads_csv=text.encode(encoding, errors="replace"),
        )
        try:
            intake = load(folder)  # holds that read = kept + blank + rejected
        except LineproofError:
            return  # refused as a whole, in a sentence; anything else fails the test
        intake.reads.collect()
        assert intake.account["rows_read"][1] >= 1
