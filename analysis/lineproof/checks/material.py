"""What the checks work on, what a check is, and what it hands back.

A check is a function from ``Material`` to rows of FINDINGS without ``check`` and ``decided``, and without
``severity`` but where a row weighs less than the check: those come from the registry, so that a check's
words stand in one place only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import polars as pl

from lineproof.checks.rules import to_judged
from lineproof.event import Event
from lineproof.tables import FINDINGS, READS
from lineproof.vocabulary import Severity


@dataclass(frozen=True, slots=True)
class Material:
    """All frames of one event; each keeps its contract in tables.py, ``lags`` that of clocks.py.

    ``repeated_reads`` are the raw reads that stand more than once (``to_repeated_reads``): a merge to
    passings counts them once, so they show nowhere else.
    """

    event: Event
    entries: pl.DataFrame
    tags: pl.DataFrame
    passings: pl.DataFrame
    crossings: pl.DataFrame
    unused: pl.DataFrame
    proofs: pl.DataFrame
    lags: pl.DataFrame
    repeated_reads: pl.DataFrame = field(default_factory=READS.empty)
    set_aside: frozenset[str] = frozenset()  # lines whose clock contradicts the others (clock_trust.py)
    judged: pl.DataFrame = field(init=False, repr=False)  # crossings with what the row rules need

    def __post_init__(self) -> None:
        object.__setattr__(self, "judged", to_judged(self.crossings, self.event, self.entries))


@dataclass(frozen=True, slots=True)
class Check:
    """One check in a practitioner's words.  ``thresholds`` names settings of event.toml."""

    name: str
    reason: str
    severity: Severity
    thresholds: tuple[str, ...]
    source: str
    what_to_do: str
    run: Callable[[Material], pl.DataFrame]


def to_findings(check: Check, rows: pl.DataFrame) -> pl.DataFrame:
    """FINDINGS from the rows that a check function gave; one row each where it counts none."""
    counted = rows if "rows" in rows.columns else rows.with_columns(rows=pl.lit(1))
    severity = pl.lit(check.severity.value, dtype=FINDINGS.schema["severity"])
    if "severity" in rows.columns:
        severity = pl.coalesce(pl.col("severity").cast(FINDINGS.schema["severity"]), severity)
    return FINDINGS.conform(counted.with_columns(check=pl.lit(check.name), severity=severity))


def nothing() -> pl.DataFrame:
    """No findings."""
    return FINDINGS.empty().drop("check", "decided")


def stack(*parts: pl.DataFrame) -> pl.DataFrame:
    """The rows of several parts of one check, whatever columns of FINDINGS each fills."""
    schema = FINDINGS.schema
    shaped = [
        (part if "rows" in part.columns else part.with_columns(rows=pl.lit(1))).select(
            pl.col(name).cast(schema[name]) for name in schema if name in part.columns or name == "rows"
        )
        for part in parts
    ]
    return pl.concat(shaped, how="diagonal") if shaped else nothing()


def to_rows(rows: list[dict[str, object]]) -> pl.DataFrame:
    """Findings made one by one, each a dict of FINDINGS columns."""
    return (
        pl.DataFrame(
            rows, schema_overrides={k: v for k, v in FINDINGS.schema.items() if rows and k in rows[0]}
        )
        if rows
        else nothing()
    )


def counted(column: str, one: str, many: str) -> pl.Expr:
    """``1 passing lies``, ``2 passings lie``: the words that go with a count."""
    count = pl.col(column)
    return pl.when(count == 1).then(pl.lit(f"1 {one}")).otherwise(pl.format(f"{{}} {many}", count))


def clock(time: pl.Expr, event: Event) -> pl.Expr:
    """Local clock time to the minute, as a sentence may show it."""
    return time.dt.convert_time_zone(event.zone).dt.strftime("%H:%M")


def say_seconds(seconds: float) -> str:
    """``0.4 s``, ``12 s``, ``3 min 20 s``, ``1 h 0 min 0 s`` (sign dropped)."""
    size = abs(seconds)
    if size < 10:
        return f"{size:.1f} s"
    whole = round(size)
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    parts = [f"{hours} h"] if hours else []
    return " ".join([*parts, *([f"{minutes} min"] if minutes or hours else []), f"{rest} s"])
