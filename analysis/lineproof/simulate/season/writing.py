"""Writes the demo season: event folders as a timer would have them, and the truth beside them.

The same seed writes the same bytes (Parquet: the same frames).  ``truth/`` is for tests; the analysis never
looks into it.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

import numpy as np
import polars as pl

from lineproof.event import EVENT_FILE
from lineproof.setup.text_table import write_record_text
from lineproof.setup.workbook import write_record
from lineproof.simulate.cases import Case
from lineproof.simulate.description import to_toml, write_start_list
from lineproof.simulate.equipment import Laid, lay
from lineproof.simulate.exports import write_export
from lineproof.simulate.morning import Morning, Written, write_down
from lineproof.simulate.running import SimulatedEvent, simulate_event
from lineproof.simulate.season import autumn, spring, summer
from lineproof.simulate.season.evenings import evening_mornings, evenings
from lineproof.simulate.season.mornings import MORNINGS
from lineproof.simulate.season.parts import Dressed
from lineproof.simulate.season.readme import README
from lineproof.simulate.season.register import write_register
from lineproof.simulate.season.untold import FOLDER as UNTOLD
from lineproof.simulate.season.untold import write_untold
from lineproof.simulate.truth import to_fault_frame

SEED = 20_260_215
REGISTER_STREAM = 9

EVENTS: tuple[Callable[[], Dressed], ...] = (
    spring.lantern,
    spring.quillbeck,
    spring.weir,
    spring.half,
    summer.laps,
    summer.skyline,
    autumn.marathon,
    autumn.harvest,
    autumn.long_night,
    *evenings(),
)


def write_season(folder: str | Path, seed: int = SEED, only: tuple[str, ...] = ()) -> None:
    """Write the season into ``folder``, which may exist; files of the same names are replaced.

    ``only`` names the events to write (none: all); the others' luck does not change by it.
    """
    folder = Path(folder)
    truth = folder / "truth"
    truth.mkdir(parents=True, exist_ok=True)
    laid: list[Laid] = []
    mornings = MORNINGS | evening_mornings()
    for number, dress in enumerate(EVENTS):
        dressed = dress()
        streams = np.random.SeedSequence([seed, number]).spawn(4)
        worn = number if dressed.worn is None else dressed.worn
        plan, items = lay(
            dressed.plan, worn, dressed.clean, np.random.default_rng(streams[0]), dressed.trailer
        )
        laid += items
        if only and plan.id not in only:
            continue
        sim = simulate_event(plan, int(streams[1].generate_state(1)[0]))
        cases = _write_event(folder / plan.id, dressed, items, sim, np.random.default_rng(streams[2]))
        _write_truth(truth, dressed.clean, sim, cases)
        written = write_down(sim, items, mornings[plan.id], seed, np.random.default_rng(streams[3]))
        _write_record(folder / plan.id, mornings[plan.id], written)
        _write_changes(truth / f"{plan.id}-setup.csv", written)
    pl.DataFrame([asdict(item) for item in laid]).write_csv(truth / "equipment.csv")
    untold = write_untold(folder / UNTOLD, seed)
    _write_truth(truth, False, untold, [])
    write_register(folder / "equipment.csv", np.random.default_rng([seed, REGISTER_STREAM]))
    (folder / "README.md").write_text(README, encoding="utf-8", newline="\n")


def _write_event(
    folder: Path, dressed: Dressed, items: list[Laid], sim: SimulatedEvent, rng: np.random.Generator
) -> list[Case]:
    """Returns the faults that were made in the exports."""
    folder.mkdir(parents=True, exist_ok=True)
    exports = dressed.exports({item.line: item.reader for item in items})
    text = to_toml(sim.plan, exports, dressed.start_list, dressed.scene)
    (folder / EVENT_FILE).write_text(text, encoding="utf-8", newline="\n")
    write_start_list(folder, dressed.start_list, sim)
    return [case for export in exports for case in write_export(folder, export, sim, rng)]


def _write_record(folder: Path, morning: Morning, written: Written) -> None:
    path = folder / morning.file
    if path.suffix == ".xlsx":
        write_record(path, written.lines, written.mats, {})
    else:
        write_record_text(path, written.lines, written.mats, morning.delimiter, morning.decimal)


def _write_changes(path: Path, written: Written) -> None:
    schema = dict.fromkeys(("line", "slot", "column", "true", "written"), pl.String)
    pl.DataFrame(written.changed, schema=schema).write_csv(path)


def _write_truth(folder: Path, clean: bool, sim: SimulatedEvent, cases: list[Case]) -> None:
    plan, truth = sim.plan, sim.truth
    faults = pl.concat([truth.faults, to_fault_frame(cases, plan)])
    poor = truth.tags.filter((pl.col("quality") != "good") & pl.col("runner").is_not_null())
    summary = {
        "event": plan.id,
        "clean": clean,
        "entries": sim.entries.height,
        "reads": sim.reads.height,
        "rates": _rows(truth.rates),
        "faults": _rows(faults),
        "poor_tags": _rows(poor.select("tag", "runner", "quality")),
    }
    text = json.dumps(summary, indent=1, ensure_ascii=False)
    (folder / f"{plan.id}.json").write_text(text + "\n", encoding="utf-8", newline="\n")
    truth.crossings.write_parquet(
        folder / f"{plan.id}.parquet", compression="zstd", compression_level=19, statistics=False
    )


def _rows(frame: pl.DataFrame) -> list[dict[str, object]]:
    """Rows without their nulls, instants as ISO 8601 in UTC."""
    instants = [name for name, kind in frame.schema.items() if kind == pl.Datetime("us", "UTC")]
    shown = frame.with_columns(pl.col(instants).dt.strftime("%Y-%m-%dT%H:%M:%S%.6fZ"))
    return [
        {name: value for name, value in row.items() if value not in (None, "")}
        for row in shown.iter_rows(named=True)
    ]
