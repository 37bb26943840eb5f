"""Tags over the season: several events are several witnesses."""

from __future__ import annotations

import datetime as dt

import polars as pl
import pytest

from lineproof.season.tags import estimate_batches, estimate_season_tags, estimate_tag_ages
from lineproof.season_tables import KEPT_TAGS


def kept(
    rows: list[tuple[str, str, float | None, str]], tags: int = 1, kind: str | None = "ankle band"
) -> pl.DataFrame:
    return KEPT_TAGS.check(
        KEPT_TAGS.shape_rows(
            [
                {
                    "event": event, "tag": tag, "holder": 1, "kind": kind, "batch": batch, "tags": tags,
                    "tried": 10, "missed": 1, "weak": weak, "late": 0.0, "retire": False,
                }
                for event, tag, weak, batch in rows
            ]
        )
    )  # fmt: skip


def crowd(event: str, chance: float) -> list[tuple[str, str, float | None, str]]:
    return [(event, f"{event}-{number}", chance, "b1") for number in range(98)]


def test_two_events_that_each_half_suspect_a_tag_suspect_it_more_together() -> None:
    # Share at each event: (98 * 0.001 + 0.5 + 0.001) / 100, near 0.006: half a chance is odds of 1 against 1 to 166.
    rows = [*crowd("e1", 0.001), *crowd("e2", 0.001)]
    rows += [(event, "T", 0.5, "b1") for event in ("e1", "e2")] + [("e1", "once", 0.5, "b1")]
    found = estimate_season_tags(kept(rows))
    weak = dict(zip(found["tag"], found["weak"], strict=True))
    assert weak["T"] == pytest.approx(0.99, abs=0.01)
    assert weak["once"] == pytest.approx(0.5, abs=0.1)
    assert found.row(0, named=True)["tag"] == "T"
    assert found.filter("retire")["tag"].to_list() == ["T"]


def test_one_event_gives_its_own_chances_back() -> None:
    rows = [*crowd("e1", 0.01), ("e1", "T", 0.7, "b1")]
    found = estimate_season_tags(kept(rows)).filter(pl.col("tag") == "T")
    assert found["weak"].item() == pytest.approx(0.7)


def test_a_runner_with_two_tags_tells_of_neither() -> None:
    assert estimate_season_tags(kept([("e1", "T", 0.9, "b1")], tags=2)).is_empty()


def test_no_tags_at_all() -> None:
    assert estimate_season_tags(KEPT_TAGS.empty()).is_empty()
    assert estimate_batches(KEPT_TAGS.empty()).is_empty()


def test_a_batch_with_many_weak_tags_is_asked_about_and_the_other_not() -> None:
    rows = [("e1", f"g{n}", 0.001, "good") for n in range(500)]
    rows += [("e1", f"p{n}", 0.99 if n < 30 else 0.001, "poor") for n in range(500)]
    found = estimate_batches(kept(rows))
    assert dict(zip(found["batch"], found["ask"], strict=True)) == {"good": False, "poor": True}
    assert found["share"].to_list() == pytest.approx([0.001, 0.0604], abs=0.001)


def test_a_day_of_rain_accuses_no_batch() -> None:
    rows = [("dry", f"d{n}", 0.001, "a") for n in range(300)] + [
        ("dry", f"e{n}", 0.001, "b") for n in range(300)
    ]
    rows += [("rain", f"r{n}", 0.99 if n % 20 == 0 else 0.001, "c" if n < 200 else "d") for n in range(400)]
    assert not estimate_batches(kept(rows))["ask"].any()


def test_a_batch_alone_at_its_event_has_nothing_to_be_compared_with() -> None:
    found = estimate_batches(kept([("e1", f"t{n}", 0.5, "only") for n in range(50)]))
    assert found["others"].to_list() == [None]
    assert found["ask"].to_list() == [False]


def evenings(count: int) -> pl.DataFrame:
    days = [dt.date(2031, 5, 1) + dt.timedelta(days=7 * n) for n in range(count)]
    return pl.DataFrame({"event": [f"e{n}" for n in range(count)], "date": days})


def test_tags_are_counted_by_how_often_they_were_carried_before() -> None:
    """Twelve evenings with 40 tags each; half of those in use come new at the seventh, and only old ones are weak then."""
    rows = []
    for evening in range(12):
        for tag in range(40):
            young = tag >= 20 and evening >= 6
            name = f"new{tag}" if young else f"old{tag}"
            weak = 0.99 if evening >= 10 and not young and tag < 8 else 0.001
            rows.append((f"e{evening}", name, weak, "b1"))
    found = estimate_tag_ages(kept(rows), evenings(12))
    # Twice 40 - 20 = 60 tags begin; then three evenings with 40 to 3 carried 1 to 3 times, and so on.
    assert found["carried"].to_list() == ["never", "1 to 3 times", "4 to 9 times", "10 times and more"]
    assert found["tags"].to_list() == [60, 180, 6 * 20 + 2 * 20 + 2 * 20, 2 * 20]
    assert found["ask"].to_list() == [False, False, False, True]
    assert found["share"].to_list()[-1] == pytest.approx(16 / 40, abs=0.01)


@pytest.mark.parametrize("kind", ["bib", "Bib tag", "sticker on the bib"])
def test_the_same_id_of_a_single_use_tag_is_another_tag_at_another_event(kind: str) -> None:
    """Bib 17 of spring went into the bin; bib 17 of summer is no second witness against it."""
    rows = [(event, f"tag{n}", 0.5, "b1") for event in ("e0", "e1") for n in range(30)]
    assert estimate_season_tags(kept(rows, kind=kind)).is_empty()
    assert estimate_tag_ages(kept(rows, kind=kind), evenings(2)).is_empty()
    assert estimate_batches(kept(rows, kind=kind))["tags"].to_list() == [60]


def test_single_use_tags_have_no_age() -> None:
    rows = [(event, f"{event}-{n}", 0.5, "b1") for event in ("e0", "e1") for n in range(30)]
    assert estimate_tag_ages(kept(rows), evenings(2)).is_empty()
    assert estimate_tag_ages(KEPT_TAGS.empty(), evenings(2)).is_empty()
