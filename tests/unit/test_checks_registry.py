"""All checks together: quiet on a clean event, sorted, each in words of its own."""

from __future__ import annotations

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from lineproof.checks import CHECKS, Material, run_checks
from lineproof.tables import CROSSINGS, ENTRIES, FINDINGS, PASSINGS, PROOFS, TAGS, UNUSED
from lineproof.vocabulary import SETTINGS, Severity
from unit.checked_event import (
    clean_crossings,
    clean_passings,
    material_of,
    names_found,
    of_crossings,
    stated_event,
)


def test_a_clean_event_gives_no_finding() -> None:
    assert run_checks(material_of(clean_passings())).is_empty()
    assert run_checks(of_crossings(clean_crossings())).is_empty()


def test_an_event_without_rows_gives_no_finding() -> None:
    empty = [table.empty() for table in (ENTRIES, TAGS, PASSINGS, CROSSINGS, UNUSED, PROOFS)]
    lags = material_of(clean_passings()).lags.clear()
    assert run_checks(Material(stated_event(), *empty, lags)).is_empty()


def test_the_registry_is_complete_and_sorted() -> None:
    names = [check.name for check in CHECKS]
    assert len(set(names)) == len(names)
    order = list(Severity)
    weights = [order.index(check.severity) for check in CHECKS]
    assert weights == sorted(weights)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.name)
def test_a_check_explains_itself(check) -> None:
    for words in (check.reason, check.what_to_do):
        assert len(words.split()) >= 1
        assert words.endswith(".")
    assert check.source
    assert set(check.thresholds) <= set(SETTINGS)


def test_findings_do_not_depend_on_the_order_of_the_rows() -> None:
    doubled = pl.concat([clean_passings(), clean_passings().head(3)]).with_row_index("n").drop("passing")
    numbered = doubled.rename({"n": "passing"}).select(PASSINGS.schema.names()).cast(PASSINGS.schema)
    material = material_of(numbered)
    shuffled = Material(
        material.event,
        material.entries.reverse(),
        material.tags.reverse(),
        material.passings.sample(fraction=1, shuffle=True, seed=1),
        material.crossings.reverse(),
        material.unused.reverse(),
        material.proofs.reverse(),
        material.lags,
    )
    found = run_checks(material)
    assert found.height == 3
    assert_frame_equal(found, run_checks(shuffled))


def test_findings_keep_their_contract_and_name_no_runner() -> None:
    crossings = clean_crossings().with_columns(
        segment_us=pl.when(pl.col("order") == 1).then(60_000_000).otherwise("segment_us")
    )
    found = run_checks(of_crossings(crossings))
    FINDINGS.check(found)
    assert names_found(of_crossings(crossings)) == {"whole segment too fast"}
    assert not found["detail"].str.contains(r"A\d\d").any()
