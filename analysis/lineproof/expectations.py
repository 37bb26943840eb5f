"""The validation gate: the published contract on merged passing data, kept by great-expectations.

Every analysis starts from one table, CROSSINGS, whoever made it: our own merge, or a merged file that
came as it is.  The gate says what share of its rows must keep each rule, and a failed gate is the first
thing that a review says.  Shares, not all rows: on a real day a few runners cut the course or carry a
bad tag, and the checks name them; the gate asks whether the table as a whole can be built upon.

Row rules are those of ``checks.rules``, computed there once; here only the shares are asserted.  The
suite and its results are JSON, so that the contract can be read and run elsewhere.  This is the only
module that imports great_expectations, and late: it takes seconds.  Nothing is sent or written.
"""

from __future__ import annotations

import os
import warnings
from dataclasses import dataclass
from typing import Any

import numpy.typing as npt
import polars as pl

from lineproof.checks.rules import RULES, to_judged
from lineproof.errors import EventError
from lineproof.event import EVENT_FILE, Event, suggest

SUITE_NAME = "merged passing data"
EXAMPLES = 5
KEPT = 1.0  # a rule's flag on a row that keeps it


@dataclass(frozen=True, slots=True)
class Promise:
    """One line of the contract: at least ``share`` of the rows that can be judged keep it."""

    text: str
    share: float
    reason: str


_RULE_SHARES: dict[str, tuple[float, str]] = {
    "times_in_order": (0.995, "one runner in some hundreds with a wrong time; more is a clock or a merge"),
    "pace_possible": (0.995, "a few carried tags and short cuts; more is a clock, a distance or a class"),
    "net_within_gun": (0.99, "a few go with an earlier wave; more is the gun or the start clock"),
    "start_not_filled_in": (
        0.98,
        "a start line misses one in fifty on a bad day; more and net times mislead",
    ),
    "inside_event": (0.999, "the merge leaves such rows out"),
    "not_placeholder": (0.999, "the merge leaves such rows out"),
}
GATE: dict[str, Promise] = {
    "rows_present": Promise("there are rows", 1.0, "without rows nothing can be said"),
    "runner_stated": Promise("the runner is stated", 1.0, "a row without a runner counts for nobody"),
    "time_stated": Promise("the time is stated", 1.0, "a crossing is a time"),
    "one_row_per_visit": Promise(
        "a runner has one row for each visit of the course", 1.0, "two rows would count a runner twice"
    ),
    "point_known": Promise(
        "the timing point is one of the event's", 1.0, "else it has no place on the course"
    ),
    "line_known": Promise(
        "the line, where stated, is one of the event's", 1.0, "else its reads count for no line"
    ),
    **{rule.name: Promise(rule.text, *_RULE_SHARES[rule.name]) for rule in RULES},
}


@dataclass(frozen=True, slots=True)
class GateLine:
    """``rows`` that could be judged, ``failing`` of them, and up to five of their row keys.

    ``share_seen`` is null where no row could be judged: then the line passes, having nothing to say.
    """

    name: str
    text: str
    share_required: float
    share_seen: float | None
    rows: int
    failing: int
    passed: bool
    examples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class GateResult:
    """``suite`` and ``outcome`` are ready for JSON, as great-expectations writes them."""

    passed: bool
    results: tuple[GateLine, ...]
    suite: dict[str, Any]
    outcome: dict[str, Any]


def run_gate(crossings: pl.DataFrame, event: Event, entries: pl.DataFrame | None = None) -> GateResult:
    """Hold CROSSINGS against the contract, with the shares that ``event`` tightens.

    With ``entries`` the pace rule knows class and sex; without, everybody may be on wheels.
    Raises ``EventError`` where [gate] of event.toml names no line of the gate or loosens one.
    """
    shares = gate_shares(event)
    flags = to_judged(crossings, event, entries).select(
        "runner",
        "order",
        "time",
        "point",
        "line",
        *(rule.holds(event).alias(rule.name) for rule in RULES),
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's own, about its own dependencies
        suite, outcome = _validate(flags, shares, event)
    found = {row["expectation_config"]["meta"]["name"]: row for row in outcome["results"]}
    keys = crossings["key"]
    lines = tuple(_line(name, shares[name], found[name], keys) for name in GATE)
    return GateResult(all(line.passed for line in lines), lines, suite, outcome)


def gate_shares(event: Event) -> dict[str, float]:
    """The share that each line requires at this event."""
    for name, share in event.gate.items():
        if name not in GATE:
            raise _error(f'the gate has no line "{name}"', suggest(name, GATE) or f"use {', '.join(GATE)}")
        if share < GATE[name].share:
            raise _error(
                f'the gate can be tightened, not loosened: "{name}" requires {GATE[name].share:g} at least',
                f"write {GATE[name].share:g} or more, or leave the line out",
            )
    return {name: event.gate.get(name, promise.share) for name, promise in GATE.items()}


def _error(problem: str, todo: str) -> EventError:
    return EventError(f"[gate]: {problem}", todo=todo, file=EVENT_FILE)


def _validate(
    flags: pl.DataFrame, shares: dict[str, float], event: Event
) -> tuple[dict[str, Any], dict[str, Any]]:
    os.environ["GX_ANALYTICS_ENABLED"] = "false"  # must stand before the import
    import great_expectations as gx
    import pandas as pd
    from great_expectations.data_context.types.base import (
        DataContextConfig,
        InMemoryStoreBackendDefaults,
        ProgressBarsConfig,
    )

    at_home = DataContextConfig(
        store_backend_defaults=InMemoryStoreBackendDefaults(init_temp_docs_sites=False),
        progress_bars=ProgressBarsConfig(globally=False),
        analytics_enabled=False,
    )
    context = gx.get_context(mode="ephemeral", project_config=at_home)
    frame = pd.DataFrame({name: _plain(flags[name]) for name in flags.columns})
    source = context.data_sources.add_pandas("merged").add_dataframe_asset("crossings")
    batch = source.add_batch_definition_whole_dataframe("all").get_batch({"dataframe": frame})
    suite = gx.ExpectationSuite(name=SUITE_NAME, expectations=_expectations(gx.expectations, shares, event))
    # SUMMARY keeps twenty failing rows at most: complete lists take minutes on a bad table.
    outcome: dict[str, Any] = batch.validate(suite, result_format="SUMMARY").to_json_dict()  # type: ignore[no-untyped-call]
    written = suite.to_json_dict()
    # Times and fingerprints of the run would make equal reviews differ.
    outcome["meta"] = written["meta"]
    return written, outcome


def _plain(column: pl.Series) -> npt.NDArray[Any]:
    """As the library reads it fastest: a rule's flag as 1, 0 or missing, a time without its zone (UTC)."""
    if column.dtype == pl.Boolean:
        return column.cast(pl.Float64).to_numpy()
    if isinstance(column.dtype, pl.Datetime):
        return column.dt.replace_time_zone(None).to_numpy()
    return column.to_numpy()


def _expectations(library: Any, shares: dict[str, float], event: Event) -> list[Any]:
    """The domain expectations: instances of general ones that carry our name and words."""

    def named(kind: str, name: str, **arguments: Any) -> Any:
        share = {} if name == "rows_present" else {"mostly": shares[name]}
        words = {"meta": {"name": name, "reason": GATE[name].reason}, "description": GATE[name].text}
        return getattr(library, kind)(**arguments, **share, **words)

    points = [point.id for point in event.points]
    lines = [line.id for line in event.lines]
    in_set, not_null = "ExpectColumnValuesToBeInSet", "ExpectColumnValuesToNotBeNull"
    unique = "ExpectCompoundColumnsToBeUnique"
    return [
        named("ExpectTableRowCountToBeBetween", "rows_present", min_value=1),
        named(not_null, "runner_stated", column="runner"),
        named(not_null, "time_stated", column="time"),
        named(unique, "one_row_per_visit", column_list=["runner", "order"]),
        named(in_set, "point_known", column="point", value_set=points),
        named(in_set, "line_known", column="line", value_set=lines),
        *(named(in_set, rule.name, column=rule.name, value_set=[KEPT]) for rule in RULES),
    ]


def _line(name: str, share: float, row: dict[str, Any], keys: pl.Series) -> GateLine:
    result = row["result"]
    if name == "rows_present":
        total = int(result["observed_value"])
        return GateLine(name, GATE[name].text, share, None, total, 0, bool(row["success"]), ())
    nulls_fail = name in ("runner_stated", "time_stated")
    rows = int(result["element_count"]) - (0 if nulls_fail else int(result["missing_count"]))
    failing = int(result["unexpected_count"])
    places = [int(place) for place in result.get("partial_unexpected_index_list") or []][:EXAMPLES]
    return GateLine(
        name=name,
        text=GATE[name].text,
        share_required=share,
        share_seen=(rows - failing) / rows if rows else None,
        rows=rows,
        failing=failing,
        passed=bool(row["success"]),
        examples=tuple(str(keys[place]) for place in places),
    )
