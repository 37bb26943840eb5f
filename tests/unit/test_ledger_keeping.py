"""Keeping a real event: what its part says, that no person can be told from it, and what changes it.

Forty runners on the 10 km event of ``event_folders``: the mill did not read runner 4003, the main line of the finish
not 4005, its backup line not 4007.  Everybody else was read everywhere; the start has no export.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from event_folders import write_folder
from lineproof.camera_tables import SIGHTED
from lineproof.detection.course_model import estimate_course_model, to_course_histories, to_flow_strata
from lineproof.errors import InputError, LedgerError
from lineproof.interruptions import to_masks
from lineproof.ledger import Ledger, check_ledger, keep_event, load_histories, open_ledger
from lineproof.ledger import keeping as keeping_module
from lineproof.ledger.cells import to_cells
from lineproof.ledger.gather import by_reads
from lineproof.ledger.manifest import MANIFEST
from lineproof.pipeline import Review, review_event
from lineproof.season_tables import KEPT
from lineproof.setup_tables import LAID_LINES, LAID_MATS
from lineproof.tables import PROOFS, TAGS

RUNNERS = [str(4000 + n) for n in range(40)]
NOT_READ = {("4003", "M1"), ("4005", "F1"), ("4007", "F2")}
SUMMER = dt.timezone(dt.timedelta(hours=1))
LINES = {"M1": 10, "F1": 50, "F2": 50}


def write_event(folder: Path, event: str = "harbour-10k", day: int = 17) -> Path:
    rows = ["Tag,Time,Line"]
    for place, runner in enumerate(RUNNERS):
        for line, minute in LINES.items():
            at = dt.datetime(2026, 5, day, 9, 30, tzinfo=SUMMER) + dt.timedelta(
                minutes=minute, seconds=7 * place
            )
            at += dt.timedelta(seconds=line == "F2")
            if (runner, line) not in NOT_READ:
                rows.append(f"TAG{runner},{at.isoformat()},{line}")
    people = "bib,tag\n" + "".join(f"{runner},TAG{runner}\n" for runner in RUNNERS)
    write_folder(folder, date=f"2026-05-{day}", entries=people, reads_csv="\n".join(rows) + "\n")
    toml = folder / "event.toml"
    toml.write_text(toml.read_text().replace('id = "harbour-10k"', f'id = "{event}"'))
    return folder


@pytest.fixture(scope="module")
def series(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two events with the same tags, kept; the second one with its crossings and a decision."""
    home = tmp_path_factory.mktemp("series")
    first, second = write_event(home / "one"), write_event(home / "two", "quay-10k", 24)
    (second / "decisions.csv").write_text(
        "key,decision,time,who,when,why\n"
        "finish-main/TAG4001/2026-05-24T09:20:07.000000Z,void,,Ada Marker,2026-05-25,runner 4001 told me\n"
        "clock/mill-main,correct,2,Ada Marker,2026-05-25,set by hand\n"
    )
    keep_event(first, home / "ledger")
    keep_event(second, home / "ledger", crossings=True)
    return home


@pytest.fixture(scope="module")
def ledger(series: Path) -> Ledger:
    return open_ledger(series / "ledger")


@pytest.fixture(scope="module")
def review(series: Path) -> Review:
    return review_event(series / "one")


def of_first(ledger: Ledger, table: str) -> pl.DataFrame:
    return ledger.scan(table).filter(pl.col("event") == "harbour-10k").collect()


def test_every_table_keeps_its_contract(ledger: Ledger) -> None:
    for name, table in KEPT.items():
        table.check(ledger.scan(name).collect())
    assert check_ledger(ledger.folder).passed


def test_events_come_by_date(ledger: Ledger) -> None:
    assert ledger.events.select("event", "entries", "seen").rows() == [
        ("harbour-10k", 40, 40),
        ("quay-10k", 40, 40),
    ]


def test_cells_count_who_tried_each_line_and_who_was_missed(ledger: Ledger) -> None:
    """At the mill all forty are read later; at the finish each line is tried by those whom the other one read."""
    cells = of_first(ledger, "cells").filter(slot=0).sort("line")
    assert cells.select("line", "tried", "missed", "tried_at_work", "missed_at_work").rows() == [
        ("finish-backup", 39.0, 1.0, 39.0, 1.0),
        ("finish-main", 39.0, 1.0, 39.0, 1.0),
        ("mill-main", 40.0, 1.0, 40.0, 1.0),
        ("start-main", 0.0, 0.0, 0.0, 0.0),
    ]
    assert cells["two_tags"].to_list() == [False] * 4


def test_rates_and_unseen_are_those_of_the_review(ledger: Ledger, review: Review) -> None:
    assert of_first(ledger, "rates").sort(pl.all()).equals(review.rates.sort(pl.all()))
    assert of_first(ledger, "unseen").sort(pl.all()).equals(review.unseen.sort(pl.all()))


def test_histories_fit_again_as_they_did_at_the_review(ledger: Ledger, review: Review) -> None:
    event = review.event
    masks = to_masks(review.proofs, review.interruptions, event)
    strata = to_flow_strata(review.proofs, "10k")
    at_review = to_course_histories(review.proofs, event, "10k", masks=masks, strata=strata)
    from_ledger = load_histories(ledger, "harbour-10k", "10k")
    for name in (
        "outcome",
        "unread",
        "stratum",
        "entry",
        "known",
        "until",
        "count",
        "read",
        "missed",
        "given",
    ):
        np.testing.assert_array_equal(getattr(from_ledger, name), getattr(at_review, name), err_msg=name)
    assert from_ledger.occasions == at_review.occasions
    again, then = estimate_course_model(from_ledger, "10k"), estimate_course_model(at_review, "10k")
    assert [point.missed for point in again.points] == [point.missed for point in then.points]
    with pytest.raises(KeyError, match="no histories"):
        load_histories(ledger, "harbour-10k", "marathon")


def test_histories_rest_on_reads_alone_also_where_somebody_looked_at_the_camera(review: Review) -> None:
    """A look-up is made of those whom no line read, so the course model must not count it as a proof."""
    looked = {"runner": "4001", "course": "10k", "point": "finish", "order": 2, "outcome": "seen", "who": "x"}
    stated = {"when": "", "file": "sightings.csv", "row": 2, "by_reads": "unproven", "proof": "camera"}
    sightings = SIGHTED.shape_rows([{**looked, **stated}])
    by_camera = review.proofs.with_columns(proof=pl.lit("camera").cast(PROOFS.schema["proof"]))
    settled = dataclasses.replace(review, proofs=by_camera, sightings=sightings)
    assert by_reads(settled).equals(review.proofs)
    assert by_reads(review) is review.proofs


def test_a_tag_can_be_followed_from_event_to_event(ledger: Ledger) -> None:
    tags = ledger.scan("tags").collect()
    assert tags["tag"].n_unique() == 40
    both = tags.group_by("tag").agg(pl.col("event").n_unique(), pl.col("tried").sum(), pl.col("missed").sum())
    assert both["event"].to_list() == [2] * 40
    # Three were missed by one line at each event; of runner 4001 the reviewer of the second event voided one.
    assert sorted(both["missed"].to_list()) == [0] * 36 + [1] + [2] * 3


def test_nobody_can_be_told_from_the_ledger(series: Path, ledger: Ledger) -> None:
    """Neither a bib, nor a tag, nor a reviewer's name or words stand in any cell of any table."""
    words = [*RUNNERS, "TAG4", "Ada Marker", "told me"]
    for name in KEPT:
        for column in ledger.scan(name).collect().select(pl.col(pl.String)).iter_columns():
            text = "\n".join(column.drop_nulls().to_list())
            found = [word for word in words if word in text.replace("sha256", "")]
            # A hash may hold any four digits.
            assert not found or name in ("provenance", "account"), (name, column.name, found)
    key = (series / "pseudonyms.key").read_text().strip()
    assert not [p for p in (series / "ledger").rglob("*") if p.is_file() and key.encode() in p.read_bytes()]


def test_runners_have_another_name_at_every_event(series: Path, tmp_path: Path) -> None:
    """Bib 4001 of one event is not that of the next."""
    home = tmp_path / "series"
    shutil.copytree(series, home)
    keep_event(home / "one", home / "ledger", crossings=True)
    runners = open_ledger(home / "ledger").scan("crossings").collect().select("event", "runner").unique()
    assert runners.height == 80
    assert runners["runner"].n_unique() == 80


def test_crossings_are_kept_only_if_asked_for(ledger: Ledger) -> None:
    crossings = ledger.scan("crossings").collect()
    assert crossings["event"].unique().to_list() == ["quay-10k"]
    assert not {"bib", "key", "tag"} & set(crossings.columns)


def test_decisions_are_kept_without_names(ledger: Ledger) -> None:
    rows = ledger.scan("decisions").collect()
    assert rows.sort("about").select("event", "about", "place", "decision", "rows", "shift_us").rows() == [
        ("quay-10k", "row", "finish-main", "void", 1, None),
        ("quay-10k", "clock", "mill-main", "correct", 39, 2_000_000),
    ]
    assert rows["row"].str.contains(r"^K-[A-Z2-7]{8}$").all()


def test_provenance_names_every_input_and_setting(ledger: Ledger) -> None:
    facts = ledger.scan("provenance").filter(pl.col("event") == "quay-10k").collect()
    inputs = facts.filter(kind="input")
    assert inputs["name"].to_list() == ["decisions.csv", "entries.csv", "event.toml", "exports/reads.csv"]
    assert inputs["value"].str.len_chars().to_list() == [64] * 4
    assert "passing_gap_s" in facts.filter(kind="setting")["name"].to_list()
    assert {"lineproof", "polars", "python"} <= set(facts.filter(kind="version")["name"])


def test_keeping_again_computes_nothing_and_changes_nothing(
    series: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = {p: p.read_bytes() for p in (series / "ledger").rglob("*") if p.is_file()}
    monkeypatch.setattr(keeping_module, "review_event", None)
    kept = keep_event(series / "one", series / "ledger")
    assert not kept.changed
    assert {p: p.read_bytes() for p in (series / "ledger").rglob("*") if p.is_file()} == before


@pytest.mark.parametrize(
    "file", ["exports/reads.csv", "entries.csv", "event.toml", "decisions.csv", "setup.csv"]
)
def test_any_changed_input_makes_another_part(series: Path, tmp_path: Path, file: str) -> None:
    from lineproof.event import load_event
    from lineproof.ledger.provenance import to_basis

    folder = tmp_path / "two"
    shutil.copytree(series / "two", folder)
    before = to_basis(load_event(folder), b"k", crossings=False)
    with (folder / file).open("a") as changed:
        changed.write("\n")
    assert to_basis(load_event(folder), b"k", crossings=False).key != before.key


def test_key_settings_and_crossings_are_part_of_what_a_part_is_made_of(series: Path) -> None:
    from lineproof.event import load_event
    from lineproof.ledger.provenance import to_basis

    event = load_event(series / "two")
    keys = {to_basis(event, key, crossings=wanted).key for key in (b"a", b"b") for wanted in (True, False)}
    assert len(keys) == 4


def test_a_file_that_changes_during_the_review_is_refused(
    series: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, review: Review
) -> None:
    folder = tmp_path / "series" / "one"
    shutil.copytree(series / "one", folder)

    def busy(event_folder: Path, _progress: object) -> Review:
        (folder / "decisions.csv").write_text("key,decision,time,who,when,why\n")
        return review

    monkeypatch.setattr(keeping_module, "review_event", busy)
    with pytest.raises(InputError, match="changed while it was being reviewed"):
        keep_event(folder, tmp_path / "series" / "ledger")
    assert not (tmp_path / "series" / "ledger" / MANIFEST).exists()


def test_last_years_event_of_the_same_id_is_not_overwritten(series: Path, tmp_path: Path) -> None:
    home = tmp_path / "series"
    shutil.copytree(series, home)
    toml = home / "one" / "event.toml"
    toml.write_text(toml.read_text().replace("2026-05-17", "2027-05-16"))
    with pytest.raises(LedgerError, match=r"give this event an id of its own in event.toml"):
        keep_event(home / "one", home / "ledger")


def test_another_key_is_said_because_tags_cannot_be_followed(
    series: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, review: Review
) -> None:
    home = tmp_path / "series"
    shutil.copytree(series, home)
    (home / "pseudonyms.key").unlink()
    monkeypatch.setattr(keeping_module, "review_event", lambda _folder, _progress: review)
    kept = keep_event(home / "one", home / "ledger")
    assert kept.replaced
    assert "is not that of 1\u00a0other event (quay-10k): tags cannot be followed" in kept.remarks[0]


def test_cells_take_their_items_from_the_record(review: Review) -> None:
    """By port where ports were recorded; an antenna that the record does not know has no place."""
    event = review.event
    mats = [("finish-main", 1, "M07", 2), ("finish-main", 2, "M09", 1), ("finish-main", 3, None, 1)]
    laid_mats = LAID_MATS.shape_rows(
        [
            {"line": line, "slot": slot, "mat": mat, "port": port, "file": "setup.csv", "sheet": "", "row": 2}
            for line, slot, mat, port in mats
        ]
    )
    laid_lines = LAID_LINES.shape_rows(
        [
            {
                "line": "finish-main",
                "reader": "R3",
                "weather": "rain",
                "spacing_m": 4.0,
                "file": "",
                "sheet": "",
                "row": 2,
            }
        ]
    )
    slots = pl.DataFrame(
        [
            ("finish-main", 1, 10.0, 0.5),
            ("finish-main", 2, 20.0, 1.5),
            ("finish-main", 9, 5.0, 0.0),
            ("finish-backup", 1, 8.0, 0.1),
        ],
        schema=["line", "antenna", "tried", "missed"],
        orient="row",
        schema_overrides={"antenna": pl.Int32},
    ).with_columns(pl.col("tried").alias("tried_at_work"), pl.col("missed").alias("missed_at_work"))
    no_tries = pl.DataFrame(schema={"line": pl.String, "read": pl.Boolean, "at_work": pl.Boolean})
    cells = to_cells(no_tries, slots, PROOFS.empty(), laid_lines, laid_mats, TAGS.empty(), event)
    here = cells.filter(pl.col("slot") > 0).select(
        "line", "slot", "mat", "reader", "weather", "tried", "spacing_m"
    )
    assert here.rows() == [
        ("finish-backup", 1, None, None, None, 8.0, None),
        ("finish-main", 1, "M07", "R3", "rain", 20.0, 4.0),
    ]


def test_the_commands_say_what_they_did(series: Path, tmp_path: Path) -> None:
    def run(*words: object) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "lineproof", *map(str, words)]
        return subprocess.run(command, capture_output=True, text=True, check=False)

    home = tmp_path / "series"
    shutil.copytree(series, home)
    again = run("keep", home / "one", "--ledger", home / "ledger")
    assert again.returncode == 0, again.stderr
    assert "holds exactly this already; nothing was changed" in again.stderr
    good = run("ledger", "check", home / "ledger")
    assert good.returncode == 0
    assert "2\u00a0events and no replaced parts" in good.stderr
    assert "everything is as it was kept" in good.stderr
    victim = next((home / "ledger" / "parts").glob("quay*")) / "cells.parquet"
    victim.write_bytes(victim.read_bytes()[:-7])
    bad = run("ledger", "check", home / "ledger")
    assert bad.returncode == 1
    assert "cells.parquet: the file was cut short" in bad.stderr
    assert 'keep the event "quay-10k" again' in bad.stderr
    nothing = run("ledger", "check", tmp_path / "nowhere")
    assert nothing.returncode == 1
    assert 'the folder "nowhere" holds no ledger' in nothing.stderr
    assert "Traceback" not in again.stderr + bad.stderr + nothing.stderr
