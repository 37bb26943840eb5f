"""The timer's working copies: CSV tables that open in a spreadsheet, Parquet for further work.

All files are first written beside the old ones and then put in place one by one, so that a full disk
or a stop half way leaves the results of the review before.  Times are local, with their offset.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import polars as pl

from lineproof.errors import OutputError
from lineproof.forms import to_audit_form, to_lookup_form
from lineproof.formulas import disarmed
from lineproof.setup.history import to_item_places

if TYPE_CHECKING:
    from lineproof.pipeline import Review


def write_results(review: Review, out: str | Path) -> list[Path]:
    """Write the review's tables into ``out`` and return their paths.

    Raises ``OutputError`` where the folder cannot be written; what was there before stays.
    """
    out = Path(out)
    zone = review.event.zone
    with replacing(out) as new:
        write_csv(review.findings, new / "findings.csv", zone)
        write_csv(review.rates, new / "rates.csv", zone)
        write_csv(to_lookup_form(review), new / "lookups.csv", zone)
        write_csv(to_audit_form(review), new / "audit.csv", zone)
        write_csv(review.audit_results, new / "audit_results.csv", zone)
        write_csv(review.sightings, new / "sighted.csv", zone)
        write_csv(review.mats, new / "mats.csv", zone)
        write_csv(review.rejects, new / "rejects.csv", zone)
        write_csv(review.account, new / "account.csv", zone)
        write_csv(review.unused, new / "unused.csv", zone)
        write_csv(review.interruptions, new / "interruptions.csv", zone)
        write_csv(review.unseen, new / "unseen.csv", zone)
        write_csv(review.weak_tags, new / "tags.csv", zone)
        write_csv(review.weak_shares, new / "weak_shares.csv", zone)
        write_csv(review.line_pairs, new / "line_pairs.csv", zone)
        write_csv(to_item_places(review.setup.lines, review.setup.mats, review.mats), new / "items.csv", zone)
        write_csv(review.setup.complaints, new / "setup_remarks.csv", zone)
        write_csv(review.diagnosis, new / "diagnosis.csv", zone)
        write_csv(review.misses, new / "misses.csv", zone)
        write_csv(review.clock_faults, new / "clocks.csv", zone)
        review.crossings.write_parquet(new / "crossings.parquet")
        checks = {"passed": review.gate.passed, "suite": review.gate.suite, "results": review.gate.outcome}
        (new / "checks.json").write_text(json.dumps(checks, indent=2, sort_keys=True), encoding="utf-8")
        names = sorted(path.name for path in new.iterdir())
    return [out / name for name in names]


@contextmanager
def replacing(out: Path) -> Iterator[Path]:
    """A scratch folder inside ``out`` whose files replace those of ``out`` when the block ends well."""
    try:
        out.mkdir(parents=True, exist_ok=True)
        scratch = Path(tempfile.mkdtemp(prefix=".writing-", dir=out))
    except OSError as problem:
        raise _cannot_write(out, problem) from None
    try:
        yield scratch
        for path in sorted(scratch.iterdir()):
            path.replace(out / path.name)
    except (OSError, pl.exceptions.PolarsError) as problem:
        raise _cannot_write(out, problem) from None
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _cannot_write(out: Path, problem: Exception) -> OutputError:
    cause = getattr(problem, "strerror", None) or str(problem).splitlines()[0]
    return OutputError(
        f'the results cannot be written into the folder "{out.name}" ({cause.lower()})',
        todo="free space or choose another folder with --out; the earlier results are unchanged",
    )


def write_csv(frame: pl.DataFrame, path: Path, zone: str) -> None:
    # The byte order mark makes a spreadsheet read the file as UTF-8.
    spreadsheet_safe(frame, zone).write_csv(path, include_bom=True)


def spreadsheet_safe(frame: pl.DataFrame, zone: str) -> pl.DataFrame:
    """Local ISO 8601 times with offset, and no text that a spreadsheet would run as a formula."""
    instants = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.Datetime)]
    texts = [name for name, dtype in frame.schema.items() if dtype in (pl.String, pl.Categorical)]
    local = pl.col(instants).dt.convert_time_zone(zone).dt.strftime("%Y-%m-%dT%H:%M:%S%.6f%:z")
    return frame.with_columns(local, disarmed(pl.col(texts).cast(pl.String)))
