"""A place that no row names, beside rejected rows with a name that nobody knows: its rates say so."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from event_folders import MERGED, write_folder
from lineproof.pipeline import Review, review_event


def review_of(folder: Path, middle: str) -> Review:
    rows = "".join(
        f"{runner},{place},2026-05-17T{hour}{runner}:00+01:00\n"
        for runner in (1, 2, 3)
        for place, hour in (("Start", "09:3"), (middle, "10:0"), ("Finish", "11:0"))
    )
    return review_event(write_folder(folder, MERGED, times_csv="Bib,Place,Time\n" + rows))


def test_a_misspelt_place_is_named_beside_its_rate(tmp_path: Path) -> None:
    review = review_of(tmp_path / "event", "Half weg")
    at_mill = review.rates.filter(pl.col("point") == "mill")["reason"].to_list()
    assert at_mill
    assert all(
        reason.startswith('no row of the exports names this place; 3 rejected rows name "Half weg", which')
        for reason in at_mill
    )
    elsewhere = review.rates.filter(pl.col("point") == "start")["reason"].drop_nulls().to_list()
    assert not [reason for reason in elsewhere if "no row of the exports" in reason]


@pytest.mark.parametrize("middle", ["Half way", "mill"])
def test_nothing_is_said_where_all_names_are_known(middle: str, tmp_path: Path) -> None:
    rates = review_of(tmp_path / "event", middle).rates
    assert not rates["reason"].drop_nulls().str.contains("no row of the exports").any()
