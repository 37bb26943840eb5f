"""What the checks and the validation gate caught, without naming a runner.

Where a row is unavoidable (an example) it carries the runner's pseudonym and its row in ``findings.csv``.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import polars as pl

from lineproof.charts import CHECK_ROWS
from lineproof.event_report.shown.labels import label_of, line_labels, point_labels
from lineproof.tables import COUNT, TEXT
from lineproof.vocabulary import Severity
from lineproof.wording import start_sentence

if TYPE_CHECKING:
    from lineproof.checks import Check
    from lineproof.pipeline import Review

_CLOCK = re.compile(r"\b\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?\b")


def to_check_rows(review: Review) -> pl.DataFrame:
    """CHECK_ROWS and what to do: one row per check that caught something, worst and most first."""
    known = {check.name: check for check in _registry()}
    counted = (
        review.findings.group_by("check", "severity")
        .agg(
            pl.len().cast(COUNT).alias("findings"),
            pl.col("rows").sum().alias("rows"),
            pl.col("decided").is_not_null().sum().cast(COUNT).alias("decided"),
        )
        .sort("severity", "findings", "check", descending=[False, True, False])
    )
    names = counted["check"].to_list()
    return counted.with_columns(
        pl.Series("label", [check_label(name) for name in names], dtype=TEXT),
        pl.Series("reason", [known[name].reason if name in known else "" for name in names], dtype=TEXT),
        pl.Series(
            "what_to_do", [known[name].what_to_do if name in known else "" for name in names], dtype=TEXT
        ),
    ).select(*CHECK_ROWS.columns, "check", "rows", "decided", "reason", "what_to_do")


def check_label(name: str) -> str:
    return start_sentence(name)


def to_quiet_checks(review: Review) -> list[str]:
    """Labels of the checks that caught nothing."""
    caught = set(review.findings["check"].to_list())
    return [check_label(check.name) for check in _registry() if check.name not in caught]


def to_examples(review: Review, each: int = 3) -> pl.DataFrame:
    """The first findings of each check: where, what, which row of ``findings.csv``, and the pseudonym."""
    points, lines = point_labels(review.event), line_labels(review.event)
    one_runner = pl.any_horizontal(pl.col("runner", "bib", "tag").is_not_null())
    where = pl.coalesce(label_of(lines, "line"), label_of(points, "point"), "course", pl.lit("whole event"))
    rows = (
        review.findings.with_row_index("row", offset=2)
        .group_by("check", maintain_order=True)
        .head(each)
        .join(review.pseudonyms, on="runner", how="left", validate="m:1", maintain_order="left")
    )
    told = [
        without_times(row["detail"]) if row["one"] else row["detail"]
        for row in rows.select("detail", one=one_runner).iter_rows(named=True)
    ]
    return rows.select(
        pl.col("check").map_elements(check_label, return_dtype=pl.String).alias("label"),
        pl.col("severity").cast(pl.String),
        where.alias("where"),
        pl.col("pseudonym"),
        pl.Series("detail", told, dtype=TEXT),
        pl.col("row").cast(COUNT),
    )


def without_times(sentence: str) -> str:
    """A sentence on one runner without its clock times: those stay in the timer's working copies."""
    return _CLOCK.sub("(time)", sentence)


def to_gate_rows(review: Review) -> pl.DataFrame:
    """One row per rule of the validation gate: what it asks, what it saw."""
    rows = [
        {
            "text": line.text,
            "share_required": line.share_required,
            "share_seen": line.share_seen,
            "rows": line.rows,
            "failing": line.failing,
            "passed": line.passed,
        }
        for line in review.gate.results
    ]
    schema: dict[str, pl.DataType | type[pl.DataType]] = {
        "text": pl.String,
        "share_required": pl.Float64,
        "share_seen": pl.Float64,
        "rows": COUNT,
        "failing": COUNT,
        "passed": pl.Boolean,
    }
    return pl.DataFrame(rows, schema=schema)


def severity_count(review: Review, severity: Severity) -> int:
    """Findings of a severity on which the reviewer has not decided."""
    return review.findings.filter(
        pl.col("severity").cast(pl.String) == severity.value, pl.col("decided").is_null()
    ).height


def _registry() -> tuple[Check, ...]:
    from lineproof.checks import CHECKS

    return CHECKS
